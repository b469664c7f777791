"""Skewed shapes: shifted gamma, shifted lognormal and Weibull."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc, gammainccinv, gammaincinv, gammaln, log_ndtr, ndtr

from tolsim.process.base import FloatArray, Shape, constant, normal_density, point_latent
from tolsim.process.curve import Curve
from tolsim.process.plain import finite
from tolsim.process.quantiles import Tabulated
from tolsim.record import Array

__all__ = ["Lognormal", "Skewed", "Weibull"]

_MOST_SKEWED = 2.0  # the exponential; beyond it the density is infinite at its end
_LEAST_SKEWED = 3e-3  # below it the inverse of the incomplete gamma function loses its digits


@dataclass(frozen=True, kw_only=True, slots=True)
class Skewed(Shape):
    r"""Shifted gamma population (Pearson type III) with given mean, spread and skewness.

    .. math:: x = m \pm s\,\frac{G - k}{\sqrt k}, \qquad k = 4/g^2,\ G \sim \Gamma(k, 1)

    with the sign of the skewness g.

    Notes
    -----
    Valid for \|g\| <= 2 (the exponential). Below 0.003 the expansion in powers of g
    is taken, z + g (z² - 1)/6 + g² (z³ - 7z)/144, which is exact to 1e-7 sd for \|z\| <= 8.5.
    One tail ends, at ``mean - 2 sd / g``; the other
    is that of a gamma distribution, heavier than normal. The family is a choice, not a finding.

    References
    ----------
    .. [1] Johnson, Kotz & Balakrishnan, *Continuous Univariate Distributions* 1, 2nd ed., 1994,
       ch. 17 (from memory).

    Examples
    --------
    >>> Skewed(mean=0.0, sd=1.0, skewness=2.0).quantile(0.5)  # ln 2 - 1
    array(-0.306853)
    """

    mean: float
    sd: float
    skewness: float
    _curve: Curve | None = field(init=False, repr=False, compare=False)
    _table: Tabulated = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        finite("skewed", mean=self.mean, sd=self.sd, skewness=self.skewness)
        if self.sd < 0.0:
            raise ValueError(f"skewed: sd must not be negative, got {self.sd}")
        if abs(self.skewness) > _MOST_SKEWED:
            raise ValueError(f"skewed: skewness must lie between -2 and 2, got {self.skewness}")
        curve = None
        if abs(self.skewness) < _LEAST_SKEWED:
            g, z = self.skewness, np.linspace(-9.0, 9.0, 19)
            x = z + g * (z * z - 1.0) / 6.0 + g * g * (z**3 - 7.0 * z) / 144.0
            slope = 1.0 + g * z / 3.0 + g * g * (3.0 * z * z - 7.0) / 144.0
            curve = Curve(z, self.mean + self.sd * x, self.sd * slope)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the smaller tail."""
        if self._curve is not None:
            return self._curve.at(z)
        sign, k = math.copysign(1.0, self.skewness), 4.0 / self.skewness**2
        w = sign * z
        gamma = np.where(w < 0.0, gammaincinv(k, ndtr(w)), gammainccinv(k, ndtr(-w)))
        return np.asarray(self.mean + sign * self.sd * (gamma - k) / math.sqrt(k))

    def _gamma(self, x: FloatArray) -> tuple[float, FloatArray]:
        sign, k = math.copysign(1.0, self.skewness), 4.0 / self.skewness**2
        return k, np.maximum(k + sign * math.sqrt(k) * (x - self.mean) / self.sd, 0.0)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        if self._curve is not None:
            z = self._curve.inverse(x)
            return ndtr(z), ndtr(-z)
        k, gamma = self._gamma(x)
        lower, upper = gammainc(k, gamma), gammaincc(k, gamma)
        return (lower, upper) if self.skewness > 0.0 else (upper, lower)

    def _density(self, x: FloatArray) -> FloatArray:
        if self._curve is not None:
            z = self._curve.inverse(x)
            return normal_density(z) / self._curve.slope_at(z)
        k, gamma = self._gamma(x)
        low, high = self.support
        inside = (x >= low) & (x <= high)
        safe = np.where(gamma > 0.0, gamma, 1.0)
        log = (k - 1.0) * np.log(safe) - safe - gammaln(k)
        at_end = 1.0 if k == 1.0 else 0.0
        value = np.where(gamma > 0.0, np.exp(log), at_end)
        return np.where(inside, value * math.sqrt(k) / self.sd, 0.0)

    @property
    def support(self) -> tuple[float, float]:
        """One finite end, on the short side."""
        if self.sd == 0.0:
            return self.mean, self.mean
        if self._curve is not None:
            return -math.inf, math.inf
        end = self.mean - 2.0 * self.sd / self.skewness
        return (end, math.inf) if self.skewness > 0.0 else (-math.inf, end)


