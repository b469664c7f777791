"""Parameters drawn with the probability that a likelihood gives them, in several dimensions."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import gammaln, logsumexp, ndtri

from tolsim.process.base import FloatArray

__all__ = ["LogTarget", "adaptive_draws", "lattice"]

#: Logarithm of a density, but for a constant, of points (d, n); -inf where there are none.
LogTarget = Callable[[FloatArray], FloatArray]

_FREEDOM = 4.0  # of the Student's t that points are proposed from: heavier tails than the target's
_ROUNDS = 5
_EACH = 3072
_LEAST = 24.0  # points a dimension that must carry a round's moments
_WIDER = 1.3
_KEPT = 4096


def lattice(dimension: int, count: int, start: float = 0.5) -> FloatArray:
    """Evenly spread numbers between 0 and 1, shape (dimension, count): an additive lattice.

    >>> lattice(2, 4).shape
    (2, 4)
    """
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimension + 1))
    steps = root ** -np.arange(1.0, dimension + 1.0)
    return np.asarray((start + steps[:, None] * np.arange(1, count + 1)) % 1.0)


def adaptive_draws(
    log_target: LogTarget, starts: list[tuple[FloatArray, FloatArray]], kept: int = _KEPT
) -> tuple[FloatArray, FloatArray, float]:
    r"""Equally likely points of a density, by importance sampling that learns from its own points.

    Each round proposes from a Student's t about the weighted mean and covariance of all points so
    far; all points of all rounds are weighted by the mixture of all proposals,

    .. math:: w_i = \frac{\pi(x_i)}{\sum_t \frac{N_t}{N}\, q_t(x_i)}

    Parameters
    ----------
    log_target : callable
        Of points (d, n).
    starts : list of (centre (d,), covariance (d, d))
        Where to begin; several where there may be several hills.
    kept : int
        Number of points.

    Returns
    -------
    points : ndarray
        Shape (d, kept), equally likely.
    best : ndarray
        The most likely point met, (d,).
    effective : float
        Number of independent points that the weights are worth.

    Notes
    -----
    Points come from a lattice: no chance is involved, the same readings give the same points.

    References
    ----------
    .. [1] Cornuet, Marin, Mira & Robert, *Scand. J. Statist.* 39 (2012) 798-812 (from memory).
    """
    d = len(starts[0][0])
    proposals: list[tuple[FloatArray, FloatArray, int]] = []
    points: list[FloatArray] = []
    values: list[FloatArray] = []
    at = [(c, _WIDER**2 * v) for c, v in starts]
    for turn in range(_ROUNDS):
        share = _EACH // len(at)
        for k, (centre, covariance) in enumerate(at):
            root = _root(covariance)
            x = _student(centre, root, share, start=0.5 + 0.31 * turn + 0.17 * k)
            proposals.append((centre, root, share))
            points.append(x)
            values.append(log_target(x))
        x, value = np.concatenate(points, axis=1), np.concatenate(values)
        log_weight = value - _log_mixture(x, proposals)
        weight = _weights(log_weight)
        # while few points carry the weight the round's moments are those of a flatter target
        level = 1.0
        flat = weight
        while level > 0.05 and 1.0 / float((flat**2).sum()) < _LEAST * d:
            level *= 0.7
            flat = _weights(level * log_weight)
        centre = x @ flat
        off = x - centre[:, None]
        at = [(centre, _WIDER**2 * ((off * flat) @ off.T + 1e-12 * np.eye(d)))]
    best = x[:, int(np.argmax(value))]
    return x[:, _even(weight, kept)], best, 1.0 / float((weight**2).sum())


def _weights(log: FloatArray) -> FloatArray:
    top = float(log.max())
    if not math.isfinite(top):
        raise ValueError("no parameters explain these readings")
    out = np.exp(log - top)
    return np.asarray(out / out.sum())


def _root(covariance: FloatArray) -> FloatArray:
    scale = np.sqrt(np.maximum(np.diag(covariance), 1e-24))
    unit = covariance / np.outer(scale, scale)
    value, vector = np.linalg.eigh(unit)
    return np.asarray(scale[:, None] * (vector * np.sqrt(np.maximum(value, 1e-6))))


def _student(centre: FloatArray, root: FloatArray, count: int, start: float) -> FloatArray:
    d = len(centre)
    u = np.clip(lattice(d + 1, count, start % 1.0), 1e-6, 1.0 - 1e-6)
    from scipy.special import chdtri

    stretch = np.sqrt(_FREEDOM / chdtri(_FREEDOM, u[d]))
    return np.asarray(centre[:, None] + root @ (ndtri(u[:d]) * stretch))


def _log_mixture(x: FloatArray, proposals: list[tuple[FloatArray, FloatArray, int]]) -> FloatArray:
    d, total = len(x), sum(p[2] for p in proposals)
    constant = (
        gammaln(0.5 * (_FREEDOM + d))
        - gammaln(0.5 * _FREEDOM)
        - 0.5 * d * math.log(_FREEDOM * math.pi)
    )
    logs = []
    for centre, root, count in proposals:
        t = np.linalg.solve(root, x - centre[:, None])
        log = -0.5 * (_FREEDOM + d) * np.log1p((t * t).sum(axis=0) / _FREEDOM)
        logs.append(log + constant - np.linalg.slogdet(root)[1] + math.log(count / total))
    return np.asarray(logsumexp(np.array(logs), axis=0))


def _even(weight: FloatArray, count: int) -> FloatArray:
    """Indices, each as often as its weight says, at even steps."""
    return np.searchsorted(np.cumsum(weight), (np.arange(count) + 0.5) / count).clip(
        max=weight.size - 1
    )
