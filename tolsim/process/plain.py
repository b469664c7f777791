"""Plain shapes: a constant, the normal, the uniform and the triangular population."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from tolsim.process.base import (
    FloatArray,
    Shape,
    constant,
    normal_density,
    point_latent,
)
from tolsim.process.quantiles import Tabulated
from tolsim.record import Array

__all__ = ["Fixed", "Normal", "Triangular", "Uniform", "finite"]


def finite(name: str, **values: float) -> None:
    """Refuse parameters that are no finite numbers, naming the shape and the parameter."""
    for key, value in values.items():
        if isinstance(value, bool) or not math.isfinite(value):
            raise ValueError(f"{name}: {key} must be a finite number, got {value}")


@dataclass(frozen=True, kw_only=True, slots=True)
class Fixed:
    """Every part has the size `value`."""

    value: float

    def __post_init__(self) -> None:
        finite("fixed", value=self.value)

    def size(self, z: Array) -> Array:
        """`value` for every draw; recorded as a number, so that no row is drawn for it."""
        return constant(self.value, z)

    def latent(self, x: ArrayLike) -> FloatArray:
        """0 at `value`, minus or plus infinity beside it."""
        return point_latent(self.value, np.asarray(x, dtype=np.float64))

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`: 0 or 1."""
        return np.asarray(np.where(np.asarray(x) >= self.value, 1.0, 0.0))

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`: 1 or 0."""
        return np.asarray(np.where(np.asarray(x) >= self.value, 0.0, 1.0))

    def density(self, x: ArrayLike) -> FloatArray:
        """Infinite at `value`, 0 elsewhere."""
        return np.asarray(np.where(np.asarray(x) == self.value, np.inf, 0.0))

    def quantile(self, u: ArrayLike) -> FloatArray:
        """`value` at every share."""
        return np.full(np.shape(u), self.value)

    @property
    def mean(self) -> float:
        """The size itself."""
        return self.value

    @property
    def sd(self) -> float:
        """Always 0."""
        return 0.0

    @property
    def support(self) -> tuple[float, float]:
        """The size, twice."""
        return self.value, self.value


@dataclass(frozen=True, kw_only=True, slots=True)
class Normal:
    """Normal population; `size` is exactly ``mean + sd z``.

    >>> Normal(mean=0.010, sd=0.002).size(3.0)
    0.016
    """

    mean: float
    sd: float

    def __post_init__(self) -> None:
        finite("normal", mean=self.mean, sd=self.sd)
        if self.sd < 0.0:
            raise ValueError(f"normal: sd must not be negative, got {self.sd}")

    def size(self, z: Array) -> Array:
        """``mean + sd z``."""
        return constant(self.mean, z) if self.sd == 0.0 else self.mean + self.sd * z

    def latent(self, x: ArrayLike) -> FloatArray:
        """``(x - mean) / sd``."""
        sizes = np.asarray(x, dtype=np.float64)
        if self.sd == 0.0:
            return point_latent(self.mean, sizes)
        return np.asarray((sizes - self.mean) / self.sd)

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`."""
        if self.sd == 0.0:
            return Fixed(value=self.mean).cdf(x)
        return np.asarray(ndtr(self.latent(x)))

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`."""
        if self.sd == 0.0:
            return Fixed(value=self.mean).sf(x)
        return np.asarray(ndtr(-self.latent(x)))

    def density(self, x: ArrayLike) -> FloatArray:
        """Share of parts per mm at `x`."""
        if self.sd == 0.0:
            return Fixed(value=self.mean).density(x)
        return normal_density(self.latent(x)) / self.sd

    def quantile(self, u: ArrayLike) -> FloatArray:
        """Size below which a share `u` of the parts lies."""
        if self.sd == 0.0:
            return np.full(np.shape(u), self.mean)
        return np.asarray(self.mean + self.sd * ndtri(np.asarray(u, dtype=np.float64)))

    @property
    def support(self) -> tuple[float, float]:
        """The whole line, or one point without spread."""
        return (self.mean, self.mean) if self.sd == 0.0 else (-math.inf, math.inf)