@dataclass(frozen=True, kw_only=True, slots=True)
class Lognormal:
    r"""Shifted lognormal population; `mean` and `sd` are those of the size itself.

    .. math:: x = x_0 + e^{\mu + s z}, \quad s^2 = \ln(1 + v^2), \quad
        \mu = \ln(m - x_0) - s^2/2, \quad v = \mathrm{sd}/(m - x_0)

    >>> Lognormal(mean=600.0, sd=120.0).quantile(0.5)
    array(588.34841)
    """

    mean: float
    sd: float
    low: float = 0.0

    def __post_init__(self) -> None:
        finite("lognormal", mean=self.mean, sd=self.sd, low=self.low)
        if self.sd < 0.0:
            raise ValueError(f"lognormal: sd must not be negative, got {self.sd}")
        if self.mean <= self.low:
            raise ValueError(
                f"lognormal: mean must lie above low, got mean {self.mean} and low {self.low}"
            )

    @property
    def _log(self) -> tuple[float, float]:
        above = self.mean - self.low
        variance = math.log1p((self.sd / above) ** 2)
        return math.log(above) - 0.5 * variance, math.sqrt(variance)

    def size(self, z: Array) -> Array:
        """Size for a standard normal, exactly."""
        if self.sd == 0.0:
            return constant(self.mean, z)
        mu, s = self._log
        return self.low + np.exp(mu + s * z)

    def latent(self, x: ArrayLike) -> FloatArray:
        """Standard normal that stands for the size `x`."""
        sizes = np.asarray(x, dtype=np.float64)
        if self.sd == 0.0:
            return point_latent(self.mean, sizes)
        mu, s = self._log
        above = sizes - self.low
        with np.errstate(divide="ignore"):
            return np.asarray((np.log(np.maximum(above, 0.0)) - mu) / s)

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`."""
        return np.asarray(ndtr(self.latent(x)))

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`."""
        return np.asarray(ndtr(-self.latent(x)))

    def density(self, x: ArrayLike) -> FloatArray:
        """Share of parts per mm at `x`."""
        z = self.latent(x)
        if self.sd == 0.0:
            return np.where(z == 0.0, np.inf, 0.0)
        above = np.asarray(x, dtype=np.float64) - self.low
        safe = np.where(above > 0.0, above, 1.0)
        return np.where(above > 0.0, normal_density(z) / (self._log[1] * safe), 0.0)

    def quantile(self, u: ArrayLike) -> FloatArray:
        """Size below which a share `u` of the parts lies."""
        from scipy.special import ndtri

        return np.asarray(self.size(np.asarray(ndtri(np.asarray(u, dtype=np.float64)))))

    @property
    def support(self) -> tuple[float, float]:
        """`low` and infinity."""
        return (self.mean, self.mean) if self.sd == 0.0 else (self.low, math.inf)


@dataclass(frozen=True, kw_only=True, slots=True)
class Weibull(Shape):
    r"""Weibull population above `low`: :math:`F = 1 - \exp(-((x - x_0)/\lambda)^k)`.

    >>> Weibull(scale=1.0, exponent=2.0).quantile(0.5)  # root of ln 2
    array(0.832555)
    """

    scale: float
    exponent: float
    low: float = 0.0
    _table: Tabulated = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        finite("weibull", scale=self.scale, exponent=self.exponent, low=self.low)
        if self.scale < 0.0:
            raise ValueError(f"weibull: scale must not be negative, got {self.scale}")
        if not 0.5 <= self.exponent <= 100.0:
            raise ValueError(f"weibull: exponent must lie between 0.5 and 100, got {self.exponent}")
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, exactly."""
        return np.asarray(self.low + self.scale * (-log_ndtr(-z)) ** (1.0 / self.exponent))

    def _power(self, x: FloatArray) -> FloatArray:
        return (np.maximum(x - self.low, 0.0) / self.scale) ** self.exponent

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        h = self._power(x)
        return -np.expm1(-h), np.exp(-h)

    def _density(self, x: FloatArray) -> FloatArray:
        t = (x - self.low) / self.scale
        safe = np.where(t > 0.0, t, 1.0)
        rise = self.exponent / self.scale * safe ** (self.exponent - 1.0)
        at_end = 1.0 / self.scale if self.exponent == 1.0 else 0.0
        at_end = math.inf if self.exponent < 1.0 else at_end
        beside = np.where(t == 0.0, at_end, 0.0)
        return np.where(t > 0.0, rise * np.exp(-self._power(x)), beside)

    @property
    def mean(self) -> float:
        """``low + scale Γ(1 + 1/k)``."""
        return self.low + self.scale * math.gamma(1.0 + 1.0 / self.exponent)

    @property
    def sd(self) -> float:
        """``scale √(Γ(1 + 2/k) - Γ(1 + 1/k)²)``."""
        first = math.gamma(1.0 + 1.0 / self.exponent)
        second = math.gamma(1.0 + 2.0 / self.exponent)
        return self.scale * math.sqrt(max(second - first * first, 0.0))

    @property
    def support(self) -> tuple[float, float]:
        """`low` and infinity."""
        return (self.mean, self.mean) if self.scale == 0.0 else (self.low, math.inf)
