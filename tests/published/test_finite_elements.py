"""The layered seat against finite elements that share nothing with it but the numbers put in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.mechanics.fe_radial import Body, Ring, Solved, bond_pressure, press
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Layer, Stack, free_interference

STEEL = (208e3, 208e3, 0.30, 11.9e-6, 11.9e-6)
ALLOY = (68.9e3, 68.9e3, 0.33, 23.6e-6, 23.6e-6)
CFRP = (60e3, 9e3, 0.30, 3e-6, 30e-6)
EPOXY = (2.5e3, 2.5e3, 0.38, 60e-6, 60e-6)
POLYMER = (9.5e3, 9.5e3, 0.38, 25e-6, 70e-6)  # equal moduli, unequal expansion

FIVE_DIGITS = 5e-6

Constants = tuple[float, float, float, float, float]


def rings(radii: list[float], constants: list[Constants]) -> list[Ring]:
    return [Ring(a, b, *c) for a, b, c in zip(radii, radii[1:], constants, strict=False)]


def layered(parts: list[Ring], bonded: tuple[bool, ...], cure: tuple[float, ...] = ()) -> Stack:
    layers = tuple(
        Layer(
            inner_radius=p.inner,
            outer_radius=p.outer,
            material=Material(
                name="m",
                E_hoop=p.hoop,
                E_radial=p.radial,
                poisson=p.nu,
                alpha_hoop=p.alpha_hoop,
                alpha_radial=p.alpha_radial,
            ),
        )
        for p in parts
    )
    return Stack(layers, bonded, cure)


TWO = rings([18.6, 20.5, 24.0], [STEEL, CFRP])
THREE = rings([17.0, 18.5, 20.5, 24.0], [STEEL, ALLOY, CFRP])
FOUR = rings([17.0, 18.5, 19.5, 21.0, 24.0], [STEEL, POLYMER, ALLOY, CFRP])
GLUED = rings([17.0, 18.5, 20.0, 20.1, 23.5], [STEEL, ALLOY, EPOXY, CFRP])


def pressed(parts: list[Ring], overlaps: list[float], rise: float, n: int, degree: int) -> Solved:
    return press([Body([p], n, degree) for p in parts], overlaps, [rise] * len(parts))


def agree(got: Any, want: Any) -> None:
    want_ = np.asarray(want, dtype=float)
    assert_allclose(got, want_, rtol=FIVE_DIGITS, atol=FIVE_DIGITS * 1e-3 * np.max(np.abs(want_)))


@pytest.mark.parametrize("rise", [-30.0, 0.0, 25.0])
@pytest.mark.parametrize(
    ("parts", "overlaps"),
    [
        (TWO, [0.010]),
        (TWO, [-0.004]),
        (THREE, [0.010, 0.008]),
        (THREE, [0.010, -0.006]),
        (THREE, [-0.003, 0.012]),
        (FOUR, [0.012, 0.010, 0.006]),
        (FOUR, [0.012, -0.010, 0.006]),
        (FOUR, [-0.004, 0.010, -0.012]),
    ],
)
def test_two_three_and_four_pressed_layers(
    parts: list[Ring], overlaps: list[float], rise: float
) -> None:
    """Pressures, gaps, displacements agree to five digits, open and closed, hot and cold."""
    fe = pressed(parts, overlaps, rise, 24, 2)
    contact = layered(parts, (False,) * len(overlaps)).solve([2.0 * e for e in overlaps], rise)
    agree(contact.pressures, fe.pressures)
    agree(contact.gaps, np.maximum(2.0 * fe.gaps, 0.0) * (fe.pressures == 0.0))
    agree([contact.displacement(k, "inner") for k in range(len(parts))], [u[0] for u in fe.nodes])
    agree([contact.displacement(k, "outer") for k in range(len(parts))], [u[-1] for u in fe.nodes])


def staged(rise: float, cure: float, gauged: bool, n: int = 24) -> Solved:
    """Ring pressed 0.009 (radial) into a body cured at `cure`, its bore gauged after or before.

    The body's displacements count from the cure; the overlap is brought to that datum.
    """
    ring, body = Body(GLUED[:1], n, 2), Body(GLUED[1:], n, 2)
    if gauged:
        # cooled from the cure to the reference without the ring: this is what the gauge sees
        datum = float(press([body], [], [-cure]).nodes[0][0])
    else:
        # the sleeve alone, before bonding: heated from the reference to the cure temperature
        sleeve = Body(GLUED[1:2], n, 2)
        datum = -float(press([sleeve], [], [cure]).nodes[0][0])
    return press([ring, body], [0.009 + datum], [rise, rise - cure])


@pytest.mark.parametrize("rise", [-35.0, 0.0, 30.0])
@pytest.mark.parametrize("gauged", [False, True])
def test_staged_assembly_with_cure(rise: float, gauged: bool) -> None:
    """Cure warm, cool, gauge, press, change the temperature: contact and bond to five digits."""
    cure = 45.0
    fe = staged(rise, cure, gauged)
    stack = layered(GLUED, (False, True, True), (0.0, cure, cure))
    u = free_interference(0.018, stack, 0, [0.0, 0.0]) if gauged else 0.018
    contact = stack.solve([u, 0.0, 0.0], rise)
    body = Body(GLUED[1:], 24, 2)
    bonds = [bond_pressure(body, fe.nodes[1], cut, rise - cure, 2) for cut in (1, 2)]
    agree(contact.pressures, [fe.pressures[0], *bonds])


def test_pressed_sleeve_gauged_in_place() -> None:
    """The sleeve goes in, its bore is gauged, the ring goes in, the sleeve may come loose."""
    ring, sleeve, shell = (
        Body([p], 24, 2) for p in rings([17.0, 18.5, 20.5, 24.0], [STEEL, CFRP, ALLOY])
    )
    parts = rings([17.0, 18.5, 20.5, 24.0], [STEEL, CFRP, ALLOY])
    stack = layered(parts, (False, False))
    for fit, rise in ((0.006, 40.0), (0.006, -30.0), (0.002, 40.0), (-0.003, 0.0)):
        before = press([sleeve, shell], [fit], [0.0, 0.0])
        fe = press([ring, sleeve, shell], [0.008 + float(before.nodes[0][0]), fit], [rise] * 3)
        free = free_interference(0.016, stack, 0, [2.0 * fit])
        contact = stack.solve([free, 2.0 * fit], rise)
        agree(contact.pressures, fe.pressures)


def test_interference_at_temperature_is_the_overlap_of_bodies_apart() -> None:
    """Both bodies meshed and solved without one another give the definition's interference."""
    rise, overlaps = 20.0, [0.006, 0.010, 0.004]
    stack = layered(FOUR, (False,) * 3)
    contact = stack.solve([2.0 * e for e in overlaps], rise)
    for j in range(3):
        inner = pressed(FOUR[: j + 1], overlaps[:j], rise, 24, 2).nodes[-1][-1]
        outer = pressed(FOUR[j + 1 :], overlaps[j + 1 :], rise, 24, 2).nodes[0][0]
        agree(contact.interference(j), 2.0 * (overlaps[j] + inner - outer))


