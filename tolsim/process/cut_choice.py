"""Whether a lot looks sorted, and how well a cut normal then fits it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray, Process
from tolsim.process.bounded import Bounded, normal_window
from tolsim.process.cut_evidence import OPEN, most_likely_cut
from tolsim.process.departures import FEWEST, statistics
from tolsim.process.detection import critical_value
from tolsim.process.rounding import spread_ties, step_of

__all__ = ["cut_fit_of", "sorted_edges"]

_REPEATS = 199
_LEAST_KEPT = 0.25  # of a process that a shop would sort; common practice, no source


def sorted_edges(values: ArrayLike, step: float | None = None) -> str | None:
    """Ends of a lot that are cut off: ``low``, ``high``, ``both``, or None.

    By the statistics and critical values of :func:`tolsim.process.detection.detect`.

    >>> sorted_edges(np.linspace(-1.0, 1.0, 60))
    'both'
    """
    x = np.asarray(values, dtype=np.float64)
    z = np.sort(spread_ties(x, step_of(x) if step is None else step))
    n = z.size
    if n < FEWEST or float(z[0]) == float(z[-1]):
        return None
    found = statistics(z, order=False)
    if float(found["both-edges"]) > critical_value("both-edges", n, order=False):
        return "both"
    if float(found["one-edge"]) > critical_value("one-edge", n, order=False):
        return "low" if z.mean() - z[0] < z[-1] - z.mean() else "high"
    return None


def cut_fit_of(
    x: FloatArray, edges: str, rng: np.random.Generator
) -> tuple[Process, float, float] | None:
    """Most likely cut normal of sorted readings, its p-value and logarithm of the likelihood; None
    where it would be what is left of a process of which most was thrown away.

    The outermost readings are the most likely edges; the others are tested against what is left
    between them by the Anderson-Darling distance, on 199 lots drawn from the fit and fitted again.
    """
    low, high, slope, bend = (float(v) for v in _fit(x, edges))
    half, middle = 0.5 * (high - low), 0.5 * (high + low)
    found = Bounded(mean=middle + half * slope / bend, sd=half / bend**0.5, low=low, high=high)
    if found.accepted < _LEAST_KEPT:
        return None
    likely = float(np.sum(np.log(np.maximum(found.density(x), 1e-300))))
    lots = np.sort(found.quantile(rng.random((_REPEATS, x.size))), axis=-1)
    beyond = int(np.sum(_distances(lots, edges) >= _distances(x, edges)))
    return found, (beyond + 1.0) / (_REPEATS + 1.0), likely


def _fit(x: FloatArray, edges: str) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Edges, slope and bend of sorted lots (…, n)."""
    reach = OPEN * x.std(axis=-1, ddof=1)
    low = x[..., 0] - (reach if edges == "high" else 0.0)
    high = x[..., -1] + (reach if edges == "low" else 0.0)
    half, middle = 0.5 * (high - low), 0.5 * (high + low)
    slope, bend = most_likely_cut((x - middle[..., None]) / half[..., None])
    return low, high, slope, bend


def _distances(x: FloatArray, edges: str) -> FloatArray:
    """Anderson-Darling distance of the readings that are no edges, last axis."""
    low, high, slope, bend = _fit(x, edges)
    first, last = edges != "high", edges != "low"
    inner = x[..., int(first) : x.shape[-1] - int(last)]
    half, middle = (0.5 * (high - low))[..., None], (0.5 * (high + low))[..., None]
    root, at = np.sqrt(bend)[..., None], (slope / bend)[..., None]
    t = ((inner - middle) / half - at) * root
    a, b = (-1.0 - at) * root, (1.0 - at) * root
    whole = normal_window(a, b)
    lower, upper = normal_window(a, t) / whole, normal_window(t, b) / whole
    n = inner.shape[-1]
    i = np.arange(1, n + 1)
    logs = np.log(np.maximum(lower, 1e-300)) + np.log(np.maximum(upper[..., ::-1], 1e-300))
    return np.asarray(-n - ((2.0 * i - 1.0) * logs).mean(axis=-1))
