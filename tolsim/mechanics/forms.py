"""Weighted sums of rows in which constants are folded and equal rows appear once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from tolsim.record import Array

__all__ = ["Form", "Forms", "combine"]

#: Coefficient of each row by its place; key -1 holds the constant.
Form: TypeAlias = Mapping[int, float]


def combine(coefficients: Sequence[float], rows: Sequence[Array]) -> Array:
    """Weighted sum of rows; constants are folded, zeros left out.

    >>> combine([2.0, 0.0, 3.0], [1.5, 7.0, 2.0])
    9.0
    """
    constant, total = 0.0, None
    for c, row in zip(coefficients, rows, strict=True):
        if isinstance(row, int | float):
            constant += float(c) * float(row)
        elif c != 0.0:
            term = row if c == 1.0 else row * float(c)
            total = term if total is None else total + term
    if total is None:
        return constant
    return total if constant == 0.0 else total + constant


class Forms:
    """Affine forms over one growing list of rows.

    >>> forms = Forms()
    >>> forms.evaluate([2.0], [forms.of([(3.0, 0.5), (1.0, 4.0)])])
    11.0
    """

    def __init__(self) -> None:
        self.rows: list[Array] = []

    def of(self, terms: Sequence[tuple[Array, float]]) -> Form:
        """The form ``sum(row * factor)`` of pairs (row, factor)."""
        form: dict[int, float] = {}
        for row, factor in terms:
            if isinstance(row, int | float):
                form[-1] = form.get(-1, 0.0) + float(row) * float(factor)
            else:
                place = self._place(row)
                form[place] = form.get(place, 0.0) + float(factor)
        return form

    def _place(self, row: Array) -> int:
        for i, known in enumerate(self.rows):
            if known is row:
                return i
        self.rows.append(row)
        return len(self.rows) - 1

    @staticmethod
    def sum(weights: Sequence[float], forms: Sequence[Form]) -> Form:
        """The weighted sum of forms as a form."""
        total: dict[int, float] = {}
        for w, form in zip(weights, forms, strict=True):
            for place, c in form.items():
                total[place] = total.get(place, 0.0) + float(w) * c
        return total

    def evaluate(self, weights: Sequence[float], forms: Sequence[Form]) -> Array:
        """The weighted sum of forms as a row."""
        total = self.sum(weights, forms)
        places = sorted(p for p in total if p >= 0)
        return combine(
            [*(total[p] for p in places), 1.0],
            [*(self.rows[p] for p in places), total.get(-1, 0.0)],
        )
