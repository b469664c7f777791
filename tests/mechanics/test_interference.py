"""Smoothing and the loss of interference under load."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics.interference import (
    effective,
    effective_handbook,
    heavy_load_demand,
    load_loss,
    temperature_loss,
)


def test_the_rules_are_far_apart_for_a_thin_shell() -> None:
    """15 µm at 37 mm with Rz 6.3 + 1.6 loses 6.3, 3.2 or 0.8 µm (computed by hand)."""
    lost = [
        15.0 - float(effective(15.0, 1.6, 6.3, 0.8)),
        15.0 - float(effective(15.0, 1.6, 6.3, 0.4)),
        15.0 - float(effective_handbook(15.0, 37.0)),
    ]
    assert_allclose(lost, [6.3, 3.2, 0.8], atol=0.05)


def test_load_loss_is_smooth_and_finite_at_no_load() -> None:
    """No load, no loss; the slope stays finite; the root holds where loads matter."""
    assert load_loss(37.0, 0.0, 7.0) == 0.0
    f = np.linspace(0.0, 1e-5, 1001)
    slope = np.diff(load_loss(37.0, f, 7.0)) / np.diff(f)
    assert np.all(np.isfinite(slope))
    assert np.all(slope > 0.0)
    assert_allclose(load_loss(37.0, 200.0, 7.0), 0.08e-3 * np.sqrt(37.0 * 200.0 / 7.0), rtol=1e-8)


def test_heavy_load_and_temperature() -> None:
    """0.02 F/B µm and 0.0015 d dT µm (bearing handbook, eq. 9.2; the second from memory)."""
    assert_allclose(heavy_load_demand(9000.0, 18.0), 0.010)
    assert_allclose(temperature_loss(40.0, 20.0), 0.0012)


@pytest.mark.parametrize(
    "call",
    [
        lambda: load_loss(0.0, 1.0, 7.0),
        lambda: load_loss(37.0, 1.0, 0.0),
        lambda: heavy_load_demand(1.0, -1.0),
        lambda: effective_handbook(0.01, 0.0),
    ],
)
def test_sizes_must_be_positive(call: object) -> None:
    """A seat without a size is refused."""
    assert callable(call)
    with pytest.raises(ValueError, match="positive"):
        call()
