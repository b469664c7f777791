"""Compound seats: limits, stages of assembly, stresses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.mechanics.rings import Layer, Stack, free_interference

STEEL, ALLOY = MATERIALS["bearing-steel"], MATERIALS["aluminium-6061-t6"]
CFRP, EPOXY = MATERIALS["cfrp-quasi-isotropic"], MATERIALS["epoxy-adhesive"]


def stack(
    radii: list[float],
    materials: list[Material],
    bonded: tuple[bool, ...] | None = None,
    cure: tuple[float, ...] = (),
) -> Stack:
    layers = tuple(
        Layer(inner_radius=a, outer_radius=b, material=m)
        for a, b, m in zip(radii, radii[1:], materials, strict=False)
    )
    return Stack(layers, (False,) * (len(layers) - 1) if bonded is None else bonded, cure)


@given(st.floats(0.05, 0.95), st.floats(-0.02, 0.04), st.floats(-40.0, 40.0))
@settings(max_examples=60, deadline=None)
def test_bonded_layers_of_one_material_are_one_ring(share: float, u: float, rise: float) -> None:
    """Cutting the shell in two and bonding it together again changes nothing."""
    cut = 20.5 + share * 2.5
    one = stack([18.6, 20.5, 23.0], [STEEL, ALLOY]).solve([u], rise)
    two = stack([18.6, 20.5, cut, 23.0], [STEEL, ALLOY, ALLOY], (False, True)).solve([u, 0.0], rise)
    assert_allclose(two.pressures[0], one.pressures[0], rtol=1e-9, atol=1e-12)
    assert_allclose(two.gaps[0], one.gaps[0], rtol=1e-9, atol=1e-12)
    assert_allclose(
        two.displacement(2, "outer"), one.displacement(1, "outer"), rtol=1e-9, atol=1e-14
    )
    assert_allclose(two.hoop_stress(1, "inner"), one.hoop_stress(1, "inner"), atol=1e-7)
    assert_allclose(two.hoop_stress(2, "outer"), one.hoop_stress(1, "outer"), atol=1e-7)


def test_closed_layers_without_interference_are_one_ring_under_pressure() -> None:
    """Pressure alone holds fitted layers of one material together as one ring."""
    one = stack([18.6, 20.5, 23.0], [STEEL, ALLOY]).pressures([0.02])[0][0]
    two = stack([18.6, 20.5, 21.5, 23.0], [STEEL, ALLOY, ALLOY]).pressures([0.02, 0.0])[0][0]
    assert_allclose(two, one, rtol=1e-12)


def test_a_vanishing_layer_changes_nothing() -> None:
    """An adhesive of a nanometre is no adhesive."""
    with_it = stack([18.6, 20.5, 20.500002, 24.0], [STEEL, EPOXY, CFRP], (False, True))
    without = stack([18.6, 20.5, 24.0], [STEEL, CFRP])
    assert_allclose(
        with_it.pressures([0.02, 0.0], 30.0)[0][0], without.pressures([0.02], 30.0)[0][0], rtol=1e-4
    )


def test_permuting_layers_permutes_nothing_that_hangs_on_order_of_equal_parts() -> None:
    """Two sleeves of equal material and interference: swapping their names is no change."""
    a, b = replace(ALLOY, name="a"), replace(ALLOY, name="b")
    radii = [18.6, 20.5, 21.7, 23.0]
    p = stack(radii, [STEEL, a, b]).pressures([0.02, 0.015], -20.0)[0]
    q = stack(radii, [STEEL, b, a]).pressures([0.02, 0.015], -20.0)[0]
    assert_allclose(p, q, rtol=0.0, atol=0.0)


def test_energy_is_not_negative_and_balances() -> None:
    """Work of the pressures through the free overlap is twice the stored energy, positive."""
    rng = np.random.default_rng(2)
    s = stack([18.6, 20.5, 21.7, 23.0], [STEEL, ALLOY, CFRP])
    for _ in range(100):
        u = [float(x) for x in rng.normal(0.0, 0.02, 2)]
        c = s.solve(u)
        work = sum(p * 0.5 * x * r for p, x, r in zip(c.pressures, u, s.radii, strict=True))
        stored = 0.0
        ends = [0.0, *c.pressures, 0.0]
        for k, layer in enumerate(s.layers):
            stored += ends[k] * layer.inner_radius * float(c.mechanical(k, "inner"))
            stored -= ends[k + 1] * layer.outer_radius * float(c.mechanical(k, "outer"))
        assert stored >= 0.0
        assert_allclose(work, stored, rtol=1e-9, atol=1e-12)


def test_uniform_temperature_of_one_material_changes_no_pressure() -> None:
    """Parts that expand alike keep their fit to the size of the expansion."""
    s = stack([18.6, 20.5, 23.0], [STEEL, STEEL])
    assert_allclose(s.pressures([0.02], 60.0)[0][0], s.pressures([0.02])[0][0], rtol=1e-12)


def test_temperature_by_layer() -> None:
    """A warm ring in a cold shell tightens by its expansion alone."""
    s = stack([18.6, 20.5, 23.0], [STEEL, ALLOY])
    got = s.solve([0.01], [10.0, 0.0]).interference(0)
    assert_allclose(got, 0.01 + 41.0 * STEEL.alpha_hoop * 10.0, rtol=1e-9)


def test_cold_loosens_composite_and_heat_loosens_alloy() -> None:
    """The sign of the drift follows the expansion of the shell against the ring's."""
    for shell, sign in ((CFRP, 1.0), (ALLOY, -1.0)):
        s = stack([18.6, 20.5, 24.0], [STEEL, shell])
        assert sign * (s.pressures([0.02], 30.0)[0][0] - s.pressures([0.02], -30.0)[0][0]) > 0.0


