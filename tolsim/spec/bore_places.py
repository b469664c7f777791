"""Readings with their places, from a wide table or from a long one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import safe
from tolsim.spec.column_units import step_of
from tolsim.spec.columns import Lengths, amounts, lengths
from tolsim.spec.places import Place, check_places, place_text, places_of
from tolsim.spec.roles import blank_role, role_facts, role_texts, unused_columns
from tolsim.spec.sifting import Excluded, sift
from tolsim.spec.states import MeasuredState, state_columns, state_of
from tolsim.spec.tables import Table, read_rows, read_table, table_of

__all__ = ["PlacedReading", "PlacedReadings", "long_readings", "wide_readings"]

_DEEPEST_MM = 1000.0
_SPANS = ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedReading:
    """One reading: deviation [mm], depth [mm], angle [rad], and whose it is."""

    line: int
    column: str
    exact: Decimal
    depth: float | None
    angle: float | None
    side: str | None
    unit: str | None
    lot: str | None

    @property
    def bore(self) -> tuple[str, str]:
        """What tells this bore from others: unit (or line) and seat."""
        return (f"line {self.line}" if self.unit is None else self.unit, self.side or "")


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedReadings:
    """All readings of a file with their places, and what was left out.

    ``bores_without_reading`` are rows of a wide table of which no cell could be read.
    """

    shown: str
    sha256: str
    readings: tuple[PlacedReading, ...]
    excluded: tuple[Excluded, ...]
    bores_without_reading: tuple[Excluded, ...]
    places: tuple[Place, ...]
    understood: tuple[str, ...]
    resolution_mm: float
    state: MeasuredState


def wide_readings(
    path: Path,
    *,
    shown: str,
    nominal_mm: float,
    places: Sequence[Place] | None,
    given: dict[str, str],
    sheet: str | None,
) -> PlacedReadings:
    """Read a table with a column for each place.

    Raises
    ------
    SpecError
        If no columns state places, or the columns are not readings of one nominal size.
    """
    named = [p.column for p in places] if places else []
    whole, found = _wide_table(path, shown, [*given.values(), *named], places, given, sheet)
    check_places(whole.shown, found)
    at = whole.indices([p.column for p in found])
    table, sifted = sift(whole)
    texts, index, merges = role_texts(whole, table, given)
    columns = [lengths(table, i, nominal_mm) for i in at]
    _refuse_mixed_kinds(whole.shown, found, columns)
    cells = [table.cells(i) for i in at]
    readings: list[PlacedReading] = []
    excluded = list(sifted)
    without: list[Excluded] = []
    used_rows = []
    for i, (line, _) in enumerate(table.rows):
        blank = blank_role(texts, i)
        count = 0
        for place, column, texts_of in zip(found, columns, cells, strict=True):
            exact = column.deviation[i]
            name = safe(place.column)
            if exact is None or blank is not None:
                cell = texts_of[i] if exact is None else ""
                reason = column.reasons.get(i, f"no {blank} is named in this row")
                excluded.append(Excluded(row=line, column=name, found=safe(cell), reason=reason))
                continue
            count += 1
            readings.append(
                PlacedReading(
                    line=line,
                    column=name,
                    exact=exact,
                    depth=place.depth_mm,
                    angle=None if place.angle_deg is None else math.radians(place.angle_deg),
                    side=place.side if "seat" not in texts else texts["seat"][i],
                    unit=texts["unit"][i] if "unit" in texts else None,
                    lot=texts["lot"][i] if "lot" in texts else None,
                )
            )
        if count:
            used_rows.append(i)
        else:
            reason = f"no {blank} is named in this row" if blank else "no reading at any place"
            without.append(Excluded(row=line, column="", found="", reason=reason))
    state, state_facts = state_of(table, used_rows)
    held = {role: tuple(cells[i] for i in used_rows) for role, cells in texts.items()}
    steps = [
        float(step_of([w for w in c.written if w is not None]) * c.factor)
        for c in columns
        if any(w is not None for w in c.written)
    ]
    taken = [*at, *index.values(), *state_columns(whole).values()]
    return PlacedReadings(
        shown=whole.shown,
        sha256=whole.sha256,
        readings=tuple(readings),
        excluded=tuple(excluded),
        bores_without_reading=tuple(without),
        places=tuple(found),
        understood=(
            *whole.understood,
            *(f"{safe(p.column)}: {place_text(p)}" for p in found),
            *_shared_facts([c.understood for c in columns], [safe(p.column) for p in found]),
            *role_facts(given, held),
            *merges,
            *state_facts,
            *unused_columns(whole, taken),
        ),
        resolution_mm=min(steps, default=0.0),
        state=state,
    )


def _refuse_mixed_kinds(shown: str, places: Sequence[Place], columns: Sequence[Lengths]) -> None:
    """Refuse sizes at some places beside deviations at others."""
    filled = [
        (place, column.sizes)
        for place, column in zip(places, columns, strict=True)
        if any(v is not None for v in column.deviation)
    ]
    if len({sizes for _, sizes in filled}) < 2:
        return
    fewer = sum(sizes for _, sizes in filled) * 2 <= len(filled)
    place = next(p for p, sizes in filled if sizes == fewer)
    kinds = ("sizes", "deviations") if fewer else ("deviations", "sizes")
    message = f"{kinds[0]} here, {kinds[1]} at other places"
    raise SpecError([Problem(file=shown, key=safe(place.column), message=message)])


def _wide_table(
    path: Path,
    shown: str,
    wanted: Sequence[str],
    places: Sequence[Place] | None,
    given: dict[str, str],
    sheet: str | None,
) -> tuple[Table, list[Place]]:
    """The table, and the places that are given or that names of one to three rows state."""
    if places:
        return read_table(path, shown=shown, wanted=wanted, sheet=sheet), list(places)
    raw = read_rows(path, shown=shown, wanted=wanted, sheet=sheet)
    best: tuple[Table, list[Place]] | None = None
    for up, down in _SPANS:
        table = table_of(raw, wanted, up=up, down=down)
        if table is None:
            continue
        taken = [i for i in map(table.index, given.values()) if i is not None]
        found = places_of(table, taken)
        keys = {(p.side, p.depth_mm, p.angle_deg) for p in found}
        distinct = len(found) >= 2 and len(keys) == len(found) and len(taken) == len(given)
        if distinct and (best is None or len(found) > len(best[1])):
            best = table, found
    if best is not None:
        return best
    table = read_table(path, shown=shown, wanted=wanted, sheet=sheet)
    table.indices(list(given.values()))
    raise SpecError(
        [
            Problem(
                file=table.shown,
                line=table.header.lines[-1],
                message="no columns that state different places of measurement",
                found=", ".join(safe(n, 20) for n in table.header.names[:10]),
                allowed='names such as "left z2 a90_mm": seat, depth in mm, angle in degrees',
            )
        ]
    )


def _shared_facts(facts: Sequence[Sequence[str]], names: Sequence[str]) -> list[str]:
    """Sentences about columns, said once where they hold for all."""
    bodies = [
        tuple(f.removeprefix(f"{name}: ") for f in column)
        for column, name in zip(facts, names, strict=True)
    ]
    if len(set(bodies)) == 1:
        return [f"all places: {body}" for body in bodies[0]]
    return [fact for column in facts for fact in column]


def long_readings(
    path: Path,
    *,
    shown: str,
    nominal_mm: float,
    column: str,
    depth: str | None,
    angle: str | None,
    given: dict[str, str],
    sheet: str | None,
) -> PlacedReadings:
    """Read a table with one reading a row and columns of depth and angle.

    Raises
    ------
    SpecError
        If columns are missing or hold something else; if no column names the unit.
    """
    extra = [name for name in (depth, angle) if name is not None]
    whole = read_table(path, shown=shown, wanted=[column, *extra, *given.values()], sheet=sheet)
    (column_at, *extra_at) = whole.indices([column, *extra])
    table, sifted = sift(whole)
    texts, index, merges = role_texts(whole, table, given)
    if "unit" not in given:
        message = "no column names the unit: which readings belong to one bore is not known"
        raise SpecError([Problem(file=whole.shown, line=whole.header.lines[-1], message=message)])
    measured = lengths(table, column_at, nominal_mm)
    at = dict(zip(extra, extra_at, strict=True))
    deep = amounts(table, at[depth], "length", _DEEPEST_MM) if depth else None
    round_ = amounts(table, at[angle], "angle", 4 * math.pi, default="deg") if angle else None
    cells = table.cells(column_at)
    excluded, used, readings = list(sifted), [], []
    for i, (line, _) in enumerate(table.rows):
        exact = measured.deviation[i]
        blank = blank_role(texts, i)
        where, found, reason = "", "", ""
        if exact is None:
            where, found, reason = column, cells[i], measured.reasons[i]
        elif blank is not None:
            where, reason = given[blank], f"no {blank} is named in this row"
        elif deep is not None and deep.value[i] is None:
            where, reason = str(depth), f"no depth: {deep.reasons[i]}"
        elif round_ is not None and round_.value[i] is None:
            where, reason = str(angle), f"no angle: {round_.reasons[i]}"
        if reason or exact is None:
            found = safe(found)
            excluded.append(Excluded(row=line, column=safe(where), found=found, reason=reason))
            continue
        used.append(i)
        readings.append(
            PlacedReading(
                line=line,
                column=safe(column),
                exact=exact,
                depth=deep.value[i] if deep else None,
                angle=round_.value[i] if round_ else None,
                side=texts["seat"][i] if "seat" in texts else None,
                unit=texts["unit"][i],
                lot=texts["lot"][i] if "lot" in texts else None,
            )
        )
    state, state_facts = state_of(table, used)
    held = {role: tuple(cells[i] for i in used) for role, cells in texts.items()}
    taken = [column_at, *extra_at, *index.values(), *state_columns(whole).values()]
    written = [w for i in used if (w := measured.written[i]) is not None]
    return PlacedReadings(
        shown=whole.shown,
        sha256=whole.sha256,
        readings=tuple(readings),
        excluded=tuple(excluded),
        bores_without_reading=(),
        places=(),
        understood=(
            *whole.understood,
            *measured.understood,
            *(deep.understood if deep else ()),
            *(round_.understood if round_ else ()),
            *role_facts(given, held),
            *merges,
            *state_facts,
            *unused_columns(whole, taken),
        ),
        resolution_mm=float(step_of(written) * measured.factor),
        state=state,
    )
