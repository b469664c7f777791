"""Draws from a mixture, counted at what each is worth under the plain density."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.chance.densities import Mixture
from tolsim.intervals import Interval

__all__ = ["WeightedSample", "WeightedSums", "log_interval"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WeightedSample:
    """The failing ones of `n` draws, z (d, k); each counts `weight` (k,) plain draws.

    The share is ``weight.sum() / n``; ``weight / weight.sum()`` are the odds of each point among
    failures.
    """

    z: FloatArray
    weight: FloatArray
    n: int


@dataclass(slots=True, eq=False)
class WeightedSums:
    """Running sums of the failing draws' weights, one stratum a component of the mixture.

    Draws are dealt to the components by fixed shares, so each component's draws vary about their
    own mean only.
    """

    mixture: Mixture
    sizes: FloatArray = field(init=False)
    totals: FloatArray = field(init=False)
    squares: FloatArray = field(init=False)
    largest: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        k = self.mixture.weights.size
        self.sizes, self.totals, self.squares = np.zeros(k), np.zeros(k), np.zeros(k)

    def add(self, owner: IntArray, fails: NDArray[np.bool_], weight: FloatArray) -> None:
        """Count draws of components `owner` (n,), of which those that fail weigh `weight`."""
        k = self.sizes.size
        self.sizes += np.bincount(owner, minlength=k)
        own = owner[fails]
        self.totals += np.bincount(own, weight, minlength=k)
        self.squares += np.bincount(own, np.square(weight), minlength=k)
        if weight.size:
            self.largest = max(self.largest, float(weight.max()))

    @property
    def n(self) -> int:
        """Draws in all."""
        return int(self.sizes.sum())

    @property
    def value(self) -> float:
        """Estimated share [-]."""
        return float(self.totals.sum()) / self.n

    @property
    def second_moment(self) -> float:
        """Mean square of the weights over all draws [-]."""
        return float(self.squares.sum()) / self.n

    @property
    def spread(self) -> float:
        """Variance of one draw over the squared share [-]; infinite where nothing failed."""
        return self.second_moment / self.value**2 - 1.0 if self.value > 0.0 else math.inf

    @property
    def relative_error(self) -> float:
        """Standard error over value [-]; infinite where nothing failed."""
        if self.value <= 0.0:
            return math.inf
        m = np.maximum(self.sizes, 1.0)
        within = (self.squares - self.totals**2 / m) * m / np.maximum(m - 1.0, 1.0)
        return math.sqrt(max(0.0, float(within.sum()))) / self.n / self.value

    @property
    def largest_share(self) -> float:
        """Share of the estimate that hangs on one draw [-]; 1 where nothing failed."""
        total = float(self.totals.sum())
        return self.largest / total if total > 0.0 else 1.0


def log_interval(value: float, relative_error: float, *, confidence: float = 0.95) -> Interval:
    """Interval of a positive estimate, normal on the logarithm.

    Parameters
    ----------
    value : float
        Estimate, above 0.
    relative_error : float
        Its standard error over it [-].

    Examples
    --------
    >>> i = log_interval(1e-6, 0.05)
    >>> i.low, i.high
    (9.0665e-07, 1.10297e-06)
    """
    if value <= 0.0 or not 0.0 <= relative_error < math.inf:
        raise ValueError(f"need value > 0 and a finite error, got {value} and {relative_error}")
    factor = math.exp(float(ndtri(0.5 * (1.0 + confidence))) * relative_error)
    return Interval(
        value=value,
        low=value / factor,
        high=min(1.0, value * factor),
        confidence=confidence,
        method="normal on the logarithm",
    )