def bonded_seat(cure: float) -> Stack:
    return stack(
        [17.0, 18.5, 20.0, 20.1, 23.0],
        [STEEL, ALLOY, EPOXY, CFRP],
        (False, True, True),
        (0.0, cure, cure),
    )


def test_a_bond_is_free_of_stress_at_its_cure_temperature() -> None:
    """At the cure temperature the bonded body carries nothing; in the cold the bond is pulled."""
    body = bonded_seat(45.0).receiving(0)
    assert_allclose(body.solve([0.0, 0.0], 45.0).pressures, 0.0, atol=1e-12)
    # the alloy sleeve shrinks away from the composite shell
    assert all(p < -1.0 for p in body.solve([0.0, 0.0], -30.0).pressures)


def test_gauged_after_cure_lets_no_cure_stress_into_the_fit() -> None:
    """A bore gauged in the cured body gives the pressure of a body that was never stressed."""
    gauged = 0.018
    hot, cold = bonded_seat(60.0), bonded_seat(0.0)
    free = free_interference(gauged, hot, 0, [0.0, 0.0])
    # the composite holds the cooling sleeve open: the free sleeve is tighter than the gauged bore
    assert_allclose(free - gauged, 2.0 * hot.receiving(0).solve([0.0] * 2).displacement(0, "inner"))
    assert free > gauged + 0.010
    for rise in (0.0, -30.0, 25.0):
        got = hot.solve([free, 0.0, 0.0], rise)
        want = cold.solve([gauged, 0.0, 0.0], rise)
        assert_allclose(got.pressures[0], want.pressures[0], rtol=1e-9)
    # the bond itself keeps the cure stress
    assert hot.solve([free, 0.0, 0.0]).pressures[1] < cold.solve([gauged, 0.0, 0.0]).pressures[1]


def test_gauged_before_cure_lets_the_cure_stress_in() -> None:
    """An alloy sleeve cured warm in a composite shell is held open and the fit is lost."""
    before = bonded_seat(60.0).solve([0.018, 0.0, 0.0]).pressures[0]
    never = bonded_seat(0.0).solve([0.018, 0.0, 0.0]).pressures[0]
    assert before == 0.0 < never


def test_gauged_after_pressing_gives_the_interference_back() -> None:
    """At the gauging temperature, interference at temperature is what the gauge saw."""
    s = stack([17.0, 18.5, 20.5, 23.0], [STEEL, ALLOY, CFRP])
    for fit in (0.03, 0.0, -0.02):
        for rise in (0.0, 15.0):
            free = free_interference(0.012, s, 0, [fit], rise)
            contact = s.solve([free, fit], rise)
            # the gauge saw the bore at that temperature and the ring at the reference
            ring_growth = 2.0 * contact.stack.numbers[0].h2 * rise
            assert_allclose(contact.interference(0), 0.012 + ring_growth, rtol=1e-9)


def test_gauged_after_pressing_is_not_superposition_once_the_sleeve_comes_loose() -> None:
    """A sleeve that is loose at another temperature gives its whole contraction back."""
    s = stack([17.0, 18.5, 20.5, 23.0], [STEEL, CFRP, ALLOY])
    free = free_interference(0.012, s, 0, [0.004])
    warm = s.solve([free, 0.004], 40.0)
    assert float(s.receiving(0).solve([0.004], 40.0).pressures[0]) == 0.0
    alone = stack([17.0, 18.5, 20.5], [STEEL, CFRP]).solve([free], 40.0)
    if float(warm.pressures[1]) == 0.0:
        assert_allclose(warm.pressures[0], alone.pressures[0], rtol=1e-12)


def test_hoop_stress_of_a_full_width_shell_is_lame() -> None:
    """From the displacement it equals p (b² + a²)/(b² - a²) (Timoshenko)."""
    c = stack([18.6, 20.5, 23.0], [STEEL, ALLOY]).solve([0.02])
    p, a2, b2 = float(c.pressures[0]), 20.5**2, 23.0**2
    assert_allclose(c.hoop_stress(1, "inner"), p * (b2 + a2) / (b2 - a2), rtol=1e-12)
    assert_allclose(c.hoop_stress(1, "outer"), 2.0 * p * a2 / (b2 - a2), rtol=1e-12)
    a2, b2 = 18.6**2, 20.5**2
    assert_allclose(c.hoop_stress(0, "inner"), -2.0 * p * b2 / (b2 - a2), rtol=1e-12)


