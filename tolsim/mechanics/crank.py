"""Loads on two seats from a force on a crank and the pull of a chain, for either stroke.

Statics of a stiff shaft on two seats. Lengths [mm], forces [N]; the first seat lies on one side of
the mid-plane, the second on the other. A stroke is named after the seat on whose side the pedal is
pushed. Loads of a seat have two directions: along the pedal's force and along the chain's pull.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tolsim.mechanics.grip import seat_load
from tolsim.record import Array

__all__ = ["Crank", "chain_ratio", "resultant", "stroke_loads", "worst_loads"]

#: Force along the pedal's and along the chain's direction.
Pushed = tuple[Array, Array]


@dataclass(frozen=True, kw_only=True, slots=True)
class Crank:
    """Where pedal and chain act, and between which seats.

    `overhang` is the distance of the pedal from the mid-plane, on either side; `span` that between
    the seats; `chain_line` that of the chain on the side of seat `drive`; `chain_angle` [rad] the
    angle between the pedal's force and the chain's pull.
    """

    overhang: float
    span: float
    chain_line: float = 0.0
    chain_angle: float = 0.5 * math.pi
    drive: int = 2

    def __post_init__(self) -> None:
        if not self.span > 0.0:
            raise ValueError(f"span must be positive, got {self.span}")
        if self.drive not in (1, 2):
            raise ValueError(f"the chain runs at seat 1 or 2, got {self.drive}")


def chain_ratio(crank_length: float, chainring_radius: float) -> float:
    """Pull of the chain over the force on the pedal, crank at right angles to the force.

    The torque of the crank over the radius of the chainring; nothing is lost in between.

    >>> chain_ratio(170.0, 68.0)
    2.5
    """
    if not (crank_length > 0.0 and chainring_radius > 0.0):
        raise ValueError(
            f"crank and chainring must be positive, got {crank_length}, {chainring_radius}"
        )
    return crank_length / chainring_radius


def stroke_loads(
    crank: Crank, stroke: int, pedal: Array, chain: Array = 0.0
) -> tuple[Pushed, Pushed]:
    r"""Loads of seats 1 and 2 while the pedal on the side of seat `stroke` is pushed.

    .. math:: P_{near, far} = F\left(\tfrac12 \pm \tfrac eB\right), \quad
        C_{drive, other} = F_c\left(\tfrac12 \pm \tfrac cB\right)

    Equilibrium of forces and of moments about the mid-plane, in either direction by itself. The
    chain pulls on its own side in both strokes. Negative: against the force.

    >>> crank = Crank(overhang=120.0, span=70.0, chain_line=42.0)
    >>> stroke_loads(crank, 1, 1000.0, 2000.0)
    ((2214.286, -200.0), (-1214.286, 2200.0))
    >>> stroke_loads(crank, 2, 1000.0, 2000.0)
    ((-1214.286, -200.0), (2214.286, 2200.0))
    """
    if stroke not in (1, 2):
        raise ValueError(f"the stroke is that at seat 1 or 2, got {stroke}")
    near, far = seat_load(pedal, crank.overhang, crank.span)
    at_chain, other = seat_load(chain, crank.chain_line, crank.span)
    pushed = (near, far) if stroke == 1 else (far, near)
    pulled = (at_chain, other) if crank.drive == 1 else (other, at_chain)
    return (pushed[0], pulled[0]), (pushed[1], pulled[1])


def resultant(crank: Crank, load: Pushed, *, chained: bool = True) -> Array:
    """Radial load of one seat [N] from its parts along pedal and chain.

    >>> float(resultant(Crank(overhang=120.0, span=70.0), (300.0, -400.0)))
    500.0
    """
    pushed, pulled = load
    if not chained:
        return np.abs(pushed)
    cosine = math.cos(crank.chain_angle)
    if abs(cosine) < 1e-12:
        return np.hypot(pushed, pulled)
    return np.hypot(pushed + pulled * cosine, pulled * math.sin(crank.chain_angle))


def worst_loads(
    crank: Crank, pedal: Array, chain: Array = 0.0, *, chained: bool = True
) -> tuple[Array, Array]:
    """Radial load of seats 1 and 2 in the worse stroke of each [N].

    Separation, slip, creep and the bond's stress grow with its size whatever its direction, so the
    worse stroke of a seat decides all of them.

    >>> [float(f) for f in worst_loads(Crank(overhang=120.0, span=70.0), 1000.0, chained=False)]
    [2214.286, 2214.286]
    """
    strokes = [stroke_loads(crank, k, pedal, chain) for k in (1, 2)]
    first, second = (
        np.maximum(*(resultant(crank, loads[seat], chained=chained) for loads in strokes))
        for seat in (0, 1)
    )
    return first, second
