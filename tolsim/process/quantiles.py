"""Monotone maps read from a table, fast enough to stand in the place of a normal draw.

The map from a standard normal to a size is laid down in cells and read as a straight line within
each. The cells are even, or narrow towards the jumps between populations far apart. Where a line
misses (kinks, the empty middle of a population that was sorted) the cell gets nodes of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from tolsim.process.cells import REACH, Cells, EvenCells, OctaveCells
from tolsim.record import Primitive

__all__ = ["REACH", "Deferred", "Tabulated"]

FloatArray: TypeAlias = NDArray[np.float64]

_COARSE = (512, 1024)  # even cells per unit of z, tried in turn; powers of two
_OCTAVES = (7, 8, 9)  # then cells about jumps: 2**bits to the octave
_JUMPS = 6  # at most
_STEEPER = 0.5  # a jump is steeper than what lies beside it by this power of e
_FINE = (2048, 4096)  # then even cells again
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
    rough_share : float
        Share of draws that fall into them.

    Notes
    -----
    With intercept and slope of each cell, a draw costs the number of its cell, two gathers, one
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
        laid = _laid(exact, tolerance)
        self._cells = laid.cells.of
        low, high = laid.cells.ends
        if not (np.isfinite(laid.lines).all() and np.isfinite(laid.slopes).all()):
            raise ValueError("a table needs finite sizes from z = -8.5 to 8.5")
        self._slopes, self._lines, self._bad = laid.slopes, laid.lines, laid.bad
        # finding what a rough cell left as not a number is cheaper than asking every draw's cell
        self._intercepts = np.where(laid.bad, np.nan, laid.lines)
        order = np.argsort(low + high, kind="stable")
        self._centres, self._along = 0.5 * (low + high)[order], laid.slopes[order]
        self._ends = int(order[0]), int(order[-1])
        self.rough, self.rough_share = int(laid.bad.sum()), laid.rough_share
        self._z, self._x = _refined(exact, low[laid.bad], high[laid.bad], tolerance)
        self.primitive = Primitive(self._forward, self._slope)

    def _forward(self, z: FloatArray, out: FloatArray) -> None:
        cells = self._cells(z)
        self._slopes.take(cells, out=out, mode="clip")
        np.multiply(out, z, out=out)
        out += self._intercepts.take(cells, mode="clip")
        if self.rough and math.isnan(out.min(initial=0.0)):
            found = np.flatnonzero(np.isnan(out))
            x = z.reshape(-1)[found]
            out.reshape(-1)[found] = np.interp(x, self._z, self._x)
            if max(-float(x.min()), float(x.max())) > REACH:
                # within the reach of the table only: the outermost cells carry the straight lines
                far = np.abs(x) > REACH
                k = np.where(x[far] > 0.0, self._ends[1], self._ends[0])
                line = self._slopes.take(k) * x[far] + self._lines.take(k)
                out.reshape(-1)[found[far]] = line

    def _slope(self, z: FloatArray) -> FloatArray:
        slope = np.interp(z, self._centres, self._along)
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


@dataclass(frozen=True, slots=True)
class _Laid:
    """Straight lines over cells, and which cells they miss."""

    cells: Cells
    slopes: FloatArray
    lines: FloatArray
    bad: NDArray[np.bool_]

    @property
    def rough_share(self) -> float:
        """Share of draws that fall into cells a line misses."""
        low, high = (end[self.bad] for end in self.cells.ends)
        density = np.exp(-0.125 * (low + high) ** 2) / np.sqrt(2.0 * np.pi)
        return float(density @ (high - low))


def _laid(exact: Callable[[FloatArray], FloatArray], tolerance: float) -> _Laid:
    """The first division that is good enough, else the one with the fewest draws in rough cells."""
    tried: list[_Laid] = []

    def enough(cells: Cells) -> bool:
        tried.append(_lines(exact, cells, tolerance))
        return tried[-1].rough_share <= _ROUGH_SHARE

    if any(enough(EvenCells(n)) for n in _COARSE):
        return tried[-1]
    jumps = _jumps(exact, tried[-1])
    for count in range(1, len(jumps) + 1):
        about = tuple(sorted(jumps[:count]))  # each further jump costs every draw
        if enough(OctaveCells(about, _OCTAVES[-1])):
            return next(tried[-1] for bits in _OCTAVES if enough(OctaveCells(about, bits)))
    if any(enough(EvenCells(n)) for n in _FINE):
        return tried[-1]
    return min(tried, key=lambda laid: laid.rough_share)


def _lines(exact: Callable[[FloatArray], FloatArray], cells: Cells, tolerance: float) -> _Laid:
    """Lines through the ends of every cell; those beyond the reach go on with the last line."""
    low, high = cells.ends
    inner = high > low
    at, width = low[inner], (high - low)[inner]
    first = exact(at)
    rise = exact(high[inner]) - first
    slopes, lines = np.zeros_like(low), np.zeros_like(low)
    slopes[inner] = rise / width
    lines[inner] = first - slopes[inner] * at
    bad = np.zeros(low.size, dtype=np.bool_)
    for share in (0.5, 0.25, 0.75):
        off = exact(at + share * width) - (first + share * rise)
        bad[inner] |= ~(np.abs(off) <= tolerance)
    bad |= cells.given_up
    where = np.flatnonzero(inner)
    for outside, last in (
        (~inner & (low <= -REACH), where[np.argmin(at)]),
        (~inner & (low >= REACH), where[np.argmax(at)]),
    ):
        slopes[outside], lines[outside] = slopes[last], lines[last]
        bad[outside] |= bad[last]
    return _Laid(cells, slopes, lines, bad)


def _jumps(exact: Callable[[FloatArray], FloatArray], laid: _Laid) -> tuple[float, ...]:
    """Where the map of even cells climbs steepest between populations: most prominent first."""
    from scipy.signal import find_peaks

    low, high = laid.cells.ends
    steepness = np.log(np.maximum(laid.slopes, np.finfo(np.float64).tiny))
    peaks, found = find_peaks(steepness, prominence=_STEEPER)
    missed = laid.bad[peaks]
    order = np.argsort(-found["prominences"][missed], kind="stable")[:_JUMPS]
    return tuple(_steepest(exact, float(low[k]), float(high[k])) for k in peaks[missed][order])


def _steepest(exact: Callable[[FloatArray], FloatArray], a: float, b: float) -> float:
    """Where between a and b the map rises the most, by halving."""
    while b - a > _NARROWEST:
        middle = 0.5 * (a + b)
        x = exact(np.array([a, middle, b]))
        a, b = (a, middle) if x[1] - x[0] > x[2] - x[1] else (middle, b)
    return 0.5 * (a + b)


def _refined(
    exact: Callable[[FloatArray], FloatArray],
    low: FloatArray,
    high: FloatArray,
    tolerance: float,
) -> tuple[FloatArray, FloatArray]:
    """Nodes inside the rough cells, halved until a straight line between them holds."""
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
