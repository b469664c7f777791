r"""A process that stays as it is while a gauge that errs sorts its parts.

With :math:`u` the standard normal of a part as made, x(u) its size and A the share of such parts
that pass, the population left has

.. math:: F(u) = \frac{1}{Y} \int_{-\infty}^{u} \varphi(s)\, A(x(s))\, ds,\qquad
    Y = F(\infty),\qquad t = \Phi^{-1}(F)

Both tails are summed from their own end, so that neither is lost.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_followers import Band, Columns, Read
from tolsim.process.base import Process, latent_of, shares_of
from tolsim.process.gauging import Window

__all__ = ["SiftedFollower"]

FloatArray = NDArray[np.float64]
_LOG_ROOT_TWO_PI = 0.9189385332046727
_TINY = 1e-300
_REACH, _NODES = 9.0, 721  # standard normals between which parts are summed, and how many
_AROUND = np.linspace(-8.0, 8.0, 33)  # repeatabilities about a limit at which a node lies as well
#: Points and weights of Gauss and Legendre within a step, on -1 to 1.
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_STEP = 2e-2  # of derivatives by the band, as a share of its width


@dataclass(frozen=True, slots=True)
class _Left:
    """What passes: logarithms of the sums from below and above at nodes, and of their whole."""

    nodes: FloatArray
    lower: FloatArray
    upper: FloatArray
    lower_slope: FloatArray
    upper_slope: FloatArray
    whole: float


class SiftedFollower:
    """Sizes that a band with a gauge of some repeatability lets pass; the variable is u.

    Parameters
    ----------
    base : Process
        The process as made.
    repeatability : float
        Standard deviation of the gauge [mm], above 0.
    """

    def __init__(self, base: Process, repeatability: float) -> None:
        self._base, self._sd = base, repeatability
        self._left: Callable[[Window], _Left] = lru_cache(maxsize=64)(self._sifted)

    def _window(self, band: Band, soft: float = 0.0) -> Window:
        low, high = band[0] - 0.5 * band[1], band[0] + 0.5 * band[1]
        return Window(low=low, high=high, sd=math.hypot(self._sd, soft))

    def _sifted(self, window: Window) -> _Left:
        edges = np.concatenate([v + window.sd * _AROUND for v in window.limits])
        lower, upper, _ = shares_of(self._base, edges)
        at = latent_of(lower, upper)
        inner = np.concatenate([np.linspace(-_REACH, _REACH, _NODES), at[np.abs(at) < _REACH]])
        nodes = np.unique(inner.round(9))
        half = 0.5 * np.diff(nodes)
        points = 0.5 * (nodes[1:] + nodes[:-1])[:, None] + half[:, None] * _POINTS
        passing = self._passing(points.ravel(), window).reshape(points.shape)
        steps = half * (passing @ _WEIGHTS)
        low = np.concatenate([[0.0], np.cumsum(steps)])
        up = np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]])
        slope = self._passing(nodes, window)
        low, up = np.maximum(low, _TINY), np.maximum(up, _TINY)
        return _Left(
            nodes, np.log(low), np.log(up), slope / low, -slope / up, float(np.log(low[-1]))
        )

    def _passing(self, u: FloatArray, window: Window) -> FloatArray:
        """Density of parts as made that pass."""
        x = np.asarray(self._base.size(u))
        return np.asarray(np.exp(-0.5 * u * u - _LOG_ROOT_TWO_PI) * window.share(x))

    def _at(self, u: FloatArray, window: Window) -> tuple[FloatArray, FloatArray]:
        """Standard normals t and log slopes dt/du."""
        left = self._left(window)
        v = np.clip(u, -_REACH, _REACH)
        lower = _joined(left.nodes, left.lower, left.lower_slope, v)
        upper = _joined(left.nodes, left.upper, left.upper_slope, v)
        t = latent_of(np.exp(lower - left.whole), np.exp(upper - left.whole))
        t = np.clip(t, -38.0, 38.0)
        passing = np.maximum(self._passing(u, window), _TINY)
        return t, np.log(passing) - left.whole + 0.5 * t * t + _LOG_ROOT_TWO_PI

    def draw(self, t: FloatArray, band: Band, columns: Columns) -> FloatArray:
        window = self._window(band)
        left = self._left(window)
        known = latent_of(np.exp(left.lower - left.whole), np.exp(left.upper - left.whole))
        rising = np.flatnonzero(np.diff(np.maximum.accumulate(known), prepend=-np.inf) > 0.0)
        u = np.interp(t, known[rising], left.nodes[rising])
        for _ in range(2):
            near, slope = self._at(u, window)
            u = u - np.clip((near - t) * np.exp(-np.clip(slope, -20.0, 20.0)), -0.05, 0.05)
        return np.asarray(u)

    def read(self, v: FloatArray, band: Band, columns: Columns, soft: float) -> Read:
        t, slope = self._at(v, self._window(band, soft))
        step = _STEP * band[1]
        by = []
        for move in ((step, 0.0), (0.0, step)):
            up, down = (
                self._at(v, self._window((band[0] + k * move[0], band[1] + k * move[1]), soft))
                for k in (1.0, -1.0)
            )
            by.append(((up[0] - down[0]) / (2.0 * step), (up[1] - down[1]) / (2.0 * step)))
        return Read(t, slope, np.array([b[0] for b in by]), np.array([b[1] for b in by]))

    def sd(self, band: Band) -> float:
        return 0.3 * band[1]


def _joined(x: FloatArray, y: FloatArray, slope: FloatArray, at: FloatArray) -> FloatArray:
    """Cubics through points with slopes (Hermite); straight where a slope is beyond reason."""
    i = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    h = x[i + 1] - x[i]
    s = (at - x[i]) / h
    rise = y[i + 1] - y[i]
    first, last = slope[i] * h, slope[i + 1] * h
    # far in a tail nothing is left: there the sums are bounds, not numbers
    bad = (np.abs(first - rise) > 1.0) | (np.abs(last - rise) > 1.0)
    first, last = np.where(bad, rise, first), np.where(bad, rise, last)
    bent = s * (1.0 - s) * ((1.0 - s) * (first - rise) - s * (last - rise))
    return np.asarray(y[i] + s * rise + bent)
