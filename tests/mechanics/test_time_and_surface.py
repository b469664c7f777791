"""Settling, relaxation, moisture, coating, removals, yielding, laminates, tables."""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics import coating, laminate, service, settling, validity, yielding
from tolsim.mechanics.assumptions import ASSUMED, Assumed
from tolsim.mechanics.friction import friction
from tolsim.mechanics.materials import MATERIALS, Material, temperature_warnings
from tolsim.mechanics.rings import Layer, Stack


def test_settling_starts_at_nothing_and_ends_at_all() -> None:
    """Both laws run from 0 to 1 and rise."""
    t = np.logspace(-3, 6, 100)
    share = settling.kohlrausch(t)
    assert np.all(np.diff(share) >= 0.0)
    assert settling.kohlrausch(0.0) == 0.0
    assert_allclose(settling.kohlrausch(1e9), 1.0)
    assert settling.log_time_share(0.0, 1000.0) == 0.0
    assert_allclose(settling.log_time_share(1000.0, 1000.0), 1.0)


def test_practice_of_gauging_twice() -> None:
    """tau 1.5 d, b 0.6: 7 % done at half an hour, 81 % after 3.5 d (computed by hand)."""
    shares = [float(settling.kohlrausch(h, 36.0, 0.6)) for h in (0.5, 84.0)]
    assert_allclose(shares, [0.07, 0.81], atol=5e-3)
    assert_allclose(settling.settled_between(-0.005, *shares), -0.005 * 0.74, atol=5e-5)


def test_equal_change_per_decade() -> None:
    """Ten times the age adds the same change (shrinkage rule of plastics practice)."""
    a = settling.log_time(0.0, 9.0, 0.003)
    b = settling.log_time(9.0, 99.0, 0.003)
    assert_allclose([a, b], 0.003, rtol=1e-12)


def test_relaxed_pressure_of_a_polymer_shell_follows_its_modulus() -> None:
    """Around a stiff ring the pressure of a soft shell falls as its modulus does."""
    ring = Layer(inner_radius=17.0, outer_radius=18.5, material=MATERIALS["bearing-steel"])

    def pressure(m: Material) -> float:
        shell = Layer(inner_radius=18.5, outer_radius=24.0, material=m)
        return float(Stack((ring, shell), (False,)).pressures([0.03])[0][0])

    pom = MATERIALS["pom"]
    old = settling.relaxed(pom, 10_000.0, exponent_hoop=0.06)
    assert_allclose(pressure(old) / pressure(pom), 1e4**-0.06, rtol=0.02)


def test_relaxation_needs_a_later_time() -> None:
    """Times before the reference and negative exponents are refused."""
    with pytest.raises(ValueError, match="reference"):
        settling.relaxed(MATERIALS["pom"], 0.5, exponent_hoop=0.06)
    with pytest.raises(ValueError, match="positive"):
        settling.kohlrausch(1.0, 0.0)
    with pytest.raises(ValueError, match="stresses"):
        settling.relaxation_exponent(1.0, 1.0, 0.5)


def test_moisture_swells_an_isotropic_ring_by_its_radius() -> None:
    """Equal swelling scales the ring; unequal swelling does not."""
    assert_allclose(
        settling.moisture_growth(20.0, 25.0, MATERIALS["pom"], 0.002, 0.002), (0.04, 0.05)
    )
    bore, _ = settling.moisture_growth(20.0, 25.0, MATERIALS["pa66-gf30-dry"], 0.0025, 0.0065)
    assert bore < 20.0 * 0.0025


def test_film_shrinks_bores_and_grows_outsides() -> None:
    """One film on bore and outside moves them apart by the same amount."""
    bore = coating.bore_after(41.0, 0.02) - 41.0
    outside = coating.outside_after(44.0, 0.02) - 44.0
    assert_allclose(-bore, outside)
    assert coating.etched_bore(41.0) > 41.0
    assert coating.etched_outside(44.0) < 44.0


def test_removals_wear_interference_and_leave_clearance() -> None:
    """No removal changes nothing; a loose seat gets no looser by this rule."""
    assert service.after_removals(0.01, 0) == 0.01
    assert service.after_removals(-0.01, 3) == -0.01
    kept = [float(service.after_removals(0.01, n)) for n in range(4)]
    assert kept == sorted(kept, reverse=True)
    assert "assumption" in service.BASIS
    with pytest.raises(ValueError, match="removals"):
        service.after_removals(0.01, -1)


def test_yield_limit_is_where_the_modified_tresca_stress_meets_the_proof_stress() -> None:
    """Hoop minus radial at the bore, times sqrt(3)/2, reaches Rp at the limit (DIN 7190)."""
    p = yielding.elastic_limit_outer(41.0, 46.0, 240.0)
    q2 = (41.0 / 46.0) ** 2
    assert_allclose((p * (1.0 + q2) / (1.0 - q2) + p) * math.sqrt(3.0) / 2.0, 240.0)
    assert yielding.elastic_limit_inner(0.0, 20.0, 300.0) == 2.0 * 300.0 / math.sqrt(3.0)
    assert yielding.elastic_limit_inner(10.0, 20.0, 300.0) < 300.0


