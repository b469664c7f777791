"""Differences of shares: on common draws, from counts, from weights, or between two intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, ndtri

from tolsim.intervals import Interval, wilson

__all__ = [
    "PairedCounts",
    "independent_difference",
    "mcnemar",
    "paired_difference",
    "weighted_difference",
]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class PairedCounts:
    """Draws on which both alternatives fail, only the first, only the second, neither."""

    both: int
    only_first: int
    only_second: int
    neither: int

    @property
    def n(self) -> int:
        """Draws in all."""
        return self.both + self.only_first + self.only_second + self.neither


def paired_difference(counts: PairedCounts, *, confidence: float = 0.95) -> Interval:
    """First share minus second on common draws, score interval.

    References
    ----------
    .. [1] Newcombe, *Statistics in Medicine* 17 (1998) 2635-2650, method 10.

    Examples
    --------
    >>> c = PairedCounts(both=36, only_first=12, only_second=2, neither=0)
    >>> i = paired_difference(c)
    >>> i.low, i.high
    (0.05693, 0.340428)
    """
    a, b, c, d = counts.both, counts.only_first, counts.only_second, counts.neither
    n = counts.n
    if n < 1 or min(a, b, c, d) < 0:
        raise ValueError(f"need counts from 0 up and at least one draw, got {counts}")
    first = wilson(a + b, n, confidence=confidence)
    second = wilson(a + c, n, confidence=confidence)
    margins = float(a + b) * (c + d) * (a + c) * (b + d)
    phi = 0.0
    if margins > 0.0:
        top = float(a) * d - float(b) * c
        if top > 0.0:
            top = max(0.0, top - 0.5 * n)  # the paper's continuity correction
        phi = top / math.sqrt(margins)
    return _square_and_add(first, second, phi, "score, paired")


def independent_difference(first: Interval, second: Interval) -> Interval:
    """First minus second of two independent estimates, from their intervals.

    With two score intervals it is method 10 of [1]_; any other pair of intervals of the same
    confidence may be given.

    References
    ----------
    .. [1] Newcombe, *Statistics in Medicine* 17 (1998) 873-890.

    Examples
    --------
    >>> i = independent_difference(wilson(56, 70), wilson(48, 80))
    >>> i.low, i.high
    (0.0524, 0.3339)
    """
    if first.confidence != second.confidence:
        raise ValueError(f"confidences differ: {first.confidence} and {second.confidence}")
    return _square_and_add(first, second, 0.0, "square and add, independent")


def _square_and_add(first: Interval, second: Interval, phi: float, method: str) -> Interval:
    difference = first.value - second.value

    def reach(a: float, b: float) -> float:
        return math.sqrt(max(0.0, a * a - 2.0 * phi * a * b + b * b))

    return Interval(
        value=difference,
        low=difference - reach(first.value - first.low, second.high - second.value),
        high=difference + reach(first.high - first.value, second.value - second.low),
        confidence=first.confidence,
        method=method,
    )


def mcnemar(only_first: int, only_second: int) -> float:
    """Probability of a split at least as uneven if both alternatives fail equally often.

    Exact, two-sided (McNemar, *Psychometrika* 12 (1947) 153-157).

    >>> mcnemar(12, 2)
    0.012939
    """
    n = only_first + only_second
    if n == 0:
        return 1.0
    return min(1.0, 2.0 * float(bdtr(min(only_first, only_second), n, 0.5)))


def weighted_difference(
    weight: FloatArray,
    first: NDArray[np.bool_],
    second: NDArray[np.bool_],
    n: int,
    *,
    confidence: float = 0.95,
) -> Interval:
    """First share minus second on common weighted draws, normal interval.

    Parameters
    ----------
    weight : ndarray
        What each point counts, (k,), as of a `WeightedSample` that fails in either alternative.
    first, second : ndarray of bool
        Whether each alternative fails there, (k,).
    n : int
        Draws in all.
    """
    part = weight * (first.astype(float) - second)
    value = float(part.sum()) / n
    variance = (float(np.square(part).sum()) / n - value * value) / (n - 1)
    half = float(ndtri(0.5 * (1.0 + confidence))) * math.sqrt(max(0.0, variance))
    return Interval(
        value=value,
        low=value - half,
        high=value + half,
        confidence=confidence,
        method="normal, paired weights",
    )
