"""Monotone maps read from a table, fast enough to stand in the place of a normal draw.

The map from a standard normal to a size is laid down on a uniform grid and read linearly between
its nodes. Where that misses (kinks, the empty middle of a population that was sorted) the cell gets
nodes of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from tolsim.record import Primitive

__all__ = ["REACH", "Deferred", "Tabulated"]

FloatArray: TypeAlias = NDArray[np.float64]

REACH = 8.5  # the table covers -REACH to REACH: 2e-17 of the draws lie outside
_CELLS = (512, 1024, 2048, 4096)  # cells per unit of z, tried in turn; powers of two
_ROUGH_SHARE = 1e-3  # share of draws that may read the slower nodes of rough cells
_NARROWEST = 1e-13  # a rough piece this narrow in z is a jump


class Tabulated:
    """Monotone map from a standard normal to a size, tabulated.

    Parameters
    ----------
    exact : callable
        Increasing map from an array of standard normals to sizes [mm].
    spread : float
        Standard deviation of the sizes [mm], the yardstick of the error.
    error : float
        Largest error of the table as a share of `spread` for \\|z\\| <= 8.5; beyond, the map goes
        on as a straight line.

    Attributes
    ----------
    primitive : Primitive
        The map, recordable.
    rough : int
        Number of cells with nodes of their own.

    Notes
    -----
    The index of the cell comes from the mantissa: adding :math:`1.5 \\cdot 2^{52} h` to z rounds it
    to a multiple of the cell width h, whose number then stands in the low bits. With intercept
    and slope of each cell, a draw costs one addition, one integer subtraction, two gathers, one
    product and one sum. The error is checked at three points of every cell.

    Examples
    --------
    >>> from scipy.special import ndtr
    >>> uniform = Tabulated(ndtr, spread=0.288675)
    >>> uniform.primitive(np.array([-1.0, 0.0, 1.0]))
    array([0.158655, 0.5     , 0.841345])
    """

    def __init__(
        self,
        exact: Callable[[FloatArray], FloatArray],
        *,
        spread: float,
        error: float = 5e-7,
    ) -> None:
        tolerance = error * spread
        for per_unit in _CELLS:
            edges, sizes, bad = _grid(exact, per_unit, tolerance)
            if _share(edges, bad) <= _ROUGH_SHARE:
                break
        if not bool(np.all(np.isfinite(sizes))):
            raise ValueError("a table needs finite sizes from z = -8.5 to 8.5")
        self._width = 1.0 / per_unit
        self._slopes = np.diff(sizes) * per_unit
        self._lines = sizes[:-1] - self._slopes * edges[:-1]
        # finding what a rough cell left as not a number is cheaper than asking every draw's cell
        self._intercepts = np.where(bad, np.nan, self._lines)
        self._centres = 0.5 * (edges[1:] + edges[:-1])
        self._shift = 1.5 * 2.0**52 * self._width
        self._base = np.array([self._shift + self._centres[0]]).view(np.int64)[0]
        self._bad = bad
        self.rough = int(bad.sum())
        self._z, self._x = _refined(exact, edges, bad, tolerance)
        self.primitive = Primitive(self._forward, self._slope)

    def _cells(self, z: FloatArray) -> NDArray[np.int64]:
        cells = np.add(z, self._shift).view(np.int64)
        cells -= self._base
        return cells

    def _forward(self, z: FloatArray, out: FloatArray) -> None:
        cells = self._cells(z)
        self._slopes.take(cells, out=out, mode="clip")
        np.multiply(out, z, out=out)
        out += self._intercepts.take(cells, mode="clip")
        found = np.flatnonzero(np.isnan(out)) if self.rough else np.empty(0, dtype=np.intp)
        if found.size:
            x = z.reshape(-1)[found]
            out.reshape(-1)[found] = np.interp(x, self._z, self._x)
            if max(-float(x.min()), float(x.max())) > REACH:
                # within the reach of the table only: the outermost cells carry the straight lines
                far = found[np.abs(x) > REACH]
                k = cells.reshape(-1)[far]
                line = self._slopes.take(k, mode="clip") * z.reshape(-1)[far]
                out.reshape(-1)[far] = line + self._lines.take(k, mode="clip")

    def _slope(self, z: FloatArray) -> FloatArray:
        slope = np.interp(z, self._centres, self._slopes)
        if self.rough:
            flat = np.ascontiguousarray(z, dtype=np.float64).reshape(-1)
            found = np.flatnonzero(self._bad.take(self._cells(flat), mode="clip"))
            k = np.clip(np.searchsorted(self._z, flat[found], side="right"), 1, len(self._z) - 1)
            slope.reshape(-1)[found] = (self._x[k] - self._x[k - 1]) / (self._z[k] - self._z[k - 1])
        return np.asarray(slope)


class Deferred(Tabulated):
    """A table that is laid down when it is first read: shapes that are only asked need none."""

    def __init__(
        self,
        exact: Callable[[FloatArray], FloatArray],
        *,
        spread: float,
        error: float = 5e-7,
    ) -> None:
        self._made = False
        self._lay = partial(Tabulated.__init__, self, exact, spread=spread, error=error)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__") or self.__dict__.get("_made", True):
            raise AttributeError(name)
        self._made = True
        self._lay()
        return getattr(self, name)


def _grid(
    exact: Callable[[FloatArray], FloatArray], per_unit: int, tolerance: float
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Edges of the cells, sizes there, and which cells a straight line misses."""
    half = 0.5 / per_unit
    count = round(2.0 * REACH * per_unit) + 1
    edges = -REACH - half + np.arange(count + 1) / per_unit
    sizes = exact(edges)
    bad = np.zeros(count, dtype=np.bool_)
    for share in (0.5, 0.25, 0.75):
        inside = exact(edges[:-1] + share / per_unit)
        line = sizes[:-1] + share * np.diff(sizes)
        bad |= ~(np.abs(inside - line) <= tolerance)
    return edges, sizes, bad


def _share(edges: FloatArray, bad: NDArray[np.bool_]) -> float:
    centres = 0.5 * (edges[1:] + edges[:-1])[bad]
    return float(np.exp(-0.5 * centres**2).sum() * (edges[1] - edges[0]) / np.sqrt(2.0 * np.pi))


def _refined(
    exact: Callable[[FloatArray], FloatArray],
    edges: FloatArray,
    bad: NDArray[np.bool_],
    tolerance: float,
) -> tuple[FloatArray, FloatArray]:
    """Nodes inside the rough cells, halved until a straight line between them holds."""
    low, high = edges[:-1][bad], edges[1:][bad]
    nodes = [low, high]
    while low.size:
        x0, x1 = exact(low), exact(high)
        middle = 0.5 * (low + high)
        x_middle = exact(middle)
        off = np.abs(x_middle - 0.5 * (x0 + x1)) > tolerance
        for share in (0.25, 0.75):
            inside = exact(low + share * (high - low))
            off |= np.abs(inside - (x0 + share * (x1 - x0))) > tolerance
        off &= high - low > _NARROWEST
        nodes.append(middle[off])
        low, high = (
            np.concatenate([low[off], middle[off]]),
            np.concatenate([middle[off], high[off]]),
        )
    z = np.unique(np.concatenate(nodes)) if nodes[0].size else np.empty(0)
    return z, exact(z) if z.size else z
