"""How much a share moves with process parameters that the readings leave open.

One run draws every unit under one of K parameter sets, so it samples their mixture. The share
under a single set follows from the failed units alone, each weighted by the density of its sizes
under that set over the density under the mixture. No run is nested in another.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaln, logsumexp, ndtri

from tolsim.intervals import clopper_pearson

__all__ = ["ShareDraws", "mixture_weights", "spread"]

FloatArray = NDArray[np.float64]
Ends = tuple[float, float]

_STEPS = 200  # of a quantile: bisection alone needs 64 of them
_FEW = 30  # below this many failed units the weights that were seen say too little


@dataclass(frozen=True, kw_only=True, slots=True)
class ShareDraws:
    """Share under each of K parameter sets: estimate, its variance, the heaviest single weight.

    `failed` of `n` units failed in a stratum that counts with `share`; where the mean over the
    sets comes from a rare-event method, `mean` and its `relative_error` say so.
    """

    value: FloatArray
    variance: FloatArray
    heaviest: FloatArray
    failed: int
    n: int
    share: float = 1.0
    mean: float | None = None
    relative_error: float = 0.0

    def scaled(self, weight: float) -> ShareDraws:
        """The same for a stratum that counts with `weight`."""
        return ShareDraws(
            value=weight * self.value,
            variance=weight**2 * self.variance,
            heaviest=weight * self.heaviest,
            failed=self.failed,
            n=self.n,
            share=weight * self.share,
            mean=self.mean,
            relative_error=self.relative_error,
        )

    def mean_bound(self, level: float) -> float:
        """Upper end of the mean over the sets, two-sided at `level`, times the stratum's share."""
        if self.mean is not None:
            z = float(ndtri(0.5 * (1.0 + level)))
            return self.share * self.mean * math.exp(z * math.log1p(self.relative_error))
        return self.share * clopper_pearson(self.failed, self.n, confidence=level).high


def mixture_weights(log_density: FloatArray) -> FloatArray:
    """Weights (k, m) of m units: density under each of k sets over that under their mixture.

    >>> mixture_weights(np.log([[0.2, 0.4], [0.6, 0.4]]))
    array([[0.5, 1. ],
           [1.5, 1. ]])
    """
    mixture = logsumexp(log_density, axis=0) - np.log(len(log_density))
    return np.asarray(np.exp(log_density - mixture))


def spread(
    parts: list[ShareDraws], confidence: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Sample uncertainty alone, and with simulation error, of a sum over strata.

    Returns
    -------
    (low, high), (low, high)
        Quantiles of the share over the parameter sets, and quantiles of the same with the error
        of each estimate in: a mixture of gamma distributions, as Fay & Feuer use for weighted
        counts. Where few units failed the upper end is the smaller of that and of Markov's bound
        on a mean that the run itself bounds.
    """
    tail = 0.5 * (1.0 - confidence)
    value = np.sum([p.value for p in parts], axis=0)
    variance = np.sum([p.variance for p in parts], axis=0)
    heaviest = np.max([p.heaviest for p in parts], axis=0)
    alone = (float(np.quantile(value, tail)), float(np.quantile(value, 1.0 - tail)))
    low = _mixture_quantile(value, variance, tail)
    high = _mixture_quantile(value + heaviest, variance + heaviest**2, 1.0 - tail)
    # a fifth of the tail bounds the mean over the sets, the rest bounds how far one set exceeds it
    level = 1.0 - 0.4 * tail / len(parts)
    markov = sum(p.mean_bound(level) for p in parts) / (0.8 * tail)
    together = (min(low, 1.0), min(high, markov, 1.0))
    if sum(p.failed for p in parts if p.mean is None) < _FEW and any(p.mean is None for p in parts):
        return together, together  # too few failed to tell the two apart
    return (min(alone[0], 1.0), min(alone[1], 1.0)), together


def _mixture_quantile(mean: FloatArray, variance: FloatArray, share: float) -> float:
    """Quantile of an equal mixture of gamma distributions with these means and variances."""
    fixed = (mean <= 0.0) | (variance <= 0.0)
    if fixed.all():
        return float(np.quantile(mean, share))
    safe_mean = np.where(fixed, 1.0, mean)
    safe_var = np.where(fixed, 1.0, variance)
    shape, scale = safe_mean**2 / safe_var, safe_var / safe_mean

    log_scale = np.log(scale) + gammaln(shape)
    top = float(np.max(mean + 40.0 * np.sqrt(variance))) + 1e-300
    low, high = 0.0, top
    x = min(max(float(np.quantile(mean, share)), 1e-3 * top), 0.999 * top)
    before = math.inf
    for _ in range(_STEPS):
        at = x / scale
        inside = np.where(fixed, mean <= x, gammainc(shape, at))
        over = float(inside.mean()) - share
        low, high = (x, high) if over < 0.0 else (low, x)
        density = np.where(fixed, 0.0, np.exp((shape - 1.0) * np.log(at) - at - log_scale))
        slope = float(density.mean())
        # Newton's step while it gets nearer; the density knows nothing of jumps
        new = x - over / slope if slope > 0.0 and abs(over) < 0.5 * before else math.nan
        before = abs(over)
        if not low < new < high:
            new = 0.5 * (low + high)
        if abs(new - x) <= 1e-10 * new or high - low <= 1e-10 * high:
            return new
        x = new
    return 0.5 * (low + high)
