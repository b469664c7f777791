"""Shares from counts."""

from __future__ import annotations

import math

import pytest
from numpy.testing import assert_allclose

from tolsim.chance.plain import draws_for, plain_estimate, unseen_bound


@pytest.mark.parametrize(
    ("n", "one_sided", "two_sided"),
    [
        # exact one-sided 95 % bound 1 - 0.05**(1/n) and upper two-sided 95 % end of zero
        # failures; scipy.stats.binomtest agrees
        (12, 0.22092219194555585, 0.2646484693970512),
        (59, 0.049507609888227, 0.06060890095033988),
        (1000, 0.0029912495450953314, 0.00368208389686564),
        (1_000_000, 2.9957277863923437e-06, 3.688872650231545e-06),
    ],
)
def test_no_failure_gives_a_bound(n: int, one_sided: float, two_sided: float) -> None:
    """Zero failures give the exact upper bounds, close to the rule of three, never 0."""
    e = plain_estimate(0, n)
    assert_allclose([unseen_bound(n), e.interval.high], [one_sided, two_sided], rtol=1e-9)
    assert e.value == 0.0
    assert e.relative == math.inf


def test_relative_half_width_follows_the_draws_asked() -> None:
    """As many draws as were said to be needed give about the half-width asked for."""
    n = draws_for(1e-3, 0.1)
    assert_allclose(plain_estimate(round(1e-3 * n), n).relative, 0.1, rtol=0.02)
    with pytest.raises(ValueError, match="need 0 < share < 1"):
        draws_for(0.0, 0.1)
