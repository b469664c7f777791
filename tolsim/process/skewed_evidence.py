"""Skewed processes from readings: mean, spread and skewness as far as n parts tell them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc, gammaln

from tolsim.process.base import FloatArray, Process
from tolsim.process.quantiles import REACH
from tolsim.process.shaped_evidence import ShapedEvidence, shaped
from tolsim.process.skewed import Skewed
from tolsim.record import Array, Primitive

__all__ = ["SkewedFamily", "skewed_evidence", "skewed_quantile"]

_FEWEST = 5  # with so few the prior of the skewness is what is left of it
_MOST = 1.95  # skewness within which it is looked for
_LEAST = 0.01  # below it the gamma's digits are lost and the shape is normal anyway
_PER_UNIT = 64
_STEP = 0.025


@lru_cache(maxsize=1)
def _table() -> tuple[FloatArray, int]:
    """Standard sizes against z, one row a skewness from 0 on in steps; flat, with its width."""
    z = np.linspace(-REACH, REACH, round(2 * REACH * _PER_UNIT) + 1)
    rows = [
        Skewed(mean=0.0, sd=1.0, skewness=g).from_normal(z)
        for g in np.arange(0.0, _MOST + 1.5 * _STEP, _STEP).tolist()
    ]
    return np.concatenate(rows), z.size


def _cell(z: FloatArray, g: FloatArray) -> tuple[FloatArray, ...]:
    """Signs, places within the cell, and the sizes at its four corners."""
    flat, width = _table()
    sign = np.where(g < 0.0, -1.0, 1.0)
    u = np.clip((sign * z + REACH) * _PER_UNIT, 0.0, width - 1.000001)
    v = np.minimum(np.abs(g), _MOST) / _STEP
    i, j = u.astype(np.intp), v.astype(np.intp)
    at = j * width + i
    return (
        sign,
        (sign * z + REACH) * _PER_UNIT - i,
        v - j,
        flat.take(at),
        flat.take(at + 1),
        flat.take(at + width),
        flat.take(at + width + 1),
    )


def _forward(z: FloatArray, g: FloatArray, out: FloatArray) -> None:
    sign, a, b, x00, x10, x01, x11 = _cell(z, g)
    low = x00 + a * (x10 - x00)
    np.multiply(sign, low + b * (x01 + a * (x11 - x01) - low), out=out)


def _slopes(z: FloatArray, g: FloatArray) -> tuple[FloatArray, FloatArray]:
    _, a, b, x00, x10, x01, x11 = _cell(z, g)
    of_z = ((1.0 - b) * (x10 - x00) + b * (x11 - x01)) * _PER_UNIT
    of_g = ((1.0 - a) * (x01 - x00) + a * (x11 - x10)) / _STEP
    return of_z, of_g


#: Size of a skewed part with mean 0 and spread 1 for a standard normal and a skewness, within
#: 2e-4 for normals up to 5; increasing in the normal. Recordable.
skewed_quantile = Primitive(_forward, _slopes)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SkewedFamily:
    r"""Shifted gamma parts (Pearson type III); parameters mean, spread, skewness.

    The likelihood is that of the readings; prior flat in mean, logarithm of the spread and
    skewness between -1.95 and 1.95. Gauge error is taken out of variance and skewness by their
    moments, :math:`\sigma^2 = \sigma_o^2 - \sigma_g^2`, :math:`g = g_o (\sigma_o/\sigma)^3`.
    """

    x: FloatArray
    gauge_sd: float = 0.0
    shape: str = "skewed"
    rows: tuple[str, ...] = ("skewness", "sd", "mean")
    method: str = "likelihood of mean, spread and skewness"
    _mean: float = field(init=False, default=0.0)
    _sd: float = field(init=False, default=1.0)

    def __post_init__(self) -> None:
        if self.x.size < _FEWEST:
            raise ValueError(f"a skewed shape needs at least {_FEWEST} readings")
        object.__setattr__(self, "_mean", float(self.x.mean()))
        object.__setattr__(self, "_sd", float(self.x.std(ddof=1)))

    def log_target(self, points: FloatArray) -> FloatArray:
        """Likelihood of the readings times the prior, in coordinates."""
        t = (self.x - self._mean) / self._sd
        free, log_sd, mean = points
        g = _bent(free)
        g = np.where(np.abs(g) < _LEAST, np.where(g < 0.0, -_LEAST, _LEAST), g)
        k = 4.0 / (g * g)
        y = k + np.sign(g) * np.sqrt(k) * (t[:, None] - mean) * np.exp(-log_sd)
        inside = (y > 0.0).all(axis=0)
        safe = np.where(y > 0.0, y, 1.0)
        log = ((k - 1.0) * np.log(safe) - safe).sum(axis=0)
        log += t.size * (0.5 * np.log(k) - log_sd - gammaln(k))
        # flat in the skewness: slope of the bend; far out the exponential underflows
        log += np.log1p(-np.square(_bent(free) / _MOST) + 1e-300)
        return np.asarray(np.where(inside & (np.abs(log_sd) < 3.0), log, -np.inf))

    def starts(self) -> list[tuple[FloatArray, FloatArray]]:
        """From the readings' own moments."""
        t = (self.x - self._mean) / self._sd
        n = t.size
        g = float(np.clip((t**3).mean(), -1.3, 1.3))
        spread = np.diag([0.4 + 6.0 / n, (0.5 + 0.4 * g * g) / n, 1.0 / n])
        return [(np.array([math.atanh(g / _MOST), 0.0, 0.0]), spread)]

    def theta(self, coordinates: Sequence[Array]) -> tuple[Array, ...]:
        """Mean, spread [mm] and skewness of the parts."""
        free, log_sd, mean = coordinates
        sd = self._sd * np.exp(log_sd)
        skewness = _bent(free)
        at = self._mean + self._sd * mean
        if self.gauge_sd == 0.0:
            return at, sd, skewness
        own = np.sqrt(np.maximum(sd * sd - self.gauge_sd**2, 0.0))
        ratio = sd / np.maximum(own, 1e-3 * sd)
        more = np.minimum(np.maximum(skewness * (ratio * ratio * ratio), -_MOST), _MOST)
        return at, own, more

    def moments(self, theta: Sequence[Array]) -> tuple[Array, Array]:
        """Mean and spread are parameters themselves."""
        return theta[0], theta[1]

    def size(self, z: Array, theta: Sequence[Array]) -> Array:
        """Size of a part."""
        mean, sd, skewness = theta
        return mean + sd * skewed_quantile(z, skewness)

    def tails(self, x: FloatArray, theta: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        k, g, y = _gamma(x, theta)
        below, above = gammainc(k, y), gammaincc(k, y)
        return np.where(g > 0.0, below, above), np.where(g > 0.0, above, below)

    def log_density(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Density; far below every other where there is none."""
        k, _, y = _gamma(x, theta)
        safe = np.maximum(y, 1e-300)
        log = (k - 1.0) * np.log(safe) - safe - gammaln(k) + 0.5 * np.log(k)
        log = log - np.log(np.maximum(theta[1], 1e-7))
        return np.asarray(np.where(y > 0.0, log, -300.0))

    def process(self, theta: Sequence[float]) -> Process:
        """The process."""
        mean, sd, skewness = theta
        return Skewed(mean=mean, sd=max(sd, 1e-9), skewness=skewness)


def _gamma(x: FloatArray, theta: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray, FloatArray]:
    mean, sd, g = theta
    g = np.where(np.abs(g) < _LEAST, np.where(g < 0.0, -_LEAST, _LEAST), g)
    k = 4.0 / (g * g)
    y = k + np.sign(g) * np.sqrt(k) * (x - mean) / np.maximum(sd, 1e-7)
    return k, g, np.maximum(y, 0.0)


def _bent(free: Array) -> Array:
    """Skewness of its free coordinate: 1.95 tanh, in ufuncs that can be recorded."""
    held = np.minimum(np.maximum(free, -9.0), 9.0)
    return _MOST * (1.0 - 2.0 / (np.exp(2.0 * held) + 1.0))


def skewed_evidence(values: ArrayLike, *, gauge_sd: float = 0.0) -> ShapedEvidence:
    """What readings [mm], at least 5, allow a skewed process to be.

    >>> lot = Skewed(mean=0.0, sd=1.0, skewness=1.0).quantile((np.arange(40) + 0.5) / 40)
    >>> found = skewed_evidence(lot)
    >>> 0.5 < found.fitted.skewness < 1.5
    True
    """
    x = np.asarray(values, dtype=np.float64)
    if float(np.ptp(x)) == 0.0:
        raise ValueError("all readings are alike")
    return shaped(x, SkewedFamily(x=x, gauge_sd=gauge_sd), gauge_sd=gauge_sd)
