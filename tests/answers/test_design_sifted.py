"""Sorting by a gauge that errs, against the population that the same gauge is composed to."""

from __future__ import annotations

import numpy as np
import pytest

from tolsim.answers.design_sifted import SiftedFollower
from tolsim.process.base import Process, latent_of, shares_of
from tolsim.process.gauging import Window, passed
from tolsim.process.mixture import Mixture
from tolsim.process.plain import Normal

BANDS = ((-0.022, 0.012), (-0.030, 0.006), (-0.015, 0.030))


def _two_cavities() -> Process:
    parts = (Normal(mean=-0.0285, sd=0.0018), Normal(mean=-0.0195, sd=0.0018))
    return Mixture(parts=tuple(zip((0.6, 0.4), parts, strict=True)))


@pytest.mark.parametrize("band", BANDS)
@pytest.mark.parametrize("repeatability", [1e-4, 3e-3])
@pytest.mark.parametrize("base", [Normal(mean=-0.02, sd=0.003), _two_cavities()])
def test_sizes_left_by_a_gauge_that_errs(
    base: Process, repeatability: float, band: tuple[float, float]
) -> None:
    """Standard normals and sizes belong together as in the composed population, six spreads out."""
    follower = SiftedFollower(base, repeatability)
    low, high = band[0] - 0.5 * band[1], band[0] + 0.5 * band[1]
    left = passed(base, Window(low=low, high=high, sd=repeatability)).process
    t = np.linspace(-6.0, 6.0, 25)
    u = follower.draw(t, band, None)
    lower, upper, _ = shares_of(left, np.asarray(base.size(u)))
    assert latent_of(lower, upper) == pytest.approx(t, abs=1e-3)
    assert follower.read(u, band, None, 0.0).t == pytest.approx(t, abs=1e-6)


def test_slopes_are_those_of_what_is_read() -> None:
    """The slope by the part, and the derivatives by the band, against small differences."""
    follower, band = SiftedFollower(_two_cavities(), 0.8e-3), BANDS[0]
    u, e = np.linspace(-2.0, 2.0, 9), 1e-5
    here = follower.read(u, band, None, 0.0)
    up, down = (follower.read(u + d, band, None, 0.0).t for d in (e, -e))
    assert np.log((up - down) / (2.0 * e)) == pytest.approx(here.log_slope, abs=1e-3)
    e = 1e-6
    up, down = (follower.read(u, (band[0] + d, band[1]), None, 0.0).t for d in (e, -e))
    assert (up - down) / (2.0 * e) == pytest.approx(here.t_by[0], rel=0.02, abs=2.0)
