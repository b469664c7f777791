"""The process behind a lot from which everything outside two limits was sorted."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr

from tolsim.process.base import FloatArray
from tolsim.process.bounded import Bounded, normal_window
from tolsim.process.drawn import DrawnEvidence, likelihood_draws

__all__ = ["fit_cut", "log_window"]

_LEAST_PASSING = math.log(1e-7)  # of a cut parent
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(40)


def fit_cut(
    values: ArrayLike,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    gauge_sd: float = 0.0,
) -> DrawnEvidence:
    r"""Normal process of which only sizes between two limits were delivered.

    With the reading's scatter g the density of a reading y is

    .. math:: \frac{\varphi((y - \mu)/v)}{v}\,
        \frac{\Phi(b') - \Phi(a')}{\Phi(b) - \Phi(a)},\qquad v^2 = \sigma^2 + g^2,

    with a', b' the limits about :math:`\mu + \sigma^2 (y - \mu)/v^2` in units of
    :math:`\sigma g / v`.

    Parameters
    ----------
    values : array_like
        Readings [mm], at least 3.
    low, high : float
        Limits of the sorting [mm]. Where they are not known, the outermost readings are the most
        likely ones; that they are is then an assumption to be said.
    gauge_sd : float
        Repeatability of the gauge that made the readings [mm].

    Raises
    ------
    ValueError
        If a reading lies outside the limits and the gauge does not scatter.

    Notes
    -----
    Mean and spread are drawn by Jeffreys' prior of the cut population times the spread:
    :math:`\sqrt{\det \mathrm{Cov}(x, x^2)}/\sigma^3` per mean and logarithm of the spread, which
    is flat where nothing is cut (Student's t) and keeps parents far wider than the window, which
    all look alike in it, from outweighing the others. From a middle cut out of a process little can
    be said about the process: the parent's spread is held below three times the window, its mean
    within ten of it, and at least 1e-7 of it must pass. `fitted` is the pair of highest weight.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or x.size < 3 or not bool(np.all(np.isfinite(x))):
        raise ValueError("a fit needs at least 3 finite readings")
    if not low < high:
        raise ValueError(f"a cut process needs low < high, got {low} and {high}")
    if gauge_sd == 0.0 and (float(x.min()) < low or float(x.max()) > high):
        raise ValueError("a reading lies outside the limits of the sorting")
    spread = float(x.std(ddof=1))
    if spread == 0.0:
        raise ValueError("all readings are alike")
    centre = float(x.mean())
    window = (high - low) if math.isfinite(high - low) else 10.0 * spread

    def log_likelihood(mean: FloatArray, sd: FloatArray) -> FloatArray:
        v2 = sd * sd + gauge_sd**2
        passing = log_window((low - mean) / sd, (high - mean) / sd)
        total = np.where(passing > _LEAST_PASSING, -x.size * passing, -math.inf)
        total = total - 0.5 * x.size * np.log(v2)
        # sums of squares about the mean by the readings' own moments
        square = float(((x - x.mean()) ** 2).sum())
        total = total - 0.5 * (square + x.size * (x.mean() - mean) ** 2) / v2
        if gauge_sd > 0.0:
            width = sd * gauge_sd / np.sqrt(v2)
            for y in x.tolist():
                centre = mean + sd * sd * (y - mean) / v2
                total = total + log_window((low - centre) / width, (high - centre) / width)
        return np.asarray(total + _log_prior(mean, sd, low, high))

    means, sds, mean, sd = likelihood_draws(
        log_likelihood,
        float(x.mean()),
        spread,
        bounds=(
            (centre - 10.0 * window, centre + 10.0 * window),
            (0.05 * spread, 3.0 * window),
        ),
        fine=161 if gauge_sd == 0.0 else 81,
    )
    # pairs between the nodes of the grid may pass less than the nodes do
    kept = normal_window((low - means) / sds, (high - means) / sds) > 1e-9
    fitted = Bounded(mean=mean, sd=sd, low=low, high=high)
    return DrawnEvidence(
        means=means[kept],
        sds=sds[kept],
        n=x.size,
        fitted=fitted,
        method="truncated likelihood",
        limits=(
            max(low, float(x.min()) - 40.0 * spread),
            min(high, float(x.max()) + 40.0 * spread),
        ),
    )


def _log_prior(mean: FloatArray, sd: FloatArray, low: float, high: float) -> FloatArray:
    """Half the logarithm of det Cov(x, x²) of the cut population, less three of ln sd."""
    nearest = np.clip(mean, low, high)
    a, b = np.maximum(low, nearest - 9.0 * sd), np.minimum(high, nearest + 9.0 * sd)
    half = 0.5 * (b - a)
    # moments about the middle in half widths: the determinant does not know the origin
    t = (0.5 * (a + b) - mean)[..., None] / sd[..., None] + (half / sd)[..., None] * _GAUSS_X
    log = -0.5 * t * t
    weight = _GAUSS_W * np.exp(log - log.max(axis=-1, keepdims=True))
    weight = weight / weight.sum(axis=-1, keepdims=True)
    u = _GAUSS_X
    m1, m2, m3, m4 = ((weight * u**k).sum(axis=-1) for k in (1, 2, 3, 4))
    determinant = (m2 - m1 * m1) * (m4 - m2 * m2) - (m3 - m1 * m2) ** 2
    return np.asarray(
        0.5 * np.log(np.maximum(determinant, 1e-300)) + 3.0 * (np.log(half) - np.log(sd))
    )


def log_window(low: FloatArray, high: FloatArray) -> FloatArray:
    """Logarithm of the normal probability between two numbers, far out too."""
    flip = low + high > 0.0
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    # ln(Phi(b) - Phi(a)) = ln Phi(b) + ln(1 - exp(ln Phi(a) - ln Phi(b)))
    upper, lower = log_ndtr(b), log_ndtr(a)
    near = normal_window(a, b)
    far = upper + np.log1p(-np.exp(np.minimum(lower - upper, -1e-12)))
    return np.asarray(np.where(near > 1e-280, np.log(np.maximum(near, 1e-300)), far))
