"""What drives failure, from failing points; and what drives a quantity, from its variance.

At small shares the variance-based indices of the indicator are useless for ranking: first orders
vanish and totals approach one. How far failures lie from the mean, and how the share answers to
a moved mean or spread, stay readable.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["GivenFailure", "SobolIndices", "given_failure", "sobol_indices"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class GivenFailure:
    """Statistics of each row among failures, arrays (d,), in units of the row's own sd.

    Parameters
    ----------
    shift, shift_error : ndarray
        Mean given failure [-] and its standard error.
    variance, variance_error : ndarray
        Variance given failure over 1 [-] and its standard error.
    elasticity_mean : ndarray
        Relative change of the share for a shift of the row by one sd, to first order: the shift.
    elasticity_sd : ndarray
        Relative change of the share over the relative change of the row's sd.
    """

    shift: FloatArray
    shift_error: FloatArray
    variance: FloatArray
    variance_error: FloatArray
    elasticity_mean: FloatArray
    elasticity_sd: FloatArray


def given_failure(z: FloatArray, weight: FloatArray | None = None) -> GivenFailure:
    """Describe failing points z (d, k), each counting `weight` (k,), or all alike.

    Notes
    -----
    With X = mu + sigma z and share p: ``dp/dmu = p E[z|fail] / sigma`` and
    ``dp/dsigma = p (E[z^2|fail] - 1) / sigma``, the score function of the normal.

    Raises
    ------
    ValueError
        With fewer than two points.
    """
    k = z.shape[1]
    if k < 2:
        raise ValueError(f"need at least two failing points, got {k}")
    w = np.full(k, 1.0 / k) if weight is None else weight / weight.sum()
    mean = z @ w
    off = z - mean[:, None]
    second = np.square(off)
    variance = second @ w
    w2 = np.square(w)
    return GivenFailure(
        shift=mean,
        shift_error=np.sqrt(second @ w2),
        variance=variance,
        variance_error=np.sqrt(np.square(second - variance[:, None]) @ w2),
        elasticity_mean=mean.copy(),
        elasticity_sd=np.square(z) @ w - 1.0,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SobolIndices:
    """First-order and total shares of a variance, (d,), with standard errors."""

    first: FloatArray
    first_error: FloatArray
    total: FloatArray
    total_error: FloatArray
    variance: float


def sobol_indices(
    function: Callable[[FloatArray], FloatArray], dimension: int, rng: Generator, *, n: int = 2**14
) -> SobolIndices:
    """Variance-based indices of ``function(z)``, z (d, n) standard normal -> (n,).

    Costs ``(dimension + 2) n`` evaluations.

    References
    ----------
    .. [1] Saltelli et al., *Computer Physics Communications* 181 (2010) 259-270: first order by
       its eq. (b) of table 2, total by Jansen's; numbers from memory.
    """
    a, b = rng.standard_normal((dimension, n)), rng.standard_normal((dimension, n))
    fa, fb = function(a), function(b)
    centre = 0.5 * float(fa.mean() + fb.mean())
    fa, fb = fa - centre, fb - centre
    variance = 0.5 * float(np.square(fa).mean() + np.square(fb).mean())
    rows = []
    for i in range(dimension):
        mixed = a.copy()
        mixed[i] = b[i]
        fm = function(mixed) - centre
        rows.append((fb * (fm - fa), 0.5 * np.square(fa - fm)))
    first = np.array([r[0].mean() for r in rows]) / variance
    total = np.array([r[1].mean() for r in rows]) / variance
    root = variance * np.sqrt(n)
    return SobolIndices(
        first=first,
        first_error=np.array([r[0].std(ddof=1) for r in rows]) / root,
        total=total,
        total_error=np.array([r[1].std(ddof=1) for r in rows]) / root,
        variance=variance,
    )
