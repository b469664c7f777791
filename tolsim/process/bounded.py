"""Normal population of which only the sizes between two limits are left."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr, ndtri

from tolsim.process.base import FloatArray, Shape, normal_density
from tolsim.process.plain import finite
from tolsim.process.quantiles import Tabulated

__all__ = ["Bounded", "normal_window"]

_MIN_ACCEPTED = 1e-9  # below this the limits contradict the process
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(200)


@dataclass(frozen=True, slots=True, init=False)
class Bounded(Shape):
    r"""Normal population cut at `low` and `high`; the keys `mean` and `sd` are the parent's.

    .. math:: x = m + s\,\Phi^{-1}(\Phi(a) + \Phi(z)(\Phi(b) - \Phi(a))),
        \qquad a = (L - m)/s,\ b = (U - m)/s

    `parent_mean` and `parent_sd` keep the keys; ``mean`` and ``sd`` are the moments of what is
    left, `accepted` is its share.

    Raises
    ------
    ValueError
        If less than 1e-9 of the parent lies between the limits.

    Examples
    --------
    >>> cut = Bounded(mean=0.0, sd=1.0, low=-1.0, high=2.0)
    >>> cut.mean, cut.sd, cut.accepted
    (0.229637, 0.720946, 0.818595)
    """

    parent_mean: float
    parent_sd: float
    low: float
    high: float
    _table: Tabulated = field(repr=False, compare=False)

    def __init__(
        self, *, mean: float, sd: float, low: float = -math.inf, high: float = math.inf
    ) -> None:
        finite("bounded", mean=mean, sd=sd)
        if sd < 0.0:
            raise ValueError(f"bounded: sd must not be negative, got {sd}")
        if math.isnan(low) or math.isnan(high) or not low < high:
            raise ValueError(f"bounded: need low < high, got {low} and {high}")
        if sd == 0.0 and not low <= mean <= high:
            raise ValueError(f"bounded: a process without spread at {mean} misses its limits")
        object.__setattr__(self, "parent_mean", mean)
        object.__setattr__(self, "parent_sd", sd)
        object.__setattr__(self, "low", low)
        object.__setattr__(self, "high", high)
        if self.accepted < _MIN_ACCEPTED:
            raise ValueError(
                f"bounded: only {self.accepted:.2g} of the normal population with mean {mean} and "
                f"sd {sd} lies between {low} and {high}"
            )
        self._tabulate()

    @property
    def _limits(self) -> tuple[float, float]:
        m, s = self.parent_mean, self.parent_sd
        return (self.low - m) / s, (self.high - m) / s

    @property
    def accepted(self) -> float:
        """Share of the parent between the limits."""
        return 1.0 if self.parent_sd == 0.0 else _between(*self._limits)

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the smaller tail."""
        m, s = self.parent_mean, self.parent_sd
        if s == 0.0:
            return np.full(np.shape(z), m)
        a, b = self._limits
        share = self.accepted
        lower = ndtr(a) + ndtr(z) * share
        upper = ndtr(-b) + ndtr(-z) * share
        w = np.where(lower <= upper, ndtri(lower), -ndtri(upper))
        return np.asarray(np.clip(m + s * w, self.low, self.high))

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        a, b = self._limits
        w = np.clip((x - self.parent_mean) / self.parent_sd, a, b)
        share = self.accepted
        return normal_window(a, w) / share, normal_window(w, b) / share

    def _density(self, x: FloatArray) -> FloatArray:
        z = (x - self.parent_mean) / self.parent_sd
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, normal_density(z) / (self.parent_sd * self.accepted), 0.0)

    def _central(self) -> tuple[float, float]:
        """Mean and spread in parent's units, by Gauss sums over the occupied window."""
        a, b = self._limits
        nearest = min(max(0.0, a), b)
        low, high = max(a, nearest - 12.0), min(b, nearest + 12.0)
        t = 0.5 * (low + high) + 0.5 * (high - low) * _GAUSS_X
        # relative to the density at the nearest point, so that nothing underflows
        w = _GAUSS_W * np.exp(-0.5 * (t - nearest) * (t + nearest))
        mean = float((w * t).sum() / w.sum())
        return mean, math.sqrt(float((w * (t - mean) ** 2).sum() / w.sum()))

    @property
    def mean(self) -> float:
        """Mean of what is left."""
        if self.parent_sd == 0.0:
            return self.parent_mean
        return self.parent_mean + self.parent_sd * self._central()[0]

    @property
    def sd(self) -> float:
        """Standard deviation of what is left."""
        return 0.0 if self.parent_sd == 0.0 else self.parent_sd * self._central()[1]

    @property
    def support(self) -> tuple[float, float]:
        """The limits."""
        if self.parent_sd == 0.0:
            return self.parent_mean, self.parent_mean
        return self.low, self.high


def _between(a: float, b: float) -> float:
    return float(normal_window(np.asarray(a), np.asarray(b)))


def normal_window(a: FloatArray | float, b: FloatArray | float) -> FloatArray:
    """Normal probability between a and b without the loss of a difference of near numbers."""
    low, high = np.broadcast_arrays(np.asarray(a, dtype=float), np.asarray(b, dtype=float))
    flip = low > 0.0
    left, right = np.where(flip, -high, low), np.where(flip, -low, high)
    plain = ndtr(right) - ndtr(left)
    closed = np.isfinite(left) & np.isfinite(right)
    left, right = np.where(closed, left, 0.0), np.where(closed, right, 1.0)
    width, middle = right - left, 0.5 * (left + right)
    # narrow window: density at the middle times the width, with the even corrections
    m2, w2 = middle * middle, width * width
    series = 1.0 + w2 / 24.0 * (m2 - 1.0) + w2 * w2 / 1920.0 * (m2 * m2 - 6.0 * m2 + 3.0)
    narrow = normal_density(middle) * width * series
    use = closed & (width * np.maximum(1.0, np.abs(middle)) < 0.02)
    return np.asarray(np.where(use, narrow, plain))
