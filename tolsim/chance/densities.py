"""Mixtures of normal densities from which rare failures are drawn.

Three kinds of component, all compared with the plain density phi of d independent standard
normals: the plain one shifted to a point; one shifted and reshaped in a few directions; the plain
one widened alike in all directions. Only ratios to phi occur, so d may be large.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["Mixture", "Shaped", "fit_weights"]

FloatArray = NDArray[np.float64]

_CHUNK = 4096  # columns whose (K, n) table of densities is held at once


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Shaped:
    """Normal with mean (d,), variance `scale` everywhere but `variances` (r,) along `axes` (d, r).

    The axes are orthonormal.
    """

    mean: FloatArray
    axes: FloatArray
    variances: FloatArray
    scale: float = 1.0

    def log_ratio(self, z: FloatArray) -> FloatArray:
        """Logarithm of its density over phi at z (d, n), shape (n,)."""
        d = z.shape[0]
        off = z - self.mean[:, None]
        along = self.axes.T @ off
        square = np.einsum("ij,ij->j", off, off) / self.scale
        square += ((1.0 / self.variances - 1.0 / self.scale)[:, None] * along**2).sum(axis=0)
        log_det = float(np.log(self.variances).sum())
        log_det += (d - self.variances.size) * math.log(self.scale)
        out = 0.5 * (np.einsum("ij,ij->j", z, z) - square - log_det)
        return np.asarray(out)

    def stretch(self, noise: FloatArray) -> FloatArray:
        """Draws (d, n) from standard normals (d, n)."""
        root = math.sqrt(self.scale)
        along = self.axes.T @ noise
        bent = root * noise + self.axes @ ((np.sqrt(self.variances) - root)[:, None] * along)
        return np.asarray(bent + self.mean[:, None])


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Mixture:
    """Weights (K,) over shifted components at `points` (d, k) and then the `shaped` ones.

    The first point is the origin: its weight is the share of the plain density that stays in, so
    no draw can weigh more than its inverse.
    """

    weights: FloatArray
    points: FloatArray
    shaped: tuple[Shaped, ...] = ()

    def log_table(self, z: FloatArray) -> FloatArray:
        """Logarithm of every component over phi at z (d, n), shape (K, n)."""
        k = self.points.shape[1]
        table = np.empty((k + len(self.shaped), z.shape[1]))
        half = 0.5 * np.einsum("ij,ij->j", self.points, self.points)
        np.matmul(self.points.T, z, out=table[:k])
        table[:k] -= half[:, None]
        for row, component in zip(table[k:], self.shaped, strict=True):
            row[:] = component.log_ratio(z)
        return table

    def weight(self, z: FloatArray) -> FloatArray:
        """phi over the mixture at z (d, n): what a draw from the mixture counts, (n,)."""
        out = np.empty(z.shape[1])
        for start in range(0, z.shape[1], _CHUNK):
            part = slice(start, start + _CHUNK)
            table = self.log_table(z[:, part])
            top = table.max(axis=0)
            np.exp(table - top, out=table)
            out[part] = np.exp(-top) / (self.weights @ table)
        return out

    def draw(self, rng: Generator, n: int) -> tuple[FloatArray, NDArray[np.intp]]:
        """n draws (d, n), shares of the components kept to within one draw, and whose they are.

        The columns are ordered by component.
        """
        edges = np.floor(np.cumsum(self.weights) / self.weights.sum() * n + rng.random())
        edges = np.minimum(edges, n).astype(np.intp)
        edges[-1] = n
        owner = np.searchsorted(edges, np.arange(n), side="right").astype(np.intp)
        z = rng.standard_normal((self.points.shape[0], n))
        k = self.points.shape[1]
        shifted = int(np.searchsorted(owner, k))
        z[:, :shifted] += self.points[:, owner[:shifted]]
        for j, component in enumerate(self.shaped):
            own = slice(*np.searchsorted(owner, [k + j, k + j + 1]))
            z[:, own] = component.stretch(z[:, own])
        return z, owner


def fit_weights(
    table: FloatArray, counts: FloatArray, *, keep: float = 0.1, rounds: int = 60
) -> FloatArray:
    """Weights (K,) under which failing samples are most likely, component 0 held at `keep`.

    Parameters
    ----------
    table : ndarray
        `Mixture.log_table` at the samples, (K, n).
    counts : ndarray
        What each sample counts, (n,).
    keep : float
        Share of the plain density, row 0 of the table.

    Notes
    -----
    Expectation and maximisation over the weights alone: concave, so it has one maximum.
    """
    density = np.exp(table - table.max(axis=0))
    share = counts / counts.sum()
    k = density.shape[0]
    if k == 1:
        return np.ones(1)
    w = np.full(k, (1.0 - keep) / (k - 1))
    w[0] = keep
    for _ in range(rounds):
        mixed = w @ density
        w *= density @ (share / mixed)
        rest = float(w[1:].sum())
        w[1:] *= (1.0 - keep) / rest if rest > 0.0 else 0.0
        w[0] = keep
    return w
