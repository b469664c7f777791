"""Radial loads of the two seats, drawn; and what statics makes of pedal and chain, told."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.sizes import process_of
from tolsim.mechanics.crank import Crank, chain_ratio, resultant, stroke_loads, worst_loads
from tolsim.mechanics.grip import seat_load
from tolsim.process.base import Process
from tolsim.record import Array
from tolsim.spec.study import Service

__all__ = ["Loads", "StrokeLoads", "seat_loads"]

#: Share of the units that a range holds, three standard deviations of a normal to either side.
CENTRAL = 0.9973
_ALONE, _EACH = 20001, 1001  # points that stand for one force alone, and for each of two

Range = tuple[float, float, float]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class StrokeLoads:
    """Loads of both seats in both strokes [N].

    `pedal` and `chain` are the mean force and the ends of its central range. `strokes` holds for
    stroke 1 and 2 and in each for seat 1 and 2 the parts along pedal and chain and the size of
    both, at the mean forces. `worst` holds for seat 1 and 2 the worse stroke at the mean forces
    and the central range of the load that decides.
    """

    crank: Crank
    pedal: Range
    chain: Range | None
    strokes: tuple[tuple[Range, Range], tuple[Range, Range]]
    worst: tuple[tuple[int, float, float], tuple[int, float, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Loads:
    """Load of seat 1 and 2, and the strokes behind them where statics gives them."""

    seats: tuple[Source, Source]
    told: StrokeLoads | None = None


def seat_loads(latent: Latent, service: Service, span: float, *, tell: bool = True) -> Loads | None:
    """Radial load of each seat [N]: as given, or in the worse stroke of pedal and chain.

    Parameters
    ----------
    latent : Latent
        Registry that gets a row for every force that scatters by itself.
    service : Service
        The load as stated.
    span : float
        Distance between the seats [mm].
    tell : bool
        Work out what statics makes of pedal and chain, to be told.
    """
    if service.seat_load is not None:
        row, process = latent.row("seat_load"), process_of(service.seat_load)
        given = _drawn(process, row)
        return Loads(seats=(given, given))
    if service.pedal_force is None:
        return None
    assert service.overhang is not None
    pedal = process_of(service.pedal_force)
    crank = Crank(
        overhang=service.overhang,
        span=span,
        chain_line=service.chain_line or 0.0,
        chain_angle=0.5 * math.pi if service.chain_angle is None else service.chain_angle,
        drive=service.drive_seat or 2,
    )
    force = _drawn(pedal, latent.row("pedal_force"))
    chain = None if service.chain_force is None else process_of(service.chain_force)
    ratio = None
    if service.crank_length is not None and service.chainring_radius is not None:
        ratio = chain_ratio(service.crank_length, service.chainring_radius)
    told = _told(crank, pedal, chain, ratio) if tell else None
    if chain is None and ratio is None:

        def near(z: Rows) -> Array:
            return seat_load(force(z), crank.overhang, span)[0]

        return Loads(seats=(near, near), told=told)  # the far seat bears less in either stroke
    own = None if chain is None else _drawn(chain, latent.row("chain_force"))

    def worst(seat: int) -> Source:
        def load(z: Rows) -> Array:
            pushed = force(z)
            pulled = own(z) if own is not None else pushed * (ratio or 0.0)
            return worst_loads(crank, pushed, pulled)[seat]

        return load

    return Loads(seats=(worst(0), worst(1)), told=told)


def _drawn(process: Process, row: Source) -> Source:
    return lambda z: process.size(row(z))


def _told(crank: Crank, pedal: Process, chain: Process | None, ratio: float | None) -> StrokeLoads:
    chained = chain is not None or ratio is not None
    points = _ALONE if chain is None else _EACH
    z = ndtri((np.arange(points) + 0.5) / points)
    pushed = _sizes(pedal, z)
    means = (pedal.mean, 0.0)
    pulled: FloatArray = np.zeros(1)
    if chain is not None:
        pushed, pulled = pushed[:, None], _sizes(chain, z)[None, :]
        means = (pedal.mean, chain.mean)
    elif ratio is not None:
        pulled = pushed * ratio
        means = (pedal.mean, pedal.mean * ratio)
    strokes = []
    for stroke in (1, 2):
        parts = stroke_loads(crank, stroke, *means)
        strokes.append(
            [
                (float(p), float(c), float(resultant(crank, (p, c), chained=chained)))
                for p, c in parts
            ]
        )
    worst = []
    for seat, load in enumerate(worst_loads(crank, pushed, pulled, chained=chained)):
        ends = _central(load)
        worse = 1 if strokes[0][seat][2] >= strokes[1][seat][2] else 2
        worst.append((worse, *ends))
    return StrokeLoads(
        crank=crank,
        pedal=(means[0], *_ends(pedal, 1.0)),
        chain=(means[1], *_ends(chain or pedal, ratio or 1.0)) if chained else None,
        strokes=((strokes[0][0], strokes[0][1]), (strokes[1][0], strokes[1][1])),
        worst=(worst[0], worst[1]),
    )


def _ends(process: Process, factor: float) -> tuple[float, float]:
    low, high = _sizes(process, ndtri(np.array([0.5 * (1.0 - CENTRAL), 0.5 * (1.0 + CENTRAL)])))
    return float(low) * factor, float(high) * factor


def _sizes(process: Process, z: FloatArray) -> FloatArray:
    return np.broadcast_to(np.asarray(process.size(z), dtype=np.float64), z.shape)


def _central(values: Array) -> tuple[float, float]:
    tail = 0.5 * (1.0 - CENTRAL)
    low, high = np.quantile(np.asarray(values), (tail, 1.0 - tail))
    return float(low), float(high)
