"""Magnitudes: folded normal, Rayleigh and Rice; the parameters are those of the parent."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.special import i0e, i1e, log_ndtr, ndtr, ndtri

from tolsim.process.base import FloatArray, Shape, normal_density
from tolsim.process.curve import Curve
from tolsim.process.plain import finite
from tolsim.process.quantiles import Tabulated
from tolsim.process.trace import trace

__all__ = ["FoldedNormal", "Rayleigh", "Rice"]

_LEGENDRE_X, _LEGENDRE_W = np.polynomial.legendre.leggauss(80)


def _parent(name: str, mean: float, sd: float) -> None:
    finite(name, mean=mean, sd=sd)
    if sd < 0.0:
        raise ValueError(f"{name}: sd must not be negative, got {sd}")


@dataclass(frozen=True, slots=True, init=False)
class FoldedNormal(Shape):
    """Absolute value of a normal; the keys `mean` and `sd` are the parent's.

    `parent_mean` and `parent_sd` keep them; ``mean`` and ``sd`` are the moments of the magnitude.

    >>> FoldedNormal(sd=1.0).mean  # root of 2 / pi
    0.797885
    """

    parent_mean: float
    parent_sd: float
    _curve: Curve | None = field(repr=False, compare=False)
    _table: Tabulated = field(repr=False, compare=False)

    def __init__(self, *, sd: float, mean: float = 0.0) -> None:
        _parent("folded-normal", mean, sd)
        object.__setattr__(self, "parent_mean", mean)
        object.__setattr__(self, "parent_sd", sd)
        curve = None
        if mean != 0.0 and sd > 0.0:
            top = abs(mean) + 9.0 * sd
            floor = sd * 1e-19  # far below the lowest z of the table
            start = np.concatenate([np.geomspace(floor, top, 120), np.linspace(0.0, top, 120)[1:]])
            curve = trace(self.shares, start, spread=self.sd)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal."""
        if self._curve is not None:
            return self._curve.at(z)
        from scipy.special import erfinv

        low = math.sqrt(2.0) * erfinv(ndtr(z))
        return np.asarray(self.parent_sd * np.where(z < 0.0, low, -ndtri(0.5 * ndtr(-z))))

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        s, m, d = np.maximum(x, 0.0), self.parent_mean, self.parent_sd
        upper = ndtr((m - s) / d) + ndtr((-m - s) / d)
        # below: a narrow window about 0 is a product of its width, not a difference
        half = s / d
        window = half[..., None] * _LEGENDRE_X - m / d
        narrow = (half[..., None] * _LEGENDRE_W * normal_density(window)).sum(axis=-1)
        wide = ndtr((s - m) / d) - ndtr((-s - m) / d)
        return np.where(half < 3.0, narrow, wide), upper

    def _density(self, x: FloatArray) -> FloatArray:
        m, d = self.parent_mean, self.parent_sd
        both = normal_density((x - m) / d) + normal_density((x + m) / d)
        return np.where(x >= 0.0, both / d, 0.0)

    @property
    def mean(self) -> float:
        """Mean magnitude."""
        m, d = self.parent_mean, self.parent_sd
        if d == 0.0:
            return abs(m)
        r = m / d
        return d * math.sqrt(2.0 / math.pi) * math.exp(-0.5 * r * r) + m * math.erf(
            r / math.sqrt(2.0)
        )

    @property
    def sd(self) -> float:
        """Standard deviation of the magnitude."""
        m, d = self.parent_mean, self.parent_sd
        return math.sqrt(max(m * m + d * d - self.mean**2, 0.0)) if d > 0.0 else 0.0

    @property
    def support(self) -> tuple[float, float]:
        """0 and infinity."""
        return (self.mean, self.mean) if self.parent_sd == 0.0 else (0.0, math.inf)


