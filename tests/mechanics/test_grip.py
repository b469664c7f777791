"""Grip, separation and statics."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics import grip


def test_load_pressure_is_in_equilibrium() -> None:
    """Integrated round the seat, p_F cos(phi) carries the load."""
    d, length, force = 37.0, 7.0, 800.0
    phi = (np.arange(720) + 0.5) * math.pi / 360.0
    p = grip.load_pressure(force, d, length) * np.cos(phi)
    carried = np.sum(p * np.cos(phi)) * 0.5 * d * length * math.pi / 360.0
    assert_allclose(carried, force, rtol=1e-9)


def test_half_contact_is_in_equilibrium() -> None:
    """Half a cosine of twice the amplitude carries the same load."""
    d, length, force = 37.0, 7.0, 800.0
    phi = (np.arange(720) + 0.5) * math.pi / 360.0
    p = grip.half_contact_pressure(force, d, length) * np.maximum(np.cos(phi), 0.0)
    carried = np.sum(p * np.cos(phi)) * 0.5 * d * length * math.pi / 360.0
    assert_allclose(carried, force, rtol=1e-9)


def test_tied_seat_is_in_equilibrium() -> None:
    """Normal and shear amplitude together carry the load."""
    d, length, force = 37.0, 7.0, 800.0
    phi = (np.arange(720) + 0.5) * math.pi / 360.0
    a = grip.bonded_load_pressure(force, d, length)
    carried = np.sum(a * np.cos(phi) ** 2 + a * np.sin(phi) ** 2) * 0.5 * d * length
    assert_allclose(carried * math.pi / 360.0, force, rtol=1e-9)


def test_moment_pressure_is_in_equilibrium() -> None:
    """A pressure linear along the axis, cosine round it, carries the moment."""
    d, length, moment = 37.0, 7.0, 2000.0
    phi = (np.arange(360) + 0.5) * math.pi / 180.0
    z = ((np.arange(400) + 0.5) / 400.0 - 0.5) * length
    edge = grip.moment_pressure(moment, d, length)
    p = edge * np.cos(phi)[:, None] * (z / (0.5 * length))[None, :]
    carried = np.sum(p * np.cos(phi)[:, None] * z) * 0.5 * d * math.pi / 180.0 * length / 400.0
    assert_allclose(carried, moment, rtol=1e-4)


def test_seat_loads_balance() -> None:
    """Both reactions carry the force and its moment about the mid-plane."""
    near, far = grip.seat_load(400.0, 60.0, 82.0)
    assert_allclose(near + far, 400.0)
    assert_allclose((near - far) * 41.0, 400.0 * 60.0)


def test_separation_margin_crosses_zero_at_twice_the_mean() -> None:
    """Without moment the edge is p = 2F/(pi D L)."""
    p = 2.0 * 800.0 / (math.pi * 37.0 * 7.0)
    assert_allclose(grip.separation_margin(p, 800.0, 0.0, 37.0, 7.0), 0.0, atol=1e-12)


def test_slip_margins_cross_zero_at_the_grip() -> None:
    """Axial force equal to mu p pi D L, or torque equal to the slip torque, is the edge."""
    hold = grip.axial_force(3.0, 37.0, 7.0, 0.1)
    turn = grip.slip_torque(3.0, 37.0, 7.0, 0.1)
    assert_allclose(grip.gross_slip_margin(3.0, 37.0, 7.0, 0.1, axial=hold), 0.0, atol=1e-9)
    assert_allclose(grip.gross_slip_margin(3.0, 37.0, 7.0, 0.1, torque=turn), 0.0, atol=1e-9)
    f = 0.1 * 3.0 * math.pi * 37.0 * 7.0
    assert_allclose(grip.micro_slip_margin(3.0, f, 37.0, 7.0, 0.1), 0.0, atol=1e-12)
    assert_allclose(grip.micro_slip_margin(3.0, 0.0, 37.0, 7.0, 0.1, torque=turn), 0.0, atol=1e-12)
    assert_allclose(grip.micro_slip_margin(3.0, 0.0, 37.0, 7.0, 0.1, axial=f), 0.0, atol=1e-12)


@pytest.mark.parametrize(
    "call", [lambda: grip.load_pressure(1.0, 0.0, 7.0), lambda: grip.seat_load(1.0, 1.0, 0.0)]
)
def test_sizes_must_be_positive(call: object) -> None:
    """A seat without a size is refused."""
    assert callable(call)
    with pytest.raises(ValueError, match="positive"):
        call()
