"""The sum of two independent populations, such as a size and the film that lies on it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Process, normal_density, shares_of
from tolsim.process.moved import kinks, moved
from tolsim.process.plain import Normal
from tolsim.process.tabled import Tabled
from tolsim.process.trace import trace

__all__ = ["added", "exact_sizes"]

_REACH = 9.2  # both populations are summed from z = -9.2 to 9.2
_SMOOTH = 0.02  # a normal wider than this share of the other population smooths it
_PANEL = 0.7  # widest panel in z
_MOST_PANELS = 4000
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)
_START = np.linspace(-8.6, 8.6, 61)
_AGREE = 1e-6  # mean and spread of the result, as a share of the spread

Sums = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]


def added(a: Process, b: Process) -> Process:
    r"""Population of the sum of independent sizes.

    .. math:: F(x) = \int \varphi(z)\,F_W(x - n(z))\,dz

    over the narrower of the two, n; both tails are sums of positive terms, so that they keep
    their digits to \|z\| = 8.

    Two normals give a normal, a constant shifts. Everything else is summed by Gauss panels that
    end at the edges and corners of both densities and traced into a curve (error 1e-9 of the
    spread); mean and spread are the exact sums, and the curve must reproduce them.

    Raises
    ------
    ArithmeticError
        If the curve misses mean or spread by more than 1e-6 of the spread even on finer panels.

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
    for fineness in (1.0, 3.0):
        curve = trace(_summed(a, b, fineness), start, spread=sd)
        found = Tabled(curve)
        worst = max(abs(found.mean - mean), abs(found.sd - sd)) / sd
        if worst <= _AGREE:
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


def _panels(process: Process, span: float) -> FloatArray:
    """Edges in z between which the sizes of a process spread over at most `span`."""
    inner = process.latent(np.asarray(kinks(process)))
    edges = np.concatenate(
        [np.arange(-_REACH, _REACH + 0.5 * _PANEL, _PANEL), inner[np.abs(inner) < _REACH]]
    )
    edges = np.unique(edges)
    for _ in range(50):
        x = process.size(edges)
        # further out the other population changes slowly against the one that is summed over
        far = np.maximum(np.minimum(np.abs(edges[1:]), np.abs(edges[:-1])) - 3.0, 0.0)
        wide = (np.diff(x) > span * (1.0 + far)) & (np.diff(edges) > 1e-13)
        if not bool(wide.any()) or len(edges) > _MOST_PANELS:
            break
        edges = np.sort(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])[wide]]))
    return edges


def _nodes(edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gauss nodes and their weights with the normal density, along the last axis of `edges`."""
    half = 0.5 * np.diff(edges)[..., None]
    z = 0.5 * (edges[..., 1:] + edges[..., :-1])[..., None] + half * _GAUSS_X
    weight = half * _GAUSS_W * normal_density(z)
    shape = (*edges.shape[:-1], -1)
    return z.reshape(shape), weight.reshape(shape)


def _smoothed(rough: Process, normal: Normal, fineness: float) -> Sums:
    z, weight = _nodes(_panels(rough, 1.5 * normal.sd / fineness))
    centre = exact_sizes(rough, z) + normal.mean

    def sums(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        out = np.empty((3, x.size))
        for part in _chunks(x.size, z.size):
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
    edges = _panels(narrow, 1.5 * max(scale, 0.05 * wide.sd) / fineness)
    corners = np.asarray(kinks(wide))

    def sums(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        out = np.empty((3, x.size))
        for part in _chunks(x.size, 8 * (len(edges) + len(corners))):
            s = x.ravel()[part]
            # the integrand has its corners where the wide population has them
            own = np.clip(narrow.latent(s[:, None] - corners), -_REACH, _REACH)
            own = np.sort(
                np.concatenate([own, np.broadcast_to(edges, (s.size, len(edges)))], axis=1), axis=1
            )
            z, weight = _nodes(own)
            rest = s[:, None] - exact_sizes(narrow, z)
            for row, values in zip(out, shares_of(wide, rest), strict=True):
                row[part] = (values * weight).sum(axis=1)
        lower, upper, density = out.reshape(3, *x.shape)
        return lower, upper, density

    return sums


def exact_sizes(process: Process, z: FloatArray) -> FloatArray:
    """Sizes without the error of the table that draws are read from."""
    if isinstance(process, Tabled):
        return process.curve.at(z)
    maker = getattr(process, "from_normal", process.size)
    return np.asarray(maker(z))


def _chunks(rows: int, columns: int) -> list[NDArray[np.intp]]:
    """Index arrays that keep a block of rows x columns below some 2e6 numbers."""
    step = max(1, 2_000_000 // max(columns, 1))
    return [np.arange(i, min(i + step, rows)) for i in range(0, rows, step)]