def test_von_mises_of_the_bore_from_its_two_stresses() -> None:
    """The closed form is the plane von Mises stress of Lamé's stresses."""
    p, q2 = 20.0, 0.25
    hoop = p * (1.0 + q2) / (1.0 - q2)
    assert_allclose(yielding.von_mises_bore(p, 50.0, 100.0), yielding.mises(hoop, -p))


def test_laminate_of_one_angle_is_the_ply() -> None:
    """All plies along x give the ply's own constants; turned by 90 degrees they change places."""
    ply = laminate.Ply(
        E1=181e3, E2=10.3e3, G12=7.17e3, nu12=0.28, alpha=(2e-8, 2.25e-5), beta=(0.0, 0.6)
    )
    along, across = laminate.laminate(ply, [0.0]), laminate.laminate(ply, [90.0])
    assert_allclose([along.E_x, along.E_y, along.nu_xy], [181e3, 10.3e3, 0.28], rtol=1e-12)
    assert_allclose([across.E_x, across.E_y], [10.3e3, 181e3], rtol=1e-12)
    assert_allclose([along.alpha_y, across.alpha_x], 2.25e-5, rtol=1e-12)
    with pytest.raises(ValueError, match="plies"):
        laminate.laminate(ply, [])


def test_quasi_isotropic_constants_do_not_depend_on_direction() -> None:
    """Turning a quasi-isotropic layup changes nothing."""
    ply = laminate.Ply(E1=181e3, E2=10.3e3, G12=7.17e3, nu12=0.28, alpha=(2e-8, 2.25e-5))
    a = laminate.laminate(ply, [0, 45, -45, 90])
    b = laminate.laminate(ply, [20, 65, -25, 110])
    for f in fields(a):
        assert_allclose(getattr(a, f.name), getattr(b, f.name), rtol=1e-9, atol=1e-18)


@pytest.mark.parametrize("m", MATERIALS.values(), ids=MATERIALS)
def test_every_material_says_where_it_comes_from(m: Material) -> None:
    """Source, confidence, range and family stand in the row; the name is its key."""
    assert MATERIALS[m.name] is m
    assert m.source
    assert m.confidence == "from memory"
    assert m.temperature_range is not None
    assert m.family != "other"
    assert temperature_warnings("x", m, [20.0]) == ()
    assert len(temperature_warnings("x", m, [20.0, 500.0])) == 1


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [
        ("E_hoop", 0.0, "moduli"),
        ("poisson", 1.1, "poisson"),
        ("alpha_hoop", math.inf, "expansion"),
        ("poisson_hoop_axial", 2.0, "poisson_hoop_axial"),
    ],
)
def test_impossible_materials_are_refused(field: str, value: float, word: str) -> None:
    """Constants that store negative energy raise and name the material."""
    good = {
        "E_hoop": 1e5,
        "E_radial": 1e5,
        "poisson": 0.3,
        "alpha_hoop": 1e-5,
        "alpha_radial": 1e-5,
    }
    with pytest.raises(ValueError, match=f"x: .*{word}"):
        Material(name="x", **{**good, field: value})  # type: ignore[arg-type]


@pytest.mark.parametrize("a", ASSUMED.values(), ids=ASSUMED)
def test_every_assumption_has_range_and_basis(a: Assumed) -> None:
    """The default lies in its range, the range has a width, the basis is words."""
    assert a.low <= a.value <= a.high
    assert a.low < a.high
    assert len(a.basis) > 20
    assert ASSUMED[a.name] is a


def test_an_assumption_outside_its_range_is_refused() -> None:
    """The default cannot contradict its own range."""
    with pytest.raises(ValueError, match="low"):
        Assumed(name="x", value=2.0, low=0.0, high=1.0, unit="1", basis="none")


def test_friction_of_pairs() -> None:
    """Order does not matter; a pair without an entry gets the widest range."""
    steel, alloy, film = (
        MATERIALS[k] for k in ("bearing-steel", "aluminium-6061-t6", "anodic-film")
    )
    assert friction(steel, alloy) is friction(alloy, steel)
    assert friction(steel, steel).value == 0.12
    assert friction(film, steel) is ASSUMED["friction-other-press"]


def test_warnings_and_their_neighbours() -> None:
    """Each sentence has a case that raises it and a near one that does not."""
    assert validity.wall_warnings("shell", 37.0, 39.6)
    assert not validity.wall_warnings("shell", 37.0, 39.8)
    assert validity.wall_warnings("shell", 37.0, 52.0, plain=False)
    assert not validity.wall_warnings("shell", 37.0, 50.0, plain=False)
    assert validity.wall_warnings("housing", 37.0, 78.0)
    assert not validity.wall_warnings("housing", 37.0, 77.0)
    assert validity.sleeve_warnings(7.0, 6.9)
    assert not validity.sleeve_warnings(7.0, 7.0)
    pom = MATERIALS["pom"]
    assert temperature_warnings("x", pom, [80.1])
    assert not temperature_warnings("x", pom, [80.0])
    assert yielding.yield_warnings("shell", 241.0, 240.0, "1 of 740 units")
    assert not yielding.yield_warnings("shell", 240.0, 240.0, "1 of 740 units")
    assert validity.load_warnings(2001.0, 2000.0, "1 of 740 units")
    assert not validity.load_warnings(2000.0, 2000.0, "1 of 740 units")
