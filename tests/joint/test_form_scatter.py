"""Spread behind magnitudes once the scatter of measuring is taken out: centre and coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tolsim.joint.aligned import Scatter, spread_behind
from tolsim.joint.latent import Latent
from tolsim.process.posterior import lattice

_SETS = 512


@pytest.mark.parametrize("freedom", [0, 30])
def test_intervals_of_the_spread_hold_the_truth(freedom: int) -> None:
    """400 lots of 20 vectors, scatter as large as the spread: 95 % intervals hold it at least as
    often as 95 % less four standard deviations of such a count."""
    from scipy.special import ndtri

    rng, lots, n, sd, scatter = np.random.default_rng(6), 400, 20, 1.0, 1.0
    z = ndtri(lattice(2, _SETS))
    held = 0
    for _ in range(lots):
        total = math.hypot(sd, scatter)
        r = np.hypot(*(total * rng.standard_normal((2, n))))
        found = scatter
        if freedom:
            found = scatter * math.sqrt(float(rng.chisquare(freedom)) / freedom)
        latent = Latent()
        spread = spread_behind(latent, "sd", r, 2, Scatter(sd=found, freedom=freedom))
        drawn = np.asarray(spread.draw(list(z[: len(latent.names)])))
        low, high = np.quantile(drawn, [0.025, 0.975])
        held += bool(low <= sd <= high)
    assert held / lots >= 0.95 - 4.0 * math.sqrt(0.95 * 0.05 / lots)


def test_more_scatter_than_spread_leaves_next_to_nothing() -> None:
    """A gauge that explains all of the magnitudes leaves a spread that is positive and small."""
    latent = Latent()
    spread = spread_behind(latent, "sd", np.full(30, 1.0), 2, Scatter(sd=5.0))
    drawn = np.asarray(spread.draw([np.linspace(-3.0, 3.0, 7)]))
    assert (drawn > 0.0).all()
    assert drawn.max() < 1e-6
    assert spread.estimate < 1e-6


def test_without_scatter_nothing_is_changed() -> None:
    """Known scatter of 0 and none at all are the same."""
    r, z = np.array([1.0, 2.0, 1.5, 0.4]), [np.linspace(-2.0, 2.0, 5)]
    plain = spread_behind(Latent(), "sd", r).draw(z)
    same = spread_behind(Latent(), "sd", r, 2, Scatter()).draw(z)
    np.testing.assert_array_equal(np.asarray(plain), np.asarray(same))
