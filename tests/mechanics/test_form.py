"""Lobes and taper."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics import form
from tolsim.mechanics import lobes as mech_lobes
from tolsim.mechanics.materials import MATERIALS, Material

STEEL, ALLOY = MATERIALS["bearing-steel"], MATERIALS["aluminium-6061-t6"]


@pytest.mark.parametrize("n", [2, 3, 4, 5, 8])
def test_sizes_of_a_lobed_circle_by_measuring_it(n: int) -> None:
    """Two-point, inscribed, circumscribed and mean sizes agree with a circle drawn in points."""
    radius, a = 20.5, 0.02
    theta = np.arange(7200) * (2.0 * np.pi / 7200)
    r = radius + a * np.cos(n * theta)
    two_point = r + np.roll(r, 3600)
    low, high = form.two_point(2.0 * radius, a, n)
    assert_allclose([two_point.min(), two_point.max()], [low, high], atol=1e-6)
    # the greatest circle about the centre that fits in, the least that holds all
    assert_allclose(2.0 * r.min(), form.max_inscribed(2.0 * radius, a), atol=1e-9)
    assert_allclose(2.0 * r.max(), form.min_circumscribed(2.0 * radius, a), atol=1e-9)
    assert_allclose(r.max() - r.min(), form.roundness(a), atol=1e-6)
    assert_allclose(form.amplitude_of_roundness(form.roundness(a)), a)


@pytest.mark.parametrize("loaded", ["inner", "outer"])
@pytest.mark.parametrize("n", [2, 3, 4])
def test_thin_rings_bend_as_the_ring_formula_says(n: int, loaded: str) -> None:
    """The plane solution tends to 12 R⁴/(E t³ (n²-1)²) for a thin wall."""
    t = 0.05
    got = form.lobe_compliance(n, 20.0 - t / 2.0, 20.0 + t / 2.0, STEEL, loaded=loaded)
    assert_allclose(got, form.thin_ring_compliance(n, 20.0, t, STEEL.E_hoop), rtol=0.02)


@pytest.mark.parametrize("n", [2, 3, 6])
def test_hole_in_an_infinite_plate(n: int) -> None:
    """A very thick wall tends to the half-plane-like limit of Michell's terms r^-n and r^(2-n).

    With B and D alone and no shear on the bore: u = p R ((kappa+1) n - (kappa-1))/(4 mu (n²-1)).
    """
    nu, young, radius = 0.3, 2e5, 20.0
    m = Material.of_isotropic("m", young, nu, 0.0)
    kappa, mu = (3.0 - nu) / (1.0 + nu), young / (2.0 * (1.0 + nu))
    # f = B r^-n + D r^(2-n): shear 0 on the bore gives B (n+1) = D (1-n) R²
    d = 1.0
    b = d * (1.0 - n) / (n + 1.0)
    stress = -(n + n * n) * b + (2.0 - n - n * n) * d
    u = (n * b + (kappa + n - 1.0) * d) / (2.0 * mu)
    expected = u / -stress * radius
    got = form.lobe_compliance(n, radius, 1e4, m, loaded="inner")
    assert_allclose(got, expected, rtol=2e-3)


def test_shares_of_ring_and_shell() -> None:
    """A rigid shell leaves the whole lobe to the ring, a rigid ring none."""
    rigid = Material.of_isotropic("rigid", 1e12, 0.3, 0.0)
    near_one = mech_lobes.lobes(2, (18.6, 20.5, STEEL), (20.5, 23.0, rigid)).ring_share
    near_zero = mech_lobes.lobes(2, (18.6, 20.5, rigid), (20.5, 23.0, ALLOY)).ring_share
    assert_allclose([near_one, near_zero], [1.0, 0.0], atol=1e-5)


def test_full_contact_limits_of_the_reference_case() -> None:
    """At 2.7 MPa contact holds up to 1.1 mm of ovality, 46 µm of 4 lobes, 9 µm of 6 lobes."""
    for n, limit, printed in ((2, 1.1, 0.05), (4, 0.046, 0.001), (6, 0.009, 0.0005)):
        fit = mech_lobes.lobes(n, (18.6, 20.5, STEEL), (20.5, 23.0, ALLOY))
        assert_allclose(2.7 / fit.stiffness, limit, atol=printed)
        assert mech_lobes.full_contact_margin(2.7, (fit,), (0.9 * limit,)) > 0.0
        assert mech_lobes.full_contact_margin(2.7, (fit,), (1.1 * limit,)) < 0.0


def test_taper_is_the_limit_of_slices() -> None:
    """Closed form of mean and share against 4000 slices over tight, gaping and loose seats."""
    for u in (-0.02, -0.003, 0.0, 0.002, 0.02):
        cut = np.array(form.slices(u, 0.008, 4000))
        assert_allclose(
            form.tapered_interference(u, 0.008), np.mean(np.maximum(cut, 0.0)), atol=1e-8
        )
        assert_allclose(form.engaged_share(u, 0.008), np.mean(cut > 0.0), atol=1e-3)
    assert_allclose(form.tapered_interference(0.01, 0.0), 0.01)
    assert form.tapered_interference(-0.01, 0.0) == 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: form.two_point(41.0, 0.01, 1),
        lambda: form.lobe_compliance(2, 5.0, 4.0, STEEL, loaded="inner"),
        lambda: form.lobe_compliance(2, 4.0, 5.0, STEEL, loaded="bore"),
        lambda: form.slices(0.0, 0.0, 0),
    ],
)
def test_impossible_forms_are_refused(call: object) -> None:
    """One lobe is an offset, a wall has a thickness, a load a surface."""
    assert callable(call)
    with pytest.raises(ValueError, match=r"at least|need|loaded"):
        call()
