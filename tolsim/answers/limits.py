"""Answers of the look-up: a class, the classes nearest to a band, a fit, a bearing.

No chance here: the probable fit is the handbook's root sum of squares. Lengths in mm,
interference is shaft minus hole on the diameter, positive when tight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tolsim.standards import bearings
from tolsim.standards.bearings import Bearing, Clearance, Ring
from tolsim.standards.sizes import Feature, Limits
from tolsim.standards.tables import TableError

__all__ = [
    "BearingAnswer",
    "Fit",
    "Side",
    "band_side",
    "fit",
    "look_up_bearing",
    "ring_side",
    "seat_side",
]

#: Two parts of one fit share a nominal size; further apart than this share of it is a slip of the
#: pen (common practice, no source).
MOST_APART = 0.01


@dataclass(frozen=True, kw_only=True, slots=True)
class Side:
    """One part of a fit: its nominal size and its band as deviations [mm]."""

    name: str
    feature: Feature
    nominal: float
    lower: float
    upper: float
    confidence: str | None = None
    source: str | None = None
    standard: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> float:
        """Tolerance in mm."""
        return self.upper - self.lower


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """A hole and a shaft, and the interference [mm] they leave: worst case and probable.

    `seat` says which of the two was asked about, `nominal_step` is shaft minus hole nominal [mm].
    """

    seat: Feature
    hole: Side
    shaft: Side
    nominal_step: float
    worst: tuple[float, float]
    probable: tuple[float, float]

    @property
    def mid(self) -> float:
        """Interference in mm with both parts in the middle of their bands."""
        return 0.5 * (self.worst[0] + self.worst[1])


@dataclass(frozen=True, kw_only=True, slots=True)
class BearingAnswer:
    """Limits of both rings, width and clearance of a bearing; `listed` where its size is known."""

    d: float
    D: float
    B: float
    outer: Ring
    inner: Ring
    width: tuple[float, float]
    clearance: Clearance
    raceways: tuple[float, float]
    listed: Bearing | None


def fit(one: Side, other: Side) -> Fit:
    r"""Interference of a hole and a shaft: worst case, and the handbook's probable range.

    Worst case: smallest shaft in the largest hole to largest shaft in the smallest hole. Probable:
    the middle of the worst case plus and minus :math:`\tfrac12\sqrt{w_h^2 + w_s^2}`, three
    standard deviations where each part is normal, centred in its band and its tolerance `w` six
    standard deviations wide (a capability of 1). No shop has to be like that.

    Parameters
    ----------
    one, other : Side
        The seat and its partner, a hole and a shaft in any order. A difference of their nominal
        sizes is part of the fit.

    Raises
    ------
    TableError
        Two holes, two shafts, or nominal sizes more than 1 % apart.

    References
    ----------
    .. [1] Tables of theoretical and probable fits of rolling bearings in a maker's catalogue; all
       352 rows follow from this rule to the micrometre.

    Examples
    --------
    >>> from tolsim.standards.sizes import limits
    >>> seat = seat_side(limits(37.0, "P7"))
    >>> found = fit(seat, ring_side(37.0, "normal", seat.feature))
    >>> found.worst
    (0.006, 0.042)
    """
    if one.feature == other.feature:
        raise TableError(
            f"a fit needs a hole and a shaft, not two {one.feature}s",
            found=f"{one.name} with {other.name}",
            allowed="a hole (capital letter) with a shaft (small letter)",
        )
    hole, shaft = (one, other) if one.feature == "hole" else (other, one)
    step = round(shaft.nominal - hole.nominal, 9)
    if abs(step) > MOST_APART * hole.nominal:
        raise TableError(
            "the two nominal sizes differ by more than 1 %: this is no fit",
            found=f"hole {hole.nominal:g} mm, shaft {shaft.nominal:g} mm",
            allowed="one nominal size for both",
            closest=f"{one.nominal:g} mm",
        )
    low = step + shaft.lower - hole.upper
    high = step + shaft.upper - hole.lower
    mid, half = 0.5 * (low + high), 0.5 * math.hypot(hole.width, shaft.width)
    return Fit(
        seat=one.feature,
        hole=hole,
        shaft=shaft,
        nominal_step=step,
        worst=(round(low, 9), round(high, 9)),
        probable=(round(mid - half, 9), round(mid + half, 9)),
    )


def seat_side(found: Limits) -> Side:
    """A class as one side of a fit."""
    return Side(
        name=found.designation,
        feature=found.feature,
        nominal=found.nominal,
        lower=found.lower,
        upper=found.upper,
        confidence=found.confidence,
        source=found.source,
        standard="ISO 286-1:2010",
        notes=found.notes,
    )


def band_side(nominal: float, lower: float, upper: float, feature: Feature) -> Side:
    """A free band as one side of a fit."""
    if not lower < upper:
        raise ValueError(f"need lower < upper, got {lower} and {upper}")
    return Side(name="band", feature=feature, nominal=nominal, lower=lower, upper=upper)


def ring_side(nominal: float, tolerance_class: str, seat: Feature) -> Side:
    """The ring that sits in a hole (outer ring) or on a shaft (inner ring) of `nominal` [mm]."""
    if seat == "hole":
        ring = bearings.outer_ring(nominal, tolerance_class)
    else:
        ring = bearings.inner_ring(nominal, tolerance_class)
    return Side(
        name=f"{ring.ring} ring, class {ring.tolerance_class.lower()}",
        feature=ring.feature,
        nominal=nominal,
        lower=ring.lower,
        upper=ring.upper,
        confidence=ring.confidence,
        source=ring.source,
        standard="ISO 492:2014",
    )


def look_up_bearing(size: str, tolerance_class: str, group: str) -> BearingAnswer:
    """Limits of a bearing by its size (``25x37x7``) or designation; unlisted sizes work too.

    Raises
    ------
    TableError
        No size, unknown class or group, or a size outside the tables.

    >>> look_up_bearing("25x37x7", "normal", "N").listed.designation
    '61805'
    """
    try:
        listed: Bearing | None = bearings.dimensions(size)
    except TableError:
        if size.strip().isdecimal():
            raise
        listed = None
    d, D, B = (listed.d, listed.D, listed.B) if listed else bearings.parse_size(size)
    return BearingAnswer(
        d=d,
        D=D,
        B=B,
        outer=bearings.outer_ring(D, tolerance_class),
        inner=bearings.inner_ring(d, tolerance_class),
        width=bearings.width_limits(d, tolerance_class),
        clearance=bearings.clearance(d, group),
        raceways=bearings.raceways(d, D),
        listed=listed,
    )
