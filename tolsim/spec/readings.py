"""Readings of one size: deviations from nominal with seat, unit and lot, nothing lost silently."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal, localcontext
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import SpecError
from tolsim.spec.cells import counted, safe
from tolsim.spec.column_units import step_of
from tolsim.spec.columns import lengths
from tolsim.spec.form_noise import Gains, ReadingNoise
from tolsim.spec.roles import (
    blank_role,
    pair_notes,
    role_facts,
    role_texts,
    seat_key,
    sequence_of,
    too_few,
    too_many_seats,
    twice,
    two_seats,
    unused_columns,
)
from tolsim.spec.sifting import Excluded, sift
from tolsim.spec.states import MeasuredState, state_columns, state_of
from tolsim.spec.tables import Table, read_table

__all__ = ["Excluded", "Readings", "exact_mean_sd", "read_readings", "readings_of"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Readings:
    """Readings of one feature of size.

    ``deviation`` [mm], shape (n,), is size minus nominal, subtracted in decimals before the
    conversion to float; ``exact`` holds the same as decimals. ``side``, ``unit`` and ``lot`` are
    text as it stands in the file, or None where no column was named; ``row`` the line of each
    reading. ``order`` are the indices of the readings in the order of manufacture, or None.
    ``rows_in`` = number of readings + number of excluded rows. ``state`` is what columns of age,
    temperature and coating say, where there are such columns.
    """

    shown: str
    column: str
    nominal_mm: float
    deviation: NDArray[np.float64] = field(compare=False)
    exact: tuple[Decimal, ...]
    row: tuple[int, ...]
    side: tuple[str, ...] | None
    unit: tuple[str, ...] | None
    lot: tuple[str, ...] | None
    order: tuple[int, ...] | None
    seats: tuple[str, str] | None
    rows_in: int
    excluded: tuple[Excluded, ...]
    understood: tuple[str, ...]
    notes: tuple[str, ...]
    sha256: str
    resolution_mm: float
    state: MeasuredState
    taper: NDArray[np.float64] | None = field(default=None, compare=False)
    oval: NDArray[np.float64] | None = field(default=None, compare=False)
    oval_components: int = 2  #: 1 where two angles show one component of the oval only
    #: How the scatter of one reading shows in a bore's mean, taper and ovality; None where each
    #: reading stands for itself.
    gains: Gains | None = None
    noise: ReadingNoise | None = None  #: that scatter, where it is known
    #: Whether lots as random effects keep the spread between them at its estimate.
    lot_spread_held: bool = False

    def __len__(self) -> int:
        """Number of readings that are used."""
        return len(self.exact)

    def gauge_of_mean(self, gauge_sd: float) -> float:
        """Repeatability [mm] of what is used, the mean of a bore's readings, from one reading's."""
        return gauge_sd if self.gains is None else gauge_sd * self.gains.mean

    def oval_variance(self) -> float:
        """Mean square [mm2] of a component of the oval's radial amplitude, without the scatter of
        the readings; 0 where they scatter more than the bores differ."""
        assert self.oval is not None
        square = float((self.oval**2).mean()) / 16.0 / self.oval_components
        return max(square - (0.0 if self.noise is None else self.noise.amplitude**2), 0.0)

    def by_seat(self) -> dict[str, NDArray[np.float64]]:
        """Deviations [mm] of each seat, in the order of the file; one entry without seats."""
        if self.side is None:
            return {"": self.deviation}
        side = np.array(self.side)
        return {s: self.deviation[side == s] for s in sorted(set(self.side), key=seat_key)}

    def by_lot(self) -> dict[str, NDArray[np.float64]]:
        """Deviations [mm] of each lot, lots in the order of the file."""
        if self.lot is None:
            return {"": self.deviation}
        lot = np.array(self.lot)
        return {name: self.deviation[lot == name] for name in dict.fromkeys(self.lot)}

    def paired_rows(self) -> NDArray[np.int64]:
        """Indices, shape (k, 2), of the readings of both seats of every complete unit."""
        if self.side is None or self.unit is None or self.seats is None:
            return np.empty((0, 2), dtype=np.int64)
        at = {(u, s): i for i, (u, s) in enumerate(zip(self.unit, self.side, strict=True))}
        first, second = self.seats
        pairs = [
            (at[u, first], at[u, second])
            for u in dict.fromkeys(self.unit)
            if (u, first) in at and (u, second) in at
        ]
        return np.array(pairs, dtype=np.int64).reshape(-1, 2)

    def pairs(self) -> NDArray[np.float64]:
        """Deviations [mm], shape (k, 2), of the two seats of every complete unit."""
        return self.deviation[self.paired_rows()]

    def mean_sd(self) -> tuple[float, float]:
        """Mean and standard deviation (n - 1) of the deviations [mm], exact to the last bit."""
        mean, sd = exact_mean_sd(self.exact)
        return float(mean), float(sd)


def exact_mean_sd(values: Sequence[Decimal]) -> tuple[Decimal, Decimal]:
    """Mean and standard deviation (n - 1) of decimals, computed in whole numbers.

    >>> [str(v) for v in exact_mean_sd([Decimal("10000001"), Decimal("10000003")])][0]
    '10000002'

    Raises
    ------
    ValueError
        For fewer than two values.
    """
    n = len(values)
    if n < 2:
        raise ValueError(f"a spread needs two values, got {n}")
    lowest = min(int(v.as_tuple().exponent) for v in values)
    with localcontext() as context:
        context.prec = 100
        whole = [int(v.scaleb(-lowest)) for v in values]
        total, squares = sum(whole), sum(k * k for k in whole)
        mean = (Decimal(total) / n).scaleb(lowest)
        variance = Decimal(n * squares - total * total) / (n * (n - 1))
        sd = variance.sqrt().scaleb(lowest)
        context.prec = 40
        return +mean, +sd


def read_readings(
    path: Path,
    *,
    shown: str,
    column: str,
    nominal_mm: float,
    side: str | None = None,
    unit: str | None = None,
    lot: str | None = None,
    order: str | None = None,
    sheet: str | None = None,
) -> Readings:
    """Read a table with one reading a row.

    Parameters
    ----------
    path : Path
        CSV or XLSX file.
    shown : str
        Its name in messages.
    column : str
        Column of sizes or of deviations; its unit comes from the name (``_mm``, ``_um``, ``_in``,
        ``_thou``), a row of units, or the cells.
    nominal_mm : float
        Nominal size [mm].
    side, unit, lot, order : str, optional
        Columns that name the seat, the unit (frame), the lot and the order of manufacture.
    sheet : str, optional
        Sheet of a workbook.

    Raises
    ------
    SpecError
        If the file is not a table of such readings; every fault found, each with its line.
    """
    names = [n for n in (column, side, unit, lot, order) if n is not None]
    table = read_table(path, shown=shown, wanted=names, sheet=sheet)
    return readings_of(
        table, column=column, nominal_mm=nominal_mm, side=side, unit=unit, lot=lot, order=order
    )


def readings_of(
    whole: Table,
    *,
    column: str,
    nominal_mm: float,
    side: str | None = None,
    unit: str | None = None,
    lot: str | None = None,
    order: str | None = None,
) -> Readings:
    """Readings of a table that has been read; see :func:`read_readings`."""
    roles = {"seat": side, "unit": unit, "lot": lot, "order": order}
    given = {role: name for role, name in roles.items() if name is not None}
    column_at, *others = whole.indices([column, *given.values()])
    table, sifted = sift(whole)
    measured = lengths(table, column_at, nominal_mm)
    texts, _, merges = role_texts(whole, table, given)
    name = safe(table.header.names[column_at])
    cells = table.cells(column_at)
    excluded = list(sifted)
    used = []
    for i, (line, _) in enumerate(table.rows):
        blank = blank_role(texts, i)
        if i in measured.reasons:
            where, found, reason = name, safe(cells[i]), measured.reasons[i]
        elif blank is not None:
            where, found, reason = safe(given[blank]), "", f"no {blank} is named in this row"
        else:
            used.append(i)
            continue
        excluded.append(Excluded(row=line, column=where, found=found, reason=reason))
    excluded.sort(key=lambda e: e.row)
    lines = tuple(table.rows[i][0] for i in used)
    held = {role: tuple(cells[i] for i in used) for role, cells in texts.items()}
    exact = tuple(v for i in used if (v := measured.deviation[i]) is not None)
    written = [v for i in used if (v := measured.written[i]) is not None]
    problems = [
        *too_few(table.shown, name, len(whole.rows), len(used), excluded),
        *too_many_seats(table.shown, given.get("seat", ""), held.get("seat"), lines),
        *twice(table.shown, held.get("unit"), held.get("seat"), lines),
    ]
    sequence, order_problems = sequence_of(
        table.shown, given.get("order", ""), held.get("order"), lines
    )
    problems += order_problems
    if problems:
        raise SpecError(problems)
    seats = two_seats(held.get("seat"))
    state, state_facts = state_of(table, used)
    stated = state_columns(table).values()
    notes = pair_notes(held.get("unit"), held.get("seat"), seats)
    return Readings(
        shown=table.shown,
        column=name,
        nominal_mm=float(nominal_mm),
        deviation=np.array([float(v) for v in exact]),
        exact=exact,
        row=lines,
        side=held.get("seat"),
        unit=held.get("unit"),
        lot=held.get("lot"),
        order=sequence,
        seats=seats,
        rows_in=len(whole.rows),
        excluded=tuple(excluded),
        understood=(
            *whole.understood,
            *measured.understood,
            *role_facts(given, held),
            *merges,
            *state_facts,
            *unused_columns(whole, [column_at, *others, *stated]),
            f"{counted(len(whole.rows), 'row')} = {len(used)} used + {len(excluded)} excluded",
        ),
        notes=notes,
        sha256=whole.sha256,
        state=state,
        resolution_mm=float(step_of(written) * measured.factor),
    )
