"""The latent variables of a study: named rows of standard normals and how they go together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from tolsim.record import Array

__all__ = ["Latent", "Rows", "Source"]

#: Rows of standard normals, arrays (n,) or tracers.
Rows = Sequence[Array]
#: A quantity of one unit as a function of the rows.
Source = Callable[[Rows], Array]


class Latent:
    """Registry of rows; the same name asked for twice is the same row.

    Rows named as *evidence* stand for what is not known about a process (its mean, its spread):
    they belong to the study, not to a unit.
    """

    def __init__(self) -> None:
        self._index: dict[str, int] = {}
        self._evidence: set[int] = set()

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all rows, in order."""
        return tuple(self._index)

    @property
    def evidence(self) -> tuple[int, ...]:
        """Rows of evidence, ascending."""
        return tuple(sorted(self._evidence))

    def row(self, name: str, *, evidence: bool = False) -> Source:
        """The row of this name."""
        index = self._index.setdefault(name, len(self._index))
        if evidence:
            self._evidence.add(index)
        return lambda z: z[index]

    def index(self, name: str) -> int:
        """Position of a row that exists."""
        return self._index[name]

    def pair(self, first: str, second: str, correlation: float) -> tuple[Source, Source]:
        """Two rows whose correlation is `correlation`, -1 and 1 included."""
        a, b = self.row(first), self.row(second)
        if correlation == 0.0:
            return a, b
        if not -1.0 <= correlation <= 1.0:
            raise ValueError(f"a correlation lies between -1 and 1, got {correlation}")
        rest = math.sqrt(max(0.0, 1.0 - correlation * correlation))
        if rest == 0.0:
            return a, lambda z: a(z) * correlation
        return a, lambda z: a(z) * correlation + b(z) * rest
