"""Coordinates of the axes of seats at several depths: straight axes, as offset and tilt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import Problem, SpecError
from tolsim.spec.alignment_readings import OFFSET_REACH_MM, AlignmentReadings, refuse_seats
from tolsim.spec.cells import counted, safe
from tolsim.spec.columns import amounts
from tolsim.spec.roles import (
    blank_role,
    pair_notes,
    role_facts,
    role_texts,
    two_seats,
    unused_columns,
)
from tolsim.spec.sifting import Excluded, sift
from tolsim.spec.states import state_columns, state_of
from tolsim.spec.tables import read_table

__all__ = ["Section", "read_axes"]

_DEEPEST_MM = 1000.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """Columns of the axis's coordinates in one section of the seat.

    The depth [mm] of the section is one number for all rows, or stands in a column of its own.
    """

    x: str
    y: str
    depth_mm: float | None = None
    depth: str | None = None

    def __post_init__(self) -> None:
        if (self.depth_mm is None) == (self.depth is None):
            raise ValueError(f"a section needs a depth or a column of depths, got {self}")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Point:
    line: int
    row: int
    x: float
    y: float
    z: float


def read_axes(
    path: Path,
    *,
    shown: str,
    sections: tuple[Section, ...],
    middle_mm: float | None = None,
    depth_from: Literal["datum", "face"] = "datum",
    side: str | None = None,
    unit: str | None = None,
    lot: str | None = None,
    sheet: str | None = None,
) -> AlignmentReadings:
    r"""Read coordinates of axes against the common datum, and fit a straight axis to each seat.

    .. math:: x(z) = o_x + t_x (z - z_0), \qquad y(z) = o_y + t_y (z - z_0)

    by least squares; small angles, so that the slope is the tilt in radians.

    Parameters
    ----------
    path, shown, side, unit, lot, sheet
        As for :func:`tolsim.spec.readings.read_readings`.
    sections : tuple of Section
        Several sections: a row holds a whole seat. One section with a column of depths: a row
        holds one section, and the rows of a unit and seat belong together.
    middle_mm : float, optional
        Depth :math:`z_0` of the middle of the seat [mm]; the mean of its depths if not given.
    depth_from : {"datum", "face"}
        Depths along the common datum, from the first seat to the second, or from the outer face
        of each seat inwards: then the second seat's run the other way and its tilt is turned.

    Raises
    ------
    SpecError
        If the file does not hold such coordinates.
    """
    roles = {"seat": side, "unit": unit, "lot": lot}
    given = {role: name for role, name in roles.items() if name is not None}
    names = list(dict.fromkeys(n for s in sections for n in (s.x, s.y, s.depth) if n is not None))
    whole = read_table(path, shown=shown, wanted=[*names, *given.values()], sheet=sheet)
    at = dict(zip(names, whole.indices(names), strict=True))
    if len(sections) == 1 and "unit" not in given:
        message = "no column names the unit: which sections belong to one seat is not known"
        raise SpecError([Problem(file=whole.shown, line=whole.header.lines[-1], message=message)])
    table, sifted = sift(whole)
    texts, index, merges = role_texts(whole, table, given)
    depths = {s.depth for s in sections}
    read = {
        n: amounts(table, i, "length", _DEEPEST_MM if n in depths else OFFSET_REACH_MM)
        for n, i in at.items()
    }
    cells = {n: table.cells(i) for n, i in at.items()}
    excluded: list[Excluded] = list(sifted)
    used: list[int] = []
    groups: dict[tuple[str, str], list[_Point]] = {}
    for i, (line, _) in enumerate(table.rows):
        bad = next((n for n in names if read[n].value[i] is None), None)
        blank = blank_role(texts, i)
        if bad is not None or blank is not None:
            where = bad if bad is not None else given[str(blank)]
            found = cells[bad][i] if bad is not None else ""
            why = read[bad].reasons[i] if bad is not None else f"no {blank} is named in this row"
            excluded.append(Excluded(row=line, column=safe(where), found=safe(found), reason=why))
            continue
        used.append(i)
        name = texts["unit"][i] if len(sections) == 1 else f"row {i}"
        key = (name, texts["seat"][i] if "seat" in texts else "")
        for s in sections:
            x, y = read[s.x].value[i], read[s.y].value[i]
            z = s.depth_mm if s.depth is None else read[s.depth].value[i]
            if x is not None and y is not None and z is not None:
                groups.setdefault(key, []).append(_Point(line=line, row=i, x=x, y=y, z=z))
    fits: list[tuple[float, float, float, float, float, int]] = []
    firsts: list[int] = []
    for points in groups.values():
        if len({p.z for p in points}) >= 2:
            fits.append(_straight(points, middle_mm))
            firsts.append(points[0].row)
            continue
        for p in points:
            reason = "one depth of this seat only: its tilt is not known"
            excluded.append(Excluded(row=p.line, column="", found="", reason=reason))
    excluded.sort(key=lambda e: e.row)
    dropped = {e.row for e in excluded}
    used = [i for i in used if table.rows[i][0] not in dropped]
    held = {role: tuple(texts[role][i] for i in firsts) for role in texts}
    lines = tuple(table.rows[i][0] for i in firsts)
    refuse_seats(whole.shown, names[0], len(whole.rows), excluded, given, held, lines)
    seats = two_seats(held.get("seat"))
    result = np.array([f[:4] for f in fits], dtype=np.float64).reshape(-1, 4)
    offset, tilt = np.ascontiguousarray(result[:, :2]), np.ascontiguousarray(result[:, 2:])
    if depth_from == "face":
        tilt[_second_seats(whole.shown, held.get("seat"), seats)] *= -1.0
    dof = sum(f[5] for f in fits)
    state, state_facts = state_of(table, used)
    taken = [*at.values(), *index.values(), *state_columns(whole).values()]
    return AlignmentReadings(
        shown=whole.shown,
        offset=offset,
        tilt=tilt,
        residual_sd=math.sqrt(math.fsum(f[4] for f in fits) / dof) if dof else None,
        residual_dof=dof,
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
            *(fact for column in read.values() for fact in column.understood),
            f"depths from {'the datum' if depth_from == 'datum' else 'the face of each seat'}; "
            "x and y taken as the same directions at both seats",
            *role_facts(given, held),
            *merges,
            *state_facts,
            *unused_columns(whole, taken),
            f"{counted(len(whole.rows), 'row')} = {len(used)} used + {len(excluded)} excluded",
        ),
        notes=pair_notes(held.get("unit"), held.get("seat"), seats),
        sha256=whole.sha256,
        state=state,
    )


def _straight(
    points: list[_Point], middle: float | None
) -> tuple[float, float, float, float, float, int]:
    """Offset x, y at the middle [mm], tilt x, y [rad], squared residuals, degrees of freedom."""
    z = np.array([p.z for p in points])
    centre = float(z.mean()) if middle is None else middle
    design = np.column_stack([np.ones(z.size), z - centre])
    xy = np.array([[p.x, p.y] for p in points])
    solution = np.linalg.lstsq(design, xy, rcond=None)[0]
    rest = xy - design @ solution
    (ox, oy), (tx, ty) = solution
    return float(ox), float(oy), float(tx), float(ty), float(np.sum(rest**2)), 2 * (z.size - 2)


def _second_seats(
    shown: str, side: tuple[str, ...] | None, seats: tuple[str, str] | None
) -> NDArray[np.bool_]:
    """Which entries belong to the second seat, whose depths run against the datum."""
    if side is None or seats is None:
        message = "depths from the face of each seat need a column that names two seats"
        raise SpecError([Problem(file=shown, message=message)])
    return np.array([s == seats[1] for s in side])
