"""Statistics of failing points."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.chance.sensitivity import given_failure
from tolsim.chance.streams import generator


def test_weights_stand_for_repeats() -> None:
    """A point of weight 2 counts like the same point twice."""
    z = np.array([[1.0, 2.0, 4.0], [0.0, -1.0, 1.0]])
    weighted = given_failure(z, np.array([1.0, 2.0, 1.0]))
    repeated = given_failure(z[:, [0, 1, 1, 2]])
    for name in ("shift", "variance", "elasticity_mean", "elasticity_sd"):
        assert_allclose(getattr(weighted, name), getattr(repeated, name))
    with pytest.raises(ValueError, match="at least two failing points, got 1"):
        given_failure(z[:, :1])


def test_errors_are_honest() -> None:
    """Over 300 samples of plain draws the shift's error is its spread, within 15 %."""
    rows = [given_failure(generator(1, "g", k).standard_normal((1, 200))) for k in range(300)]
    shift = np.array([r.shift[0] for r in rows])
    variance = np.array([r.variance[0] for r in rows])
    assert_allclose(np.mean([r.shift_error[0] for r in rows]), shift.std(ddof=1), rtol=0.15)
    assert_allclose(np.mean([r.variance_error[0] for r in rows]), variance.std(ddof=1), rtol=0.15)


def test_elasticity_of_a_spread() -> None:
    """P(z > 2) answers to its spread by 2 phi(2) / Phi(-2) = 4.7466 to first order."""
    z = generator(2, "g").standard_normal((1, 2_000_000))
    got = given_failure(z[:, z[0] > 2.0])
    phi, tail = np.exp(-2.0) / np.sqrt(2.0 * np.pi), 0.022750131948179195
    assert_allclose(got.elasticity_sd, 2.0 * phi / tail, rtol=0.02)
    assert_allclose(got.elasticity_mean, phi / tail, rtol=0.01)
