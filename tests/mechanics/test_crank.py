"""Seat loads from pedal and chain, against statics by hand and a beam of finite elements."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tolsim.mechanics.crank import Crank, chain_ratio, resultant, stroke_loads, worst_loads


def beam_reactions(supports: tuple[float, float], loads: list[tuple[float, float]]) -> list[float]:
    """Forces of two hinges on a beam that carries (place, force), by direct stiffness.

    Euler-Bernoulli elements between all places, cubic shape functions: Przemieniecki, *Theory of
    Matrix Structural Analysis*, 1968, eq. (5.116) without shear. Exact at the nodes.
    """
    places = sorted({*supports, *(x for x, _ in loads)})
    k = np.zeros((2 * len(places), 2 * len(places)))
    for i, (a, b) in enumerate(itertools.pairwise(places)):
        h = b - a
        k[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += (1e6 / h**3) * np.array(
            [
                [12.0, 6 * h, -12.0, 6 * h],
                [6 * h, 4 * h * h, -6 * h, 2 * h * h],
                [-12.0, -6 * h, 12.0, -6 * h],
                [6 * h, 2 * h * h, -6 * h, 4 * h * h],
            ]
        )
    f = np.zeros(len(k))
    for x, force in loads:
        f[2 * places.index(x)] += force
    held = [2 * places.index(x) for x in supports]
    free = [i for i in range(len(k)) if i not in held]
    u = np.zeros(len(k))
    u[free] = np.linalg.solve(k[np.ix_(free, free)], f[free])
    left: NDArray[np.float64] = f - k @ u  # what the hinges take
    return [float(left[i]) for i in held]


def test_overhang_beyond_the_seats_lifts_the_far_one() -> None:
    """1000 N at 120 mm over seats 70 mm apart: moments about the far seat, 155/70 and -85/70."""
    (near, _), (far, _) = stroke_loads(Crank(overhang=120.0, span=70.0), 1, 1000.0)
    assert_allclose([near, far], [1000.0 * 155.0 / 70.0, -1000.0 * 85.0 / 70.0], rtol=1e-12)


@pytest.mark.parametrize("stroke", [1, 2])
@pytest.mark.parametrize("drive", [1, 2])
@pytest.mark.parametrize(
    ("overhang", "span", "line"), [(60.0, 82.0, 45.0), (120.0, 70.0, 21.0), (20.0, 90.0, 45.0)]
)
def test_either_stroke_loads_the_seats_as_a_beam(
    stroke: int, drive: int, overhang: float, span: float, line: float
) -> None:
    """Pedal and chain anywhere along a shaft on two hinges, the chain on its own side always."""
    crank = Crank(overhang=overhang, span=span, chain_line=line, drive=drive)
    side = {1: -1.0, 2: 1.0}
    seats = (-0.5 * span, 0.5 * span)
    pushed = beam_reactions(seats, [(side[stroke] * overhang, 700.0)])
    pulled = beam_reactions(seats, [(side[drive] * line, 1500.0)])
    got = stroke_loads(crank, stroke, 700.0, 1500.0)
    assert_allclose([p for p, _ in got], pushed, rtol=1e-9)
    assert_allclose([c for _, c in got], pulled, rtol=1e-9)


def test_both_strokes_mirror_each_other_without_a_chain() -> None:
    """What one seat bears in one stroke the other bears in the other, and the near one decides."""
    crank = Crank(overhang=60.0, span=82.0)
    left, right = (stroke_loads(crank, k, 350.0) for k in (1, 2))
    assert left == right[::-1]
    assert_allclose(left[0][0], 350.0 * 101.0 / 82.0, rtol=1e-12)  # about the far seat: 60 + 41
    assert_allclose(left[1][0], -350.0 * 19.0 / 82.0, rtol=1e-12)  # about the near seat: 60 - 41
    assert_allclose(worst_loads(crank, 350.0, chained=False), [350.0 * 101.0 / 82.0] * 2)


def test_chain_pull_is_the_torque_over_the_radius() -> None:
    """600 N on 170 mm is 102 N m; on a radius of 85 mm that pulls with 1200 N."""
    assert_allclose(600.0 * chain_ratio(170.0, 85.0), 102_000.0 / 85.0, rtol=1e-12)


@pytest.mark.parametrize("angle", [0.0, 40.0, 90.0, 135.0, 180.0])
def test_two_directions_add_as_vectors(angle: float) -> None:
    """The size of a load is the length of the sum of two vectors at that angle."""
    crank = Crank(overhang=60.0, span=82.0, chain_line=45.0, chain_angle=math.radians(angle))
    for p, c in ((300.0, 500.0), (-80.0, 500.0), (300.0, -40.0)):
        vector = p + c * complex(math.cos(math.radians(angle)), math.sin(math.radians(angle)))
        assert_allclose(resultant(crank, (p, c)), abs(vector), rtol=1e-12, atol=1e-9)


@pytest.mark.parametrize("angle", [0.0, 90.0, 180.0])
def test_the_worse_stroke_governs_each_seat(angle: float) -> None:
    """Neither stroke loads a seat more than what it is judged by, and one of them as much."""
    crank = Crank(
        overhang=60.0, span=82.0, chain_line=45.0, chain_angle=math.radians(angle), drive=1
    )
    pedal, chain = np.array([100.0, 350.0, 700.0]), np.array([900.0, 20.0, 1500.0])
    each = np.array(
        [[resultant(crank, load) for load in stroke_loads(crank, k, pedal, chain)] for k in (1, 2)]
    )
    assert_allclose(worst_loads(crank, pedal, chain), each.max(axis=0), rtol=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Crank(overhang=60.0, span=0.0),
        lambda: Crank(overhang=60.0, span=82.0, drive=3),
        lambda: chain_ratio(170.0, 0.0),
        lambda: stroke_loads(Crank(overhang=60.0, span=82.0), 0, 1.0),
    ],
)
def test_what_cannot_be_is_refused(call: object) -> None:
    """A span or radius of nothing, a third seat."""
    assert callable(call)
    with pytest.raises(ValueError, match=r"must be positive|seat 1 or 2"):
        call()
