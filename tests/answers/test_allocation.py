"""Allocation by the older rules: published optima as special cases of the search's own programme.

Sources: closed forms by Lagrange; the shaft-and-housing stack, its cost curves and its scale
factors after K. W. Chase, "Tolerance allocation methods for designers" (digits from memory, the
optima recomputed from them).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tolsim.answers.allocation import Curve, Rule, least_cost_widths

#: Part: fixed cost, coefficient and exponent of 1 + b / T^k, T in inches.
CURVES = {"B": (0.15997, 0.43899), "D": (0.07202, 0.46823), "E": (0.12576, 0.46537)}
CURVES["F"] = CURVES["D"]
#: Tolerances of the bought parts A, C, G, and the gap's, ± in inches.
FIXED, GAP = (0.0015, 0.0025, 0.0025), 0.015


def _power(b: float, k: float, fixed: float = 0.0) -> Curve:
    return lambda t: (fixed + b / t**k, -k * b / t ** (k + 1.0))


@pytest.mark.parametrize(
    ("rule", "power", "widths", "cost"),
    [
        ("worst case", 1.0, [0.002, 0.004, 0.006], 3000.0),
        ("root sum square", 1.0, [0.00428391, 0.00680029, 0.00891090], 1831.6406018),
        ("worst case", 2.0, [0.00257098, 0.00408117, 0.00534785], 706132.6061235),
        ("root sum square", 2.0, [0.00489898, 0.00692820, 0.00848528], 250000.0),
    ],
)
def test_closed_forms(rule: Rule, power: float, widths: list[float], cost: float) -> None:
    """Least sum of b / T^k with b = 1, 4, 9 and 0.012 to share: T ~ b^(1/(k+1)) or b^(1/(k+2))."""
    b = np.array([1.0, 4.0, 9.0])
    curves = [_power(v, power) for v in b]
    found = least_cost_widths(curves, np.full(3, 1e-4), np.full(3, 0.012), rule=rule, total=0.012)
    assert found is not None
    assert found == pytest.approx(widths, rel=2e-4)
    assert float((b / found**power).sum()) == pytest.approx(cost, rel=1e-6)


@pytest.mark.parametrize(
    ("rule", "widths", "cost"),
    [
        ("worst case", [0.0025371, 0.0017340, 0.0024949, 0.0017340], 11.0778287),
        ("root sum square", [0.0081142, 0.0063818, 0.0079344, 0.0063818], 8.0536107),
    ],
)
def test_shaft_and_housing(rule: Rule, widths: list[float], cost: float) -> None:
    """The published stack of seven, three of them bought: least cost of the four that are made."""
    curves = [_power(*CURVES[p], fixed=1.0) for p in "BDEF"]
    left = GAP - sum(FIXED) if rule == "worst case" else math.sqrt(GAP**2 - math.hypot(*FIXED) ** 2)
    found = least_cost_widths(curves, np.full(4, 2e-4), np.full(4, 0.05), rule=rule, total=left)
    assert found is not None
    assert found == pytest.approx(widths, rel=2e-3)
    assert sum(c(float(t))[0] for c, t in zip(curves, found, strict=True)) == pytest.approx(
        cost, rel=1e-6
    )


def test_what_does_not_fit() -> None:
    """No widths where not even the least fit."""
    curves = [_power(1.0, 1.0)] * 2
    low, high = np.full(2, 1.0), np.full(2, 2.0)
    assert least_cost_widths(curves, low, high, rule="worst case", total=1.5) is None
    assert least_cost_widths(curves, low, high, rule="root sum square", total=1.5) is not None
