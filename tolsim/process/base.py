"""What every process is: a monotone map from one standard normal to a size."""

from __future__ import annotations

from typing import Any, Protocol, TypeAlias, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from tolsim.process.quantiles import Deferred, Tabulated
from tolsim.record import Array, Tracer

__all__ = ["FloatArray", "Process", "Shape", "latent_of", "normal_density", "shares_of"]

FloatArray: TypeAlias = NDArray[np.float64]
_ROOT_TWO_PI = 2.5066282746310002


@runtime_checkable
class Process(Protocol):
    """What a shop makes of one feature; sizes in mm (or the unit of the parameters).

    `size` is the only method on the path of a draw; the others are for setting up.
    """

    def size(self, z: Array) -> Array:
        """Size of the part that a standard normal `z` stands for; increasing in `z`."""

    def latent(self, x: ArrayLike) -> FloatArray:
        """Standard normal that `size` turns into `x`, the inverse of `size`."""

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`."""

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`, accurate where it is tiny."""

    def density(self, x: ArrayLike) -> FloatArray:
        """Share of parts per mm at `x`."""

    def quantile(self, u: ArrayLike) -> FloatArray:
        """Size below which a share `u` of the parts lies."""

    @property
    def mean(self) -> float:
        """Mean size."""

    @property
    def sd(self) -> float:
        """Standard deviation of the size."""

    @property
    def support(self) -> tuple[float, float]:
        """Smallest and largest size that can be."""


def latent_of(lower: ArrayLike, upper: ArrayLike) -> FloatArray:
    """Standard normal with a share `lower` below and `upper` above it.

    Taken from the smaller of the two, so that neither tail is lost to 1 - cdf.

    >>> latent_of(1.0, 1e-20)
    array(9.262340)
    """
    low, up = np.asarray(lower, dtype=np.float64), np.asarray(upper, dtype=np.float64)
    return np.asarray(np.where(low <= up, ndtri(low), -ndtri(up)))


def normal_density(z: ArrayLike) -> FloatArray:
    """Density of the standard normal."""
    x = np.asarray(z, dtype=np.float64)
    return np.asarray(np.exp(-0.5 * x * x) / _ROOT_TWO_PI)


class Shape:
    """Methods that follow from the exact quantile, both tails and the density of a shape."""

    __slots__ = ()

    mean: Any
    sd: Any
    _table: Tabulated

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Exact size for standard normals; `size` reads a table of it."""
        raise NotImplementedError

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above `x`, each accurate where it is tiny."""
        raise NotImplementedError

    def _density(self, x: FloatArray) -> FloatArray:
        raise NotImplementedError

    def shares(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shares below and above `x` and the density there, at the price of one look-up."""
        return *self.tails(x), self._density(x)

    def _tabulate(self) -> None:
        # the record is frozen and slotted: its table is laid down while it is being made
        object.__setattr__(self, "_table", Deferred(self.from_normal, spread=float(self.sd)))

    def size(self, z: Array) -> Array:
        """Size for a standard normal, through the table."""
        if self.sd == 0.0:
            return constant(float(self.mean), z)
        return self._table.primitive(z)

    def latent(self, x: ArrayLike) -> FloatArray:
        """Standard normal that stands for the size `x`."""
        sizes = np.asarray(x, dtype=np.float64)
        if self.sd == 0.0:
            return point_latent(float(self.mean), sizes)
        return latent_of(*self.tails(sizes))

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`."""
        sizes = np.asarray(x, dtype=np.float64)
        if self.sd == 0.0:
            return np.asarray(np.where(sizes >= self.mean, 1.0, 0.0))
        return np.asarray(self.tails(sizes)[0])

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`."""
        sizes = np.asarray(x, dtype=np.float64)
        if self.sd == 0.0:
            return np.asarray(np.where(sizes >= self.mean, 0.0, 1.0))
        return np.asarray(self.tails(sizes)[1])

    def density(self, x: ArrayLike) -> FloatArray:
        """Share of parts per mm at `x`; infinite at the one size of a constant."""
        sizes = np.asarray(x, dtype=np.float64)
        if self.sd == 0.0:
            return np.asarray(np.where(sizes == self.mean, np.inf, 0.0))
        return np.asarray(self._density(sizes))

    def quantile(self, u: ArrayLike) -> FloatArray:
        """Size below which a share `u` of the parts lies."""
        share = np.asarray(u, dtype=np.float64)
        if not bool(np.all((share >= 0.0) & (share <= 1.0))):
            raise ValueError("a share lies between 0 and 1")
        if self.sd == 0.0:
            return np.full(share.shape, float(self.mean))
        return np.asarray(self.from_normal(np.asarray(ndtri(share))))


def shares_of(process: Process, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shares below and above sizes and the density there."""
    at_once = getattr(process, "shares", None)
    if at_once is not None:
        lower, upper, density = at_once(x)
        return lower, upper, density
    return process.cdf(x), process.sf(x), process.density(x)


def constant(value: float, z: Array) -> Array:
    """`value` for every draw; a plain number while recording, so that the row is never drawn."""
    return value if isinstance(z, Tracer) else value + 0.0 * np.asarray(z, dtype=np.float64)


def point_latent(value: float, x: FloatArray) -> FloatArray:
    """Latent of a population without spread: infinite on either side of its one size."""
    return np.asarray(np.where(x < value, -np.inf, np.where(x > value, np.inf, 0.0)))
