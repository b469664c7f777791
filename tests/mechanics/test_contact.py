"""Open and closed interfaces in every combination."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tolsim.mechanics.materials import MATERIALS
from tolsim.mechanics.rings import Layer, Stack

NAMES = sorted(MATERIALS)


def random_stack(rng: np.random.Generator, count: int, bonds: float) -> Stack:
    r = np.cumsum([18.0, *rng.uniform(0.1, 4.0, count)])
    layers = tuple(
        Layer(
            inner_radius=float(r[k]),
            outer_radius=float(r[k + 1]),
            material=MATERIALS[NAMES[rng.integers(len(NAMES))]],
            width_factor=1.0 if k < count - 1 else float(rng.uniform(0.4, 1.0)),
        )
        for k in range(count)
    )
    return Stack(layers, tuple(bool(b) for b in rng.random(count - 1) < bonds))


def every_state(
    matrix: NDArray[np.float64], closure: NDArray[np.float64], bonded: tuple[bool, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pressures and radial gaps by trying all states of the interfaces."""
    found = []
    n = len(bonded)
    for state in itertools.product((False, True), repeat=n):
        if any(b and not s for b, s in zip(bonded, state, strict=True)):
            continue
        shut = [j for j in range(n) if state[j]]
        p = np.zeros(n)
        if shut:
            p[shut] = np.linalg.solve(matrix[np.ix_(shut, shut)], closure[shut])
        gap = matrix @ p - closure
        if all(bonded[j] or p[j] >= 0.0 for j in shut) and all(
            gap[j] >= -1e-15 for j in range(n) if not state[j]
        ):
            found.append((p, np.where(state, 0.0, gap)))
    assert found
    return found[0]


@pytest.mark.parametrize("bonds", [0.0, 0.4])
def test_pressures_are_those_of_the_only_admissible_state(bonds: float) -> None:
    """The maximum over runs agrees with trying all 2^n states, 2 to 6 layers."""
    rng = np.random.default_rng(4)
    for _ in range(400):
        count = int(rng.integers(2, 7))
        stack = random_stack(rng, count, bonds)
        u = [float(x) for x in rng.normal(0.0, 0.02, count - 1)]
        rise = float(rng.normal(0.0, 40.0))
        contact = stack.solve(u, rise)
        f = stack.numbers
        closure = np.array([0.5 * u[j] + (f[j].h2 - f[j + 1].h1) * rise for j in range(count - 1)])
        p, gap = every_state(stack.matrix, closure, stack.bonded)
        assert_allclose(contact.pressures, p, rtol=1e-9, atol=1e-9)
        assert_allclose(contact.gaps, 2.0 * gap, rtol=1e-9, atol=1e-12)


def test_complementarity_over_arrays() -> None:
    """Pressure and gap are never negative and never both positive, 20 000 assemblies at once."""
    rng = np.random.default_rng(5)
    stack = random_stack(rng, 4, 0.0)
    u = list(rng.normal(0.0, 0.03, (3, 20_000)))
    p, g = stack.pressures(u, rng.normal(0.0, 30.0, 20_000))
    seen = set()
    for pressure, gap in zip(p, g, strict=True):
        assert np.all(pressure >= 0.0)
        assert np.all(gap >= 0.0)
        assert np.all(pressure * gap == 0.0)
        seen.add((bool(np.any(pressure > 0.0)), bool(np.any(gap > 0.0))))
    assert seen == {(True, True)}
    states = {tuple(row) for row in (np.array(p) > 0.0).T.tolist()}
    assert len(states) == 8


def test_compatibility_holds_at_every_interface() -> None:
    """Surfaces meet where closed or bonded and stand apart by the gap where open."""
    rng = np.random.default_rng(6)
    for _ in range(50):
        count = int(rng.integers(2, 6))
        stack = random_stack(rng, count, 0.3)
        u = [float(x) for x in rng.normal(0.0, 0.02, count - 1)]
        rises = [float(x) for x in rng.normal(0.0, 30.0, count)]
        contact = stack.solve(u, rises)
        for j in range(count - 1):
            # radial: outer surface bore minus inner surface outside, free overlap taken off
            apart = (
                contact.displacement(j + 1, "inner") - contact.displacement(j, "outer") - 0.5 * u[j]
            )
            assert_allclose(apart, 0.5 * contact.gaps[j], rtol=1e-9, atol=1e-12)


def test_interference_is_positive_exactly_when_the_body_is_held() -> None:
    """Free outside minus free bore has the sign of the contact, whatever the neighbours do."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(300):
        count = int(rng.integers(2, 6))
        stack = random_stack(rng, count, 0.3)
        u = [float(x) for x in rng.normal(0.0, 0.02, count - 1)]
        contact = stack.solve(u, float(rng.normal(0.0, 40.0)))
        for j in range(count - 1):
            if not stack.bonded[j]:
                assert (contact.interference(j) > 0.0) == (contact.pressures[j] > 0.0)
                held += bool(contact.pressures[j] > 0.0)
    assert 100 < held < 700


def test_interference_is_the_two_bodies_solved_apart() -> None:
    """It equals outside diameter of the inner stack minus bore of the outer stack, each alone."""
    rng = np.random.default_rng(8)
    for _ in range(100):
        stack = random_stack(rng, 4, 0.25)
        u = [float(x) for x in rng.normal(0.0, 0.02, 3)]
        rise = float(rng.normal(0.0, 40.0))
        whole = stack.solve(u, rise)
        for j in range(3):
            if stack.bonded[j]:
                continue
            inner = Stack(stack.layers[: j + 1], stack.bonded[:j]).solve(u[:j], rise)
            outer = stack.receiving(j).solve(u[j + 1 :], rise)
            apart = u[j] + 2.0 * (inner.displacement(j, "outer") - outer.displacement(0, "inner"))
            assert_allclose(whole.interference(j), apart, rtol=1e-9, atol=1e-12)


def test_signed_pressure_goes_on_through_the_loss_of_contact() -> None:
    """It equals the pressure while closed and falls strictly with the interference for ever."""
    rng = np.random.default_rng(9)
    stack = random_stack(rng, 4, 0.0)
    for j in range(3):
        u: list[Any] = [np.full(401, 0.004)] * 3
        u[j] = np.linspace(-0.1, 0.1, 401)
        contact = stack.solve(u)
        signed = contact.signed_pressure(j)
        assert np.all(np.diff(signed) > 0.0)
        shut = contact.pressures[j] > 0.0
        assert shut.any()
        assert not shut.all()
        assert_allclose(signed[shut], contact.pressures[j][shut], rtol=1e-9)
        assert np.all(signed[~shut] <= 1e-12)


def test_a_bond_has_no_interference_and_no_gap() -> None:
    """Asking a bonded interface for its interference is a mistake of the caller."""
    stack = random_stack(np.random.default_rng(1), 3, 1.0)
    contact = stack.solve([0.0, 0.0], -30.0)
    assert contact.gaps == (0.0, 0.0)
    assert contact.signed_pressure(1) is contact.pressures[1]
    with pytest.raises(ValueError, match="bonded"):
        contact.interference(0)
