"""How well two normals fit a lot, against lots drawn from the fit: many lots at once."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Process
from tolsim.process.fitting import fit_two

__all__ = ["two_fit_of"]

_REPEATS = 49  # of up to 500 parts; fewer of more, at least 24
_TURNS = 120
_LEAST_SHARE = 0.05  # as in `fit_two`
_LEAST_SPREAD = 0.2


def two_fit_of(x: FloatArray, rng: np.random.Generator) -> tuple[Process, float, float]:
    """Most likely two normals of sorted readings, p-value and logarithm of the likelihood.

    49 lots are drawn from the fit and fitted again, fewer where there are more than 500 parts; the
    Anderson-Darling distance is compared.
    """
    found, value = fit_two(x)
    repeats = max(24, min(_REPEATS, 500 * _REPEATS // x.size))
    lots = np.sort(found.quantile(rng.random((repeats, x.size))), axis=-1)
    distance = _distance(found.cdf(x), found.sf(x))
    beyond = int(np.sum(_distances(lots) >= distance))
    return found, (beyond + 1.0) / (repeats + 1.0), value


def _distance(lower: FloatArray, upper: FloatArray) -> FloatArray:
    n = lower.shape[-1]
    i = np.arange(1, n + 1)
    logs = np.log(np.maximum(lower, 1e-300)) + np.log(np.maximum(upper[..., ::-1], 1e-300))
    return np.asarray(-n - ((2.0 * i - 1.0) * logs).mean(axis=-1))


def _distances(lots: FloatArray) -> FloatArray:
    """Distance of each sorted lot (m, n) from its own two normals."""
    best = np.full(len(lots), -math.inf)
    out = np.zeros(len(lots))
    n = lots.shape[1]
    for share in (None, 0.2, 0.8):
        k = _splits(lots) if share is None else np.full(len(lots), int(share * n))
        start = np.where(np.arange(n) < k[:, None], 0.95, 0.05)
        value, (w, m1, m2, s1, s2) = _maximise(lots, start)
        a, b = (lots - m1) / s1, (lots - m2) / s2
        found = _distance(w * ndtr(a) + (1.0 - w) * ndtr(b), w * ndtr(-a) + (1.0 - w) * ndtr(-b))
        better = value > best
        best, out = np.where(better, value, best), np.where(better, found, out)
    return out


def _splits(x: FloatArray) -> np.ndarray:
    """Number of parts before the split that explains most of the variance, of each lot."""
    n = x.shape[1]
    k = np.arange(1, n)
    total = np.cumsum(x - x.mean(axis=1, keepdims=True), axis=1)[:, :-1]
    between = total**2 * (1.0 / k + 1.0 / (n - k))
    least = max(2, round(0.1 * n))
    return np.asarray(np.argmax(between[:, least - 1 : n - least], axis=1) + least)


def _maximise(x: FloatArray, belongs: FloatArray) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Expectation and maximisation for each lot; parameters come as columns (m, 1)."""
    value = np.full(len(x), -math.inf)
    for _ in range(_TURNS):
        w = np.clip(belongs.mean(axis=1, keepdims=True), _LEAST_SHARE, 1.0 - _LEAST_SHARE)
        one = belongs / belongs.sum(axis=1, keepdims=True)
        two = (1.0 - belongs) / (1.0 - belongs).sum(axis=1, keepdims=True)
        m1, m2 = ((v * x).sum(axis=1, keepdims=True) for v in (one, two))
        s1 = np.sqrt((one * (x - m1) ** 2).sum(axis=1, keepdims=True))
        s2 = np.sqrt((two * (x - m2) ** 2).sum(axis=1, keepdims=True))
        floor = _LEAST_SPREAD * np.maximum(s1, s2)
        s1, s2 = np.maximum(s1, floor), np.maximum(s2, floor)
        first = np.log(w / s1) - 0.5 * ((x - m1) / s1) ** 2
        second = np.log((1.0 - w) / s2) - 0.5 * ((x - m2) / s2) ** 2
        top = np.maximum(first, second)
        both = top + np.log1p(np.exp(-np.abs(first - second)))
        belongs = np.clip(np.exp(first - both), 1e-12, 1.0 - 1e-12)
        new = both.sum(axis=1)
        if bool(np.all(new - value < 1e-6 * np.abs(new))):
            value = new
            break
        value = new
    return value, (w, m1, m2, s1, s2)
