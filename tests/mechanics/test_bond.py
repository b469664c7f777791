"""Bonds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics import bond


def test_strength_follows_the_knots() -> None:
    """Level to the first knot, on every knot its share, on down to 0 and never below."""
    f = bond.gap_factor()
    for gap, share in bond.GAP_KNOTS:
        assert_allclose(f(gap), share, rtol=1e-12)
    assert f(0.0) == 1.0
    g = np.linspace(0.0, 1.0, 500)
    assert np.all(np.diff(f(g)) <= 0.0)
    assert f(1.0) == 0.0


def test_no_loss_and_double_loss_bracket_the_curve() -> None:
    """The assumption's ends: a strength that ignores the gap and one that falls twice as far."""
    assert bond.gap_factor(loss=0.0)(0.2) == 1.0
    assert_allclose(1.0 - bond.gap_factor(loss=2.0)(0.1), 2.0 * (1.0 - bond.gap_factor()(0.1)))


def test_heat_weakens_and_cold_does_not_strengthen() -> None:
    """1 up to 20 °C, then falling, never negative."""
    assert bond.temperature_factor(-30.0) == 1.0
    assert bond.temperature_factor(60.0) < 1.0
    assert bond.temperature_factor(1000.0) == 0.0


def test_pressing_wipes_the_adhesive_off() -> None:
    """With the default share a pressed and glued fit holds by friction alone."""
    press = bond.push_out(10.0, 41.0, 7.0, pressure=2.7, friction=0.12, bond_share=0.0)
    assert_allclose(press, 0.12 * 2.7 * math.pi * 41.0 * 7.0)
    both = bond.push_out(10.0, 41.0, 7.0, pressure=2.7, friction=0.12)
    assert_allclose(both - press, 10.0 * math.pi * 41.0 * 7.0)


def test_disc_is_uniform() -> None:
    """Half of the points lie within the radius that holds half of the area, in any direction."""
    n = 40_000
    z = np.random.default_rng(11).standard_normal((2, n))
    x, y = bond.disc(z[0], z[1])
    r2 = x * x + y * y
    assert np.all(r2 < 1.0)
    bound = 4.0 * math.sqrt(0.25 / n)
    for level in (0.1, 0.5, 0.9):
        assert abs(np.mean(r2 < level) - level) < bound
    assert abs(np.mean(x > 0.0) - 0.5) < bound
    assert bond.disc(0.0, 0.0) == (0.0, 0.0)


def test_eccentricity_stays_in_the_gap() -> None:
    """No further than half the gap; none in an interference fit."""
    assert_allclose(bond.eccentricity(0.1, 1.0, 0.0), (0.05, 0.0))
    assert_allclose(bond.eccentricity(-0.02, 1.0, 0.0), (0.0, 0.0))
    assert_allclose(bond.tilt_limit(-0.02, 10.0), 0.0)


def test_margins_change_sign_at_their_limits() -> None:
    """Window, shear and peel."""
    assert bond.gap_margin(0.01, (0.02, 0.15)) < 0.0 < bond.gap_margin(0.1, (0.02, 0.15))
    assert bond.gap_margin(0.16, (0.02, 0.15)) < 0.0
    assert bond.shear_margin(10.0, 6.0, 2.0) < 0.0 < bond.shear_margin(10.0, 4.0, 2.0)
    assert bond.peel_margin(-11.0, 10.0) < 0.0 < bond.peel_margin(5.0, 10.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: bond.gap_factor([(0.1, 1.0)]),
        lambda: bond.gap_factor([(0.1, 1.0), (0.1, 0.5)]),
        lambda: bond.push_out(1.0, 0.0, 1.0),
        lambda: bond.shear_demand(1.0, 0.0),
        lambda: bond.shear_margin(1.0, 1.0, 0.0),
        lambda: bond.gap_margin(0.1, (0.2, 0.1)),
        lambda: bond.eccentricity(0.1, 0.0, 0.0, 1.5),
        lambda: bond.tilt_limit(0.1, 0.0),
    ],
)
def test_impossible_bonds_are_refused(call: object) -> None:
    """Sizes, windows, shares and curves are checked when they are set up."""
    assert callable(call)
    with pytest.raises(ValueError, match=r"need|positive|low|share"):
        call()
