"""Where failed units sat: each contributor's mean position and spread among them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.rank_moves import Owner
from tolsim.answers.rank_sample import Base, Key
from tolsim.answers.tally import events_of
from tolsim.chance.sensitivity import given_failure

__all__ = ["Sat", "sat"]

FloatArray = NDArray[np.float64]
_WIDE = 1.96
_FEWEST = 20.0  # failed seats, counted as equally heavy ones, below which nothing is said


@dataclass(frozen=True, kw_only=True, slots=True)
class Sat:
    """Where one contributor of one build sat at the seats that failed in a mode.

    `mean` is its mean position there against that of all units, in standard deviations, with its
    95 % interval; `shift` the same in the unit of people; `spread` its standard deviation there
    over that of all units. Of a direction across the axis the magnitude is meant. `failed` counts
    failed seats as equally heavy ones.
    """

    path: str
    supply: str
    mode: str
    mean: float
    low: float
    high: float
    shift: float
    unit: str
    spread: float
    magnitude: bool
    failed: float


def sat(base: Base, owners: Sequence[Owner]) -> tuple[Sat, ...]:
    """Positions of all contributors in every build and mode, the furthest of each first.

    Units stand for what their weights say. A seat counts where it failed itself; what a unit has
    as a whole counts for both of its seats.
    """
    units = {o.contributor.path: o.contributor for o in owners}
    out: list[Sat] = []
    for key in base.samples:
        found = [
            s
            for path in base.joint.builds[key[0]].values
            if path in units
            for s in _one(base, key, path, units[path].unit, units[path].scale)
        ]
        out += sorted(found, key=lambda s: -abs(s.mean) - abs(s.spread - 1.0))
    return tuple(out)


def _one(base: Base, key: Key, path: str, unit: str, scale: float) -> list[Sat]:
    build, mode = base.joint.builds[key[0]], key[1]
    seats = _failed_seats(base, key)
    weight = np.concatenate([w for _, w in seats])
    if not weight.any():
        return []
    effective = float(weight.sum() ** 2 / np.square(weight).sum())
    if effective < _FEWEST:
        return []
    rows = build.values[path]
    among = np.concatenate([_size(base, r, z) for r, (z, _) in zip(rows, seats, strict=True)])
    everywhere = _size(base, rows[0], base.plain)
    middle, spread = float(everywhere.mean()), float(everywhere.std())
    if not spread > 0.0:
        return []
    there = given_failure(((among - middle) / spread)[None, :], weight)
    at, error = float(there.shift[0]), float(there.shift_error[0])
    # the same unit may have failed at both seats
    half = _WIDE * math.hypot(math.sqrt(2.0) * error, 1.0 / math.sqrt(everywhere.size))
    return [
        Sat(
            path=path,
            supply=", ".join(build.names),
            mode=mode,
            mean=at,
            low=at - half,
            high=at + half,
            shift=at * spread * scale,
            unit=unit,
            spread=math.sqrt(float(there.variance[0])),
            magnitude=len(rows[0]) > 1,
            failed=effective,
        )
    ]


def _failed_seats(base: Base, key: Key) -> list[tuple[FloatArray, FloatArray]]:
    """Units (d, k) and their weights (k,) that failed at seat 1, and at seat 2."""
    known, sample = events_of(base.joint.builds[key[0]]), base.samples[key]
    z, weight = sample.z[:, sample.fails], sample.weight[sample.fails]
    out = []
    for seat in (1, 2):
        rows = known.get((key[1], seat))
        if not rows or not weight.size:
            out.append((z[:, :0], weight[:0]))
            continue
        hit = np.logical_or.reduce(base.joint.recording.select(rows)(z) < 0.0, axis=0)
        out.append((z[:, hit], weight[hit]))
    return out


def _size(base: Base, rows: Sequence[int], z: FloatArray) -> FloatArray:
    """What a contributor comes to, or the magnitude of its two components, (n,)."""
    if z.shape[1] == 0:
        return np.empty(0)
    out = base.joint.recording.select(list(rows))(z)
    return np.asarray(out[0] if len(out) == 1 else np.sqrt(np.square(out).sum(axis=0)))
