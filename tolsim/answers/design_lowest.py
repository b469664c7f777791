"""The smallest share of one kind of failure that free bands can reach, others held or not."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_outer import Search
from tolsim.answers.design_solve import least_cost

__all__ = ["Lowest", "lowest"]

FloatArray = NDArray[np.float64]
_STEPS = 12
_CLOSE = 2**17  # units at the end
_THERE = 5e-3  # gain in the logarithm of the rate at which to stop
_MISSED = 0.02  # logarithm by which a held target may be passed and still count as held


@dataclass(frozen=True, slots=True)
class Lowest:
    """Where a rate is smallest; `held` says whether the other targets are met there."""

    theta: FloatArray
    value: float
    error: float
    held: bool


def lowest(search: Search, mode: str, held: Mapping[str, float], theta: FloatArray) -> Lowest:
    """Bands with the smallest rate of one mode within the targets of others.

    Parameters
    ----------
    search : Search
        Whose samples are used and added to.
    held : mapping
        Targets of the other modes that are to be met; empty lets them go.
    theta : ndarray
        Where to begin.
    """
    floor = 1e-4 * search.targets[mode]
    best: Lowest | None = None
    radius = 1.0
    for _ in range(_STEPS):
        search.rates.refresh(theta)
        here = _judged(search, mode, held, theta)
        if best is not None:
            search.rates.settle(best.theta)
            best = _judged(search, mode, held, best.theta)
        if best is None or _better(here, best):
            gained = math.inf if best is None else _log(best.value) - _log(here.value)
            best, radius = here, min(1.3 * radius, 1.5)
        else:
            gained, radius = 0.0, 0.5 * radius
        if not len(theta) or radius < 0.1 or best.value <= floor:
            break
        search.rates.settle(best.theta)
        following = _following(search, mode, held, best.theta, radius, floor)
        promised = _log(best.value) - _log(search.rates.values(following)[mode][0])
        if best.held and promised < _THERE and gained < _THERE * 10.0:
            break
        theta = following
    assert best is not None
    search.rates.refresh(best.theta, anew=True, n=_CLOSE)
    return _judged(search, mode, held, best.theta)


def _log(value: float) -> float:
    return math.log(max(value, 1e-12))


def _judged(search: Search, mode: str, held: Mapping[str, float], theta: FloatArray) -> Lowest:
    values = search.rates.values(theta)
    met = all(values[m][0] <= t * math.exp(_MISSED) for m, t in held.items())
    return Lowest(theta, *values[mode], met)


def _better(a: Lowest, b: Lowest) -> bool:
    return a.held if a.held != b.held else a.value < b.value


def _following(
    search: Search,
    mode: str,
    held: Mapping[str, float],
    theta: FloatArray,
    radius: float,
    floor: float,
) -> FloatArray:
    """The point with the smallest rate in the region that the units drawn speak for."""

    def cost(x: FloatArray) -> tuple[float, FloatArray]:
        rate = search.rates.at(x)[mode]
        kept = rate.value + floor
        # least_cost wants a cost above 0
        return 40.0 + math.log(kept), rate.gradient / kept

    def slack(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        if not held:
            return np.ones(1), np.zeros((1, len(x)))
        rates = search.rates.at(x)
        values, slopes = [], []
        for m, t in held.items():
            kept = rates[m].value + 1e-3 * t
            values.append(-math.log(kept / t))
            slopes.append(-rates[m].gradient / kept)
        return np.array(values), np.array(slopes)

    low, high = search.region(theta, radius)
    return least_cost(cost, slack, theta, low, high, steps=40).point
