"""Shapes: size, shares, density, quantiles and moments against outside references."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from scipy.integrate import quad
from scipy.special import ndtr

from tolsim.process.base import Process
from tolsim.process.shapes import SHAPES, Kernel, Mixture, Normal, Uniform, keys
from tolsim.record import record

_LOG_SD = math.sqrt(math.log1p(0.04))

# name, keys, the same population in scipy.stats
CASES: list[tuple[str, dict[str, float], Any]] = [
    ("normal", {"mean": 2.0, "sd": 0.5}, stats.norm(2.0, 0.5)),
    ("uniform", {"low": -1.0, "high": 3.0}, stats.uniform(-1.0, 4.0)),
    ("triangular", {"low": -1.0, "mode": 0.2, "high": 3.0}, stats.triang(0.3, -1.0, 4.0)),
    ("triangular", {"low": -1.0, "mode": 3.0, "high": 3.0}, stats.triang(1.0, -1.0, 4.0)),
    ("skewed", {"mean": 2.0, "sd": 0.5, "skewness": 1.3}, stats.pearson3(1.3, 2.0, 0.5)),
    ("skewed", {"mean": 2.0, "sd": 0.5, "skewness": -0.3}, stats.pearson3(-0.3, 2.0, 0.5)),
    ("skewed", {"mean": 2.0, "sd": 0.5, "skewness": 0.002}, stats.pearson3(0.002, 2.0, 0.5)),
    ("skewed", {"mean": 2.0, "sd": 0.5, "skewness": 2.0}, stats.expon(1.5, 0.5)),
    ("bounded", {"mean": 0.0, "sd": 1.0, "low": -1.0, "high": 2.0}, stats.truncnorm(-1.0, 2.0)),
    ("bounded", {"mean": 0.0, "sd": 1.0, "low": 4.0, "high": 5.0}, stats.truncnorm(4.0, 5.0)),
    ("bounded", {"mean": 0.0, "sd": 1.0, "low": 0.5, "high": 0.51}, stats.truncnorm(0.5, 0.51)),
    ("lognormal", {"mean": 600.0, "sd": 120.0}, stats.lognorm(_LOG_SD, 0.0, 600 / 1.04**0.5)),
    ("weibull", {"scale": 2.0, "exponent": 1.7, "low": 1.0}, stats.weibull_min(1.7, 1.0, 2.0)),
    ("folded-normal", {"sd": 2.0}, stats.halfnorm(0.0, 2.0)),
    ("folded-normal", {"sd": 2.0, "mean": 3.0}, stats.foldnorm(1.5, 0.0, 2.0)),
    ("rayleigh", {"sd": 2.0}, stats.rayleigh(0.0, 2.0)),
    ("rice", {"sd": 2.0, "mean": 3.0}, stats.rice(1.5, 0.0, 2.0)),
    ("rice", {"sd": 2.0, "mean": 30.0}, stats.rice(15.0, 0.0, 2.0)),
]
IDS = [f"{name}-{i}" for i, (name, _, _) in enumerate(CASES)]


@pytest.mark.parametrize(("name", "given", "reference"), CASES, ids=IDS)
def test_shares_and_density_are_those_of_the_reference(
    name: str, given: dict[str, float], reference: Any
) -> None:
    """Both tails and the density agree with scipy.stats from 0.1 to 99.9 %."""
    p = SHAPES[name](**given)
    x = reference.ppf(np.linspace(0.001, 0.999, 41))
    # at skewness 0.002 an expansion replaces the gamma population
    near = given.get("skewness") == 0.002
    assert_allclose(p.cdf(x), reference.cdf(x), rtol=1e-7 if near else 1e-9)
    assert_allclose(p.sf(x), reference.sf(x), rtol=1e-7 if near else 1e-9)
    assert_allclose(p.density(x), reference.pdf(x), rtol=1e-5 if near else 1e-9)
    # the reference loses digits on the narrowest window
    assert_allclose([p.mean, p.sd], [reference.mean(), reference.std()], rtol=1e-8)


@pytest.mark.parametrize(("name", "given", "reference"), CASES, ids=IDS)
def test_size_quantile_and_latent_belong_together(
    name: str, given: dict[str, float], reference: Any
) -> None:
    """Closed forms invert to 1e-9 of the spread, tables to 1e-6, from z = -7 to 7."""
    p = SHAPES[name](**given)
    z = np.linspace(-7.0, 7.0, 301)
    x = p.size(z)
    exact = p.quantile(ndtr(z[z <= 0.0]))
    assert_allclose(x[z <= 0.0], exact, rtol=0.0, atol=1e-6 * p.sd)
    assert_allclose(p.quantile(p.cdf(exact)), exact, rtol=0.0, atol=1e-9 * p.sd)
    assert_allclose(p.size(p.latent(x)), x, rtol=0.0, atol=1e-6 * p.sd)
    assert np.all(np.diff(x) >= 0.0)
    low, high = p.support
    assert low <= x.min()
    assert x.max() <= high


@pytest.mark.parametrize(("name", "given", "reference"), CASES, ids=IDS)
def test_moments_are_those_of_the_sizes_drawn(
    name: str, given: dict[str, float], reference: Any
) -> None:
    """Mean and spread equal the integrals of the size map against the normal density."""
    p = SHAPES[name](**given)
    edges = np.linspace(-9.0, 9.0, 20001)  # trapezoid on a smooth map: error below 1e-7
    x, w = p.size(edges), stats.norm.pdf(edges) * (edges[1] - edges[0])
    mean = float((w * x).sum())
    assert_allclose(mean, p.mean, rtol=0.0, atol=2e-6 * p.sd)
    assert_allclose(math.sqrt(float((w * (x - mean) ** 2).sum())), p.sd, rtol=2e-6)


@pytest.mark.parametrize(
    ("name", "given", "z", "expected"),
    [
        # closed forms at z = 8: upper tail Phi(-8) = 6.220960574271786e-16
        ("rayleigh", {"sd": 1.0}, 8.0, math.sqrt(-2.0 * math.log(6.220960574271786e-16))),
        ("uniform", {"low": 0.0, "high": 1.0}, -8.0, 6.220960574271786e-16),
        ("weibull", {"scale": 1.0, "exponent": 1.0}, 8.0, -math.log(6.220960574271786e-16)),
        ("skewed", {"mean": 1.0, "sd": 1.0, "skewness": 2.0}, 8.0, 35.01343736),
        ("bounded", {"mean": 0.0, "sd": 1.0, "low": -30.0, "high": 30.0}, 8.0, 8.0),
    ],
)
def test_tails_hold_at_eight_sigma(
    name: str, given: dict[str, float], z: float, expected: float
) -> None:
    """The map is exact at |z| = 8, where 1 - cdf would have lost every digit."""
    p = SHAPES[name](**given)
    assert_allclose(p.size(np.array([z])), [expected], rtol=1e-6, atol=1e-15)
    tail = p.cdf(expected) if z < 0.0 else p.sf(expected)
    assert_allclose(tail, 6.220960574271786e-16, rtol=1e-6)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("fixed", {"value": 5.0}),
        ("normal", {"mean": 5.0, "sd": 0.0}),
        ("uniform", {"low": 5.0, "high": 5.0}),
        ("triangular", {"low": 5.0, "mode": 5.0, "high": 5.0}),
        ("skewed", {"mean": 5.0, "sd": 0.0, "skewness": 1.0}),
        ("bounded", {"mean": 5.0, "sd": 0.0, "low": 4.0, "high": 6.0}),
        ("lognormal", {"mean": 5.0, "sd": 0.0}),
        ("weibull", {"scale": 0.0, "exponent": 2.0, "low": 5.0}),
        ("folded-normal", {"sd": 0.0, "mean": -5.0}),
        ("rice", {"sd": 0.0, "mean": 5.0}),
    ],
)
def test_a_process_without_spread_is_a_constant(name: str, given: dict[str, float]) -> None:
    """No spread gives one size, its step of a cdf, and no row to be drawn when recorded."""
    p = SHAPES[name](**given)
    assert_allclose(p.size(np.array([-3.0, 0.0, 8.0])), 5.0, rtol=1e-15)
    assert_allclose(p.cdf([4.9, 5.1]), [0.0, 1.0])
    assert_allclose(p.sf([4.9, 5.1]), [1.0, 0.0])
    assert_allclose(p.latent([4.9, 5.1]), [-np.inf, np.inf])
    assert_allclose(p.quantile([0.1, 0.9]), 5.0)
    assert (p.mean, p.sd, p.support) == (5.0, 0.0, (5.0, 5.0))
    assert p.density(4.9) == 0.0
    assert p.density(5.0) == np.inf
    recording = record(lambda z: [p.size(z[0]) + z[1]], 2)
    assert recording.reads == (1,)


@pytest.mark.parametrize(("name", "given", "reference"), CASES, ids=IDS)
def test_size_is_recorded_and_differentiated(
    name: str, given: dict[str, float], reference: Any
) -> None:
    """The recorded map gives the same sizes, and its gradient is dx/dz = density of z over of x."""
    p = SHAPES[name](**given)
    recording = record(lambda z: [p.size(z[0])], 1)
    z = np.linspace(-3.0, 3.0, 49)[None, :] + 0.0007
    assert_allclose(recording(z)[0], p.size(z[0]), rtol=1e-14)
    slope = recording.gradient(z, np.ones_like(z))[0]
    x = reference.ppf(ndtr(z[0]))
    assert_allclose(slope, stats.norm.pdf(z[0]) / reference.pdf(x), rtol=2e-4)


@pytest.mark.parametrize(
    ("name", "given", "message"),
    [
        ("normal", {"mean": 0.0, "sd": -1.0}, "sd must not be negative"),
        ("normal", {"mean": math.nan, "sd": 1.0}, "mean must be a finite number"),
        ("uniform", {"low": 1.0, "high": 0.0}, "need low <= high"),
        ("triangular", {"low": 0.0, "mode": 2.0, "high": 1.0}, "need low <= mode <= high"),
        ("skewed", {"mean": 0.0, "sd": 1.0, "skewness": 2.1}, "between -2 and 2"),
        ("bounded", {"mean": 0.0, "sd": 1.0, "low": 7.0, "high": 9.0}, "only 1.3e-12"),
        ("bounded", {"mean": 0.0, "sd": 1.0, "low": 2.0, "high": 2.0}, "need low < high"),
        ("lognormal", {"mean": 1.0, "sd": 1.0, "low": 2.0}, "mean must lie above low"),
        ("weibull", {"scale": 1.0, "exponent": 0.2}, "exponent must lie between"),
        ("rice", {"sd": 1.0, "mean": -1.0}, "must not be negative"),
        ("mixture", {"parts": ()}, "at least one part"),
        ("mixture", {"parts": ((0.5, Normal(mean=0, sd=1)),)}, "add up to 1"),
        ("kernel", {"readings": (1.0, 1.0, 1.0)}, "all readings are equal"),
        ("kernel", {"readings": (1.0, 2.0)}, "at least 3"),
    ],
)
def test_senseless_parameters_are_refused(name: str, given: dict[str, Any], message: str) -> None:
    """A shape that cannot be says which parameter is at fault."""
    with pytest.raises(ValueError, match=message):
        SHAPES[name](**given)


def test_keys_are_the_words_of_a_specification() -> None:
    """Required and optional keys of a shape can be listed without making one."""
    found = {k.name: (k.required, k.is_size) for k in keys("bounded")}
    assert found == {
        "mean": (True, True),
        "sd": (True, True),
        "low": (False, True),
        "high": (False, True),
    }
    assert [k.name for k in keys("skewed") if not k.is_size] == ["skewness"]


@pytest.mark.parametrize(
    "parts",
    [
        ((0.5, Normal(mean=-1.0, sd=0.5)), (0.5, Normal(mean=1.0, sd=0.5))),
        ((0.95, Normal(mean=12.0, sd=2.5)), (0.05, Normal(mean=2.0, sd=2.5))),
        ((0.5, Normal(mean=-5.0, sd=0.5)), (0.5, Normal(mean=5.0, sd=0.5))),
        ((0.3, Uniform(low=0.0, high=1.0)), (0.7, Uniform(low=2.0, high=3.0))),
    ],
)
def test_a_mixture_is_exact_through_valleys_and_gaps(
    parts: tuple[tuple[float, Process], ...],
) -> None:
    """Sizes drawn through the table give back their share; empty stretches are jumped over."""
    p = Mixture(parts=parts)
    z = np.linspace(-8.0, 8.0, 4001)
    x = p.size(z)
    seen = p.density(x) > 1e-6 * p.density(x).max()
    assert_allclose(p.size(p.latent(x))[seen], x[seen], rtol=0.0, atol=1e-6 * p.sd)
    total = quad(lambda s: float(p.density(s)), x[0], x[-1], limit=400, points=[0.0, 1.0, 2.0])[0]
    assert_allclose(total, 1.0, rtol=1e-6)


def test_a_gap_between_two_populations_holds_no_part() -> None:
    """Nothing is drawn between separated populations, and the jump sits at the share below it."""
    p = Mixture(parts=((0.3, Uniform(low=0.0, high=1.0)), (0.7, Uniform(low=2.0, high=3.0))))
    z = np.linspace(-0.6, -0.45, 200001)  # the jump is at z = ndtri(0.3) = -0.5244005
    x = p.size(z)
    inside = (x > 1.0 + 1e-6) & (x < 2.0 - 1e-6)
    assert inside.sum() <= 1
    assert_allclose(z[np.searchsorted(x, 1.5)], -0.5244005127080407, atol=1e-6)
    assert p.density(1.5) == 0.0


def test_smoothed_readings_keep_mean_and_spread() -> None:
    """The smoothed population has the mean and spread of the readings and normal tails."""
    readings = np.random.default_rng(7).gamma(3.0, size=40).tolist()
    p = Kernel(readings=readings)
    edges = np.linspace(-9.0, 9.0, 20001)
    x, w = p.size(edges), stats.norm.pdf(edges) * (edges[1] - edges[0])
    assert_allclose((w * x).sum(), np.mean(readings), rtol=1e-6)
    assert_allclose(
        math.sqrt(float((w * (x - p.mean) ** 2).sum())), np.std(readings, ddof=1), rtol=1e-6
    )
    centres = p.mean + (np.array(readings) - p.mean) * math.sqrt(
        (p.sd**2 - (1.06 * p.sd * 40**-0.2) ** 2) / np.var(readings)
    )
    reference = stats.norm(centres, 1.06 * p.sd * 40**-0.2).cdf(4.0).mean()
    assert_allclose(p.cdf(4.0), reference, rtol=1e-12)