def test_hoop_stress_with_finite_width_is_lower_per_pressure() -> None:
    """A stiffened bore grows less, so it is stretched less by the same pressure."""
    ring = Layer(inner_radius=18.6, outer_radius=20.5, material=STEEL)
    per = []
    for factor in (1.0, 0.516):
        shell = Layer(inner_radius=20.5, outer_radius=23.0, material=ALLOY, width_factor=factor)
        c = Stack((ring, shell), (False,)).solve([0.02])
        per.append(float(c.hoop_stress(1, "inner") / c.pressures[0]))
    # own axisymmetric finite elements: 8.7 full width, the displacement's bound 4.4 in the middle
    assert_allclose(per, [8.7, 4.4], atol=0.06)


def test_an_orthotropic_ring_has_self_stress_from_temperature() -> None:
    """Heat puts the bore of a composite ring in tension or compression without any load."""
    c = stack([20.5, 24.0], [CFRP]).solve([], 40.0)
    inner, outer = float(c.hoop_stress(0, "inner")), float(c.hoop_stress(0, "outer"))
    assert inner * outer < 0.0
    assert stack([20.5, 24.0], [ALLOY]).solve([], 40.0).hoop_stress(0, "inner") == 0.0


def test_growth_acts_as_expansion() -> None:
    """Free growth of a layer enters as the same growth by temperature does."""
    s = stack([18.6, 20.5, 23.0], [STEEL, ALLOY])
    h = s.numbers[1]
    swollen = s.solve([0.02], growth=[(0.0, 0.0), (h.h1 * 30.0, h.h2 * 30.0)])
    warm = s.solve([0.02], [0.0, 30.0])
    assert_allclose(swollen.pressures[0], warm.pressures[0], rtol=1e-12)
    assert_allclose(swollen.displacement(1, "inner"), warm.displacement(1, "inner"), rtol=1e-12)


@pytest.mark.parametrize("moved", [0, 1, 2])
def test_size_error_bounds_the_change_of_pressure(moved: int) -> None:
    """Moving any one nominal radius by 20 µm changes the pressure by less than the stated share."""
    radii = [18.6, 20.5, 23.0]
    nominal = stack(radii, [STEEL, ALLOY])
    bound = nominal.size_error(0.02)
    assert bound < 0.03
    for sign in (-1.0, 1.0):
        other = list(radii)
        other[moved] += sign * 0.02
        p = stack(other, [STEEL, ALLOY]).pressures([0.02])[0][0]
        assert abs(p / nominal.pressures([0.02])[0][0] - 1.0) < bound


def test_contraction_of_the_raceway_against_the_closed_form() -> None:
    """For one material the solver gives the handbooks' contraction of the outer ring."""
    from tolsim.mechanics.clearance import outer_ring_contraction

    same = Material.of_isotropic("m", 208e3, 0.3, 12e-6)
    c = stack([36.0, 40.0, 60.0], [same, same]).solve([0.010])
    got = -2.0 * c.mechanical(0, "inner")
    assert_allclose(got, outer_ring_contraction(0.010, 80.0, 72.0, 120.0), rtol=1e-12)


@pytest.mark.parametrize(
    ("radii", "bonded", "cure"),
    [
        ([18.6, 20.5, 23.0], (), ()),
        ([18.6, 20.5, 23.0], (True, False), ()),
        ([18.6, 20.5, 23.0], (False,), (5.0,)),
        ([18.6, 20.5, 23.0], (True,), (5.0, 5.0)),
    ],
)
def test_counts_that_do_not_match_are_refused(
    radii: list[float], bonded: tuple[bool, ...], cure: tuple[float, ...]
) -> None:
    """Bonds and cure temperatures come one an interface, the latter only where there is a bond."""
    with pytest.raises(ValueError, match="bond"):
        stack(radii, [STEEL, ALLOY], bonded, cure)


def test_layers_that_do_not_meet_are_refused() -> None:
    """Neighbours share their radius; the interference is given apart."""
    a = Layer(inner_radius=18.6, outer_radius=20.5, material=STEEL)
    b = Layer(inner_radius=20.51, outer_radius=23.0, material=ALLOY)
    with pytest.raises(ValueError, match="radii do not meet"):
        Stack((a, b), (False,))


@pytest.mark.parametrize("factor", [0.0, -0.1, 1.2])
def test_width_factor_is_a_share(factor: float) -> None:
    """Finite width stiffens and never softens."""
    with pytest.raises(ValueError, match="width_factor"):
        Layer(inner_radius=1.0, outer_radius=2.0, material=STEEL, width_factor=factor)


def test_wrong_number_of_rows_is_refused() -> None:
    """One interference an interface, one temperature a layer."""
    s = stack([18.6, 20.5, 23.0], [STEEL, ALLOY])
    with pytest.raises(ValueError, match="interferences"):
        s.solve([0.0, 0.0])
    with pytest.raises(ValueError, match="one dT"):
        s.solve([0.0], [1.0])
