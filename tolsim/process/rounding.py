"""Readings on steps: how coarse the step is, and ties spread over it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray

__all__ = ["spread_ties", "step_of"]

_ATOM = 1e-7  # mm: readings are taken to be multiples of 0.1 nm


def step_of(values: ArrayLike) -> float:
    """Step [mm] on which all readings stand: the greatest common divisor of their differences.

    0 where all readings are alike. Differences count in units of 0.1 nm.

    >>> step_of([0.010, 0.015, 0.025])
    0.005
    """
    x = np.asarray(values, dtype=np.float64)
    units = np.unique(np.round((x - x.min()) / _ATOM).astype(np.int64))
    return math.gcd(*units.tolist()) * _ATOM


def spread_ties(values: ArrayLike, step: float) -> FloatArray:
    """Readings that share a value spread evenly over its step, in their order.

    >>> spread_ties([1.0, 1.0, 2.0], 1.0)
    array([0.75, 1.25, 2.  ])
    """
    x = np.asarray(values, dtype=np.float64)
    if step <= 0.0:
        return x
    # the order in which equal readings are spread must not look like a trend: turn every other
    order = np.argsort(x, kind="stable")
    out = x.copy()
    start = 0
    ranked = x[order]
    while start < x.size:
        end = start
        while end < x.size and abs(ranked[end] - ranked[start]) < 0.5 * step:
            end += 1
        m = end - start
        place = (np.arange(m) + 0.5) / m - 0.5
        turn = np.argsort((np.arange(m) * 0.6180339887498949) % 1.0, kind="stable")
        out[order[start:end]] = ranked[start:end] + step * place[np.argsort(turn)]
        start = end
    return out
