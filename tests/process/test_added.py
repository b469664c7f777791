"""Sums, products, shifts and thinned populations against closed forms and quadrature."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from scipy.integrate import quad
from scipy.special import ndtr

from tolsim.process.added import added
from tolsim.process.base import Process
from tolsim.process.gauging import Window, normal_yield, passed
from tolsim.process.mixture import Mixture
from tolsim.process.moved import moved
from tolsim.process.multiplied import multiplied
from tolsim.process.plain import Fixed, Normal, Triangular, Uniform
from tolsim.process.skewed import Skewed

EXPONENTIAL = Skewed(mean=1.0, sd=1.0, skewness=2.0)
TWO = Mixture(parts=((0.5, Normal(mean=-5.0, sd=0.5)), (0.5, Normal(mean=5.0, sd=0.5))))


def two_normals(sd: float) -> Callable[[float], float]:
    """Upper tail of the two-humped population after a normal of this spread."""
    s = math.hypot(0.5, sd)
    return lambda x: 0.5 * ndtr((-5.0 - x) / s) + 0.5 * ndtr((5.0 - x) / s)


@pytest.mark.parametrize(
    ("a", "b", "sf", "sizes"),
    [
        # sum of two unit exponentials: gamma of shape 2
        (EXPONENTIAL, EXPONENTIAL, lambda x: stats.gamma(2.0).sf(x), [0.01, 1.0, 5.0, 20.0]),
        # unit exponential and one of 0.3: (exp(-x) - 0.3 exp(-x/0.3)) / 0.7
        (
            EXPONENTIAL,
            moved(EXPONENTIAL, scale=0.3),
            lambda x: (math.exp(-x) - 0.3 * math.exp(-x / 0.3)) / 0.7,
            [0.01, 1.0, 5.0, 20.0],
        ),
        # two uniforms of half widths 1 and 0.3: (1.3 - x)^2 / 2.4 beyond 0.7, (1 - x)/2 inside
        (
            Uniform(low=-1.0, high=1.0),
            Uniform(low=-0.3, high=0.3),
            lambda x: (1.3 - x) ** 2 / 2.4 if x > 0.7 else 0.5 * (1.0 - x),
            [-0.5, 0.0, 0.69, 0.71, 1.2, 1.29],
        ),
        (TWO, Normal(mean=0.0, sd=0.3), two_normals(0.3), [-5.0, -3.0, 0.0, 4.0, 7.0]),
        (TWO, Normal(mean=0.0, sd=3.0), two_normals(3.0), [-5.0, -3.0, 0.0, 4.0, 9.0]),
    ],
)
def test_sums_have_the_tails_of_their_closed_form(
    a: Process, b: Process, sf: Callable[[float], float], sizes: list[float]
) -> None:
    """Both the middle and the far tail of a sum keep seven digits."""
    total = added(a, b)
    assert_allclose([float(total.sf(x)) for x in sizes], [sf(x) for x in sizes], rtol=2e-7)
    assert_allclose([total.mean, total.sd], [a.mean + b.mean, math.hypot(a.sd, b.sd)], rtol=1e-12)


@pytest.mark.parametrize("sd", [0.001, 0.015, 0.025, 0.3, 5.0])
def test_a_uniform_and_a_normal_of_any_width(sd: float) -> None:
    """From a sharp edge to a mere shift the sum agrees with quadrature to seven sigma."""
    total = added(Normal(mean=0.0, sd=sd), Uniform(low=-1.0, high=1.0))
    for x in (-0.9, 0.5, 1.0, 1.0 + 2.0 * sd, 1.0 + 5.0 * sd):
        tail = (
            quad(
                lambda u, x=x: ndtr((u - x) / sd),
                -1.0,
                1.0,
                epsabs=0.0,
                limit=500,
                points=[max(-1.0, min(1.0, x))],
            )[0]
            / 2.0
        )
        assert_allclose(total.sf(x), tail, rtol=1e-6)


def test_a_product_with_an_uncertain_share() -> None:
    """Film times outward share agrees with the average over the share."""
    film, share = Normal(mean=0.010, sd=0.001), Uniform(low=0.3, high=0.5)
    grown = multiplied(film, share)
    for x in (0.0025, 0.004, 0.006, 0.007):
        tail = quad(lambda g, x=x: ndtr((0.010 - x / g) / 0.001), 0.3, 0.5, epsrel=1e-12)[0] / 0.2
        assert_allclose(grown.sf(x), tail, rtol=1e-6)
    variance = (0.001**2 + 0.010**2) * (share.sd**2 + 0.4**2) - 0.004**2
    assert_allclose([grown.mean, grown.sd], [0.004, math.sqrt(variance)], rtol=1e-12)
    assert multiplied(film, Fixed(value=0.5)) == Normal(mean=0.005, sd=0.0005)
    with pytest.raises(ValueError, match="must be positive"):
        multiplied(film, Normal(mean=1.0, sd=0.1))


def test_a_mirrored_population() -> None:
    """Scaling by a negative number swaps the tails and stays increasing in z."""
    p = moved(EXPONENTIAL, shift=3.0, scale=-2.0)
    assert_allclose(p.sf(1.0), 1.0 - math.exp(-1.0), rtol=1e-9)
    assert_allclose(p.cdf(-17.0), math.exp(-10.0), rtol=1e-9)
    z = np.linspace(-6.0, 6.0, 101)
    assert np.all(np.diff(p.size(z)) > 0.0)
    assert_allclose(p.size(p.latent([0.0, 2.5])), [0.0, 2.5], atol=2e-6)
    assert_allclose(p.quantile(0.25), 3.0 + 2.0 * math.log(0.25), rtol=1e-6)
    assert p.support == (-math.inf, 3.0)
    assert_allclose([p.mean, p.sd], [1.0, 2.0])
    assert moved(moved(EXPONENTIAL, scale=2.0), scale=0.5) is EXPONENTIAL


@pytest.mark.parametrize(
    ("made", "window"),
    [
        (Normal(mean=0.0, sd=1.0), Window(low=-2.0, high=2.0, sd=0.25)),
        (Normal(mean=0.0, sd=1.0), Window(high=2.0, sd=1.0)),
        (Normal(mean=0.0, sd=1.0), Window(low=-2.0, high=2.0, sd=0.01)),
        (Uniform(low=-1.0, high=1.0), Window(low=-0.5, high=0.8, sd=0.1)),
        (Uniform(low=-1.0, high=1.0), Window(low=-0.5, high=0.8)),
        (Triangular(low=-1.0, mode=0.1, high=1.0), Window(low=-0.5, high=0.8)),
        (Skewed(mean=0.0, sd=1.0, skewness=1.0), Window(low=-0.8, high=2.0, sd=0.1)),
    ],
)
def test_what_passes_a_gauge_is_density_times_acceptance(made: Process, window: Window) -> None:
    """Yield, both tails and mean of what passes agree with quadrature."""
    left = passed(made, window)
    low, high = (float(v) for v in made.size(np.array([-8.5, 8.5])))
    breaks = [v for v in (*window.limits, 0.1) if low < v < high]

    def total(a: float, b: float, power: int = 0) -> float:
        inside = [v for v in breaks if a < v < b]
        return float(
            quad(
                lambda x: float(made.density(x) * window.share(np.asarray(x))) * x**power,
                a,
                b,
                points=inside or None,
                limit=400,
                epsabs=1e-14,
            )[0]
        )

    share = total(low, high)
    assert_allclose(left.accepted, share, rtol=1e-7)
    for x in made.quantile([0.3, 0.5, 0.9, 0.97]):
        if total(float(x), high) > 1e-8:
            assert_allclose(left.process.sf(x), total(float(x), high) / share, rtol=1e-6)
        assert_allclose(left.process.cdf(x), total(low, float(x)) / share, rtol=1e-6)
    assert_allclose(left.process.mean, total(low, high, 1) / share, rtol=1e-6, atol=1e-7)


def test_the_yield_of_a_normal_is_that_of_its_readings() -> None:
    """The panel sums find the closed form: readings of a normal are normal."""
    made, window = Normal(mean=0.3, sd=1.0), Window(low=-2.0, high=1.5, sd=0.4)
    exact = normal_yield(0.3, 1.0, window)
    assert_allclose(passed(made, window).accepted, exact, rtol=1e-12)
    spread = math.hypot(1.0, 0.4)
    assert_allclose(exact, ndtr(1.2 / spread) - ndtr(-2.3 / spread), rtol=1e-12)


def test_a_sorted_population_can_be_sorted_again() -> None:
    """A second gauge on a hollow population keeps its gap and its shares."""
    hollow = Mixture(
        parts=(
            (0.5, passed(Normal(mean=0.0, sd=1.0), Window(high=-0.5)).process),
            (0.5, passed(Normal(mean=0.0, sd=1.0), Window(low=0.5)).process),
        )
    )
    left = passed(hollow, Window(low=-1.0, high=2.0))
    inner = (ndtr(-0.5) - ndtr(-1.0)) / ndtr(-0.5), (ndtr(2.0) - ndtr(0.5)) / ndtr(-0.5)
    assert_allclose(left.accepted, 0.5 * sum(inner), rtol=1e-9)
    assert_allclose(left.process.cdf(0.0), inner[0] / sum(inner), rtol=1e-8)
    z = np.linspace(-5.0, 5.0, 2001)
    assert np.sum(np.abs(left.process.size(z)) < 0.499) <= 1


def test_a_part_without_spread_passes_or_not() -> None:
    """A constant passes with the probability of its reading."""
    left = passed(Fixed(value=1.0), Window(high=1.0, sd=0.2))
    assert_allclose(left.accepted, 0.5)
    assert left.process == Fixed(value=1.0)
    with pytest.raises(ValueError, match="of the parts pass"):
        passed(Fixed(value=1.0), Window(high=0.5))
