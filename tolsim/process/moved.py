"""A population shifted, stretched or mirrored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray, Process, shares_of
from tolsim.process.plain import Fixed, Normal
from tolsim.record import Array

__all__ = ["Moved", "kinks", "moved"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Moved:
    """Sizes ``shift + scale x`` of another process; a negative scale mirrors it.

    The map from the standard normal stays increasing: a mirrored process reads ``-z``.
    """

    inner: Process
    shift: float
    scale: float

    def size(self, z: Array) -> Array:
        """Size for a standard normal."""
        if self.scale > 0.0:
            return self.shift + self.scale * self.inner.size(z)
        return self.shift + self.scale * self.inner.size(-z)

    def _back(self, x: ArrayLike) -> FloatArray:
        return np.asarray((np.asarray(x, dtype=np.float64) - self.shift) / self.scale)

    def latent(self, x: ArrayLike) -> FloatArray:
        """Standard normal that stands for the size `x`."""
        z = self.inner.latent(self._back(x))
        return z if self.scale > 0.0 else -z

    def cdf(self, x: ArrayLike) -> FloatArray:
        """Share of parts at or below `x`."""
        back = self._back(x)
        return self.inner.cdf(back) if self.scale > 0.0 else self.inner.sf(back)

    def sf(self, x: ArrayLike) -> FloatArray:
        """Share of parts above `x`."""
        back = self._back(x)
        return self.inner.sf(back) if self.scale > 0.0 else self.inner.cdf(back)

    def density(self, x: ArrayLike) -> FloatArray:
        """Share of parts per mm at `x`."""
        return self.inner.density(self._back(x)) / abs(self.scale)

    def shares(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shares below and above `x` and the density there."""
        lower, upper, f = shares_of(self.inner, self._back(x))
        f = f / abs(self.scale)
        return (lower, upper, f) if self.scale > 0.0 else (upper, lower, f)

    def quantile(self, u: ArrayLike) -> FloatArray:
        """Size below which a share `u` of the parts lies."""
        share = np.asarray(u, dtype=np.float64)
        share = share if self.scale > 0.0 else 1.0 - share
        return np.asarray(self.shift + self.scale * self.inner.quantile(share))

    @property
    def mean(self) -> float:
        """Mean size."""
        return self.shift + self.scale * self.inner.mean

    @property
    def sd(self) -> float:
        """Standard deviation of the size."""
        return abs(self.scale) * self.inner.sd

    @property
    def support(self) -> tuple[float, float]:
        """Smallest and largest size."""
        ends = [self.shift + self.scale * e for e in self.inner.support]
        return min(ends), max(ends)

    @property
    def kinks(self) -> tuple[float, ...]:
        """Sizes where the density has an edge or a corner."""
        return tuple(self.shift + self.scale * k for k in kinks(self.inner))


def moved(process: Process, *, shift: float = 0.0, scale: float = 1.0) -> Process:
    """The process of ``shift + scale x``; a normal stays a normal, a constant a constant.

    >>> moved(Normal(mean=1.0, sd=0.5), shift=10.0, scale=-2.0)
    Normal(mean=8.0, sd=1.0)
    """
    if not (np.isfinite(shift) and np.isfinite(scale)):
        raise ValueError(f"need finite shift and scale, got {shift} and {scale}")
    if scale == 0.0 or process.sd == 0.0:
        return Fixed(value=shift + scale * process.mean if scale != 0.0 else shift)
    if isinstance(process, Normal):
        return Normal(mean=shift + scale * process.mean, sd=abs(scale) * process.sd)
    if isinstance(process, Moved):
        return moved(
            process.inner, shift=shift + scale * process.shift, scale=scale * process.scale
        )
    if shift == 0.0 and scale == 1.0:
        return process
    return Moved(inner=process, shift=shift, scale=scale)


def kinks(process: Process) -> tuple[float, ...]:
    """Sizes where the density of a process has an edge or a corner, in increasing order."""
    named = getattr(process, "kinks", None)
    found = process.support if named is None else named
    return tuple(sorted({float(k) for k in found if np.isfinite(k)}))
