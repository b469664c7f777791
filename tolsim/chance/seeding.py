"""Where failures may lie: points from widened draws, from every margin, from failing samples."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tolsim.chance.design_points import design_points, pull_to_border, thin
from tolsim.chance.event import IntArray, Tally

__all__ = ["Seeds"]

FloatArray = NDArray[np.float64]

_SCALE_DRAWS = 2048
_WIDE_DRAWS = 8192
_SLOPE_DRAWS = 2048
_SLOPE_STARTS = 96
_FARTHEST = 12.0


class Seeds:
    """The pool of points near which a sampler must look; grows as failures are met.

    Attributes
    ----------
    points : ndarray
        (d, k), thinned by angle, nearest to the origin first.
    span : ndarray
        Orthonormal basis (d, s) of the slopes met at converged points: failure depends on these
        directions only. The whole space where slopes are not to be had.
    """

    def __init__(self, tally: Tally) -> None:
        d = tally.event.dimension
        self._tally = tally
        self.points: FloatArray = np.zeros((d, 0))
        self._slopes: FloatArray = np.zeros((d, d))
        self.span: FloatArray = np.eye(d)

    def explore(self, rng: Generator) -> None:
        """Look without any guidance by levels: widened draws, then every margin's own descent."""
        t = self._tally
        d = t.event.dimension
        t.learn_scales(rng.standard_normal((d, _SCALE_DRAWS)))
        wide = rng.standard_normal((d, _WIDE_DRAWS)) * rng.uniform(1.0, 3.0, _WIDE_DRAWS)
        self.add_failing(wide[:, t.values(wide) < 0.0], most=64)
        if t.has_gradient:
            margins = 1 if t.scales is None else t.scales.size
            each = int(np.clip(240 // margins, 3, 12))
            starts = rng.standard_normal((d, margins * each))
            starts *= 2.0 / np.linalg.norm(starts, axis=0)
            starts[:, ::each] *= 0.01  # one search a margin starts from the middle
            which = np.repeat(np.arange(margins), each)
            other, follows = self._by_slope(rng)
            starts = np.concatenate([starts, other], axis=1)
            u, left = design_points(t, starts, np.concatenate([which, follows]))
            self._keep(u[:, np.abs(left) < 0.05], converged=True)

    def _by_slope(self, rng: Generator) -> tuple[FloatArray, IntArray]:
        """Draws that differ in the direction of their slope, and the margin nearest there.

        A pocket that plain levels never lead to still bends the slope of the few draws around
        it: one start for every direction of slope finds it.
        """
        t = self._tally
        z = rng.standard_normal((t.event.dimension, _SLOPE_DRAWS))
        z *= rng.uniform(1.0, 1.5, _SLOPE_DRAWS)
        index = t.active(z)
        g, slope = t.gradient(z, index)
        length = np.linalg.norm(slope, axis=0)
        usable = np.flatnonzero((length > 0.0) & np.isfinite(length))
        order = usable[np.argsort(g[usable], kind="stable")]
        # lengths that grow by rank let the draws nearest to failure stand for their direction
        rank = 1.0 + 1e-4 * np.arange(order.size)
        kept = order[thin(slope[:, order] / length[order] * rank, most=_SLOPE_STARTS)]
        return z[:, kept], index[kept]

    def add_failing(self, failing: FloatArray, *, most: int = 128) -> None:
        """Take failing samples (d, n): thin by angle, pull to the border, polish along slopes."""
        if failing.shape[1] == 0:
            return
        t = self._tally
        border = pull_to_border(t, failing[:, thin(failing, most=most)])
        if t.has_gradient:
            u, left = design_points(t, border, t.active(border), iterations=5)
            done = np.abs(left) < 0.05
            self._keep(u[:, done], converged=True)
            border = border[:, ~done]
        self._keep(border, converged=False)

    def _keep(self, points: FloatArray, *, converged: bool) -> None:
        length = np.linalg.norm(points, axis=0)
        points = points[:, (length > 0.0) & (length < _FARTHEST)]
        if converged and points.shape[1]:
            # the slope at a nearest point runs along the point itself
            unit = points / np.linalg.norm(points, axis=0)
            self._slopes += unit @ unit.T
            weight, vectors = np.linalg.eigh(self._slopes)
            self.span = vectors[:, weight > 1e-4 * weight[-1]]
        pool = np.concatenate([self.points, points], axis=1)
        self.points = pool[:, thin(pool)]
