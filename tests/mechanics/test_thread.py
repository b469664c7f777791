"""Screwed sleeves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics import thread

SLEEVE = thread.Thread(
    pitch=1.0, pitch_diameter=44.35, engagement=8.0, flange_outer=52.0, flange_inner=45.0
)


def test_torque_and_clamp_are_inverse() -> None:
    """The clamp force of a torque gives the torque back, whatever the friction."""
    for mu in (0.08, 0.15, 0.3):
        torque = thread.tightening_torque(SLEEVE, 4000.0, mu, 1.3 * mu)
        assert_allclose(thread.clamp_force(SLEEVE, torque, mu, 1.3 * mu), 4000.0)


def test_a_screw_without_friction_is_an_inclined_plane() -> None:
    """The work of one turn is the clamp force times the pitch; it turns back by itself."""
    torque = thread.tightening_torque(SLEEVE, 4000.0, 0.0, 0.0)
    assert_allclose(torque * 2.0 * math.pi, 4000.0 * SLEEVE.pitch)
    assert_allclose(thread.loosening_torque(SLEEVE, 4000.0, 0.0, 0.0), -torque)


def test_torque_against_the_exact_screw() -> None:
    """The linear form agrees with tan(lead + friction angle) within 1 % for a fine thread."""
    mu, force = 0.12, 4000.0
    lead = math.atan(SLEEVE.pitch / (math.pi * SLEEVE.pitch_diameter))
    angle = math.atan(mu / math.cos(math.radians(30.0)))
    exact = force * 0.5 * SLEEVE.pitch_diameter * math.tan(lead + angle)
    assert_allclose(thread.tightening_torque(SLEEVE, force, mu, 0.0), exact, rtol=0.01)


def test_flange_radius_lies_between_mean_and_outer() -> None:
    """The friction radius of a narrow ring is its mean radius, a little more for a wide one."""
    assert 24.25 < thread.flange_radius(SLEEVE) < 24.35


def test_square_faces_or_no_play_keep_the_axis_of_the_thread() -> None:
    """Both limits give the alignment of a pressed sleeve: nothing added."""
    assert_allclose(thread.axis_tilt(SLEEVE, 0.0, 0.0, 0.1), (0.0, 0.0))
    assert_allclose(thread.axis_tilt(SLEEVE, 1e-3, -2e-3, 0.0), (0.0, 0.0))
    assert thread.radial_float(0.0) == 0.0
    assert thread.radial_float(-0.05) == 0.0


def test_play_lets_the_sleeve_follow_the_face() -> None:
    """With play to spare the axis takes the face's tilt and the flange lies flat."""
    assert_allclose(thread.axis_tilt(SLEEVE, 1e-3, -2e-3, 0.1), (1e-3, -2e-3))
    assert thread.flange_gap(SLEEVE, 1e-3, -2e-3, 0.1) < 0.0


def test_an_unsquare_face_beyond_the_play_loses_contact() -> None:
    """The gap at the far edge is the tilt that is missing times the flange diameter."""
    gap = thread.flange_gap(SLEEVE, 0.0, 6e-3, 0.04)
    assert_allclose(gap, (6e-3 - 0.04 / 8.0) * 52.0)
    assert_allclose(np.hypot(*thread.axis_tilt(SLEEVE, 0.0, 6e-3, 0.04)), 0.04 / 8.0)


def test_the_gap_is_monotone_in_the_unsquareness() -> None:
    """It runs through the loss of contact without a kink of sign."""
    gaps = thread.flange_gap(SLEEVE, 0.0, np.linspace(1e-5, 0.02, 300), 0.04)
    assert np.all(np.diff(gaps) > 0.0)
    assert gaps[0] < 0.0 < gaps[-1]


@pytest.mark.parametrize(("field", "value"), [("pitch", 0.0), ("flange_outer", 40.0)])
def test_impossible_threads_are_refused(field: str, value: float) -> None:
    """Sizes are positive and the flange has a width."""
    sizes = {
        "pitch": 1.0,
        "pitch_diameter": 44.0,
        "engagement": 8.0,
        "flange_outer": 52.0,
        "flange_inner": 45.0,
        field: value,
    }
    with pytest.raises(ValueError, match="need"):
        thread.Thread(**sizes)
