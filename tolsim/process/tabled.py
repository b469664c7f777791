"""A process that is known by its curve."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from tolsim.process.base import FloatArray, normal_density
from tolsim.process.curve import Curve, moments
from tolsim.process.quantiles import Tabulated
from tolsim.record import Array

__all__ = ["Tabled"]


@dataclass(frozen=True, eq=False, slots=True)
class Tabled:
    """A process that is known by its curve, such as the result of a route.

    Shares, density and latent follow from the curve, the draw from a table of it (error at most
    5e-7 of the spread), mean and spread from 5-point Gauss sums over its pieces.
    """

    curve: Curve
    mean: float = field(default=math.nan)
    sd: float = field(default=math.nan)
    kinks: tuple[float, ...] = ()
    _table: Tabulated = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if math.isnan(self.mean) or math.isnan(self.sd):
            mean, sd = moments(self.curve)
            object.__setattr__(self, "mean", mean)
            object.__setattr__(self, "sd", sd)
        table = Tabulated(self.curve.at, spread=self.sd)
        object.__setattr__(self, "_table", table)

    def size(self, z: Array) -> Array:
        """Size for a standard normal, through the table."""
        return self._table.primitive(z)

    def latent(self, x: ArrayLike) -> FloatArray:
        """Standard normal that stands for the size `x`."""
        return self.curve.inverse(x)

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`."""
        return np.asarray(ndtr(self.latent(x)))

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`."""
        return np.asarray(ndtr(-self.latent(x)))

    def density(self, x: ArrayLike) -> FloatArray:
        """Share of parts per mm at `x`, 0 where no part is."""
        return self.shares(np.asarray(x, dtype=np.float64))[2]

    def shares(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shares below and above `x` and the density there."""
        z = self.latent(x)
        slope = self.curve.slope_at(z)
        low, high = self.support
        gap = (x < low) | (x > high) | (np.abs(self.curve.at(z) - x) > 1e-6 * self.sd)
        density = normal_density(z) / np.where(slope > 0.0, slope, np.inf)
        return ndtr(z), ndtr(-z), np.where(gap, 0.0, density)

    def quantile(self, u: ArrayLike) -> FloatArray:
        """Size below which a share `u` of the parts lies."""
        z = np.clip(ndtri(np.asarray(u, dtype=np.float64)), self.curve.z[0], self.curve.z[-1])
        return self.curve.at(z)

    @property
    def support(self) -> tuple[float, float]:
        """Ends of the curve: 1e-17 of the parts may lie outside."""
        return float(self.curve.x[0]), float(self.curve.x[-1])
