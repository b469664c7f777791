"""Quantiles of mixtures of gamma distributions against a general-purpose library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from tolsim.chance.parameter_draws import _mixture_quantile


@pytest.mark.parametrize("share", [0.025, 0.5, 0.975])
@pytest.mark.parametrize("relative", [0.01, 0.3, 2.0])
def test_one_gamma(share: float, relative: float) -> None:
    """Of equal components the quantile is that of one gamma (scipy's)."""
    mean, variance = 3e-4, (relative * 3e-4) ** 2
    found = _mixture_quantile(np.full(64, mean), np.full(64, variance), share)
    one = stats.gamma(mean**2 / variance, scale=variance / mean)
    assert found == pytest.approx(float(one.ppf(share)), rel=1e-9, abs=1e-14)


@pytest.mark.parametrize("spread", [0.05, 1.0, 4.0])
def test_unlike_gammas(spread: float) -> None:
    """Of components whose means span orders of magnitude: the root that scipy's brentq finds."""
    mean = np.exp(np.random.default_rng(1).normal(-5.0, spread, 256))
    variance = np.square(0.2 * mean)
    parts = stats.gamma(mean**2 / variance, scale=variance / mean)
    for share in (0.025, 0.975):
        found = _mixture_quantile(mean, variance, share)
        wanted = optimize.brentq(lambda x, p=share: parts.cdf(x).mean() - p, 0.0, 50.0, xtol=1e-16)
        assert found == pytest.approx(wanted, rel=1e-7, abs=1e-13)


def test_jumps_of_what_is_known_exactly() -> None:
    """Components without variance are steps: the quantile is where the share is first reached."""
    mean = np.array([1e-3] * 3 + [2e-3] * 3 + [1.0] * 2)
    variance = np.array([0.0] * 6 + [0.01] * 2)
    assert _mixture_quantile(mean, variance, 0.3) == pytest.approx(1e-3, abs=1e-12)
    assert _mixture_quantile(mean, variance, 0.5) == pytest.approx(2e-3, abs=1e-12)
