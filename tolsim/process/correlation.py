"""Gaussian copula: valid matrices, triangular factors, and what a rank correlation means in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray, Process
from tolsim.record import Array

__all__ = [
    "Correlation",
    "copula_for_pearson",
    "copula_of_kendall",
    "copula_of_spearman",
    "correlate",
    "kendall_of_copula",
    "nearest",
    "pearson_of_copula",
    "spearman_of_copula",
    "triangle",
]

_HERMITE_X, _HERMITE_W = np.polynomial.hermite_e.hermegauss(64)


@dataclass(frozen=True, kw_only=True, slots=True)
class Correlation:
    """A valid correlation matrix, and what had to be changed to make it valid."""

    matrix: FloatArray
    moved: float  #: largest change of an entry; 0 where the matrix was valid as given
    note: str  #: empty where nothing was changed


def nearest(matrix: ArrayLike, *, names: Sequence[str] | None = None) -> Correlation:
    """Nearest valid correlation matrix in the sum of squares, with a note where it differs.

    Parameters
    ----------
    matrix : array_like
        Symmetric (k, k) with ones on the diagonal and entries from -1 to 1.
    names : sequence of str, optional
        Names of the rows, for the note.

    Raises
    ------
    ValueError
        If the matrix is not square, not symmetric, or has entries beyond 1.

    Notes
    -----
    Alternating projections with Dykstra's correction.

    References
    ----------
    .. [1] Higham, *IMA J. Numer. Anal.* 22 (2002) 329-343 (from memory).

    Examples
    --------
    >>> found = nearest([[1, 1, 0], [1, 1, 1], [0, 1, 1]])
    >>> float(found.matrix[0, 1]), float(found.matrix[0, 2])
    (0.7607, 0.1573)
    """
    given = np.array(matrix, dtype=np.float64)
    if given.ndim != 2 or given.shape[0] != given.shape[1]:
        raise ValueError("a correlation matrix is square")
    if not bool(np.all(np.isfinite(given))) or not np.allclose(given, given.T, atol=1e-12):
        raise ValueError("a correlation matrix is symmetric and finite")
    if not np.allclose(np.diag(given), 1.0, atol=1e-12) or bool(np.any(np.abs(given) > 1.0)):
        raise ValueError("a correlation matrix has ones on its diagonal and entries from -1 to 1")
    if float(np.linalg.eigvalsh(given)[0]) >= -1e-12:
        return Correlation(matrix=given, moved=0.0, note="")
    y, correction = given.copy(), np.zeros_like(given)
    for _ in range(10_000):
        r = y - correction
        values, vectors = np.linalg.eigh(r)
        x = (vectors * np.maximum(values, 0.0)) @ vectors.T
        correction = x - r
        new = x.copy()
        np.fill_diagonal(new, 1.0)
        done = float(np.max(np.abs(new - y))) < 1e-13
        y = new
        if done:
            break
    y = np.clip(0.5 * (y + y.T), -1.0, 1.0)
    off = np.abs(y - given)
    i, j = (int(v) for v in np.unravel_index(int(np.argmax(np.round(off, 9))), off.shape))
    who = f"{names[i]} and {names[j]}" if names is not None else f"rows {i + 1} and {j + 1}"
    note = (
        "the correlations asked for contradict one another; the nearest valid ones are used, "
        f"the largest change is {who}: {given[i, j]:.3g} became {y[i, j]:.3g}"
    )
    return Correlation(matrix=y, moved=float(off.max()), note=note)


def triangle(matrix: ArrayLike) -> FloatArray:
    """Lower triangular factor of a valid correlation matrix, singular ones included.

    >>> triangle([[1.0, 1.0], [1.0, 1.0]])
    array([[1., 0.],
           [1., 0.]])
    """
    a = np.array(matrix, dtype=np.float64)
    k = a.shape[0]
    factor = np.zeros((k, k))
    for j in range(k):
        rest = a[j, j] - factor[j, :j] @ factor[j, :j]
        if rest < -1e-9:
            raise ValueError("not a valid correlation matrix; take the nearest one first")
        if rest <= 1e-12:
            continue
        factor[j, j] = math.sqrt(rest)
        factor[j + 1 :, j] = (a[j + 1 :, j] - factor[j + 1 :, :j] @ factor[j, :j]) / factor[j, j]
    return factor


def correlate(factor: FloatArray, rows: Sequence[Array]) -> list[Array]:
    """Rows of standard normals tied by a triangular factor; zeros cost nothing. Recordable."""
    tied: list[Array] = []
    for weights in np.asarray(factor):
        total: Array = 0.0
        for weight, row in zip(weights.tolist(), rows, strict=True):
            if weight != 0.0:
                total = total + (row if weight == 1.0 else weight * row)
        tied.append(total)
    return tied


def spearman_of_copula(r: float) -> float:
    """Spearman's rank correlation of a Gaussian copula, (6/pi) asin(r/2).

    >>> spearman_of_copula(0.6)
    0.58192
    """
    return 6.0 / math.pi * math.asin(0.5 * r)


def copula_of_spearman(rank: float) -> float:
    """Correlation of the Gaussian copula with a given Spearman rank correlation."""
    return 2.0 * math.sin(math.pi * rank / 6.0)


def kendall_of_copula(r: float) -> float:
    """Kendall's tau of a Gaussian copula, (2/pi) asin(r)."""
    return 2.0 / math.pi * math.asin(r)


def copula_of_kendall(tau: float) -> float:
    """Correlation of the Gaussian copula with a given Kendall tau."""
    return math.sin(0.5 * math.pi * tau)


def pearson_of_copula(r: float, a: Process, b: Process) -> float:
    """Pearson correlation of two sizes whose standard normals are correlated by `r`.

    Gauss-Hermite sums with 64 x 64 nodes; for two normals it is `r` itself.
    """
    x = np.asarray(a.size(_HERMITE_X))
    y = np.asarray(b.size(r * _HERMITE_X[:, None] + math.sqrt(1.0 - r * r) * _HERMITE_X))
    weight = _HERMITE_W[:, None] * _HERMITE_W / float(_HERMITE_W.sum()) ** 2
    product = float((weight * (x[:, None] - a.mean) * (y - b.mean)).sum())
    return product / (a.sd * b.sd)


def copula_for_pearson(pearson: float, a: Process, b: Process) -> float:
    """Correlation of the standard normals that gives two sizes a Pearson correlation.

    Raises
    ------
    ValueError
        If no copula correlation reaches it: two differently shaped populations are never in
        perfect step.
    """
    low, high = -1.0, 1.0
    if not pearson_of_copula(low, a, b) <= pearson <= pearson_of_copula(high, a, b):
        raise ValueError(
            f"these two populations cannot be correlated by {pearson:.3g}; the ends are "
            f"{pearson_of_copula(low, a, b):.3g} and {pearson_of_copula(high, a, b):.3g}"
        )
    for _ in range(60):
        middle = 0.5 * (low + high)
        if pearson_of_copula(middle, a, b) < pearson:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
