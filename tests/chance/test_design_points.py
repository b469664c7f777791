"""Points of failure nearest to the origin."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from tolsim.chance.design_points import design_points, pull_to_border, thin
from tolsim.chance.event import Event, Tally, event_of
from tolsim.record import record


def start(tally: Tally, n: int) -> tuple[np.ndarray, np.ndarray]:
    d = tally.event.dimension
    rng = np.random.default_rng(1)
    tally.learn_scales(rng.standard_normal((d, 1000)))
    z = rng.standard_normal((d, n))
    return 2.0 * z / np.linalg.norm(z, axis=0), np.zeros(n, dtype=np.intp)


def test_a_plane_is_found_from_anywhere() -> None:
    """Every start reaches the foot of a plane: distance beta along its normal."""
    a = np.array([0.6, 0.0, -0.8])
    tally = Tally(event_of(record(lambda z: [4.0 - 0.6 * z[0] + 0.8 * z[2]], 3)))
    u, left = design_points(tally, *start(tally, 20))
    assert_allclose(left, 0.0, atol=1e-6)
    assert_allclose(u, np.tile(4.0 * a[:, None], 20), atol=1e-4)


def test_curved_borders_converge() -> None:
    """The nearest points of x y = 3 are +-(sqrt 3, sqrt 3), by symmetry; both are found."""
    tally = Tally(event_of(record(lambda z: [3.0 - z[0] * z[1]], 2)))
    u, left = design_points(tally, *start(tally, 40), iterations=30)
    done = np.abs(left) < 1e-3
    assert done.mean() > 0.8
    assert_allclose(np.abs(u[:, done]), np.sqrt(3.0), atol=0.02)
    assert {int(s) for s in np.sign(u[0, done])} == {-1, 1}


def test_two_margins_are_followed_apart() -> None:
    """A search for the farther of two margins is not drawn to the nearer one."""
    tally = Tally(event_of(record(lambda z: [3.0 - z[0], (5.0 - z[1]) * 1e4], 2)))
    z, _ = start(tally, 12)
    u, left = design_points(tally, z, np.repeat([0, 1], 6).astype(np.intp))
    assert_allclose(left, 0.0, atol=1e-6)
    assert_allclose(u[:, :6].T, np.tile([3.0, 0.0], (6, 1)), atol=1e-4)
    assert_allclose(u[:, 6:].T, np.tile([0.0, 5.0], (6, 1)), atol=1e-4)


def test_no_slope_leaves_the_start() -> None:
    """Where a margin is flat the search stops where it began and reports the margin left."""
    tally = Tally(event_of(record(lambda z: [np.where(z[0] > 3.0, -1.0, 1.0) + 0.0 * z[1]], 2)))
    z, which = start(tally, 5)
    u, left = design_points(tally, z, which)
    assert_allclose(u, z)
    assert (left > 0.5).all()


def test_pulling_stops_at_the_border_and_fails() -> None:
    """Failing points are moved along their ray to within 2 % of the border, on its far side."""
    event = Event(dimension=2, values=lambda z: 4.0 - np.hypot(z[0], z[1]))
    far = np.array([[6.0, 0.0, -5.0], [0.0, 9.0, 5.0]])
    near = pull_to_border(Tally(event), far, steps=7)
    r = np.hypot(*near)
    assert (event.values(near) < 0.0).all()
    assert (r < 4.0 * 1.02).all()
    assert_allclose(near / r, far / np.hypot(*far))


def test_thinning_keeps_the_nearest_of_each_direction() -> None:
    """Within an angle only the shortest stays, unless lengths differ much; nearest first."""
    t = np.linspace(0.0, 2.0 * np.pi, 1000, endpoint=False)
    ring = 5.0 * np.array([np.cos(t), np.sin(t)])
    kept = thin(ring, cosine=0.97)
    # 14.07 degrees apart or more: at most 25 on a circle, and no gap wider than twice that
    angles = np.sort(t[kept])
    assert 12 <= kept.size <= 25
    assert np.diff(np.append(angles, angles[0] + 2 * np.pi)).max() <= 2 * np.arccos(0.97) + 1e-2
    points = np.array([[3.0, 2.9, 6.0], [0.0, 0.1, 0.0]])
    assert thin(points).tolist() == [1, 2]
    assert thin(points, most=1).tolist() == [1]
    assert thin(np.zeros((2, 0))).size == 0