@pytest.mark.parametrize(("degree", "order"), [(1, 2.0), (2, 4.0)])
@pytest.mark.parametrize(
    "solve",
    [
        lambda n, d: pressed(TWO, [0.010], 20.0, n, d).pressures[0],
        lambda n, d: pressed(FOUR, [0.012, 0.010, 0.006], -20.0, n, d).pressures[1],
    ],
)
def test_error_falls_at_the_theoretical_order(
    degree: int, order: float, solve: Callable[[int, int], float]
) -> None:
    """Pressures of three meshes close in as h² (linear) and h⁴ (quadratic elements).

    A pressure is a functional of the energy, so its order is twice the degree (Strang and Fix).
    """
    p = [solve(n, degree) for n in (2, 4, 8)]
    observed = np.log2(abs(p[0] - p[1]) / abs(p[1] - p[2]))
    assert abs(observed - order) < 0.15


def test_finite_elements_converge_to_the_closed_form() -> None:
    """The distance to the formula itself falls at the same order: the formula is the limit."""
    want = float(layered(THREE, (False, False)).pressures([0.02, 0.016], -20.0)[0][0])
    errors = [
        abs(pressed(THREE, [0.010, 0.008], -20.0, n, 1).pressures[0] - want) for n in (4, 8, 16)
    ]
    assert_allclose(np.log2(np.array(errors[:-1]) / errors[1:]), 2.0, atol=0.1)
