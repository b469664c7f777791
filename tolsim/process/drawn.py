"""Evidence that is no closed form: parameters drawn beforehand, picked by one row."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Process
from tolsim.process.functions import between, picked
from tolsim.record import Array, Primitive

__all__ = ["DrawnEvidence", "likelihood_draws"]

DRAWS = 4096
_DEEP = 14.0  # logarithm of the likelihood ratio beyond which parameters are left out
_COARSE = 41
_GOLDEN = 0.6180339887498949

LogLikelihood = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DrawnEvidence:
    """Means and spreads that readings allow, as a list of equally likely pairs.

    One row picks the pair, in order of the spread; it knows no pair rarer than one in 4096.

    Parameters
    ----------
    means, sds : ndarray
        Pairs [mm]: mean and spread of the process; for a cut process those of its parent.
    n : int
        Parts measured.
    fitted : Process
        The process with the most likely parameters.
    standards : tuple of Process
        Shapes with mean 0 and spread 1 among which the pairs choose; empty is the normal.
    shape : ndarray
        Which of the shapes each pair belongs to.
    limits : (float, float), optional
        Where the process is cut [mm].
    method : str
        How the pairs were found.
    """

    means: FloatArray
    sds: FloatArray
    n: int
    fitted: Process
    method: str
    standards: tuple[Process, ...] = ()
    shape: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    limits: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()
    _mean_row: Primitive = field(init=False, repr=False)
    _sd_row: Primitive = field(init=False, repr=False)
    _shape_row: Primitive = field(init=False, repr=False)

    rows = 1  #: latent rows that `parameters` reads

    def __post_init__(self) -> None:
        if self.means.shape != self.sds.shape or self.means.ndim != 1 or self.means.size == 0:
            raise ValueError("drawn evidence: as many means as spreads")
        shape = self.shape if self.shape.size else np.zeros(self.means.size, dtype=np.intp)
        if shape.shape != self.means.shape:
            raise ValueError("drawn evidence: one shape a pair")
        order = np.argsort(self.sds, kind="stable")
        object.__setattr__(self, "shape", shape[order])
        object.__setattr__(self, "_shape_row", picked(shape[order].astype(np.float64)))
        object.__setattr__(self, "means", self.means[order])
        object.__setattr__(self, "sds", self.sds[order])
        object.__setattr__(self, "_mean_row", picked(self.means))
        object.__setattr__(self, "_sd_row", picked(self.sds))

    def parameters(self, z: Array) -> tuple[Array, Array]:
        """Mean and spread [mm] for one row of standard normals. Recordable."""
        return self._mean_row(z), self._sd_row(z)

    def size(self, z: Array, z_pair: Array) -> Array:
        """Size of a part [mm] for its own row and the row of the parameters. Recordable."""
        mean, sd = self.parameters(z_pair)
        if self.limits is not None:
            spread = np.maximum(sd, 1e-12)
            low, high = ((limit - mean) / spread for limit in self.limits)
            return mean + spread * between(z, low, high)
        return mean + sd * self._standard(z, z_pair)

    def _standard(self, z: Array, z_pair: Array) -> Array:
        """Part of the shape that the pair belongs to, with mean 0 and spread 1."""
        if not self.standards:
            return z
        size = self.standards[0].size(z)
        which = self._shape_row(z_pair) if len(self.standards) > 1 else 0.0
        for k, process in enumerate(self.standards[1:], start=1):
            size = np.where(which > k - 0.5, process.size(z), size)
        return size

    def share_outside(self, low: float, high: float) -> FloatArray:
        """Share of the process outside two limits, one value a pair."""
        a, b = (low - self.means) / self._safe, (high - self.means) / self._safe
        if self.limits is not None:
            c, d = ((limit - self.means) / self._safe for limit in self.limits)
            kept = ndtr(d) - ndtr(c)
            inside = ndtr(np.clip(b, c, d)) - ndtr(np.clip(a, c, d))
            return np.asarray(1.0 - inside / np.maximum(kept, 1e-300))
        if not self.standards:
            return np.asarray(ndtr(a) + ndtr(-b))
        share = np.empty_like(a)
        for k, process in enumerate(self.standards):
            own = self.shape == k
            share[own] = process.cdf(a[own]) + process.sf(b[own])
        return share

    @property
    def _safe(self) -> FloatArray:
        return np.maximum(self.sds, 1e-12)


def likelihood_draws(
    log_likelihood: LogLikelihood,
    mean: float,
    sd: float,
    *,
    bounds: tuple[tuple[float, float], tuple[float, float]],
    draws: int = DRAWS,
    fine: int = 161,
) -> tuple[FloatArray, FloatArray, float, float]:
    """Pairs of mean and spread with the probability that a likelihood gives them.

    Flat in the mean and in the logarithm of the spread, on a grid that is moved and narrowed
    until it holds everything within exp(-14) of the best; the pairs are read off a lattice, so
    that no chance is involved.

    Parameters
    ----------
    log_likelihood : callable
        Of broadcastable means and spreads [mm].
    mean, sd : float
        Where to begin [mm].
    bounds : ((low, high), (low, high))
        Of the mean and of the spread [mm], never left.
    draws, fine : int
        Number of pairs, and nodes of the last grid in either direction.

    Returns
    -------
    means, sds : ndarray
        Equally likely pairs.
    mean, sd : float
        The most likely pair.
    """
    (m_low, m_high), (s_low, s_high) = bounds
    box = [max(mean - 6.0 * sd, m_low), min(mean + 6.0 * sd, m_high)]
    logs = [max(math.log(sd) - 3.0, math.log(s_low)), min(math.log(sd) + 3.0, math.log(s_high))]
    for _ in range(30):
        m, s = _grid(box, _COARSE), _grid(logs, _COARSE)
        value = log_likelihood(m[:, None], np.exp(s)[None, :])
        deep = value > value.max() - _DEEP
        rows, columns = np.flatnonzero(deep.any(axis=1)), np.flatnonzero(deep.any(axis=0))
        new_box = _around(m, rows, m_low, m_high)
        new_logs = _around(s, columns, math.log(s_low), math.log(s_high))
        settled = _alike(box, new_box) and _alike(logs, new_logs)
        box, logs = new_box, new_logs
        if settled:
            break
    s = _grid(logs, fine)
    m = _own_means(log_likelihood, box, s, fine)
    value = log_likelihood(m, np.exp(s)[None, :])
    best = np.unravel_index(int(np.argmax(value)), value.shape)
    weight = np.exp(value - value.max())
    u, v = (np.arange(draws) + 0.5) / draws, np.mod(np.arange(draws) * _GOLDEN + 0.5, 1.0)
    # each column has a step of its own in the mean
    spread = np.interp(u, _cumulated(weight.sum(axis=0) * (m[1] - m[0])), s)
    # conditional means by interpolation between the two neighbouring columns' quantiles
    place = np.clip((spread - s[0]) / (s[1] - s[0]), 0.0, fine - 1.000001)
    k = place.astype(np.intp)
    part = place - k
    left, right = np.empty(draws), np.empty(draws)
    for j in np.unique(np.concatenate([k, k + 1])).tolist():
        share = _cumulated(weight[:, j])
        for side, own in ((left, k == j), (right, k + 1 == j)):
            side[own] = np.interp(v[own], share, m[:, j])
    means = (1.0 - part) * left + part * right
    return means, np.exp(spread), float(m[best]), float(np.exp(s[best[1]]))


def _own_means(
    log_likelihood: LogLikelihood, box: list[float], s: FloatArray, fine: int
) -> FloatArray:
    """Means (fine, spreads) for each spread, over just the stretch that its likelihood needs.

    The likelihood of a cut process is a bent ridge: one box for all spreads would miss it.
    """
    low, high = np.full(s.shape, box[0]), np.full(s.shape, box[1])
    at = np.linspace(0.0, 1.0, _COARSE)[:, None]
    columns = np.arange(s.size)
    for _ in range(5):
        m = low + (high - low) * at
        value = log_likelihood(m, np.exp(s)[None, :])
        deep = value > value.max(axis=0) - _DEEP
        first = np.maximum(np.argmax(deep, axis=0) - 1, 0)
        last = np.minimum(_COARSE - np.argmax(deep[::-1], axis=0), _COARSE - 1)
        none = ~deep.any(axis=0)  # a column without any likelihood stays as it is
        narrowed = (
            np.where(none, low, m[first, columns]),
            np.where(none, high, m[last, columns]),
        )
        settled = bool(np.all(narrowed[1] - narrowed[0] > 0.8 * (high - low)))
        low, high = narrowed
        if settled:
            break
    return np.asarray(low + (high - low) * np.linspace(0.0, 1.0, fine)[:, None])


def _grid(ends: list[float], count: int) -> FloatArray:
    return np.linspace(ends[0], ends[1], count)


def _around(grid: FloatArray, kept: NDArray[np.intp], low: float, high: float) -> list[float]:
    """Box about the kept nodes, one node wider, or far wider where they touch an end."""
    step = float(grid[1] - grid[0])
    first, last = int(kept[0]), int(kept[-1])
    a = float(grid[first]) - step * (1.0 if first > 0 else 0.5 * len(grid))
    b = float(grid[last]) + step * (1.0 if last < len(grid) - 1 else 0.5 * len(grid))
    return [max(a, low), min(b, high)]


def _alike(old: list[float], new: list[float]) -> bool:
    width = max(new[1] - new[0], 1e-300)
    return abs(old[0] - new[0]) < 0.1 * width and abs(old[1] - new[1]) < 0.1 * width


def _cumulated(weight: FloatArray) -> FloatArray:
    """Shares up to each node of a density that is straight between them."""
    share = np.concatenate([[0.0], np.cumsum(0.5 * (weight[1:] + weight[:-1]))])
    if share[-1] <= 0.0:  # a column without likelihood is never picked; keep it increasing
        share = np.arange(share.size, dtype=np.float64)
    return np.asarray(share / share[-1])
