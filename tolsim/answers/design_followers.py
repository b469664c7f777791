r"""How the sizes of a free band are distributed, and how that moves with the band.

A unit's size of a feature is a number that stays; another band only makes it more or less often.
A follower knows, for a band of any middle and width, the standard normal `t` behind each size and
the slope :math:`dt/dx`, so that a density ratio between two bands is exact, and how both move with
the band, so that its gradient is too.

Units are stored by a variable `v`: the size itself [mm, rad], or, where a band sorts, the standard
normal of the process as made, which the band does not change.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri

from tolsim.process.base import Process, latent_of, shares_of

__all__ = ["Columns", "ComposedFollower", "Follower", "NormalFollower", "Read", "ScaledFollower"]
__all__ += ["SortedFollower"]

FloatArray = NDArray[np.float64]
#: Mean and spread (2, k) [mm] of the process behind each unit, where evidence leaves them open.
Columns = FloatArray | None
#: Middle and width of a band [mm, rad]; the middle of a zone is 0.
Band = tuple[float, float]

_LOG_ROOT_TWO_PI = 0.9189385332046727
_TINY = 1e-300
_PASSING = 2.5  # roundings beyond an edge at which parts hardly pass any more
_EDGE = 1e-9  # share of what is left within which a part lies at an edge


@dataclass(frozen=True, slots=True)
class Read:
    """Standard normals `t` (k,) and log slopes, with derivatives (2, k) by middle and width."""

    t: FloatArray
    log_slope: FloatArray
    t_by: FloatArray
    slope_by: FloatArray


class Follower(Protocol):
    """One seat's feature under bands of any middle and width."""

    def draw(self, t: FloatArray, band: Band, columns: Columns) -> FloatArray:
        """Variable that the standard normal `t` stands for under a band."""

    def read(self, v: FloatArray, band: Band, columns: Columns, soft: float) -> Read:
        """Standard normal and slope under a band; `soft` [mm] rounds off what sorting cuts."""

    def sd(self, band: Band) -> float:
        """Spread under a band, in the unit of the band: how far its middle may move at once."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NormalFollower:
    r"""A normal process whose spread is that of its band at a capability, and a later scatter.

    .. math:: \mu = m + \Delta,\qquad \sigma^2 = \Big(\frac{w}{6 C}\Big)^2 + e^2

    Parameters
    ----------
    capability : float
        C, width over six standard deviations.
    shift, extra : float
        What the steps after the machine add, mean and spread.
    """

    capability: float
    shift: float = 0.0
    extra: float = 0.0

    def _spread(self, width: float) -> tuple[float, float]:
        """Spread and its derivative by the width."""
        own = width / (6.0 * self.capability)
        s = math.hypot(own, self.extra)
        return s, own / (6.0 * self.capability * s)

    def draw(self, t: FloatArray, band: Band, columns: Columns) -> FloatArray:
        return band[0] + self.shift + self._spread(band[1])[0] * t

    def read(self, v: FloatArray, band: Band, columns: Columns, soft: float) -> Read:
        s, by = self._spread(band[1])
        t = (v - (band[0] + self.shift)) / s
        t_by = np.empty((2, t.size))
        t_by[0] = -1.0 / s
        np.multiply(t, -by / s, out=t_by[1])
        slope_by = np.zeros((2, t.size))
        slope_by[1] = -by / s
        return Read(t, np.full(t.size, -math.log(s)), t_by, slope_by)

    def sd(self, band: Band) -> float:
        return self._spread(band[1])[0]


@dataclass(frozen=True, kw_only=True, slots=True)
class ScaledFollower:
    """A scatter about nothing, or above it, stretched in proportion to its zone.

    Parameters
    ----------
    base : Process
        The scatter with the zone `width`.
    width : float
        That zone.
    """

    base: Process
    width: float

    def draw(self, t: FloatArray, band: Band, columns: Columns) -> FloatArray:
        return np.asarray(self.base.size(t)) * (band[1] / self.width)

    def _at(self, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        lower, upper, density = shares_of(self.base, y)
        t = np.clip(latent_of(lower, upper), -38.0, 38.0)
        return t, np.log(np.maximum(density, _TINY)) + 0.5 * t * t + _LOG_ROOT_TWO_PI

    def read(self, v: FloatArray, band: Band, columns: Columns, soft: float) -> Read:
        scale, width = band[1] / self.width, band[1]
        y = v / scale
        t, slope = self._at(y)
        step = 1e-5
        up, down = self._at(y * (1.0 + step)), self._at(y * (1.0 - step))
        # a wider zone reads the same size as a smaller one of the base
        t_by = np.zeros((2, t.size))
        t_by[1] = (down[0] - up[0]) / (2.0 * step * width)
        slope_by = np.zeros((2, t.size))
        slope_by[1] = (down[1] - up[1]) / (2.0 * step * width) - 1.0 / width
        return Read(t, slope - math.log(scale), t_by, slope_by)

    def sd(self, band: Band) -> float:
        return self.base.sd * band[1] / self.width


@dataclass(frozen=True, kw_only=True, slots=True)
class SortedFollower:
    r"""A process that stays as it is; the band sorts its parts.

    With :math:`u` the standard normal of the part as made, a and b those of the limits,

    .. math:: t = \Phi^{-1}\Big(\frac{\Phi(u) - \Phi(a)}{Y}\Big),\quad Y = \Phi(b) - \Phi(a)

    The variable is u. `base` is the process as made; with evidence its mean and spread come with
    each unit instead, of the reading where the gauge has a repeatability.
    """

    base: Process

    def _ends(
        self, band: Band, columns: Columns
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Limits as standard normals and their slopes dt/dx."""
        low, high = band[0] - 0.5 * band[1], band[0] + 0.5 * band[1]
        if columns is not None:
            mean, sd = columns
            return (low - mean) / sd, (high - mean) / sd, 1.0 / sd, 1.0 / sd
        ends = np.array([low, high])
        lower, upper, density = shares_of(self.base, ends)
        t = np.clip(latent_of(lower, upper), -38.0, 38.0)
        slope = density * np.exp(0.5 * t * t + _LOG_ROOT_TWO_PI)
        return t[0:1], t[1:2], slope[0:1], slope[1:2]

    def draw(self, t: FloatArray, band: Band, columns: Columns) -> FloatArray:
        a, b, _, _ = self._ends(band, columns)
        # from the nearer tail, so that neither is lost
        flip = a + b > 0.0
        low, high = np.where(flip, -b, a), np.where(flip, -a, b)
        p = ndtr(low) + ndtr(np.where(flip, -t, t)) * (ndtr(high) - ndtr(low))
        u = ndtri(np.clip(p, _TINY, 1.0))
        return np.asarray(np.clip(np.where(flip, -u, u), a, b))

    def read(self, v: FloatArray, band: Band, columns: Columns, soft: float) -> Read:
        a, b, slope_a, slope_b = self._ends(band, columns)
        ra, rb = soft * slope_a, soft * slope_b
        # rounded edges let parts pass that lie a little outside: these have a place as well
        low, high = a - _PASSING * ra, b + _PASSING * rb
        left = np.maximum(ndtr(high) - ndtr(low), _TINY)
        place = (ndtr(v) - ndtr(low)) / left
        below = np.clip(place, _EDGE, 1.0 - _EDGE)
        t = np.asarray(ndtri(below))
        density = np.exp(-0.5 * t * t - _LOG_ROOT_TWO_PI)
        # at and beyond an edge the place no longer moves with it
        still = np.where(below == place, 1.0 / (left * density), 0.0)
        t_a, t_b = -_density(low) * (1.0 - below) * still, -_density(high) * below * still
        inside, in_a, in_b, whole, whole_a, whole_b = _rounded(v, a, b, ra, rb)
        log_slope = 0.5 * (t * t - v * v) + inside - whole
        grad_a, grad_b = t * t_a + in_a - whole_a, t * t_b + in_b - whole_b
        t_by, slope_by = np.empty((2, t.size)), np.empty((2, t.size))
        for out, by_a, by_b in ((t_by, t_a, t_b), (slope_by, grad_a, grad_b)):
            out[0] = by_a * slope_a + by_b * slope_b
            out[1] = 0.5 * (by_b * slope_b - by_a * slope_a)
        return Read(t, log_slope, t_by, slope_by)

    def sd(self, band: Band) -> float:
        return 0.3 * band[1]


