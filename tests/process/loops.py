"""Helpers of the tests: bounds of empirical distributions, sums over parts, rank correlation."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tolsim.process.base import Process

FloatArray = NDArray[np.float64]

RISK = 1e-6  # chance that a right answer is refused


def dkw(n: int) -> float:
    """Largest distance of an empirical from its true distribution, but for a chance of 1e-6.

    Massart, Annals of Probability 18 (1990) 1269-1283: sqrt(ln(2 / risk) / (2 n)).
    """
    return math.sqrt(math.log(2.0 / RISK) / (2.0 * n))


def distance(parts: FloatArray, process: Process) -> float:
    """Kolmogorov distance of drawn parts from a process."""
    x = np.sort(parts)
    f = process.cdf(x)
    i = np.arange(x.size)
    return float(max(np.max(f - i / x.size), np.max((i + 1) / x.size - f)))


def two_sample(a: FloatArray, b: FloatArray) -> float:
    """Kolmogorov distance of two samples; compare with dkw(n) + dkw(m)."""
    x = np.sort(np.concatenate([a, b]))
    fa = np.searchsorted(np.sort(a), x, side="right") / a.size
    fb = np.searchsorted(np.sort(b), x, side="right") / b.size
    return float(np.max(np.abs(fa - fb)))


def share_error(p: float, n: int) -> float:
    """Five standard errors of a share of n parts (chance 6e-7)."""
    return 5.0 * math.sqrt(max(p * (1.0 - p), 1.0 / n) / n)


def rank_correlation(a: FloatArray, b: FloatArray) -> float:
    """Spearman's rank correlation; its standard error is at most 1.1 / sqrt(n)."""
    ra, rb = np.argsort(np.argsort(a)), np.argsort(np.argsort(b))
    return float(np.corrcoef(ra, rb)[0, 1])
