"""Statistics that tell a lot of parts from a plain normal one; none depends on mean or spread.

All take the parts on the last axis, so that thousands of lots can be worked at once, and grow
with the departure they look for.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import log_ndtr, ndtr

from tolsim.process.base import FloatArray

__all__ = ["OF_ORDER", "OF_SIZES", "FEWEST", "statistics"]

FEWEST = 8  # below it the statistics say next to nothing


def _standard(x: FloatArray) -> FloatArray:
    centred = x - x.mean(axis=-1, keepdims=True)
    return np.asarray(centred / x.std(axis=-1, ddof=1, keepdims=True))


def both_edges(z: FloatArray) -> FloatArray:
    """Small range for the spread: both ends cut off."""
    return -(z[..., -1] - z[..., 0])


def one_edge(z: FloatArray) -> FloatArray:
    """Small distance of the nearer end from the mean: one end cut off."""
    return -np.minimum(z[..., -1], -z[..., 0])


def empty_middle(z: FloatArray) -> FloatArray:
    """Largest gap, as normal probability in parts, that has 15 % of the parts on either side."""
    n = z.shape[-1]
    edge = max(2, round(0.15 * n))
    gaps = np.diff(ndtr(z), axis=-1) * n
    return np.asarray(gaps[..., edge - 1 : n - edge].max(axis=-1))


def two_humps(z: FloatArray) -> FloatArray:
    """Largest share of the variance that two neighbouring groups explain.

    Engelman & Hartigan, J. Am. Stat. Assoc. 64 (1969) 1647-1648 (from memory), each group at
    least 10 % of the parts.
    """
    n = z.shape[-1]
    k = np.arange(1, n)
    between = np.cumsum(z, axis=-1)[..., :-1] ** 2 * (1.0 / k + 1.0 / (n - k))
    least = max(2, round(0.1 * n))
    return np.asarray(between[..., least - 1 : n - least].max(axis=-1) / (z * z).sum(axis=-1))


def other_shape(z: FloatArray) -> FloatArray:
    """Anderson-Darling statistic with mean and spread estimated: tails, skewness, strays."""
    n = z.shape[-1]
    i = np.arange(1, n + 1)
    logs = log_ndtr(z) + log_ndtr(-z[..., ::-1])
    return np.asarray(-n - ((2.0 * i - 1.0) * logs).mean(axis=-1))


def drift(z: FloatArray) -> FloatArray:
    """Correlation of size and place in the order of making, without sign."""
    n = z.shape[-1]
    place = np.arange(n) - 0.5 * (n - 1)
    return np.asarray(np.abs(z @ place) / np.sqrt((n - 1) * float(place @ place)))


def change(z: FloatArray) -> FloatArray:
    """Largest share of the variance that a step between two parts explains, 3 parts a side."""
    n = z.shape[-1]
    k = np.arange(1, n)
    between = np.cumsum(z, axis=-1)[..., :-1] ** 2 * (1.0 / k + 1.0 / (n - k))
    return np.asarray(between[..., 2 : n - 3].max(axis=-1) / (n - 1))


def neighbours(z: FloatArray) -> FloatArray:
    """Distance of the von Neumann ratio from 2: neighbours too alike, or too unlike.

    von Neumann, Ann. Math. Stat. 12 (1941) 367-395 (from memory).
    """
    n = z.shape[-1]
    ratio = (np.diff(z, axis=-1) ** 2).sum(axis=-1) / (n - 1)
    return np.asarray(np.abs(ratio - 2.0))


Statistic = Callable[[FloatArray], FloatArray]
#: Of the sizes in increasing order.
OF_SIZES: dict[str, Statistic] = {
    "both-edges": both_edges,
    "one-edge": one_edge,
    "empty-middle": empty_middle,
    "two-humps": two_humps,
    "other-shape": other_shape,
}
#: Of the sizes in the order of making.
OF_ORDER: dict[str, Statistic] = {"drift": drift, "change": change, "neighbours": neighbours}


def statistics(x: FloatArray, *, order: bool) -> dict[str, FloatArray]:
    """Every statistic of lots (…, n); those of the order only where it is known.

    Raises
    ------
    ValueError
        If a lot has fewer than 8 parts or no spread.
    """
    x = np.asarray(x, dtype=np.float64)
    if x.shape[-1] < FEWEST:
        raise ValueError(f"departures are looked for in at least {FEWEST} parts")
    if bool(np.any(x.max(axis=-1) == x.min(axis=-1))):
        raise ValueError("all parts are alike")
    z = _standard(x)
    ranked = np.sort(z, axis=-1)
    found = {name: function(ranked) for name, function in OF_SIZES.items()}
    if order:
        found |= {name: function(z) for name, function in OF_ORDER.items()}
    return found