def _density(x: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * x * x - _LOG_ROOT_TWO_PI))


def _rounded(
    v: FloatArray, a: FloatArray, b: FloatArray, ra: FloatArray, rb: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Log of being inside, log of the share inside, each with its derivatives by both ends.

    Edges of zero width cut; others pass a share that falls off over `ra` and `rb`.
    """
    if not (np.any(ra > 0.0) or np.any(rb > 0.0)):
        left = np.maximum(ndtr(b) - ndtr(a), _TINY)
        cut = np.where((v >= a) & (v <= b), 0.0, -np.inf)
        none = np.zeros_like(v)
        return cut, none, none, np.log(left), -_density(a) / left, _density(b) / left
    over, under = (v - a) / ra, (b - v) / rb
    inside = log_ndtr(over) + log_ndtr(under)
    in_a = -np.exp(-0.5 * over**2 - _LOG_ROOT_TWO_PI - log_ndtr(over)) / ra
    in_b = np.exp(-0.5 * under**2 - _LOG_ROOT_TWO_PI - log_ndtr(under)) / rb
    # share passed: the edges lie far apart against their roundness
    ka, kb = np.sqrt(1.0 + ra * ra), np.sqrt(1.0 + rb * rb)
    left = np.maximum(ndtr(b / kb) - ndtr(a / ka), _TINY)
    return (
        inside,
        in_a,
        in_b,
        np.log(left),
        -_density(a / ka) / ka / left,
        _density(b / kb) / kb / left,
    )


class ComposedFollower:
    """Any route: the population at a band is composed anew, derivatives by small differences.

    Parameters
    ----------
    make : callable
        The population at (middle, width).
    """

    def __init__(self, make: Callable[[float, float], Process]) -> None:
        self._make = lru_cache(maxsize=64)(make)

    def draw(self, t: FloatArray, band: Band, columns: Columns) -> FloatArray:
        return np.asarray(self._make(*band).size(t))

    def _at(self, v: FloatArray, band: Band) -> tuple[FloatArray, FloatArray]:
        lower, upper, density = shares_of(self._make(*band), v)
        t = np.clip(latent_of(lower, upper), -38.0, 38.0)
        slope = np.log(np.maximum(density, _TINY)) + 0.5 * t * t + _LOG_ROOT_TWO_PI
        return t, slope

    def read(self, v: FloatArray, band: Band, columns: Columns, soft: float) -> Read:
        t, slope = self._at(v, band)
        step = max(2e-2 * band[1], soft)
        by: list[tuple[FloatArray, FloatArray]] = []
        for move in ((step, 0.0), (0.0, step)):
            up = self._at(v, (band[0] + move[0], band[1] + move[1]))
            down = self._at(v, (band[0] - move[0], band[1] - move[1]))
            by.append(((up[0] - down[0]) / (2.0 * step), (up[1] - down[1]) / (2.0 * step)))
        return Read(t, slope, np.array([b[0] for b in by]), np.array([b[1] for b in by]))

    def sd(self, band: Band) -> float:
        return float(self._make(*band).sd)
