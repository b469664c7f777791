"""One sample read under other parameters: what the share would be if a process moved.

A failing point keeps failing whatever made it; only how often it is made changes. So one sample
answers for every shift and spread under which it still holds enough points: the effective sample
size says whether it does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["ParameterDraws", "Reweighted", "normal_log_ratio", "reweight"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_CHUNK = 2_000_000  # entries of the (targets, points) table that are held at once


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Reweighted:
    """Shares under K targets, each array (K,).

    Parameters
    ----------
    value : ndarray
        Share [-].
    standard_error : ndarray
        Its standard error [-].
    effective : ndarray
        Failing points that it rests on, counted as equally heavy ones.
    """

    value: FloatArray
    standard_error: FloatArray
    effective: FloatArray


def normal_log_ratio(
    z: FloatArray, rows: Sequence[int], shifts: FloatArray, scales: FloatArray
) -> FloatArray:
    """Logarithm of the density of normals (shift, scale) over the standard ones, (K, k).

    Parameters
    ----------
    z : ndarray
        Points (d, k).
    rows : sequence of int
        The r rows whose parameters move.
    shifts, scales : ndarray
        Means and standard deviations of these rows under K targets, (K, r) [-].

    Examples
    --------
    >>> normal_log_ratio(np.array([[1.0]]), [0], np.array([[1.0]]), np.array([[1.0]]))
    array([[0.5]])
    """
    shifts, scales = np.atleast_2d(shifts), np.atleast_2d(scales)
    if shifts.shape != scales.shape or shifts.shape[1] != len(rows) or not (scales > 0.0).all():
        raise ValueError(f"need positive scales and shifts of shape (K, {len(rows)})")
    x = z[list(rows)]
    # the square of (x - shift) / scale, expanded so that all targets are matrix products
    inverse = 1.0 / np.square(scales)
    square = inverse @ np.square(x) - 2.0 * (shifts * inverse) @ x
    square += (np.square(shifts) * inverse).sum(axis=1)[:, None]
    out = 0.5 * (np.square(x).sum(axis=0) - square) - np.log(scales).sum(axis=1)[:, None]
    return np.asarray(out)


def reweight(log_ratio: FloatArray, weight: FloatArray, n: int) -> Reweighted:
    """Shares of failure under other densities.

    Parameters
    ----------
    log_ratio : ndarray
        Logarithm of each target's density over the one that `weight` refers to, at the failing
        points, (K, k).
    weight : ndarray
        What each failing point counts, (k,): ones for plain draws, the weights of a
        `WeightedSample` otherwise.
    n : int
        Draws in all.
    """
    w = np.exp(np.atleast_2d(log_ratio)) * weight
    total, square = w.sum(axis=1), np.square(w).sum(axis=1)
    value = total / n
    variance = np.maximum(square / n - np.square(value), 0.0) / n
    effective = np.divide(np.square(total), square, out=np.zeros_like(total), where=square > 0.0)
    return Reweighted(value=value, standard_error=np.sqrt(variance), effective=effective)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ParameterDraws:
    """K sets of parameters, all of them drawn from by one sample.

    Parameters
    ----------
    rows : tuple of int
        The r rows whose mean and spread are uncertain.
    shifts, scales : ndarray
        Their means and standard deviations, in units of the nominal process, (K, r).

    Notes
    -----
    Each column of the sample takes one set at random; a failing point counts for set k with
    ``f_k / mean(f)``, so a thousand sets cost one sample instead of a thousand.
    """

    rows: tuple[int, ...]
    shifts: FloatArray
    scales: FloatArray

    def apply(self, z: FloatArray, rng: Generator) -> FloatArray:
        """Draws (d, n) of the mixture of all sets from plain ones (d, n)."""
        owner = rng.integers(self.shifts.shape[0], size=z.shape[1])
        out = z.copy()
        rows = list(self.rows)
        out[rows] = self.shifts[owner].T + self.scales[owner].T * z[rows]
        return out

    def shares(self, failing: FloatArray, n: int) -> Reweighted:
        """Share under each set, from the failing ones (d, k) of `n` draws of the mixture."""
        k = self.shifts.shape[0]
        step = max(1, _CHUNK // k)
        total, square = np.zeros(k), np.zeros(k)
        for start in range(0, failing.shape[1], step):
            part = failing[:, start : start + step]
            table = normal_log_ratio(part, self.rows, self.shifts, self.scales)
            np.exp(table - table.max(axis=0), out=table)
            table /= table.mean(axis=0)
            total += table.sum(axis=1)
            square += np.square(table).sum(axis=1)
        value = total / n
        variance = np.maximum(square / n - np.square(value), 0.0) / n
        effective = np.divide(
            np.square(total), square, out=np.zeros_like(total), where=square > 0.0
        )
        return Reweighted(value=value, standard_error=np.sqrt(variance), effective=effective)
