"""The search on stacks whose answer is known: root sum square, and a one-way clutch."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, optimize, stats

from tests.answers.stacks import Curves, Stack, stack_search
from tolsim.record import Array

FloatArray = NDArray[np.float64]
#: A one-way clutch: contact angle acos((a + c) / (e - c)) of hub height a, roller radius c and
#: cage radius e [mm]; after K. W. Chase (from memory), rates recomputed by quadrature there.
A, C, E = 27.645, 11.43, 50.8
LOW, HIGH = (math.cos(math.radians(v)) for v in (7.618389803367606, 6.418389803367607))


def test_a_linear_stack_is_root_sum_square() -> None:
    """Three sizes whose sum may leave ± T once in 370: T_i in proportion to b^(1/3)."""
    total = 0.012
    stack = Stack(
        [0.002] * 3,
        [0.024] * 3,
        {"loose": lambda x: [total - (x[0] + x[1] + x[2]), total + (x[0] + x[1] + x[2])]},
    )
    curves = Curves((1.0, 4.0, 9.0), (1.0,) * 3, (0.024,) * 3, {})
    target = 2.0 * float(stats.norm.sf(3.0))
    search = stack_search(stack, curves, {"loose": target}, np.full(3, 0.006), seed=2)
    found = search.run()
    assert found.feasible
    # 1831.6406: the closed form of least sum of b / T by root sum square
    assert found.cost == pytest.approx(1831.6406, rel=0.01)
    # the cost is flat about its least: 14 % of the smallest width cost 0.5 %
    assert 0.5 * found.theta == pytest.approx([0.004284, 0.006800, 0.008911], rel=0.2)


def _clutch(x: Sequence[Array]) -> list[Array]:
    cosine = (A + x[0] + C + x[1]) / (E + x[2] - (C + x[1]))
    return [cosine - LOW, HIGH - cosine]


def _exact(sd: FloatArray) -> float:
    """Share outside the limits: the hub's share in closed form, the others by quadrature."""
    z, w = np.polynomial.hermite_e.hermegauss(40)
    c, e = C + sd[1] * z[:, None], E + sd[2] * z[None, :]
    # a from its limits at given c and e
    lower, upper = LOW * (e - c) - c, HIGH * (e - c) - c
    share = stats.norm.cdf((lower - A) / sd[0]) + stats.norm.sf((upper - A) / sd[0])
    return float((w[:, None] * w[None, :] * share).sum() / (2.0 * math.pi))


def test_the_clutch_published_rate() -> None:
    """The closed quadrature of these tests is the recomputed published rate, 6572.2 per million."""
    assert _exact(np.array([0.05, 0.01, 0.0125]) / 3.0) == pytest.approx(
        0.004405729 + 0.002166580, rel=1e-4
    )


def test_the_clutch_is_found() -> None:
    """Least cost of the clutch's tolerances equals a search on the quadrature itself."""
    target = 0.002
    b, k = np.array([0.02, 0.004, 0.005]), np.ones(3)
    stack = Stack([0.01] * 3, [0.2] * 3, {"loose": _clutch})
    curves = Curves(tuple(b), tuple(k), (0.2,) * 3, {})
    exact = optimize.minimize(
        lambda u: float((b / np.exp(u)).sum()),
        np.log([0.03, 0.01, 0.0125]),
        method="SLSQP",
        bounds=[(math.log(0.005), math.log(0.1))] * 3,
        constraints={"type": "ineq", "fun": lambda u: math.log(target / _exact(np.exp(u) / 3.0))},
        options={"ftol": 1e-10, "maxiter": 200},
    )
    assert exact.success
    found = stack_search(
        stack, curves, {"loose": target}, np.array([0.05, 0.02, 0.025]), seed=4
    ).run()
    assert found.feasible
    assert _exact(found.theta / 6.0) <= target * 1.03
    assert found.cost == pytest.approx(exact.fun, rel=0.01)


def test_the_quadrature_is_converged() -> None:
    """The quadrature agrees with adaptive integration at one point."""
    sd = np.array([0.012, 0.004, 0.004])

    def inner(c: float, e: float) -> float:
        lower, upper = LOW * (e - c) - c, HIGH * (e - c) - c
        share = stats.norm.cdf((lower - A) / sd[0]) + stats.norm.sf((upper - A) / sd[0])
        return float(share * stats.norm.pdf(c, C, sd[1]) * stats.norm.pdf(e, E, sd[2]))

    value, _ = integrate.dblquad(
        inner, E - 0.03, E + 0.03, C - 0.03, C + 0.03, epsabs=1e-9, epsrel=1e-6
    )
    assert _exact(sd) == pytest.approx(value, rel=1e-4)
