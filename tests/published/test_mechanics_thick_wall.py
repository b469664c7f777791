"""Thick walls under a band of pressure: closed forms, and axisymmetric finite elements."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import k0, k1

from tests.mechanics.fe_axisymmetric import isotropic, mean_growth
from tolsim.mechanics.materials import Material
from tolsim.mechanics.thick_wall import band_factor, wave_factor
from tolsim.mechanics.width import eta, eta_end, eta_mid

BORE, YOUNG = 18.5, 206e3


def finite_elements(
    wall: float, width: float, edge: float | None, poisson: float = 0.3, size: float = 1.2
) -> float:
    """Mean growth of the bore under the band over Lamé's; None is the middle of a long tube."""
    outer = BORE + wall
    length = max(70.0, 5.0 * outer)
    low = 0.5 * (length - width) if edge is None else edge
    grown = mean_growth(
        [isotropic(BORE, outer, 0.0, length, YOUNG, poisson)], (low, low + width), size=size
    )
    a2, b2 = BORE**2, outer**2
    return grown / (BORE / YOUNG * ((b2 + a2) / (b2 - a2) + poisson))


def test_long_waves_are_the_plane_ring_and_a_thin_wall_is_a_beam() -> None:
    """Uniform pressure gives Lamé; a wall of a fiftieth of its radius the beam's transfer.

    Beam on its own hoop stiffness: 1/(1 + omega⁴/(4 beta⁴)) (Timoshenko, ch. 15).
    """
    assert_allclose(wave_factor(np.array([1e-4]), 18.5, 23.0, 0.3), 1.0, rtol=1e-5)
    inner, outer, nu = 100.0, 102.0, 0.3
    omega = np.array([0.02, 0.05, 0.1])
    beta = (3.0 * (1.0 - nu * nu)) ** 0.25 / math.sqrt(0.5 * (inner + outer) * (outer - inner))
    beam = 1.0 / (1.0 + omega**4 / (4.0 * beta**4))
    assert_allclose(wave_factor(omega, inner, outer, nu), beam, rtol=0.02)


def test_a_hole_in_an_unlimited_body_under_waves() -> None:
    """A wall without limit gives the closed form of a cylindrical hole.

    Pressure cos(omega z) in the bore of an infinite solid: growth, with x = omega a,
    (1 - nu) / (G omega) / (x - x (K0/K1)² + 2 (1 - nu) / x). Such pressures: C. J. Tranter,
    Quarterly of Applied Mathematics 4 (1946) 298-302, from memory; worked again by hand.
    """
    a, nu = 18.5, 0.3
    omega = np.array([0.05, 0.1, 0.3, 1.0])
    x = omega * a
    grown = (1.0 - nu) / omega / (x - x * (k0(x) / k1(x)) ** 2 + 2.0 * (1.0 - nu) / x)
    # over Lamé's a (1 + nu)/E = a/(2 G)
    assert_allclose(wave_factor(omega, a, 4000.0, nu), grown * 2.0 / a, rtol=1e-4)


def test_a_line_of_pressure_indents_like_a_half_space() -> None:
    """Short waves see a half-space in plane strain: growth 2 (1 - nu²) p/(E omega) (Johnson)."""
    omega = np.array([20.0])
    lame = 18.5 * ((23.0**2 + 18.5**2) / (23.0**2 - 18.5**2) + 0.3)
    want = 2.0 * (1.0 - 0.3**2) / omega / lame
    assert_allclose(wave_factor(omega, 18.5, 23.0, 0.3), want, rtol=1e-2)


@pytest.mark.parametrize(("wall", "width"), [(2.5, 7.0), (4.5, 4.0), (10.0, 12.0), (37.0, 7.0)])
def test_the_middle_is_that_of_finite_elements(wall: float, width: float) -> None:
    """Far from both ends the factor is elasticity's, to what the mesh resolves."""
    got = band_factor(width, BORE, BORE + wall, 0.3)
    assert_allclose(got, finite_elements(wall, width, None), rtol=0.01)


@pytest.mark.parametrize(
    ("wall", "width", "edge", "within"),
    [
        (4.5, 7.0, 0.0, 0.01),
        (10.0, 7.0, 0.0, 0.01),
        (14.0, 20.0, 0.0, 0.01),
        (20.0, 7.0, 2.0, 0.01),
        (37.0, 7.0, 0.0, 0.05),
        (37.0, 7.0, 5.0, 0.06),
    ],
)
def test_the_end_is_near_finite_elements(
    wall: float, width: float, edge: float, within: float
) -> None:
    """Flush or near the end: 1 % in walls up to half the bore, 6 % in one as thick as the bore."""
    m = Material.of_isotropic("m", YOUNG, 0.3, 0.0)
    got = eta(width, BORE, BORE + wall, m, edge)
    assert_allclose(got, finite_elements(wall, width, edge), rtol=within)


@pytest.mark.slow
@pytest.mark.parametrize("poisson", [0.25, 0.3, 0.38])
@pytest.mark.parametrize("wall", [1.5, 2.5, 4.5, 7.5, 10.0, 14.0, 20.0, 37.0])
def test_stated_error_over_walls_bands_and_places(wall: float, poisson: float) -> None:
    """The error that the docstring states, bands of 0.1 to 0.55 diameters, end to middle."""
    m = Material.of_isotropic("m", YOUNG, poisson, 0.0)
    limit = 0.05 if wall <= 20.0 else 0.13
    for width in (4.0, 7.0, 20.0):
        for edge in (0.0, 2.0, 8.0, None):
            fe = finite_elements(wall, width, edge, poisson, size=0.6 if wall < 8.0 else 1.2)
            got = eta(width, BORE, BORE + wall, m, 1e3 if edge is None else edge)
            assert abs(got / fe - 1.0) < limit, (width, edge, got, fe)


def test_the_beam_is_a_lower_bound() -> None:
    """Shear and indentation only add: the factor lies above the beam's and below 1."""
    m = Material.of_isotropic("m", YOUNG, 0.3, 0.0)
    for wall in (1.5, 4.5, 20.0, 200.0):
        for width in (4.0, 20.0, 300.0):
            radii = (BORE, BORE + wall)
            assert eta_end(width, *radii, m) <= eta(width, *radii, m) <= 1.0
            middle = eta(width, *radii, m, 1e4)
            # the beam's mean radius stands in for the ring's, within 1 % of a wide band
            assert 0.99 * eta_mid(width, *radii, m) <= middle <= 1.0
