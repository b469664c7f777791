"""The sum of two independent populations, such as a size and the film that lies on it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Process, normal_density, shares_of
from tolsim.process.moved import kinks, moved
from tolsim.process.panels import REACH, chunks, exact_sizes, gauss_nodes, panels
from tolsim.process.plain import Normal
from tolsim.process.tabled import Tabled
from tolsim.process.trace import trace

__all__ = ["added"]

_SMOOTH = 0.02  # a normal wider than this share of the other population smooths it
_START = np.linspace(-8.6, 8.6, 61)
_AGREE, _AGREE_AT_LAST = 1e-6, 1e-5  # mean and spread of the result, as a share of the spread
_ERROR = 4e-9  # of the curve, as a share of the spread: the parts' own curves know 1e-9

Sums = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]


def added(a: Process, b: Process) -> Process:
    r"""Population of the sum of independent sizes.

    .. math:: F(x) = \int \varphi(z)\,F_W(x - n(z))\,dz

    over the narrower of the two, n; both tails are sums of positive terms, so that they keep
    their digits to \|z\| = 8.

    Two normals give a normal, a constant shifts. Everything else is summed by Gauss panels that
    end at the edges and corners of both densities and traced into a curve (error 4e-9 of the
    spread); mean and spread are the exact sums, and the curve must reproduce them.

    Raises
    ------
    ArithmeticError
        If the curve misses mean or spread by more than 1e-5 of the spread even on finer panels.

    Examples
    --------
    >>> from tolsim.process.plain import Uniform
    >>> film = Uniform(low=-0.005, high=0.005)
    >>> worn = added(Normal(mean=0.0, sd=0.002), film)
    >>> worn.sd, float(worn.sf(0.008))
    (0.003512, 0.00586)
    """
    if a.sd == 0.0 or b.sd == 0.0:
        still, other = (a, b) if a.sd == 0.0 else (b, a)
        return moved(other, shift=still.mean)
    mean, sd = a.mean + b.mean, math.hypot(a.sd, b.sd)
    if isinstance(a, Normal) and isinstance(b, Normal):
        return Normal(mean=mean, sd=sd)
    start, corners = _sizes(a, b)
    worst = math.inf
    for fineness, agree in ((1.0, _AGREE), (3.0, _AGREE_AT_LAST)):
        curve = trace(_summed(a, b, fineness), start, spread=sd, error=_ERROR)
        found = Tabled(curve)
        worst = max(abs(found.mean - mean), abs(found.sd - sd)) / sd
        if worst <= agree:
            return Tabled(curve, mean, sd, corners)
    raise ArithmeticError(
        f"the sum of two populations misses its mean or spread by {worst:.1e} of the spread"
    )


def _sizes(a: Process, b: Process) -> tuple[FloatArray, tuple[float, ...]]:
    """Sizes to start tracing from, and where the sum has corners."""
    start = a.size(_START) + b.size(_START)
    corners: tuple[float, ...] = ()
    if not (isinstance(a, Normal) or isinstance(b, Normal)):
        corners = tuple(sorted({p + q for p in kinks(a) for q in kinks(b)}))
    low, high = (a.support[i] + b.support[i] for i in (0, 1))
    ends = [e for e in (low, high) if math.isfinite(e)]
    start = np.clip(np.concatenate([start, corners, ends]), low, high)
    return np.unique(start), corners


def _summed(a: Process, b: Process, fineness: float) -> Sums:
    """Function that gives both tails and the density of the sum at an array of sizes."""
    narrow, wide = (a, b) if a.sd <= b.sd else (b, a)
    normal = next((p for p in (a, b) if isinstance(p, Normal)), None)
    if normal is not None:
        other = b if normal is a else a
        if normal.sd >= _SMOOTH * other.sd:
            return _smoothed(other, normal, fineness)
        narrow, wide = normal, other
    return _rough(narrow, wide, fineness)


def _smoothed(rough: Process, normal: Normal, fineness: float) -> Sums:
    z, weight = gauss_nodes(panels(rough, 1.5 * normal.sd / fineness))
    centre = exact_sizes(rough, z) + normal.mean

    def sums(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        out = np.empty((3, x.size))
        for part in chunks(x.size, z.size):
            t = (x.ravel()[part, None] - centre) / normal.sd
            out[0, part] = ndtr(t) @ weight
            out[1, part] = ndtr(-t) @ weight
            out[2, part] = normal_density(t) @ weight / normal.sd
        lower, upper, density = out.reshape(3, *x.shape)
        return lower, upper, density

    return sums


def _rough(narrow: Process, wide: Process, fineness: float) -> Sums:
    middle = np.linspace(-1.5, 1.5, 31)
    scale = float(np.min(np.diff(wide.size(middle)))) / 0.1
    edges = panels(narrow, 1.5 * max(scale, 0.05 * wide.sd) / fineness)
    corners = np.asarray(kinks(wide))

    def sums(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        out = np.empty((3, x.size))
        for part in chunks(x.size, 8 * (len(edges) + len(corners))):
            s = x.ravel()[part]
            # the integrand has its corners where the wide population has them
            own = np.clip(narrow.latent(s[:, None] - corners), -REACH, REACH)
            own = np.sort(
                np.concatenate([own, np.broadcast_to(edges, (s.size, len(edges)))], axis=1), axis=1
            )
            z, weight = gauss_nodes(own)
            rest = s[:, None] - exact_sizes(narrow, z)
            for row, values in zip(out, shares_of(wide, rest), strict=True):
                # a density may be infinite at an edge, which no panel holds
                row[part] = (np.minimum(values, 1e300) * weight).sum(axis=1)
        lower, upper, density = out.reshape(3, *x.shape)
        return lower, upper, density

    return sums
