"""Least cost within a box under smooth constraints: one small problem of a search.

Sequential quadratic programming with exact gradients in scaled variables. What the constraints
are (rates of failed units, the sum of widths, their root sum of squares) is left to the caller.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Solved", "least_cost"]

FloatArray = NDArray[np.float64]
#: Value and gradient (d,).
Cost = Callable[[FloatArray], tuple[float, FloatArray]]
#: Values (m,), which must not be negative, and gradients (m, d).
Slack = Callable[[FloatArray], tuple[FloatArray, FloatArray]]

_GIVEN = 1e-6  # slack that counts as none missing


@dataclass(frozen=True, slots=True)
class Solved:
    """Where the search ended; `slack` is the smallest constraint there."""

    point: FloatArray
    cost: float
    slack: float


def least_cost(
    cost: Cost,
    slack: Slack,
    start: FloatArray,
    low: FloatArray,
    high: FloatArray,
    *,
    steps: int = 60,
    precision: float = 1e-8,
) -> Solved:
    """Cheapest point of a box at which no constraint is negative.

    From a point that violates some, the least slack is raised first, as far as the box allows;
    where it cannot be raised to 0 the best such point is returned.

    Parameters
    ----------
    cost : callable
        Cost and its gradient.
    slack : callable
        Constraints, fine where none is negative, and their gradients.
    start, low, high : ndarray
        (d,).
    steps, precision : int, float
        Of the programming; `precision` is of the cost over its size.

    Examples
    --------
    The smallest sum of two numbers whose product is 1:

    >>> at = least_cost(
    ...     lambda x: (float(x.sum()), np.ones(2)),
    ...     lambda x: (np.array([x[0] * x[1] - 1.0]), np.array([[x[1], x[0]]])),
    ...     np.array([0.5, 3.0]), np.full(2, 0.1), np.full(2, 10.0))
    >>> at.point
    array([1., 1.])
    """
    from scipy.optimize import minimize

    span = high - low
    moving = span > 0.0
    span = np.where(moving, span, 1.0)

    def at(u: FloatArray) -> FloatArray:
        return np.asarray(low + np.clip(u, 0.0, 1.0) * np.where(moving, span, 0.0))

    memory: dict[bytes, tuple[FloatArray, FloatArray]] = {}

    def held(u: FloatArray) -> tuple[FloatArray, FloatArray]:
        key = u.tobytes()
        if key not in memory:
            values, slopes = slack(at(u))
            memory.clear()
            memory[key] = (values, slopes * np.where(moving, span, 0.0))
        return memory[key]

    u = np.clip((start - low) / span, 0.0, 1.0)
    d = len(u)
    box = [(0.0, 1.0)] * d
    options = {"maxiter": steps, "ftol": precision}
    least = float(held(u)[0].min())
    if least < 0.0:

        def raised(v: FloatArray) -> FloatArray:
            return np.asarray(held(v[:d])[0] - v[d])

        def raised_slope(v: FloatArray) -> FloatArray:
            slopes = held(v[:d])[1]
            return np.hstack([slopes, -np.ones((len(slopes), 1))])

        unit = np.zeros(d + 1)
        unit[d] = -1.0
        found = minimize(
            lambda v: -float(v[d]),
            np.append(u, least),
            jac=lambda v: unit,
            method="SLSQP",
            bounds=[*box, (None, 0.02)],
            constraints=[{"type": "ineq", "fun": raised, "jac": raised_slope}],
            options=options,
        )
        better = np.clip(found.x[:d], 0.0, 1.0)
        if float(held(better)[0].min()) > least:
            u, least = better, float(held(better)[0].min())
        if least < -_GIVEN:
            return Solved(at(u), cost(at(u))[0], least)
    size = max(abs(cost(at(u))[0]), 1e-9)

    def priced(v: FloatArray) -> tuple[float, FloatArray]:
        value, slope = cost(at(v))
        return value / size, slope * np.where(moving, span, 0.0) / size

    found = minimize(
        priced,
        u,
        jac=True,
        method="SLSQP",
        bounds=box,
        constraints=[{"type": "ineq", "fun": lambda v: held(v)[0], "jac": lambda v: held(v)[1]}],
        options=options,
    )
    v = np.clip(found.x, 0.0, 1.0)
    end = float(held(v)[0].min())
    if end < -1e-3 or not np.isfinite(found.fun):  # the programme lost its way: stay where it began
        v, end = u, least
    return Solved(at(v), cost(at(v))[0], end)
