"""One ring under pressure and temperature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_bvp

from tolsim.mechanics.influence import influence, spin_growth
from tolsim.mechanics.materials import Material

radii = st.tuples(st.floats(5.0, 50.0), st.floats(0.05, 20.0)).map(lambda t: (t[0], t[0] + t[1]))


@st.composite
def materials(draw: st.DrawFn) -> Material:
    hoop = draw(st.floats(1e3, 3e5))
    radial = hoop * draw(st.floats(0.05, 1.5))
    nu = draw(st.floats(0.0, 0.9)) * 0.5 * math.sqrt(hoop / radial)
    return Material(
        name="drawn",
        E_hoop=hoop,
        E_radial=radial,
        poisson=min(nu, 0.45),
        alpha_hoop=draw(st.floats(-1e-6, 1e-4)),
        alpha_radial=draw(st.floats(-1e-6, 1e-4)),
    )


@given(radii, st.floats(1e3, 3e5), st.floats(0.0, 0.49), st.floats(0.0, 1e-4))
@settings(max_examples=100, deadline=None)
def test_isotropic_ring_is_lame(
    r: tuple[float, float], young: float, nu: float, alpha: float
) -> None:
    """Equal moduli give Lamé's closed form (Timoshenko, Strength of Materials II)."""
    a, b = r
    f = influence(a, b, Material.of_isotropic("m", young, nu, alpha))
    s = (b * b + a * a) / (b * b - a * a)
    expected = [
        a * (s + nu) / young,
        -2.0 * a * b * b / (young * (b * b - a * a)),
        2.0 * b * a * a / (young * (b * b - a * a)),
        -b * (s - nu) / young,
        alpha * a,
        alpha * b,
    ]
    got = [f.c11, f.c12, f.c21, f.c22, f.h1, f.h2]
    assert_allclose(got, expected, rtol=1e-7, atol=1e-13)


@given(radii, materials())
@settings(max_examples=100, deadline=None)
def test_reciprocity_and_energy(r: tuple[float, float], m: Material) -> None:
    """Weighted by the radius the numbers are symmetric (Betti) and store positive energy."""
    a, b = r
    f = influence(a, b, m)
    assert_allclose(a * f.c12, -b * f.c21, rtol=1e-7)
    energy = np.array([[a * f.c11, a * f.c12], [a * f.c12, -b * f.c22]])
    assert np.linalg.eigvalsh(energy)[0] > 0.0


@pytest.mark.parametrize(
    ("hoop", "radial"), [(60e3, 9e3), (9e3, 60e3), (60e3, 60e3), (60e3, 59.999999e3)]
)
def test_against_integrating_the_equation(hoop: float, radial: float) -> None:
    """Displacements agree with a numerical solution of equilibrium, thermal self-stress in.

    The two rows with equal or nearly equal moduli and unequal expansion are the logarithmic case.
    """
    a, b, nu, pi, po, dT = 20.0, 24.0, 0.2, 3.0, 1.0, 50.0
    m = Material(
        name="m", E_hoop=hoop, E_radial=radial, poisson=nu, alpha_hoop=3e-6, alpha_radial=3e-5
    )
    nr = nu * radial / hoop
    dn = 1.0 - nu * nr

    def sigma(r: np.ndarray, u: np.ndarray, du: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        er, et = du - 3e-5 * dT, u / r - 3e-6 * dT
        return (radial * (er + nu * et)) / dn, (hoop * (et + nr * er)) / dn

    def equation(r: np.ndarray, y: np.ndarray) -> np.ndarray:
        sr = y[1]
        et = y[0] / r - 3e-6 * dT
        er = (sr * dn / radial) - nu * et
        st = hoop * (et + nr * er) / dn
        return np.vstack([er + 3e-5 * dT, (st - sr) / r])

    grid = np.linspace(a, b, 41)
    sol = solve_bvp(
        equation,
        lambda ya, yb: np.array([ya[1] + pi, yb[1] + po]),
        grid,
        np.zeros((2, grid.size)),
        tol=1e-10,
        max_nodes=20000,
    )
    assert sol.success
    f = influence(a, b, m)
    got = [f.c11 * pi + f.c12 * po + f.h1 * dT, f.c21 * pi + f.c22 * po + f.h2 * dT]
    assert_allclose(got, sol.y[0][[0, -1]], rtol=1e-7)


def test_self_stress_of_an_orthotropic_ring() -> None:
    """A ring with alpha_r > alpha_t heats up and its bore grows by 0.645 instead of 2.46 µm.

    Value of a separate computation: 20.5/24 mm, 60/9 GPa, 3 and 30e-6/K, +40 K.
    """
    m = Material(
        name="m", E_hoop=60e3, E_radial=9e3, poisson=0.3, alpha_hoop=3e-6, alpha_radial=3e-5
    )
    assert_allclose(influence(20.5, 24.0, m).h1 * 40.0 * 1e3, 0.645, atol=5e-4)
    assert_allclose(3e-6 * 20.5 * 40.0 * 1e3, 2.46, atol=5e-3)


def test_thin_ring_is_a_membrane() -> None:
    """A vanishing wall under inside pressure grows by p R²/(E t)."""
    t = 1e-3
    f = influence(20.0, 20.0 + t, Material.of_isotropic("m", 2e5, 0.3, 0.0))
    assert_allclose(f.c11, 20.0**2 / (2e5 * t), rtol=1e-3)


def test_infinite_wall_is_a_hole_in_a_plate() -> None:
    """A very thick wall approaches r (1 + nu)/E."""
    f = influence(20.0, 2e5, Material.of_isotropic("m", 2e5, 0.3, 0.0))
    assert_allclose(f.c11, 20.0 * 1.3 / 2e5, rtol=1e-6)


def test_solid_body_is_the_limit_of_a_small_bore() -> None:
    """The solid case continues the ring with a vanishing bore."""
    m = Material.of_isotropic("m", 2e5, 0.3, 1e-5)
    assert_allclose(influence(0.0, 20.0, m).c22, influence(1e-4, 20.0, m).c22, rtol=1e-9)


@pytest.mark.parametrize(("a", "b"), [(5.0, 5.0), (6.0, 5.0), (-1.0, 5.0), (math.nan, 5.0)])
def test_radii_out_of_order_are_refused(a: float, b: float) -> None:
    """A ring without a wall is no ring."""
    with pytest.raises(ValueError, match="inner_radius"):
        influence(a, b, Material.of_isotropic("m", 2e5, 0.3, 0.0))


def test_solid_orthotropic_body_is_refused() -> None:
    """Its stress at the centre is infinite or undefined."""
    m = Material(name="m", E_hoop=2.0, E_radial=1.0, poisson=0.1, alpha_hoop=0.0, alpha_radial=0.0)
    with pytest.raises(ValueError, match="isotropic"):
        influence(0.0, 1.0, m)


def test_spin_of_a_thin_ring() -> None:
    """A thin rotating ring has hoop stress rho v² and grows by rho omega² R³/E."""
    m = Material.of_isotropic("m", 2e5, 0.3, 0.0)
    got = spin_growth(20.0, 20.001, m, 7850.0, 1000.0)
    assert_allclose(got, 7850e-12 * 1e6 * 20.0**3 / 2e5, rtol=2e-4)
