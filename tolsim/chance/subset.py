"""Subset simulation: a small probability as a product of larger ones.

Assumes nothing about the shape of the failure set, so it finds what shifted samplers miss, and
its failing samples show where those must look. Its own claim of precision is known to be too
proud, so an interval comes from independent repeats only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import stdtrit

from tolsim.intervals import Interval

__all__ = ["SubsetRun", "subset_interval", "subset_run"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SubsetRun:
    """One run: its estimate, its failing samples (d, k), the number of levels."""

    value: float
    failing: FloatArray
    levels: int


def subset_run(
    level: Callable[[FloatArray], FloatArray],
    dimension: int,
    rng: Generator,
    *,
    n: int = 10_000,
    share: float = 0.1,
    most_levels: int = 14,
) -> SubsetRun:
    """Estimate P(level < 0).

    Parameters
    ----------
    level : callable
        z (d, n) -> (n,), negative exactly at failure and falling towards it.
    n : int
        Samples a level.
    share : float
        Share of a level that seeds the next.
    most_levels : int
        Give up after so many: value 0 and no failing samples.

    Notes
    -----
    Chains move by correlated proposals, whose spread follows an acceptance of 0.44 [2]_.

    References
    ----------
    .. [1] Au & Beck, *Probabilistic Engineering Mechanics* 16 (2001) 263-277.
    .. [2] Papaioannou, Betz, Zwirglmaier & Straub, *Probabilistic Engineering Mechanics* 41
       (2015) 89-103.
    """
    seeds_wanted = round(share * n)
    z = rng.standard_normal((dimension, n))
    h = level(z)
    log_value = 0.0
    spread = 0.6
    for done in range(1, most_levels + 1):
        fails = h < 0.0
        count = int(fails.sum())
        if count >= seeds_wanted:
            value = math.exp(log_value + math.log(count / n))
            return SubsetRun(value=value, failing=z[:, fails], levels=done)
        border = float(np.partition(h, seeds_wanted - 1)[seeds_wanted - 1])
        if border == h.max():  # a plateau: only the few below it lead on
            lower = h[h < border]
            if lower.size == 0:
                break
            border = float(lower.max())
        inside = h <= border  # more than the wanted share where values are tied
        log_value += math.log(inside.sum() / n)
        z, h, spread = _chains(level, z[:, inside], h[inside], border, n, rng, spread)
    count = int((h < 0.0).sum())
    if count == 0:
        return SubsetRun(value=0.0, failing=z[:, :0], levels=most_levels)
    value = math.exp(log_value + math.log(count / n))
    return SubsetRun(value=value, failing=z[:, h < 0.0], levels=most_levels)


def _chains(
    level: Callable[[FloatArray], FloatArray],
    seeds: FloatArray,
    h: FloatArray,
    border: float,
    n: int,
    rng: Generator,
    spread: float,
) -> tuple[FloatArray, FloatArray, float]:
    """Grow the seeds to n samples below `border`, all chains side by side."""
    d, k = seeds.shape
    z_all, h_all = np.empty((d, n)), np.empty(n)
    z, filled = seeds, 0
    log_spread = math.log(spread)
    step = 0
    while filled < n:
        if filled + k > n:  # the last, partial step goes to chains picked at random
            pick = rng.permutation(k)[: n - filled]
            z, h = z[:, pick], h[pick]
        if step:
            spread = min(1.0, math.exp(log_spread))
            noise = rng.standard_normal(z.shape)
            moved = math.sqrt(max(0.0, 1.0 - spread * spread)) * z + spread * noise
            there = level(moved)
            taken = there <= border
            z = np.where(taken, moved, z)
            h = np.where(taken, there, h)
            log_spread = min(0.0, log_spread + (float(taken.mean()) - 0.44) / math.sqrt(step))
        z_all[:, filled : filled + z.shape[1]] = z
        h_all[filled : filled + z.shape[1]] = h
        filled += z.shape[1]
        step += 1
    return z_all, h_all, min(1.0, math.exp(log_spread))


def subset_interval(values: FloatArray, *, confidence: float = 0.95) -> Interval:
    """Interval from independent runs, Student's t on the logarithm.

    Parameters
    ----------
    values : ndarray
        Estimates of the runs, all positive, at least two.

    Notes
    -----
    A run is nearly log-normal about the truth with the mean of the estimate, not of its
    logarithm, unbiased; half the variance of the logarithms moves the interval there.
    """
    if values.size < 2 or values.min() <= 0.0:
        raise ValueError("need at least two runs that reached failure")
    logs = np.log(values)
    k = values.size
    variance = float(logs.var(ddof=1))
    centre = float(logs.mean()) + 0.5 * variance
    half = -float(stdtrit(k - 1, 0.5 * (1.0 - confidence))) * math.sqrt(
        variance / k + variance * variance / (2.0 * (k - 1))
    )
    return Interval(
        value=math.exp(centre),
        low=math.exp(centre - half),
        high=min(1.0, math.exp(centre + half)),
        confidence=confidence,
        method=f"Student's t on the logarithm of {k} subset runs",
    )
