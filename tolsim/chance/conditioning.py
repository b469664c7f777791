"""One contributor integrated out exactly: the others are drawn, its share of failure computed.

Where every margin rises or falls with one row of z, failure is that row lying below one threshold
or above another. Averaging the normal probability of that, instead of counting ones and zeros,
has no bias and a smaller error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tolsim.chance.weighted import log_interval
from tolsim.intervals import Interval

__all__ = ["Conditioned", "conditioned_share", "outside", "senses", "thresholds"]

FloatArray = NDArray[np.float64]
Margins = Callable[[FloatArray], FloatArray]

_REACH = 9.0  # beyond this a standard normal has 1e-19


@dataclass(frozen=True, kw_only=True, slots=True)
class Conditioned:
    """A share averaged over `n` draws of the other contributors.

    Parameters
    ----------
    interval : Interval
        The share [-], normal on the logarithm.
    relative_error : float
        Standard error over value [-].
    gain : float
        Draws that counting would need for the same error, over `n`.
    """

    interval: Interval
    n: int
    relative_error: float
    gain: float


def _with_row(z: FloatArray, row: int, values: FloatArray) -> FloatArray:
    moved = z.copy()
    moved[row] = values
    return moved


def senses(margins: Margins, z: FloatArray, row: int, *, points: int = 17) -> NDArray[np.float64]:
    """How each margin answers to one row: 1 rises, -1 falls, 0 does not, NaN does both.

    Parameters
    ----------
    margins : callable
        z (d, n) -> (m, n).
    z : ndarray
        Draws (d, n) at which to look; a few hundred.
    row : int
        The row that is moved over `points` values from -6 to 6.

    Examples
    --------
    >>> z = np.zeros((2, 1))
    >>> senses(lambda z: np.stack([z[0], -z[0], z[1], z[0] ** 2]), z, 0)
    array([ 1., -1.,  0., nan])
    """
    n = z.shape[1]
    at = np.linspace(-6.0, 6.0, points)
    wide = _with_row(np.tile(z, points), row, np.repeat(at, n))
    steps = np.diff(margins(wide).reshape(-1, points, n), axis=1)
    rises, falls = (steps > 0.0).any(axis=(1, 2)), (steps < 0.0).any(axis=(1, 2))
    return np.where(rises & falls, np.nan, rises.astype(float) - falls)


def thresholds(
    margins: Margins, z: FloatArray, row: int, sense: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Values of `row` below and above which a column fails, each (n,).

    Parameters
    ----------
    margins : callable
        z (d, n) -> (m, n), each continuous in the row and of the given sense.
    z : ndarray
        Draws (d, n); what stands in `row` does not matter.
    sense : ndarray
        Of each margin, (m,), as from `senses`, none NaN.

    Notes
    -----
    The least of several rising margins rises too, so one root stands for all of them.
    """
    if np.isnan(sense).any():
        bad = int(np.flatnonzero(np.isnan(sense))[0])
        raise ValueError(f"margin {bad} neither rises nor falls with row {row} alone")
    n = z.shape[1]
    low, high = np.full(n, -np.inf), np.full(n, np.inf)
    if (sense > 0.0).any():
        low = _root(margins, z, row, sense > 0.0, rising=True)
    if (sense < 0.0).any():
        high = _root(margins, z, row, sense < 0.0, rising=False)
    if (sense == 0.0).any():
        fails = (margins(_with_row(z, row, np.zeros(n)))[sense == 0.0] < 0.0).any(axis=0)
        low = np.where(fails, np.inf, low)
    return low, high


def _root(
    margins: Margins, z: FloatArray, row: int, chosen: NDArray[np.bool_], *, rising: bool
) -> FloatArray:
    from scipy.optimize import elementwise  # 0.3 s that a plain prediction need not pay

    def g(x: FloatArray, column: NDArray[np.float64]) -> FloatArray:
        part = _with_row(z[:, column.astype(np.intp)], row, x)
        return np.asarray(margins(part)[chosen].min(axis=0))

    columns = np.arange(z.shape[1], dtype=np.float64)
    ends = np.full(z.shape[1], _REACH)
    left, right = g(-ends, columns), g(ends, columns)
    if not rising:
        left, right = right, left  # now left is the failing end
    sign = 1.0 if rising else -1.0
    out = np.where(right < 0.0, sign * np.inf, -sign * np.inf)
    inside = (left < 0.0) & (right >= 0.0)
    if inside.any():
        found = elementwise.find_root(
            g, (-ends[inside], ends[inside]), args=(columns[inside],), tolerances={"xatol": 1e-9}
        )
        out[inside] = found.x
    return np.asarray(out)


def outside(low: FloatArray, high: FloatArray) -> FloatArray:
    """Probability that a standard normal lies below `low` or above `high`.

    >>> outside(np.array([-1.0, 1.0]), np.array([1.0, -1.0]))
    array([0.31731, 1.     ])
    """
    return np.asarray(np.minimum(1.0, ndtr(low) + ndtr(-high)))


def conditioned_share(
    margins: Margins, z: FloatArray, row: int, *, confidence: float = 0.95
) -> Conditioned:
    """Share of failure with one row integrated out.

    Parameters
    ----------
    margins : callable
        z (d, n) -> (m, n); failure where any is negative. Continuous in the row.
    z : ndarray
        Plain draws (d, n), n >= 2; its `row` is replaced.

    Raises
    ------
    ValueError
        If a margin both rises and falls with the row, or no draw leaves a chance of failure.
    """
    sense = senses(margins, z[:, : min(256, z.shape[1])], row)
    p = outside(*thresholds(margins, z, row, sense))
    n, value = p.size, float(p.mean())
    if value <= 0.0:
        raise ValueError("no draw of the others leaves a chance of failure")
    variance = float(p.var(ddof=1)) / n
    error = math.sqrt(variance) / value
    counting = value * (1.0 - value) / n
    return Conditioned(
        interval=log_interval(value, error, confidence=confidence),
        n=n,
        relative_error=error,
        gain=counting / variance if variance > 0.0 else math.inf,
    )
