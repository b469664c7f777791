"""One contributor integrated out."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr
from scipy.stats import multivariate_normal

from tolsim.chance.conditioning import conditioned_share, outside, senses, thresholds
from tolsim.chance.streams import generator


def fit(z: np.ndarray) -> np.ndarray:
    """A fit that fails loose below 0 and tight above 30 um, from bore, ring and sleeve."""
    interference = 14.0 - 4.0 * z[0] + 1.8 * z[1] + 1.2 * z[2]
    return np.stack([interference, 30.0 - interference])


def test_share_of_a_fit_on_both_sides() -> None:
    """Loose and tight shares of a linear fit: exact within 4.5 errors, at a gain above 3.

    Closed form: interference is normal with sd sqrt(4^2 + 1.8^2 + 1.2^2).
    """
    sd = float(np.sqrt(4.0**2 + 1.8**2 + 1.2**2))
    exact = float(ndtr(-14.0 / sd) + ndtr(-16.0 / sd))
    z = generator(1, "c").standard_normal((3, 4000))
    got = conditioned_share(fit, z, 0)
    assert abs(got.interval.value - exact) < 4.5 * got.relative_error * exact
    assert got.relative_error < 0.05
    assert got.gain > 3.0


def test_counting_and_conditioning_agree_draw_by_draw() -> None:
    """A draw fails exactly when its own row lies outside the thresholds of its others."""
    z = generator(2, "c").standard_normal((3, 5000)) * 2.0
    low, high = thresholds(fit, z, 0, senses(fit, z[:, :100], 0))
    fails = (fit(z) < 0.0).any(axis=0)
    assert 0.01 < fails.mean() < 0.5
    assert ((z[0] < low) | (z[0] > high) == fails).all()


def test_a_curved_margin_and_one_that_ignores_the_row() -> None:
    """Non-linear margins are solved, and a margin without the row fails or not as it stands.

    Closed form by the bivariate normal: P(x <= a or y <= b) = Phi(a) + Phi(b) - Phi(a) Phi(b).
    """

    def margins(z: np.ndarray) -> np.ndarray:
        return np.stack([np.exp(z[0]) - np.exp(-2.0), z[1] + 2.5])

    z = generator(3, "c").standard_normal((2, 100_000))
    got = conditioned_share(margins, z, 0)
    a, b = float(ndtr(-2.0)), float(ndtr(-2.5))
    exact = a + b - a * b
    assert_allclose(exact, 1.0 - multivariate_normal([0, 0]).cdf([2.0, 2.5]), rtol=1e-6)
    assert abs(got.interval.value - exact) < 4.5 * got.relative_error * exact


def test_ends_beyond_reach() -> None:
    """A margin that always fails gives 1, one that never does gives 0."""
    z = np.zeros((2, 3))
    z[1] = [-20.0, 0.0, 20.0]
    low, high = thresholds(lambda z: (z[0] + z[1])[None], z, 0, np.array([1.0]))
    assert_allclose(outside(low, high), [1.0, 0.5, 0.0], atol=1e-8)
    low, high = thresholds(lambda z: (z[1] - z[0])[None], z, 0, np.array([-1.0]))
    assert_allclose(outside(low, high), [1.0, 0.5, 0.0], atol=1e-8)


def test_a_margin_that_turns_is_refused() -> None:
    """A margin that rises and falls with the row has no single threshold."""
    z = generator(4, "c").standard_normal((2, 10))
    with pytest.raises(ValueError, match="margin 0 neither rises nor falls with row 1 alone"):
        conditioned_share(lambda z: (4.0 - np.square(z[1]))[None], z, 1)
    with pytest.raises(ValueError, match="no draw of the others"):
        conditioned_share(lambda z: (40.0 + z[1])[None], z, 1)
