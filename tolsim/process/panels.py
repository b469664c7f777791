"""Gauss panels for sums over a population: where they end, their nodes, their exact sizes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tolsim.process.base import FloatArray, Process, normal_density
from tolsim.process.moved import Moved, kinks
from tolsim.process.tabled import Tabled

__all__ = ["REACH", "chunks", "exact_sizes", "gauss_nodes", "panels"]

REACH = 9.2  # populations are summed from z = -9.2 to 9.2
_PANEL = 0.7  # widest panel in z
_MOST_PANELS = 4000
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)


def panels(process: Process, span: float) -> FloatArray:
    """Edges in z between which the sizes of a process spread over at most `span`."""
    inner = process.latent(np.asarray(kinks(process)))
    edges = np.concatenate(
        [np.arange(-REACH, REACH + 0.5 * _PANEL, _PANEL), inner[np.abs(inner) < REACH]]
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


def gauss_nodes(edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gauss nodes and their weights with the normal density, along the last axis of `edges`."""
    half = 0.5 * np.diff(edges)[..., None]
    z = 0.5 * (edges[..., 1:] + edges[..., :-1])[..., None] + half * _GAUSS_X
    weight = half * _GAUSS_W * normal_density(z)
    shape = (*edges.shape[:-1], -1)
    return z.reshape(shape), weight.reshape(shape)


def exact_sizes(process: Process, z: FloatArray) -> FloatArray:
    """Sizes without the error of the table that draws are read from."""
    if isinstance(process, Tabled):
        return process.curve.at(z)
    if isinstance(process, Moved):
        inner = exact_sizes(process.inner, z if process.scale > 0.0 else -z)
        return process.shift + process.scale * inner
    maker = getattr(process, "from_normal", process.size)
    return np.asarray(maker(z))


def chunks(rows: int, columns: int) -> list[NDArray[np.intp]]:
    """Index arrays that keep a block of rows x columns below some 2e6 numbers."""
    step = max(1, 2_000_000 // max(columns, 1))
    return [np.arange(i, min(i + step, rows)) for i in range(0, rows, step)]
