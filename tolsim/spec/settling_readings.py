"""The same parts measured at two ages: how each of them changed in between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import counted, safe
from tolsim.spec.columns import amounts
from tolsim.spec.readings import Readings, exact_mean_sd, readings_of
from tolsim.spec.sifting import Excluded
from tolsim.spec.states import MeasuredState, same_age, state_faults
from tolsim.spec.tables import read_table

__all__ = ["SettlingReadings", "pair_ages", "read_two_ages"]

_OLDEST_H = 1e6


@dataclass(frozen=True, kw_only=True, slots=True)
class SettlingReadings:
    """Change of size of seats between two ages, later minus earlier, one entry a seat.

    ``change`` [mm], shape (n,), and ``exact`` the same in decimals; ``first_age``,
    ``second_age`` [h] as the files say, None where they do not. ``unit`` tells which entries
    belong to one part: seats of one part are not independent, so an interval counts parts.
    ``resolution_mm`` is the step of the coarser of the two sets. Rows in = 2 n + the number of
    ``unpaired`` + the number of ``excluded``.
    """

    shown: tuple[str, str]
    sha256: tuple[str, str]
    nominal_mm: float
    change: NDArray[np.float64] = field(compare=False)
    exact: tuple[Decimal, ...]
    first_age: float | None
    second_age: float | None
    unit: tuple[str, ...]
    side: tuple[str, ...] | None
    lot: tuple[str, ...] | None
    rows_in: int
    unpaired: tuple[Excluded, ...]
    excluded: tuple[Excluded, ...]
    resolution_mm: float
    understood: tuple[str, ...]
    notes: tuple[str, ...]
    state: MeasuredState

    def __len__(self) -> int:
        """Number of seats measured at both ages."""
        return len(self.exact)

    @property
    def parts(self) -> int:
        """Number of different units measured at both ages."""
        return len(set(self.unit))

    def mean_sd(self) -> tuple[float, float]:
        """Mean change and its part-to-part standard deviation (n - 1) [mm]."""
        mean, sd = exact_mean_sd(self.exact)
        return float(mean), float(sd)

    def mean_of_parts(self) -> NDArray[np.float64]:
        """Mean change of each unit [mm], shape (parts,): independent entries for an interval."""
        unit = np.array(self.unit)
        return np.array([self.change[unit == u].mean() for u in dict.fromkeys(self.unit)])


def pair_ages(first: Readings, second: Readings) -> SettlingReadings:
    """Pair two sets of readings of the same parts by unit, and by seat where both name seats.

    Raises
    ------
    SpecError
        If a set names no units, the nominal sizes or other states differ, the ages are not in
        order, or fewer than two seats were measured in both.
    """
    problems = [
        Problem(file=r.shown, message="no column names the unit: parts cannot be paired")
        for r in (first, second)
        if r.unit is None
    ]
    if (first.side is None) != (second.side is None):
        unnamed = first if first.side is None else second
        problems.append(
            Problem(file=unnamed.shown, message="names no seats, as the other set does")
        )
    if first.nominal_mm != second.nominal_mm:
        message = f"nominal {second.nominal_mm:g} mm, the other set {first.nominal_mm:g} mm"
        problems.append(Problem(file=second.shown, message=message))
    problems += state_faults(second.shown, first.state, second.state)
    early, late = first.state.age, second.state.age
    if early is not None and late is not None and not early < late:
        message = f"the second set is not the later one: {early:g} h, then {late:g} h"
        problems.append(Problem(file=second.shown, message=message))
    if problems or first.unit is None or second.unit is None:
        raise SpecError(problems)
    keys = [_keys(first), _keys(second)]
    later = {key: i for i, key in enumerate(keys[1])}
    earlier = set(keys[0])
    pairs = [(i, later[key]) for i, key in enumerate(keys[0]) if key in later]
    unpaired = [
        Excluded(row=line, column="", found=safe(" ".join(key).strip()), reason="at one age only")
        for readings, own, other in (
            (first, keys[0], set(later)),
            (second, keys[1], earlier),
        )
        for line, key in zip(readings.row, own, strict=True)
        if key not in other
    ]
    if len(pairs) < 2:
        message = f"{len(pairs)} seats were measured at both ages; a spread needs two"
        found = ", ".join(e.found for e in unpaired[:6]) or None
        raise SpecError([Problem(file=second.shown, message=message, found=found)])
    exact = tuple(second.exact[j] - first.exact[i] for i, j in pairs)
    notes = () if early is not None and late is not None else ("the ages are not stated",)
    lone = counted(len(unpaired), "reading")
    return SettlingReadings(
        shown=(first.shown, second.shown),
        sha256=(first.sha256, second.sha256),
        nominal_mm=first.nominal_mm,
        change=np.array([float(v) for v in exact]),
        exact=exact,
        first_age=early,
        second_age=late,
        unit=tuple(keys[0][i][0] for i, _ in pairs),
        side=None if first.side is None else tuple(keys[0][i][1] for i, _ in pairs),
        lot=None if first.lot is None else tuple(first.lot[i] for i, _ in pairs),
        rows_in=first.rows_in + second.rows_in,
        unpaired=tuple(unpaired),
        excluded=(*first.excluded, *second.excluded),
        resolution_mm=max(first.resolution_mm, second.resolution_mm),
        understood=(
            *first.understood,
            *(f for f in second.understood if f not in first.understood),
            f"paired by unit: {counted(len(pairs), 'seat')} at both ages, {lone} at one age only",
        ),
        notes=notes,
        state=replace(first.state, age=None),
    )


def _keys(readings: Readings) -> list[tuple[str, str]]:
    """Unit and seat of each reading."""
    units = readings.unit or ()
    return list(zip(units, readings.side or ("",) * len(units), strict=True))


def read_two_ages(
    path: Path,
    *,
    shown: str,
    column: str,
    nominal_mm: float,
    age: str,
    unit: str,
    side: str | None = None,
    lot: str | None = None,
    sheet: str | None = None,
) -> SettlingReadings:
    """Read one file that holds the same parts at two ages, told by the column `age` (``_h``).

    Other parameters as for :func:`tolsim.spec.readings.read_readings`.

    Raises
    ------
    SpecError
        If the ages are not two, or :func:`pair_ages` refuses the sets.
    """
    names = [n for n in (column, age, unit, side, lot) if n is not None]
    table = read_table(path, shown=shown, wanted=names, sheet=sheet)
    _, age_at, *_ = table.indices(names)
    ages = amounts(table, age_at, "time", _OLDEST_H, default="h")
    known = sorted({v for v in ages.value if v is not None})
    groups: list[list[float]] = []
    for value in known:
        if groups and same_age(groups[-1][0], value):
            groups[-1].append(value)
        else:
            groups.append([value])
    if len(groups) != 2:
        found = ", ".join(f"{g[0]:g}" for g in groups[:8]) or "no age"
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=table.header.lines[-1],
                    key=safe(age),
                    message=f"two ages are needed, {len(groups)} are there",
                    found=f"{found} h",
                )
            ]
        )
    parts: list[Readings] = []
    for group in groups:
        rows = [r for r, v in zip(table.rows, ages.value, strict=True) if v in group]
        part = readings_of(
            replace(table, rows=rows),
            column=column,
            nominal_mm=nominal_mm,
            unit=unit,
            side=side,
            lot=lot,
        )
        mean = _mean([v for v in ages.value if v in group and v is not None])
        parts.append(replace(part, state=replace(part.state, age=mean)))
    settled = pair_ages(*parts)
    ageless = tuple(
        Excluded(row=line, column=safe(age), found="", reason="no age is stated in this row")
        for (line, _), v in zip(table.rows, ages.value, strict=True)
        if v is None
    )
    return replace(
        settled,
        rows_in=settled.rows_in + len(ageless),
        excluded=tuple(sorted((*settled.excluded, *ageless), key=lambda e: e.row)),
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
