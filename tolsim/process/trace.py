"""Curve of a population that is known by its tails and its density."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import ndtri

from tolsim.process.base import FloatArray, normal_density
from tolsim.process.curve import Curve
from tolsim.process.quantiles import REACH

__all__ = ["EDGE", "trace"]

EDGE = REACH + 0.1  # curves reach a little further than the tables made of them
_NOTHING = 38.0  # beyond it a tail is 0 in double precision: the end of the support
_STEEP = 1e300  # slope of a jump
_JUMP = 1e-12  # nodes this close in z bound an empty stretch of sizes
_NARROW = 1e-12  # nodes this close in x, as a share of the spread, are not parted further
_ASIDE = 0.28  # where on a piece the error that its middle cannot show is largest
_THIN = 1e-6  # where the density is below this share of its peak, 100 times the error is allowed


def trace(
    shares: Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]],
    start: FloatArray,
    *,
    spread: float,
    error: float = 1e-9,
) -> Curve:
    """Curve of a population known by both tails and its density.

    Parameters
    ----------
    shares : callable
        Shares below and above sizes, each accurate where it is tiny, and the density [1/mm].
    start : ndarray
        Increasing sizes to begin with, from z below -8.5 to z above 8.5 (or the ends of the
        support); kinks and edges belong among them.
    spread : float
        Standard deviation [mm].
    error : float
        Largest error of the size between nodes, as a share of `spread`, where the density exceeds
        1e-6 of its peak; 100 times as much elsewhere.

    Returns
    -------
    Curve
        Nodes from z = -8.6 to 8.6 or a little beyond; empty stretches are jumps.
    """

    def look(x: FloatArray) -> FloatArray:
        lower, upper, f = shares(x)
        z = np.where(lower <= upper, ndtri(lower), -ndtri(upper))
        with np.errstate(over="ignore"):
            slope = normal_density(z) / np.where(f > 0.0, f, 1.0)
        slope = np.where(f > 0.0, np.minimum(slope, _STEEP), _STEEP)
        ended = ~(np.abs(z) < _NOTHING)
        z = np.where(ended, np.copysign(EDGE, z), z)
        return np.stack([x, z, np.where(ended, 0.0, slope), f])

    nodes = look(np.unique(np.asarray(start, dtype=np.float64)))
    open_ = np.ones(nodes.shape[1] - 1, dtype=bool)
    for _ in range(60):
        x, z, slope, f = nodes
        gap = np.diff(z)
        # halving a narrow piece could put a second node on one of its ends
        wide = (gap > _JUMP) & (np.diff(x) > _NARROW * spread)
        k = np.flatnonzero(open_ & wide & (z[1:] > -EDGE) & (z[:-1] < EDGE))
        if k.size == 0:
            break
        middle = look(0.5 * (x[k] + x[k + 1]))
        curve = Curve(np.maximum.accumulate(z), x, slope)
        peak = np.nanmax(np.where(np.isfinite(f), f, np.nan))

        def missed(seen: FloatArray, curve: Curve = curve, peak: float = peak) -> FloatArray:
            allowed = error * spread * np.where(seen[3] >= _THIN * peak, 1.0, 100.0)
            return np.asarray(~(np.abs(curve.at(seen[1]) - seen[0]) <= allowed))

        bad = missed(middle) | (gap[k] > 0.25)
        # between two like populations a curve is odd about the middle, which any cubic hits
        beside = np.flatnonzero(~bad)
        aside = x[k[beside]] + _ASIDE * (x[k[beside] + 1] - x[k[beside]])
        bad[beside] = missed(look(aside))
        mark = np.zeros(nodes.shape[1] + k.size, dtype=bool)
        mark[k] = bad  # the left half of a piece that missed
        mark[nodes.shape[1] :] = bad  # and its right half
        nodes = np.concatenate([nodes, middle], axis=1)
        order = np.argsort(nodes[0], kind="stable")
        nodes, open_ = nodes[:, order], mark[order][:-1]
    x, z, slope, _ = nodes
    z = np.maximum.accumulate(z)  # rounding must not make z fall
    first = max(int(np.searchsorted(z, -EDGE, side="right")) - 1, 0)
    last = int(np.searchsorted(z, EDGE, side="left")) + 1
    x, z, slope = x[first:last], z[first:last], slope[first:last]
    if len(x) < 2:
        raise ValueError("a curve needs sizes on both sides of its middle")
    return Curve(z, x, slope)
