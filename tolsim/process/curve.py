"""Monotone map between standard normals and sizes, kept accurate for setting up."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tolsim.process.base import FloatArray, normal_density

__all__ = ["Curve", "moments"]

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(5)


@dataclass(frozen=True, eq=False, slots=True)
class Curve:
    """Nodes of a monotone map from z to x with the slope dx/dz at each, cubic between them.

    Two nodes may share one z: the sizes between them do not occur. Beyond the ends the map goes
    on as a straight line.
    """

    z: FloatArray
    x: FloatArray
    slope: FloatArray

    def at(self, z: ArrayLike) -> FloatArray:
        """Size of standard normals; those beyond 40 are taken as 40."""
        p = self._piece(np.clip(np.asarray(z, dtype=np.float64), -40.0, 40.0))
        u = np.clip(p.t, 0.0, 1.0)
        inside = p.x + u * (p.d0 + u * (p.square + u * p.cube))
        beyond = np.where(p.t < 0.0, p.t * p.d0, np.where(p.t > 1.0, (p.t - 1.0) * p.d1, 0.0))
        return np.asarray(inside + beyond)

    def slope_at(self, z: ArrayLike) -> FloatArray:
        """Slope dx/dz at standard normals."""
        p = self._piece(np.asarray(z, dtype=np.float64))
        u = np.clip(p.t, 0.0, 1.0)
        per_piece = p.d0 + u * (2.0 * p.square + 3.0 * u * p.cube)
        return np.asarray(np.maximum(per_piece, 0.0) / p.width)

    def inverse(self, x: ArrayLike) -> FloatArray:
        """Standard normal of sizes; the common z inside a stretch without parts."""
        s = np.asarray(x, dtype=np.float64)
        k = np.clip(np.searchsorted(self.x, s, side="right") - 1, 0, len(self.x) - 2)
        p = self._cubic(k, w=self.z[k])
        t = _solved(s - p.x, p)
        z = self.z[k] + t * (self.z[k + 1] - self.z[k])
        # t was held between 0 and 1; d0 and d1 are the slopes that `at` goes on with; a curve that
        # ends flat is the end of the support
        with np.errstate(divide="ignore", invalid="ignore"):
            left = self.z[0] - np.maximum(self.x[0] - s, 0.0) * p.width / p.d0
            right = self.z[-1] + np.maximum(s - self.x[-1], 0.0) * p.width / p.d1
        return np.asarray(np.where(s < self.x[0], left, np.where(s > self.x[-1], right, z)))

    def _piece(self, w: FloatArray) -> _Piece:
        k = np.clip(np.searchsorted(self.z, w, side="right") - 1, 0, len(self.z) - 2)
        return self._cubic(k, w)

    def _cubic(self, k: NDArray[np.intp], w: FloatArray) -> _Piece:
        width = self.z[k + 1] - self.z[k]
        width = np.where(width > 0.0, width, 1.0)  # no value lies inside a piece of no width
        rise = self.x[k + 1] - self.x[k]
        # Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246: slopes of at most three
        # times the chord keep the cubic monotone
        d0 = np.minimum(self.slope[k] * width, 3.0 * rise)
        d1 = np.minimum(self.slope[k + 1] * width, 3.0 * rise)
        return _Piece(
            x=self.x[k],
            t=(w - self.z[k]) / width,
            width=width,
            rise=rise,
            d0=d0,
            d1=d1,
            square=3.0 * rise - 2.0 * d0 - d1,
            cube=d0 + d1 - 2.0 * rise,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Piece:
    """One piece per value: x + d0 t + square t² + cube t³ for t from 0 to 1."""

    x: FloatArray
    t: FloatArray
    width: FloatArray
    rise: FloatArray
    d0: FloatArray
    d1: FloatArray
    square: FloatArray
    cube: FloatArray


def _solved(goal: FloatArray, p: _Piece) -> FloatArray:
    """Where on its piece each cubic reaches `goal`: Newton's steps, halving where they fail."""
    rise = p.rise.reshape(-1)
    x, d0 = goal.reshape(-1), p.d0.reshape(-1)
    square, cube = p.square.reshape(-1), p.cube.reshape(-1)
    t = np.clip(x / np.where(rise > 0.0, rise, 1.0), 0.0, 1.0)
    low, high = np.zeros(x.shape), np.ones(x.shape)
    left = np.arange(x.size)  # those not yet settled
    for _ in range(60):
        u, a, b, c = t[left], d0[left], square[left], cube[left]
        miss = u * (a + u * (b + u * c)) - x[left]
        above = miss > 0.0
        high[left] = np.where(above, u, high[left])
        low[left] = np.where(above, low[left], u)
        slope = a + u * (2.0 * b + 3.0 * u * c)
        step = u - miss / np.where(slope > 0.0, slope, 1.0)
        ok = (slope > 0.0) & (step >= low[left]) & (step <= high[left])
        new = np.where(ok, step, 0.5 * (low[left] + high[left]))
        t[left] = new
        left = left[np.abs(new - u) > 1e-14]
        if left.size == 0:
            break
    return t.reshape(goal.shape)


def moments(curve: Curve) -> tuple[float, float]:
    """Mean and standard deviation of a curve's sizes [mm]."""
    width = np.diff(curve.z)
    centre = 0.5 * (curve.z[1:] + curve.z[:-1])
    z = centre[:, None] + 0.5 * width[:, None] * _GAUSS_X
    weight = 0.5 * width[:, None] * _GAUSS_W * normal_density(z)
    x = curve.at(z)
    total = float(weight.sum())
    mean = float((weight * x).sum()) / total
    return mean, math.sqrt(max(float((weight * (x - mean) ** 2).sum()) / total, 0.0))
