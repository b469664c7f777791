"""Readings of alignment: offsets and tilts of the two seats as vectors, or magnitudes alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import counted, safe
from tolsim.spec.columns import Amounts, amounts
from tolsim.spec.roles import (
    blank_role,
    pair_notes,
    role_facts,
    role_texts,
    too_few,
    too_many_seats,
    twice,
    two_seats,
    unused_columns,
)
from tolsim.spec.sifting import Excluded, sift
from tolsim.spec.states import MeasuredState, state_columns, state_of
from tolsim.spec.tables import read_table

__all__ = ["AlignmentReadings", "Figures", "read_alignment_figures"]

OFFSET_REACH_MM = 5.0
_TILT_REACH = 0.2


@dataclass(frozen=True, kw_only=True, slots=True)
class AlignmentReadings:
    """Alignment of seats against the common datum of the pair, one entry a seat.

    ``offset`` [mm] and ``tilt`` [rad], shape (n, 2), hold the components along x and y; where only
    magnitudes were measured they are None and ``offset_magnitude``, ``tilt_magnitude``, shape
    (n,), hold the lengths (None where not measured). A tilt is positive where the axis moves
    towards positive x or y on the way from the first seat to the second.

    ``residual_sd`` [mm] is what straight axes leave of the coordinates, over ``residual_dof``.
    ``rows_in`` = ``rows_used`` + number of ``excluded``.
    """

    shown: str
    offset: NDArray[np.float64] | None = field(default=None, compare=False)
    tilt: NDArray[np.float64] | None = field(default=None, compare=False)
    offset_magnitude: NDArray[np.float64] | None = field(default=None, compare=False)
    tilt_magnitude: NDArray[np.float64] | None = field(default=None, compare=False)
    residual_sd: float | None = None
    residual_dof: int = 0
    row: tuple[int, ...]
    side: tuple[str, ...] | None
    unit: tuple[str, ...] | None
    lot: tuple[str, ...] | None
    seats: tuple[str, str] | None
    rows_in: int
    rows_used: int
    excluded: tuple[Excluded, ...]
    understood: tuple[str, ...]
    notes: tuple[str, ...]
    sha256: str
    state: MeasuredState
    shape: str = "choose"  #: of magnitudes: choose, rayleigh or rice

    def __len__(self) -> int:
        """Number of seats."""
        return len(self.row)

    def magnitudes(self, what: str) -> list[NDArray[np.float64]]:
        """Lengths of the offset or the tilt: of each seat where two are named, else all."""
        r = self.offset_magnitude if what == "offset" else self.tilt_magnitude
        if r is None:
            return []
        if self.seats is None or self.side is None:
            return [r]
        side = np.array(self.side)
        return [np.ascontiguousarray(r[side == s]) for s in self.seats]

    def paired_rows(self) -> NDArray[np.int64]:
        """Indices, shape (k, 2), of both seats of every complete unit."""
        if self.unit is None or self.side is None or self.seats is None:
            return np.empty((0, 2), dtype=np.int64)
        at = {(u, s): i for i, (u, s) in enumerate(zip(self.unit, self.side, strict=True))}
        pairs = [
            (at[u, self.seats[0]], at[u, self.seats[1]])
            for u in dict.fromkeys(self.unit)
            if (u, self.seats[0]) in at and (u, self.seats[1]) in at
        ]
        return np.array(pairs, dtype=np.int64).reshape(-1, 2)


@dataclass(frozen=True, kw_only=True, slots=True)
class Figures:
    """Columns of figures that have no direction; each is brought to an offset or a tilt.

    ``offset`` distance of the axis from the datum; ``runout`` total radial run-out about the
    datum axis, twice the offset for a round bore; ``coaxiality`` diameter of the zone round the
    datum axis, twice the offset (ISO 1101). ``tilt`` angle against the datum; ``parallelism``
    diameter of the zone of the axis over ``length_mm``, the tilt times that length.
    """

    offset: str | None = None
    runout: str | None = None
    coaxiality: str | None = None
    tilt: str | None = None
    parallelism: str | None = None
    length_mm: float | None = None

    def __post_init__(self) -> None:
        offsets = [c for c in (self.offset, self.runout, self.coaxiality) if c is not None]
        tilts = [c for c in (self.tilt, self.parallelism) if c is not None]
        if len(offsets) > 1 or len(tilts) > 1 or not (offsets or tilts):
            raise ValueError(f"need one column for the offset, one for the tilt, or both: {self}")
        if self.parallelism is not None and not (self.length_mm or 0.0) > 0.0:
            raise ValueError(f"parallelism needs the length over which it holds: {self}")

    def columns(self) -> list[tuple[str, str, str, float, float]]:
        """Kind, column, dimension, reach [mm or rad] and factor to the magnitude."""
        rows = [
            ("offset", self.offset, "length", OFFSET_REACH_MM, 1.0),
            ("offset", self.runout, "length", 2 * OFFSET_REACH_MM, 0.5),
            ("offset", self.coaxiality, "length", 2 * OFFSET_REACH_MM, 0.5),
            ("tilt", self.tilt, "angle", _TILT_REACH, 1.0),
            ("tilt", self.parallelism, "length", OFFSET_REACH_MM, 1.0 / (self.length_mm or 1.0)),
        ]
        return [(k, c, d, r, f) for k, c, d, r, f in rows if c is not None]


def read_alignment_figures(
    path: Path,
    *,
    shown: str,
    figures: Figures,
    side: str | None = None,
    unit: str | None = None,
    lot: str | None = None,
    sheet: str | None = None,
) -> AlignmentReadings:
    """Read run-out, coaxiality, parallelism or plain magnitudes, one row a seat.

    Parameters
    ----------
    path, shown, side, unit, lot, sheet
        As for :func:`tolsim.spec.readings.read_readings`.
    figures : Figures
        The columns and what they hold.

    Raises
    ------
    SpecError
        If the file does not hold such figures.
    """
    roles = {"seat": side, "unit": unit, "lot": lot}
    given = {role: name for role, name in roles.items() if name is not None}
    asked = figures.columns()
    names = [column for _, column, *_ in asked]
    whole = read_table(path, shown=shown, wanted=[*names, *given.values()], sheet=sheet)
    at = whole.indices(names)
    table, sifted = sift(whole)
    texts, index, merges = role_texts(whole, table, given)
    read = [amounts(table, i, d, reach) for i, (_, _, d, reach, _) in zip(at, asked, strict=True)]
    cells = [table.cells(i) for i in at]
    excluded, used = list(sifted), []
    for i, (line, _) in enumerate(table.rows):
        fault = _unusable(i, names, read, cells)
        blank = blank_role(texts, i)
        if fault is None and blank is not None:
            fault = given[blank], "", f"no {blank} is named in this row"
        if fault is None:
            used.append(i)
            continue
        where, found, reason = fault
        excluded.append(Excluded(row=line, column=safe(where), found=safe(found), reason=reason))
    excluded.sort(key=lambda e: e.row)
    held = {role: tuple(texts[role][i] for i in used) for role in texts}
    lines = tuple(table.rows[i][0] for i in used)
    refuse_seats(whole.shown, names[0], len(whole.rows), excluded, given, held, lines)
    magnitudes: dict[str, NDArray[np.float64]] = {}
    for (kind, _, _, _, factor), column in zip(asked, read, strict=True):
        values = [v for i in used if (v := column.value[i]) is not None]
        magnitudes[kind] = np.array(values) * factor
    state, state_facts = state_of(table, used)
    seats = two_seats(held.get("seat"))
    taken = [*at, *index.values(), *state_columns(whole).values()]
    notes = ["magnitudes only: the directions are not known"]
    if figures.runout is not None:
        notes.append("run-out holds the form of the bore too; an offset from it is rather large")
    return AlignmentReadings(
        shown=whole.shown,
        offset_magnitude=magnitudes.get("offset"),
        tilt_magnitude=magnitudes.get("tilt"),
        row=lines,
        side=held.get("seat"),
        unit=held.get("unit"),
        lot=held.get("lot"),
        seats=seats,
        rows_in=len(whole.rows),
        rows_used=len(used),
        excluded=tuple(excluded),
        understood=(
            *whole.understood,
            *(fact for column in read for fact in column.understood),
            *_factor_facts(figures),
            *role_facts(given, held),
            *merges,
            *state_facts,
            *unused_columns(whole, taken),
            f"{counted(len(whole.rows), 'row')} = {len(used)} used + {len(excluded)} excluded",
        ),
        notes=(*notes, *pair_notes(held.get("unit"), held.get("seat"), seats)),
        sha256=whole.sha256,
        state=state,
    )


def refuse_seats(
    shown: str,
    column: str,
    rows_in: int,
    excluded: Sequence[Excluded],
    given: dict[str, str],
    held: dict[str, tuple[str, ...]],
    lines: tuple[int, ...],
) -> None:
    """Refuse fewer than two seats, a third name of a seat, and a seat that comes twice."""
    problems: list[Problem] = [
        *too_few(shown, safe(column), rows_in, len(lines), excluded),
        *too_many_seats(shown, given.get("seat", ""), held.get("seat"), lines),
        *twice(shown, held.get("unit"), held.get("seat"), lines),
    ]
    if problems:
        raise SpecError(problems)


def _unusable(
    i: int, names: Sequence[str], read: Sequence[Amounts], cells: Sequence[Sequence[str]]
) -> tuple[str, str, str] | None:
    """Column, text and reason where a row holds no magnitude; None where it is fine."""
    for name, column, texts in zip(names, read, cells, strict=True):
        value = column.value[i]
        if value is None:
            return name, texts[i], column.reasons[i]
        if value < 0.0:
            return name, texts[i], "a magnitude cannot be negative"
    return None


def _factor_facts(figures: Figures) -> list[str]:
    facts = []
    if figures.runout is not None:
        facts.append(f"{safe(figures.runout)}: run-out, twice the offset of the axis")
    if figures.coaxiality is not None:
        facts.append(f"{safe(figures.coaxiality)}: diameter of a zone, twice the offset")
    if figures.parallelism is not None:
        length = f"{figures.length_mm:g} mm"
        facts.append(f"{safe(figures.parallelism)}: parallelism, tilt over {length}")
    return facts
