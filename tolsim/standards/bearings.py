"""Rolling bearings: ring tolerances (ISO 492), radial clearance (ISO 5753-1), sizes (ISO 15).

Radial bearings except tapered ones. The values were seen in two makers' catalogues that quote ISO
492:2014 and ISO 5753-1:2009; classes 4 and 2 in one of them only. Ring limits hold for the MEAN
diameter in a plane (``t_Δdmp``, ``t_ΔDmp``): a single diameter may lie outside by its variation.
Clearances hold for the free bearing, neither fitted nor loaded. Everything at 20 °C.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal, TypeAlias

from tolsim.errors import closest
from tolsim.standards.boundary import Bearing, dimensions, parse_size, raceways
from tolsim.standards.tables import Row, TableError, mm, optional, pick, rows

__all__ = [
    "CLASSES",
    "GROUPS",
    "Bearing",
    "Clearance",
    "Ring",
    "class_name",
    "clearance",
    "dimensions",
    "group_name",
    "inner_ring",
    "outer_ring",
    "parse_size",
    "raceways",
    "width_limits",
]

#: Tolerance classes of ISO 492, coarsest first.
CLASSES: tuple[str, ...] = ("Normal", "6", "5", "4", "2")
#: Groups of radial internal clearance of ISO 5753-1, smallest first.
GROUPS: tuple[str, ...] = ("2", "N", "3", "4", "5")

Series: TypeAlias = Literal["9", "01", "234"]
_SERIES: tuple[Series, ...] = ("9", "01", "234")


@dataclass(frozen=True, kw_only=True, slots=True)
class Ring:
    """Tolerances of one ring; lengths in mm, None where the class sets no limit.

    ``lower`` and ``upper`` bound the deviation of the mean diameter in a plane, ``single_lower``
    that of a single diameter (classes 4 and 2). ``variation`` is the largest minus the smallest
    single diameter in a plane, by diameter series; ``variation_capped`` the same for sealed or
    shielded bearings; ``mean_variation`` that of the mean diameter along the ring; ``run_out``
    radial, ``axial_run_out`` axial of the assembled bearing, ``squareness`` of the face (inner
    ring) or of the outside surface (outer ring) to the axis; ``width_variation`` of the width.
    """

    ring: Literal["inner", "outer"]
    nominal: float
    tolerance_class: str
    lower: float
    upper: float
    single_lower: float | None
    variation: Mapping[str, float | None]
    variation_capped: float | None
    mean_variation: float | None
    run_out: float | None
    axial_run_out: float | None
    squareness: float | None
    width_variation: float | None
    confidence: str
    source: str
    notes: tuple[str, ...]

    @property
    def width(self) -> float:
        """Tolerance of the mean diameter in mm."""
        return self.upper - self.lower

    @property
    def mid(self) -> float:
        """Middle of the band of the mean diameter, as a deviation in mm."""
        return 0.5 * (self.lower + self.upper)

    def plane_variation(self, series: str, *, capped: bool = False) -> float | None:
        """Largest minus smallest diameter in a plane [mm] for a diameter series of ISO 15.

        Series 7 and 8 are not covered by ISO 492; makers apply the column of series 9. Sealed or
        shielded (`capped`) outer rings have a limit of their own in classes Normal (series 2, 3,
        4) and 6 (series 0 to 4), none elsewhere.

        >>> outer_ring(37.0, "normal").plane_variation("8")
        0.014
        """
        if capped and self.ring == "outer":
            covered = {"Normal": "234", "6": "01234"}.get(self.tolerance_class, "")
            return self.variation_capped if series in covered else None
        columns = {"7": "9", "8": "9", "9": "9", "0": "01", "1": "01"}
        return self.variation[columns.get(series, "234")]

    @property
    def feature(self) -> Literal["hole", "shaft"]:
        """What the ring is in its fit: the outside of an outer ring is a shaft."""
        return "shaft" if self.ring == "outer" else "hole"


@dataclass(frozen=True, kw_only=True, slots=True)
class Clearance:
    """Radial internal clearance of a group, free bearing; `lower` and `upper` in mm."""

    bore: float
    group: str
    lower: float
    upper: float
    confidence: str
    source: str
    notes: tuple[str, ...]


def class_name(word: str) -> str:
    """The ISO 492 class that a word means: ``normal``, ``0``, ``P6``, ``class 5``.

    >>> class_name("normal"), class_name("P6")
    ('Normal', '6')
    """
    text = word.strip().lower().removeprefix("class").strip().removeprefix("p")
    found = {"normal": "Normal", "n": "Normal", "0": "Normal", **{c: c for c in CLASSES[1:]}}
    if text not in found:
        allowed = [c.lower() for c in CLASSES]
        raise TableError(
            "unknown tolerance class of a rolling bearing",
            found=word,
            allowed=", ".join(allowed) + " (ISO 492)",
            closest=_nearest_number(text, CLASSES[1:]) or closest(text, allowed),
        )
    return found[text]


def group_name(word: str) -> str:
    """The ISO 5753-1 group that a word means: ``N``, ``normal``, ``C3``, ``3``.

    >>> group_name("C3"), group_name("normal")
    ('3', 'N')
    """
    text = word.strip().lower().removeprefix("group").strip().removeprefix("c")
    found = {"normal": "N", "n": "N", "0": "N", **{g: g for g in GROUPS if g != "N"}}
    if text not in found:
        raise TableError(
            "unknown clearance group of a rolling bearing",
            found=word,
            allowed=", ".join(GROUPS) + " (ISO 5753-1); C3 means 3",
            closest=_nearest_number(text, [g for g in GROUPS if g != "N"])
            or closest(text, ["normal"]),
        )
    return found[text]


def outer_ring(D: float, tolerance_class: str) -> Ring:
    """Tolerances of an outer ring of outside diameter `D` [mm].

    Notes
    -----
    Classes 4 and 2: the squareness of the outside surface is half the older value of the table,
    computed, not seen. Single-plane variation of capped bearings exists for some series only.

    Raises
    ------
    TableError
        Unknown class, or a diameter that the class does not cover (Normal, 6, 5 to 500 mm; 4 and
        2 to 400 mm).

    References
    ----------
    .. [1] ISO 492:2014 as printed in bearing makers' catalogues (the rows name them).

    >>> outer_ring(37.0, "normal").lower
    -0.011
    """
    cls = class_name(tolerance_class)
    row = _ring_row("iso492_outer_ring", cls, D, "D", "outside diameter")
    notes = [n for n in row["note"].split("; ") if n]
    return Ring(
        ring="outer",
        nominal=D,
        tolerance_class=cls,
        lower=mm(row["delta_Dmp_lower_um"]),
        upper=mm(row["delta_Dmp_upper_um"]),
        single_lower=optional(row["delta_Ds_lower_um"]),
        variation=_variation(row, "V_Dsp_open"),
        variation_capped=optional(row["V_Dsp_capped_um"]),
        mean_variation=optional(row["V_Dmp_um"]),
        run_out=optional(row["K_ea_um"]),
        axial_run_out=optional(row["S_ea_um"]),
        squareness=optional(row["S_D_iso492_2014_um"]),
        width_variation=optional(row["V_Cs_um"]),
        confidence=row["confidence"],
        source=row["provenance"],
        notes=tuple(notes),
    )


def inner_ring(d: float, tolerance_class: str) -> Ring:
    """Tolerances of an inner ring of bore `d` [mm].

    Raises
    ------
    TableError
        Unknown class, or a bore that the class does not cover (Normal, 6, 5 to 500 mm; 4 and 2 to
        250 mm).

    References
    ----------
    .. [1] ISO 492:2014 as printed in bearing makers' catalogues (the rows name them).

    >>> inner_ring(25.0, "6").lower
    -0.008
    """
    cls = class_name(tolerance_class)
    row = _ring_row("iso492_inner_ring", cls, d, "d", "bore")
    return Ring(
        ring="inner",
        nominal=d,
        tolerance_class=cls,
        lower=mm(row["delta_dmp_lower_um"]),
        upper=mm(row["delta_dmp_upper_um"]),
        single_lower=optional(row["delta_ds_lower_um"]),
        variation=_variation(row, "V_dsp"),
        variation_capped=None,
        mean_variation=optional(row["V_dmp_um"]),
        run_out=optional(row["K_ia_um"]),
        axial_run_out=optional(row["S_ia_um"]),
        squareness=optional(row["S_d_um"]),
        width_variation=optional(row["V_Bs_um"]),
        confidence=row["confidence"],
        source=row["provenance"],
        notes=tuple(n for n in row["note"].split("; ") if n),
    )


def width_limits(d: float, tolerance_class: str) -> tuple[float, float]:
    """Deviation [mm] of the width of a single ring, lower and upper, by the bore `d` [mm].

    The outer ring has the limits of the inner ring of the same bearing.

    >>> width_limits(25.0, "normal")
    (-0.12, 0.0)
    """
    row = _ring_row("iso492_inner_ring", class_name(tolerance_class), d, "d", "bore")
    return mm(row["delta_Bs_lower_um"]), mm(row["delta_Bs_upper_um"])


def clearance(d: float, group: str) -> Clearance:
    """Radial internal clearance of a deep groove ball bearing, cylindrical bore `d` [mm].

    Raises
    ------
    TableError
        Unknown group, or a bore outside the table (from 2.5 mm, groups 4 and 5 over 6 mm).

    References
    ----------
    .. [1] ISO 5753-1:2009 as printed in bearing makers' catalogues (the rows name them).

    >>> free = clearance(25.0, "N")
    >>> free.lower, free.upper
    (0.005, 0.02)
    """
    name = group_name(group)
    table = _named("iso5753_radial_clearance", "group")[name]
    what = f"the bore for clearance group {name}"
    row = pick(table, d, "d_over_mm", "d_incl_mm", what=what)
    return Clearance(
        bore=d,
        group=name,
        lower=mm(row["min_um"]),
        upper=mm(row["max_um"]),
        confidence=row["confidence"],
        source=row["provenance"],
        notes=tuple(n for n in row["note"].split("; ") if n),
    )


@cache
def _named(table: str, column: str) -> dict[str, tuple[Row, ...]]:
    found: dict[str, list[Row]] = {}
    for row in rows(table):
        found.setdefault(row[column], []).append(row)
    return {key: tuple(rows_) for key, rows_ in found.items()}


def _ring_row(table: str, cls: str, size: float, letter: str, what: str) -> Row:
    of_class = _named(table, "tolerance_class")[cls]
    said = f"the {what} in class {cls if cls != 'Normal' else 'normal'}"
    return pick(of_class, size, f"{letter}_over_mm", f"{letter}_incl_mm", what=said)


def _variation(row: Row, stem: str) -> Mapping[str, float | None]:
    return MappingProxyType({s: optional(row[f"{stem}_series{s}_um"]) for s in _SERIES})


def _nearest_number(text: str, allowed: list[str] | tuple[str, ...]) -> str | None:
    if not text.lstrip("-").isdecimal():
        return None
    return min(allowed, key=lambda a: abs(int(a) - int(text)))
