"""Where in a bore a reading was taken: seat, depth and angle, told by the names of columns."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import safe
from tolsim.spec.headers import plain
from tolsim.spec.tables import Table
from tolsim.units import split_suffix

__all__ = ["Place", "check_places", "place_from_name", "place_text", "places_of"]

_NUMBER = r"(\d{1,4}(?:\.\d{1,4})?)"
_DEPTH = re.compile(rf"(?<![a-z])(?:depth|z)[ _=]*{_NUMBER}(?: ?mm)?(?![\d.])", re.IGNORECASE)
_ANGLE = re.compile(rf"(?<![a-z])(?:angle|a)[ _=]*{_NUMBER}(?: ?(?:deg|\u00b0))?(?![\d.])", re.I)
_NO_SEAT = frozenset({"", "bore", "diameter", "dia", "d", "size", "seat"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """A place of measurement and the column that holds its readings.

    ``depth_mm`` [mm] runs along the axis, ``angle_deg`` [deg] round it (a two-point diameter is
    the same at 0 and 180); None where there is one depth or angle only, or none is stated.
    ``side`` names the seat where the column does.
    """

    column: str
    depth_mm: float | None = None
    angle_deg: float | None = None
    side: str | None = None

    def __post_init__(self) -> None:
        for value in (self.depth_mm, self.angle_deg):
            if value is not None and not math.isfinite(value):
                raise ValueError(f"a place needs finite depth and angle, got {self}")


def place_from_name(name: str) -> Place | None:
    """Read a place from the name of a column; None where the name states none.

    >>> place_from_name("left z2 a90_mm")
    Place(column='left z2 a90_mm', depth_mm=2.0, angle_deg=90.0, side='left')
    >>> place_from_name("depth 3.5 mm")
    Place(column='depth 3.5 mm', depth_mm=3.5, angle_deg=None, side=None)
    >>> place_from_name("operator") is None
    True
    """
    stem, unit = split_suffix(plain(name))
    text = stem if unit else plain(name)
    depth, angle = _DEPTH.search(text), _ANGLE.search(text)
    starts = [m.start() for m in (depth, angle) if m]
    if not starts:
        return None
    seat = text[: min(starts)].strip(" _/-,:")
    words = [w for w in seat.replace("_", " ").split() if w.casefold() not in _NO_SEAT]
    return Place(
        column=plain(name),
        depth_mm=float(depth[1]) if depth else None,
        angle_deg=float(angle[1]) if angle else None,
        side=" ".join(words) or None,
    )


def places_of(table: Table, taken: Sequence[int]) -> list[Place]:
    """Places that the names of the columns state, columns in `taken` left out."""
    names = table.header.names
    found = (place_from_name(n) for i, n in enumerate(names) if i not in taken and n)
    return [place for place in found if place is not None]


def place_text(place: Place) -> str:
    """A place in words.

    >>> place_text(Place(column="x", depth_mm=2.0, angle_deg=90.0, side="left"))
    'seat left, depth 2 mm, angle 90 deg'
    """
    words = []
    if place.side is not None:
        words.append(f"seat {safe(place.side, 20)}")
    if place.depth_mm is not None:
        words.append(f"depth {place.depth_mm:g} mm")
    if place.angle_deg is not None:
        words.append(f"angle {place.angle_deg:g} deg")
    return ", ".join(words) or "one place"


def check_places(shown: str, places: Sequence[Place]) -> None:
    """Refuse places that are the same, or of which only some state a depth, angle or seat.

    Raises
    ------
    SpecError
        With a problem for each such fault.
    """
    problems = []
    seen: dict[tuple[object, ...], str] = {}
    for p in places:
        key = (p.side, p.depth_mm, p.angle_deg)
        if key in seen:
            message = f"the same place as {safe(seen[key])}: {place_text(p)}"
            problems.append(Problem(file=shown, key=safe(p.column), message=message))
        seen.setdefault(key, p.column)
    for what, values in (
        ("depth", [p.depth_mm for p in places]),
        ("angle", [p.angle_deg for p in places]),
        ("seat", [p.side for p in places]),
    ):
        without = [p for p, v in zip(places, values, strict=True) if v is None]
        if without and len(without) < len(places):
            message = f"names no {what}, as other columns do"
            problems.append(Problem(file=shown, key=safe(without[0].column), message=message))
    if problems:
        raise SpecError(problems)
