"""Boundary dimensions of rolling bearings (ISO 15): 25 thin and light deep groove ball bearings.

Bore, outside diameter and width agree in the two makers' catalogues read. Load ratings are each
maker's own and do not.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from itertools import takewhile

from tolsim.errors import closest
from tolsim.standards.tables import TableError, rows

__all__ = ["Bearing", "dimensions", "parse_size", "raceways"]

_FORM = "bore x outside diameter x width in mm, bore < outside diameter: 25x37x7"


@dataclass(frozen=True, kw_only=True, slots=True)
class Bearing:
    """A listed bearing: bore d, outside diameter D and width B in mm, ratings in N.

    The two makers read agree on d, D and B (ISO 15) but not on the dynamic and static ratings
    (their own, after ISO 281 and ISO 76): both are kept. Shoulder diameters are approximate.
    """

    designation: str
    alternative: str
    d: float
    D: float
    B: float
    dynamic_rating: tuple[float, float]
    static_rating: tuple[float, float]
    fatigue_limit: float | None
    inner_shoulder: float | None
    outer_shoulder: float | None
    mass_kg: float
    confidence: str
    source: str

    @property
    def size(self) -> str:
        """The size as it is written: 25x37x7."""
        return f"{self.d:g}x{self.D:g}x{self.B:g}"

    @property
    def diameter_series(self) -> str:
        """Diameter series of ISO 15 (8, 9, 0, 2), read from the designation."""
        return self.designation[-3]


def parse_size(word: str) -> tuple[float, float, float]:
    """Bore, outside diameter and width [mm] of ``25x37x7``; also with ``×`` or ``*``.

    >>> parse_size("25x37x7")
    (25.0, 37.0, 7.0)
    """
    parts = re.split(r"\s*[xX×*]\s*", word.strip().removesuffix("mm").strip())
    try:
        d, D, B = (float(p) for p in parts)
    except ValueError:
        found = None
    else:
        found = (d, D, B) if 0.0 < d < D < float("inf") and 0.0 < B < float("inf") else None
    if found is None:
        raise TableError(
            "this is no bearing size",
            found=repr(word),
            allowed=_FORM,
            closest=closest(word, [b.size for b in _bearings()]),
        )
    return found


def dimensions(size: str | tuple[float, float, float]) -> Bearing:
    """The listed bearing of a size (``25x37x7``, or d, D, B in mm) or designation (``61805``).

    Raises
    ------
    TableError
        The bearing is not among the 25 listed ones; carries the nearest of them. ISO 492 and ISO
        5753-1 cover sizes that are not listed as well.

    >>> dimensions("25x37x7").designation
    '61805'
    """
    if isinstance(size, str) and size.strip().isdecimal():
        return _by_name(size.strip())
    wanted = parse_size(size if isinstance(size, str) else "x".join(repr(v) for v in size))
    for found in _bearings():
        if (found.d, found.D, found.B) == wanted:
            return found

    def away(b: Bearing) -> float:
        return sum(abs(math.log(a / c)) for a, c in zip((b.d, b.D, b.B), wanted, strict=True))

    raise TableError(
        "this bearing size is not listed",
        found="x".join(f"{v:g}" for v in wanted),
        allowed=", ".join(b.size for b in _bearings()),
        closest=min(_bearings(), key=away).size,
    )


def raceways(d: float, D: float) -> tuple[float, float]:
    """Estimated raceway diameters [mm] of a ball bearing, inner then outer.

    ``(4 d + D) / 5`` and ``(d + 4 D) / 5``: handbook estimates, not published dimensions; the
    inner one from memory by the symmetry of the rule.

    References
    ----------
    .. [1] A bearing maker's catalogue, equation for the outer raceway of a fitted outer ring.

    >>> raceways(25.0, 37.0)
    (27.4, 34.6)
    """
    if not 0.0 < d < D:
        raise ValueError(f"need 0 < d < D, got d = {d}, D = {D}")
    return (4.0 * d + D) / 5.0, (d + 4.0 * D) / 5.0


def _by_name(name: str) -> Bearing:
    for found in _bearings():
        if name in (found.designation, found.alternative):
            return found
    names = [b.designation for b in _bearings()]
    names_too = dict.fromkeys(names + [b.alternative for b in _bearings()])

    def away(other: str) -> tuple[int, int]:
        same = takewhile(lambda pair: pair[0] == pair[1], zip(name, other, strict=False))
        return -sum(1 for _ in same), abs(int(name) - int(other))

    raise TableError(
        "this bearing is not listed",
        found=name,
        allowed=", ".join(names),
        closest=min(names_too, key=away),
    )


@cache
def _bearings() -> tuple[Bearing, ...]:
    def newton(cell: str) -> float:
        return round(float(cell) * 1e3, 3)

    return tuple(
        Bearing(
            designation=r["designation"],
            alternative=r["alternative_designation"],
            d=float(r["d_mm"]),
            D=float(r["D_mm"]),
            B=float(r["B_mm"]),
            dynamic_rating=(newton(r["C_kN_first"]), newton(r["C_kN_second"])),
            static_rating=(newton(r["C0_kN_first"]), newton(r["C0_kN_second"])),
            fatigue_limit=newton(r["Pu_kN_first"]) if r["Pu_kN_first"] else None,
            inner_shoulder=_number(r["inner_shoulder_mm_approx"]),
            outer_shoulder=_number(r["outer_shoulder_mm_approx"]),
            mass_kg=float(r["mass_kg"]),
            confidence=r["confidence"],
            source=r["provenance"],
        )
        for r in rows("bearing_dimensions")
    )


def _number(cell: str) -> float | None:
    return float(cell) if cell else None
