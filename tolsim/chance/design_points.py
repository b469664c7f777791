"""Points of failure nearest to the origin, sought from many starts at once.

Most of a failure's probability lies near such points; a ring of failure has a continuum of them,
so no single one is ever trusted to stand for all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tolsim.chance.event import IntArray, Tally

__all__ = ["design_points", "pull_to_border", "thin"]

FloatArray = NDArray[np.float64]

_STEPS = (1.0, 0.5, 0.2, 0.05)  # fractions of the full step that the line search compares
_LONGEST = 12.0  # beyond this radius a probability is below 1e-32


def design_points(
    tally: Tally, starts: FloatArray, index: IntArray, *, iterations: int = 12
) -> tuple[FloatArray, FloatArray]:
    """Polish starts (d, n) towards the nearest point with margin 0.

    Parameters
    ----------
    tally : Tally
        The event with gradients.
    starts : ndarray
        (d, n), one search a column.
    index : ndarray of int
        Which margin column j follows, (n,).

    Returns
    -------
    points : ndarray
        (d, n), where each search stopped.
    residual : ndarray
        Margin left there in units of its spread, (n,); near 0 where it converged.

    Notes
    -----
    The improved HLRF step of [1]_: the merit is half the squared distance plus a multiple of
    the distance from the border; the four step lengths are compared side by side.

    References
    ----------
    .. [1] Zhang & Der Kiureghian, *Reliability and Optimization of Structural Systems* (1995)
       297-305, from memory.
    """
    u = np.array(starts, dtype=np.float64)
    d, n = u.shape
    g = np.full(n, np.inf)
    moving = np.arange(n)
    for _ in range(iterations):
        if moving.size == 0:
            break
        at, which = u[:, moving], index[moving]
        value, slope = tally.gradient(at, which)
        g[moving] = value
        square = np.einsum("ij,ij->j", slope, slope)
        usable = np.isfinite(square) & (square > 1e-20) & np.isfinite(value)
        safe = np.where(usable, square, 1.0)
        target = slope * ((np.einsum("ij,ij->j", slope, at) - value) / safe)
        length = np.sqrt(np.einsum("ij,ij->j", target, target))
        target = target * np.minimum(1.0, _LONGEST / np.maximum(length, 1e-12))
        step = target - at
        gap = np.sqrt(np.einsum("ij,ij->j", step, step))
        usable &= (gap > 1e-3) | (np.abs(value) > 1e-3)
        moving, at, which = moving[usable], at[:, usable], which[usable]
        step, value = step[:, usable], value[usable]
        if moving.size == 0:
            break
        penalty = 2.0 * (np.linalg.norm(at, axis=0) + 1.0) / np.sqrt(safe[usable])
        tried = np.stack([at + s * step for s in _STEPS], axis=2)  # (d, moving, steps)
        k = len(_STEPS)
        values = tally.margin(tried.reshape(d, -1), np.repeat(which, k)).reshape(-1, k)
        merit = 0.5 * np.einsum("ijk,ijk->jk", tried, tried) + penalty[:, None] * np.abs(values)
        best = merit.argmin(axis=1)
        rows = np.arange(moving.size)
        u[:, moving] = tried[:, rows, best]
        g[moving] = values[rows, best]
    return u, g


def pull_to_border(tally: Tally, failing: FloatArray, *, steps: int = 6) -> FloatArray:
    """Move failing points (d, n) along their ray to where failure begins, by bisection.

    Needs no slope; every returned point fails. On a ray that leaves and enters failure twice it
    stops at one of the borders.
    """
    low, high = np.zeros(failing.shape[1]), np.ones(failing.shape[1])
    for _ in range(steps):
        middle = 0.5 * (low + high)
        fails = tally.values(failing * middle) < 0.0
        high = np.where(fails, middle, high)
        low = np.where(fails, low, middle)
    return failing * high


def thin(points: FloatArray, *, cosine: float = 0.97, most: int = 256) -> IntArray:
    """Indices of points (d, n), nearest to the origin first, no two within an angle.

    Parameters
    ----------
    cosine : float
        Two points closer in direction than this are one, unless their lengths differ by 0.5 or
        more.
    most : int
        At most so many are kept.
    """
    length = np.linalg.norm(points, axis=0)
    order = np.argsort(length, kind="stable")
    unit = points / np.maximum(length, 1e-12)
    kept: list[int] = []
    free = np.ones(points.shape[1], dtype=np.bool_)
    for j in order:
        if free[j]:
            kept.append(int(j))
            if len(kept) == most:
                break
            near = (unit[:, j] @ unit > cosine) & (np.abs(length - length[j]) < 0.5)
            free &= ~near
    return np.array(kept, dtype=np.intp)
