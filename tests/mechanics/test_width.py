"""Finite width and a narrow ring in a longer sleeve."""

from __future__ import annotations

import math

import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.mechanics.rings import Layer, Stack
from tolsim.mechanics.spread import narrow_ring_share, sleeve_factor
from tolsim.mechanics.width import decay, eta, eta_end, eta_mid, validity

ALLOY, CFRP = MATERIALS["aluminium-6061-t6"], MATERIALS["cfrp-hoop-biased"]


def test_wide_band_and_narrow_band_limits() -> None:
    """A very wide band bears on the full compliance, a very narrow one on none."""
    assert_allclose(eta_mid(1e4, 20.5, 23.0, ALLOY), 1.0, atol=1e-3)
    assert_allclose(eta_end(1e4, 20.5, 23.0, ALLOY), 1.0, atol=1e-3)
    # line load far from the ends: growth p L beta/(2 k), at the free end p L 2 beta/k
    beta, narrow = decay(20.5, 23.0, ALLOY), 1e-4
    assert_allclose(eta_mid(narrow, 20.5, 23.0, ALLOY), 0.5 * beta * narrow, rtol=1e-3)
    assert_allclose(eta_end(narrow, 20.5, 23.0, ALLOY), 2.0 * beta * narrow, rtol=1e-3)


def test_edge_distance_runs_from_the_end_to_the_middle() -> None:
    """Flush is the end's factor, far away the middle's, monotone between."""
    values = [eta(7.0, 20.5, 23.0, ALLOY, x) for x in (0.0, 1.0, 3.0, 8.0, 100.0)]
    assert values == sorted(values, reverse=True)
    # a thin wall is nearly a beam
    assert_allclose(values[0], eta_end(7.0, 20.5, 23.0, ALLOY), rtol=5e-3)
    assert_allclose(values[-1], eta_mid(7.0, 20.5, 23.0, ALLOY), rtol=3e-2)
    values = [eta(7.0, 20.5, 23.0, CFRP, x) for x in (0.0, 100.0)]
    assert values[0] == eta_end(7.0, 20.5, 23.0, CFRP)
    assert_allclose(values[-1], eta_mid(7.0, 20.5, 23.0, CFRP), rtol=1e-12)


def test_a_soft_axial_direction_stiffens_less() -> None:
    """Low axial modulus means short decay and a factor nearer to 1."""
    stiff = Material.of_isotropic("m", CFRP.E_hoop, 0.3, 0.0)
    assert eta_mid(7.0, 18.5, 22.0, CFRP) > eta_mid(7.0, 18.5, 22.0, stiff)


def test_narrow_ring_share_is_one_for_equal_lengths_and_falls() -> None:
    """The longer the sleeve, the less the bore yields under the ring."""
    sleeve = Layer(inner_radius=18.5, outer_radius=20.5, material=ALLOY)
    shell = Layer(inner_radius=20.5, outer_radius=23.0, material=ALLOY)
    shares = [
        narrow_ring_share(sleeve, shell, ring_width=7.0, sleeve_length=length)
        for length in (7.0, 9.0, 12.0, 20.0, 40.0)
    ]
    assert shares[0] == 1.0
    assert shares == sorted(shares, reverse=True)


def test_beam_solution_against_the_closed_form_of_one_wall() -> None:
    """A sleeve that is half of the shell's own wall, bonded, is the wall: eta of the band.

    Both layers lie in one wall of twice the thickness; the long sleeve and the narrow ring give
    the closed form for a band far from the ends (Timoshenko).
    """
    soft = Material.of_isotropic("m", 70e3, 0.3, 0.0)
    # thin, so that both mean radii are those of the wall
    sleeve = Layer(inner_radius=199.0, outer_radius=200.0, material=soft)
    shell = Layer(inner_radius=200.0, outer_radius=201.0, material=soft)
    share = narrow_ring_share(
        sleeve, shell, ring_width=10.0, sleeve_length=600.0, ring_inset=295.0, bonded=True
    )
    # the band of 600 mm is nearly the full width; its own factor by the closed form
    wide = eta_mid(600.0, 199.0, 201.0, soft)
    assert_allclose(share, eta_mid(10.0, 199.0, 201.0, soft) / wide, rtol=0.02)


def test_factor_reproduces_the_share_in_the_stack() -> None:
    """With the factor on the sleeve the joined bore yields by the share, the sleeve's fit stays."""
    shell = Layer(inner_radius=20.5, outer_radius=23.0, material=ALLOY, width_factor=0.9)
    plain = Layer(inner_radius=18.5, outer_radius=20.5, material=ALLOY)
    f = sleeve_factor([plain, shell], ring_width=7.0, sleeve_length=16.0)
    reduced = Layer(inner_radius=18.5, outer_radius=20.5, material=ALLOY, width_factor=f)
    got = [
        float(Stack((s, shell), (True,)).solve([0.0], bore_pressure=1.0).mechanical(0, "inner"))
        for s in (plain, reduced)
    ]
    share = narrow_ring_share(plain, shell, ring_width=7.0, sleeve_length=16.0)
    assert_allclose(got[1] / got[0], share, rtol=1e-12)
    fits = [Stack((s, shell), (False,)).pressures([0.02])[0][0] for s in (plain, reduced)]
    assert fits[0] == fits[1]


def test_warnings_name_the_case() -> None:
    """Thin bands, thick walls, short shells and missing constants are said, a plain seat is not."""
    unknown = Material(
        name="shell-x", E_hoop=6e4, E_radial=9e3, poisson=0.3, alpha_hoop=0.0, alpha_radial=0.0
    )
    assert validity(7.0, 18.5, 23.0, ALLOY) == ()
    assert "narrower than a tenth" in validity(3.0, 18.5, 23.0, ALLOY)[0]
    assert validity(3.8, 18.5, 23.0, ALLOY) == ()
    assert "beta L" in validity(3.0, 18.5, 23.0, CFRP)[0]
    assert any("mm long" in w for w in validity(7.0, 18.5, 23.0, ALLOY, shell_length=9.0))
    assert validity(7.0, 18.5, 23.0, ALLOY, shell_length=60.0) == ()
    assert any("in-plane" in w for w in validity(7.0, 18.5, 23.0, unknown))


@pytest.mark.parametrize(
    "call",
    [
        lambda: eta_mid(0.0, 20.5, 23.0, ALLOY),
        lambda: eta(7.0, 20.5, 23.0, ALLOY, -1.0),
        lambda: decay(23.0, 20.5, ALLOY),
        lambda: eta(7.0, 20.5, 23.0, ALLOY, math.nan),
        lambda: narrow_ring_share(
            Layer(inner_radius=18.5, outer_radius=20.5, material=ALLOY),
            Layer(inner_radius=20.5, outer_radius=23.0, material=ALLOY),
            ring_width=7.0,
            sleeve_length=8.0,
            ring_inset=2.0,
        ),
    ],
)
def test_impossible_lengths_are_refused(call: object) -> None:
    """Lengths that do not fit raise."""
    assert callable(call)
    with pytest.raises(ValueError, match=r"positive|negative|need|within"):
        call()
