"""Offset or tilt read as magnitudes that have a systematic part: Rice, direction unknown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured, Parameters, seats_of
from tolsim.process.drawn import DrawnEvidence
from tolsim.process.functions import normal_share
from tolsim.process.magnitude_fit import fit_rice
from tolsim.process.systematic import LEAST, systematic_part, visible_distance
from tolsim.process.transport import Transport
from tolsim.record import Array
from tolsim.spec.alignment_readings import AlignmentReadings

__all__ = ["displaced", "is_rice", "level", "told"]

FloatArray = NDArray[np.float64]
_ALARMS = 0.03  # of files without a systematic part, all magnitudes of a file together
_TO_FIT = 3  # magnitudes that a distance and a spread need


def is_rice(seen: AlignmentReadings, what: str) -> bool:
    """Whether magnitudes are taken to have a systematic part: stated, or shown at any seat.

    Each seat's offsets and tilts are judged at an equal share of 3 %, so that a file without any
    systematic part is taken for one with it in at most 3 of 100 cases, however its seats are tied.
    """
    groups = seen.magnitudes(what)
    if seen.shape != "choose":
        return seen.shape == "rice"
    if not groups or not all(_fits(r) for r in groups):
        return False
    return any(len(r) >= LEAST and systematic_part(r) <= level(seen) for r in groups)


def level(seen: AlignmentReadings) -> float:
    """Share of samples without a systematic part that may be taken for one with it."""
    return _ALARMS / (len(seen.magnitudes("offset")) + len(seen.magnitudes("tilt")))


def _fits(r: FloatArray) -> bool:
    return len(r) >= _TO_FIT and float(np.ptp(r)) > 0.0


def displaced(
    latent: Latent,
    key: str,
    part_name: str,
    magnitudes: Sequence[FloatArray],
    together: float,
) -> tuple[Measured, Measured]:
    r"""Both components of both seats, about a centre at a distance in a direction nobody knows.

    .. math:: x_k = \nu_k \cos 2\pi\Phi(z_k) + \sigma_k u,\qquad
        y_k = \nu_k \sin 2\pi\Phi(z_k) + \sigma_k v

    Rows of evidence hold what the magnitudes allow distance and spread to be (one set for both
    seats where the file names none) and the direction of each seat, even all round: whether the
    seats are displaced alike or against each other is as open as everything else that is not
    measured.

    Parameters
    ----------
    latent, key, part_name
        Registry of rows, name of the quantity, file of the part.
    magnitudes : sequence of ndarray
        Lengths [mm or rad], of each seat or of both together.
    together : float
        Correlation of the seats about their centres, of which magnitudes say nothing.
    """
    base = f"evidence {part_name} {key}"
    marks = ("",) if len(magnitudes) == 1 else ("@1", "@2")
    found = [_fitted(np.ascontiguousarray(r).tobytes()) for r in magnitudes]
    hidden = [
        (
            latent.row(f"{base} sd{mark}", evidence=True),
            latent.row(f"{base} systematic part{mark}", evidence=True),
        )
        for mark in marks
    ]
    ways = [latent.row(f"{base} direction@{k}", evidence=True) for k in (1, 2)]

    def at(seat: int, z: Rows) -> tuple[Array, Array]:
        k = min(seat, len(found) - 1)
        sd, distance = found[k][1].partial([row(z) for row in hidden[k]])
        return np.maximum(distance, 0.0), np.exp(sd)

    def component(axis: int) -> Measured:
        turn = (np.cos, np.sin)[axis]

        def parameters(z: Rows) -> Parameters:
            (d1, s1), (d2, s2) = at(0, z), at(1, z)
            means = [
                d * turn(normal_share(way(z)) * (2.0 * math.pi))
                for d, way in zip((d1, d2), ways, strict=True)
            ]
            return (means[0], means[1]), (s1, s2), together

        own = f"{key}_{'xy'[axis]}"
        rows: tuple[Source, Source] = (latent.row(f"{own}@1"), latent.row(f"{own}@2"))
        first, second = found[0][0], found[-1][0]
        return Measured(
            part_name=part_name,
            key=own,
            n=(first.n, second.n),
            means=(0.0, 0.0),
            sds=(float(np.median(first.sds)), float(np.median(second.sds))),
            correlation=together,
            parameters=parameters,
            seats=seats_of(parameters, rows),
            notes=(),
        )

    return component(0), component(1)


@lru_cache(maxsize=64)
def _fitted(values: bytes) -> tuple[DrawnEvidence, Transport]:
    """What magnitudes allow, and the same as a smooth map: logarithm of the spread, distance."""
    evidence = fit_rice(np.frombuffer(values, dtype=np.float64))
    return evidence, Transport(np.array([np.log(evidence.sds), evidence.means]))


def told(part_name: str, seen: AlignmentReadings, what: str) -> list[str]:
    """What must be said of offsets or tilts that were read without a direction."""
    groups = seen.magnitudes(what)
    if not groups:
        return []
    names = [""] if len(groups) == 1 else [f" of seat {s}" for s in seen.seats or ()]
    if is_rice(seen, what):
        why = "as stated" if seen.shape == "rice" else "its readings are too even for none"
        return [
            *(
                f"{part_name}: {what}{name} {_part_of(r, what)} (Rice: {why})"
                for r, name in zip(groups, names, strict=True)
            ),
            f"{part_name}: {what} has no direction: that of the systematic part is taken as even "
            "all round, each seat by itself, so the intervals reach from seats displaced alike to "
            "seats displaced against each other; directions would settle it",
        ]
    head = (
        f"{part_name}: {what} has no direction; both components are taken as alike, independent "
        "and centred on 0 (Rayleigh)"
    )
    if seen.shape == "rayleigh":
        return [f"{head}, as stated"]
    return [
        head,
        *(
            f"{part_name}: {what}{name}: {_hidden(r, what, level(seen))}"
            for r, name in zip(groups, names, strict=True)
        ),
    ]


def _hidden(r: FloatArray, what: str, level: float) -> str:
    """What magnitudes that show no systematic part cannot rule out, and what that would do."""
    n = len(r)
    if not _fits(r):
        found = f"{n} readings" if n < _TO_FIT else f"{n} readings, all alike,"
        return f"{found} cannot tell a systematic part from none; directions would show it"
    if n < LEAST:
        said = f"{n} readings cannot tell a systematic part from none"
    else:
        said = (
            f"{n} readings show no systematic part, but one below "
            f"{visible_distance(n, level):.1f} times the spread of an axis they would show in "
            "fewer than 80 % of such samples"
        )
    evidence, _ = _fitted(r.tobytes())
    distance, spread = float(np.quantile(evidence.means, 0.95)), float(np.median(evidence.sds))
    both = distance**2 + 2.0 * spread**2
    against = math.sqrt((2.0 * distance**2 + 2.0 * spread**2) / both)
    alike = math.sqrt(2.0 * spread**2 / both)
    return (
        f"{said}. They allow up to {_amount(distance, what)} (95 %), which would make the "
        f"{what} between the seats about {against:.2g} times what is taken here if the seats are "
        f"displaced against each other, {alike:.2g} times if alike; directions would tell, "
        'shape = "rice" puts it into the intervals'
    )


def _part_of(r: FloatArray, what: str) -> str:
    evidence, _ = _fitted(r.tobytes())
    low, middle, high = np.quantile(evidence.means, [0.025, 0.5, 0.975]).tolist()
    spread = float(np.median(evidence.sds))
    return (
        f"has a systematic part of {_amount(middle, what)} (95 %: {_amount(low, what)} to "
        f"{_amount(high, what)}), about which it scatters by {_amount(spread, what)} an axis"
    )


def _amount(value: float, what: str) -> str:
    return f"{1e3 * value:.2g} µm" if what == "offset" else f"{math.degrees(value):.2g}°"
