"""Interference of a seat from the drawing alone: worst case and root sum square."""

from __future__ import annotations

import itertools
import math

from tolsim.joint.latent import Source
from tolsim.joint.model import Interference
from tolsim.joint.seat_model import REFERENCE, Seat, SeatInputs
from tolsim.joint.sizes import SeatSizes

__all__ = ["known_interference", "not_asked"]

_WORDS = {
    "bore.diameter": "the bore",
    "bearing.outside": "the ring",
    "sleeve.inside": "the sleeve's bore",
    "sleeve.outside": "the sleeve's outside",
}
#: Features of size that the interference of the ring depends on, by kind of joint.
_CHAIN = {
    "pressed": ("bearing.outside", "bore.diameter"),
    "sleeved": ("bearing.outside", "sleeve.inside", "sleeve.outside", "bore.diameter"),
    "bonded": ("bearing.outside", "sleeve.inside"),
    "threaded": ("bearing.outside", "sleeve.inside"),
}


def known_interference(
    kind: str, seat: Seat, sizes: dict[str, SeatSizes]
) -> tuple[Interference, Interference]:
    """What the drawing limits of the parts allow at 20 °C, for both seats.

    Worst case is the smallest and largest interference over all corners of the bands, exact
    because the interference is monotone in every size. Root sum square takes each band as six
    standard deviations of a centred process and weighs it with how much the interference moves
    over it, about the middles of the bands.
    """
    chain = _CHAIN[kind]
    bands = {key: sizes[key].limits for key in chain}
    missing = [_WORDS[k] for k, b in bands.items() if b is None]
    if missing:
        why = f"no drawing band for {' and '.join(missing)}"
        return (
            Interference(seat=1, worst=None, root_sum_square=None, why=why),
            Interference(seat=2, worst=None, root_sum_square=None, why=why),
        )
    limits = {k: b for k, b in bands.items() if b is not None}
    middle = {k: 0.5 * (b[0] + b[1]) for k, b in limits.items()}
    corners = [
        _interference(seat, dict(zip(chain, corner, strict=True)))
        for corner in itertools.product(*(limits[k] for k in chain))
    ]
    centre = _interference(seat, middle)
    moves = [
        _interference(seat, {**middle, k: limits[k][1]})
        - _interference(seat, {**middle, k: limits[k][0]})
        for k in chain
    ]
    half = 0.5 * math.hypot(*moves)
    worst, likely = (min(corners), max(corners)), (centre - half, centre + half)
    return (
        Interference(seat=1, worst=worst, root_sum_square=likely, why=None),
        Interference(seat=2, worst=worst, root_sum_square=likely, why=None),
    )


def not_asked() -> tuple[Interference, Interference]:
    """Stands where nobody asked what the drawing allows."""
    first, second = (
        Interference(seat=seat, worst=None, root_sum_square=None, why="not asked for")
        for seat in (1, 2)
    )
    return first, second


def _interference(seat: Seat, deviations: dict[str, float]) -> float:
    def fixed(key: str) -> Source:
        value = deviations.get(key, 0.0)
        return lambda z: value

    at = SeatInputs(
        bore=fixed("bore.diameter"),
        ring=fixed("bearing.outside"),
        clearance=fixed(""),
        inner_fit=None,
        load=None,
        friction=fixed(""),
        inside=fixed("sleeve.inside"),
        outside=fixed("sleeve.outside"),
        taper=None,
    )
    return float(seat.contact(seat.interferences([], at), REFERENCE).interference(0))