@dataclass(frozen=True, slots=True, init=False)
class Rayleigh(Shape):
    """Length of a vector of two independent normals about 0; `sd` is that of each axis.

    >>> Rayleigh(sd=1.0).mean
    1.253314
    """

    parent_sd: float
    _table: Tabulated = field(repr=False, compare=False)

    def __init__(self, *, sd: float) -> None:
        _parent("rayleigh", 0.0, sd)
        object.__setattr__(self, "parent_sd", sd)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal."""
        return np.asarray(self.parent_sd * np.sqrt(-2.0 * log_ndtr(-z)))

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        h = 0.5 * (np.maximum(x, 0.0) / self.parent_sd) ** 2
        return -np.expm1(-h), np.exp(-h)

    def _density(self, x: FloatArray) -> FloatArray:
        t = np.maximum(x, 0.0) / self.parent_sd
        return t * np.exp(-0.5 * t * t) / self.parent_sd

    @property
    def mean(self) -> float:
        """Mean length."""
        return self.parent_sd * math.sqrt(0.5 * math.pi)

    @property
    def sd(self) -> float:
        """Standard deviation of the length."""
        return self.parent_sd * math.sqrt(2.0 - 0.5 * math.pi)

    @property
    def support(self) -> tuple[float, float]:
        """0 and infinity."""
        return (0.0, 0.0) if self.parent_sd == 0.0 else (0.0, math.inf)


@dataclass(frozen=True, slots=True, init=False)
class Rice(Shape):
    """Length of a vector of two independent normals about a point at distance `mean`.

    The keys `mean` and `sd` are the parent's: the distance of the centre and the spread of each
    axis; ``mean`` and ``sd`` of the record are the moments of the length.

    >>> Rice(mean=0.0, sd=1.0).mean
    1.253314
    """

    parent_mean: float
    parent_sd: float
    _curve: Curve | None = field(repr=False, compare=False)
    _table: Tabulated = field(repr=False, compare=False)

    def __init__(self, *, mean: float, sd: float) -> None:
        _parent("rice", mean, sd)
        if mean < 0.0:
            raise ValueError(f"rice: mean is a distance and must not be negative, got {mean}")
        object.__setattr__(self, "parent_mean", mean)
        object.__setattr__(self, "parent_sd", sd)
        curve = None
        if sd > 0.0:
            top = mean + 10.0 * sd
            floor = sd * 1e-10 * math.exp(0.25 * min((mean / sd) ** 2, 60.0))
            start = np.concatenate([np.geomspace(floor, top, 80), np.linspace(0.0, top, 160)[1:]])
            curve = trace(self.shares, start, spread=self.sd)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal."""
        if self._curve is None:
            return np.full(np.shape(z), self.parent_mean)
        return self._curve.at(z)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above (Marcum's Q), by Gauss sums."""
        a, b = self.parent_mean / self.parent_sd, np.maximum(x, 0.0) / self.parent_sd
        floor = max(a - 12.0, 0.0)
        lower = _rice_sum(np.minimum(floor, b), np.minimum(b, a + 12.0), a)
        upper = _rice_sum(np.maximum(b, floor), np.maximum(b, a) + 12.0, a)
        return lower, upper

    def _density(self, x: FloatArray) -> FloatArray:
        a, b = self.parent_mean / self.parent_sd, np.maximum(x, 0.0) / self.parent_sd
        return _rice_density(b, a) / self.parent_sd

    @property
    def mean(self) -> float:
        """Mean length, from the modified Bessel functions."""
        m, d = self.parent_mean, self.parent_sd
        if d == 0.0:
            return m
        h = 0.25 * (m / d) ** 2
        bessel = (1.0 + 2.0 * h) * float(i0e(h)) + 2.0 * h * float(i1e(h))
        return d * math.sqrt(0.5 * math.pi) * bessel

    @property
    def sd(self) -> float:
        """Standard deviation of the length."""
        m, d = self.parent_mean, self.parent_sd
        return math.sqrt(max(m * m + 2.0 * d * d - self.mean**2, 0.0)) if d > 0.0 else 0.0

    @property
    def support(self) -> tuple[float, float]:
        """0 and infinity."""
        return (self.mean, self.mean) if self.parent_sd == 0.0 else (0.0, math.inf)


def _rice_density(b: FloatArray, a: float) -> FloatArray:
    return np.asarray(b * np.exp(-0.5 * (b - a) ** 2) * i0e(a * b))


def _rice_sum(low: FloatArray, high: FloatArray, a: float) -> FloatArray:
    centre, half = 0.5 * (low + high)[..., None], 0.5 * (high - low)[..., None]
    t = centre + half * _LEGENDRE_X
    return np.asarray((half * _LEGENDRE_W * _rice_density(t, a)).sum(axis=-1))