@dataclass(frozen=True, kw_only=True, slots=True)
class Uniform(Shape):
    """Every size between `low` and `high` alike.

    >>> Uniform(low=-0.01, high=0.02).mean
    0.005
    """

    low: float
    high: float
    _table: Tabulated = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        finite("uniform", low=self.low, high=self.high)
        if self.low > self.high:
            raise ValueError(f"uniform: need low <= high, got {self.low} and {self.high}")
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the nearer end."""
        width = self.high - self.low
        size = np.where(z < 0.0, self.low + width * ndtr(z), self.high - width * ndtr(-z))
        return np.asarray(size)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        width = self.high - self.low
        lower = np.clip((x - self.low) / width, 0.0, 1.0)
        return lower, np.clip((self.high - x) / width, 0.0, 1.0)

    def _density(self, x: FloatArray) -> FloatArray:
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, 1.0 / (self.high - self.low), 0.0)

    @property
    def mean(self) -> float:
        """Middle of the ends."""
        return 0.5 * (self.low + self.high)

    @property
    def sd(self) -> float:
        """Width over the root of 12."""
        return (self.high - self.low) / math.sqrt(12.0)

    @property
    def support(self) -> tuple[float, float]:
        """`low` and `high`."""
        return self.low, self.high


@dataclass(frozen=True, kw_only=True, slots=True)
class Triangular(Shape):
    """Density that rises in a straight line from `low` to `mode` and falls to `high`.

    >>> Triangular(low=0.0, mode=1.0, high=2.0).cdf(0.5)
    array(0.125)
    """

    low: float
    mode: float
    high: float
    _table: Tabulated = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        finite("triangular", low=self.low, mode=self.mode, high=self.high)
        if not self.low <= self.mode <= self.high:
            raise ValueError(
                f"triangular: need low <= mode <= high, got {self.low}, {self.mode} and {self.high}"
            )
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the nearer end."""
        width, rise = self.high - self.low, self.mode - self.low
        below, above = ndtr(z), ndtr(-z)
        left = self.low + np.sqrt(below * width * rise)
        right = self.high - np.sqrt(above * width * (self.high - self.mode))
        return np.asarray(np.where(below * width < rise, left, right))

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        s = np.clip(x, self.low, self.high)
        width = self.high - self.low
        rise, fall = self.mode - self.low, self.high - self.mode
        at_left = s < self.mode
        # each share as a sum of positive terms: nothing is lost where it is tiny
        a, b = s - self.low, self.high - s
        if rise > 0.0:
            left = a * a / (width * rise)
            left_above = ((rise - a) * (rise + a) + fall * rise) / (width * rise)
        else:
            left, left_above = np.zeros_like(s), np.ones_like(s)
        if fall > 0.0:
            right = b * b / (width * fall)
            right_below = ((fall - b) * (fall + b) + rise * fall) / (width * fall)
        else:
            right, right_below = np.zeros_like(s), np.ones_like(s)
        return np.where(at_left, left, right_below), np.where(at_left, left_above, right)

    def _density(self, x: FloatArray) -> FloatArray:
        top = 2.0 / (self.high - self.low)
        rise, fall = self.mode - self.low, self.high - self.mode
        left = top * (x - self.low) / rise if rise > 0.0 else np.zeros_like(x)
        right = top * (self.high - x) / fall if fall > 0.0 else np.where(x == self.mode, top, 0.0)
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, np.where(x < self.mode, left, right), 0.0)

    @property
    def mean(self) -> float:
        """Mean of the three corners."""
        return (self.low + self.mode + self.high) / 3.0

    @property
    def sd(self) -> float:
        """From the sides: root of (a² + b² + c² - ab - ac - bc) / 18."""
        a, b, c = self.low - self.mode, 0.0, self.high - self.mode
        return math.sqrt((a * a + b * b + c * c - a * b - a * c - b * c) / 18.0)

    @property
    def support(self) -> tuple[float, float]:
        """`low` and `high`."""
        return self.low, self.high

    @property
    def kinks(self) -> tuple[float, ...]:
        """The three corners."""
        return self.low, self.mode, self.high
