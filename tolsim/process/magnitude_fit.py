"""Magnitudes without direction, such as run-out: the spread of each axis behind them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, i0e

from tolsim.intervals import Interval
from tolsim.process.base import FloatArray
from tolsim.process.drawn import DrawnEvidence, likelihood_draws
from tolsim.process.magnitudes import Rice

__all__ = ["fit_rayleigh", "fit_rice"]


def _magnitudes(values: ArrayLike, least: int) -> FloatArray:
    r = np.asarray(values, dtype=np.float64)
    if r.ndim != 1 or r.size < least or not bool(np.all(np.isfinite(r))):
        raise ValueError(f"a fit needs at least {least} finite magnitudes")
    if float(r.min()) < 0.0:
        raise ValueError("a magnitude cannot be negative")
    if float(r.max()) == 0.0:
        raise ValueError("all magnitudes are 0")
    return r


def fit_rayleigh(values: ArrayLike, *, confidence: float = 0.95) -> Interval:
    r"""Spread of each axis behind n magnitudes about 0, exact.

    .. math:: \hat\sigma^2 = \frac{1}{2n}\sum r_i^2,\qquad
        \frac{\sum r_i^2}{\sigma^2} \sim \chi^2_{2n}

    Two independent axes of one spread and no systematic part are assumed; the direction is
    unknown and must be said to be.

    >>> fit_rayleigh([3.0, 4.0, 5.0, 2.0]).value
    2.598076
    """
    r = _magnitudes(values, 1)
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    square, f = float((r * r).sum()), 2.0 * r.size
    alpha = 0.5 * (1.0 - confidence)
    return Interval(
        value=math.sqrt(square / f),
        low=math.sqrt(square / float(chdtri(f, alpha))),
        high=math.sqrt(square / float(chdtri(f, 1.0 - alpha))),
        confidence=confidence,
        method="chi-square, two axes",
    )


def fit_rice(values: ArrayLike) -> DrawnEvidence:
    r"""Systematic part and spread of each axis behind n magnitudes, by likelihood.

    .. math:: f(r) = \frac{r}{\sigma^2} e^{-(r^2 + \nu^2)/2\sigma^2} I_0(r\nu/\sigma^2)

    `means` of the draws hold the distance nu of the centre, `sds` the spread of each axis; flat in
    nu (not below 0) and in the logarithm of the spread. Few magnitudes hardly tell a systematic
    part from none.
    """
    r = _magnitudes(values, 3)
    scale = math.sqrt(float((r * r).mean()) / 2.0)
    if float(r.std()) == 0.0:
        raise ValueError("all magnitudes are alike")

    def log_likelihood(mean: FloatArray, sd: FloatArray) -> FloatArray:
        total = np.zeros(np.broadcast_shapes(mean.shape, sd.shape))
        v = sd * sd
        for x in r.tolist():
            # I0 scaled by its growth: the exponent becomes -(r - nu)^2 / 2 sigma^2
            total += np.log(i0e(x * mean / v)) - 0.5 * (x - mean) ** 2 / v - np.log(v)
        return total

    means, sds, mean, sd = likelihood_draws(
        log_likelihood,
        float(r.mean()),
        scale,
        bounds=((0.0, 3.0 * float(r.max())), (0.02 * scale, 20.0 * scale)),
    )
    return DrawnEvidence(
        means=means,
        sds=sds,
        n=r.size,
        fitted=Rice(mean=mean, sd=sd),
        method="likelihood, direction unknown",
        notes=("magnitudes only: the direction is unknown and taken as even",),
    )
