"""Fits of rounded, cut, skewed and mixed lots, of magnitudes and pairs; choice of a shape."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from tests.process.loops import dkw
from tolsim.process.base import FloatArray
from tolsim.process.choice import choose, normality
from tolsim.process.cut_fit import fit_cut
from tolsim.process.drawn import DrawnEvidence
from tolsim.process.fitting import fit_rounded, fit_skewed, fit_two
from tolsim.process.grouping import compare_makers
from tolsim.process.magnitude_fit import fit_rayleigh, fit_rice
from tolsim.process.mixture import Mixture
from tolsim.process.paired import paired_change
from tolsim.process.plain import Normal
from tolsim.record import record

DATA = Path(__file__).parents[1] / "published" / "data"


def test_fine_readings_give_students_t() -> None:
    """With a step far below the spread the censored likelihood is the normal one: predictive
    Student's t, spread by chi-square. 4096 pairs know a share to about 1/4096.
    """
    rng = np.random.default_rng(101)
    x = rng.normal(0.010, 0.003, size=12)
    found = fit_rounded(np.round(x / 1e-6) * 1e-6, 1e-6)
    sizes = found.size(*rng.standard_normal((2, 200_000)))
    t = (sizes - x.mean()) / (x.std(ddof=1) * math.sqrt(13.0 / 12.0))
    assert stats.kstest(t, stats.t(11).cdf).statistic < dkw(200_000) + 1.0 / 4096
    ends = np.quantile(found.sds, [0.025, 0.975]) / x.std(ddof=1)
    assert_allclose(ends, [0.708395, 1.697878], rtol=2e-3)  # chi-square, n = 12


def test_coarse_readings_are_told_apart_from_their_step() -> None:
    """5 µm steps on a spread of 3 µm: the fitted spread is that of the parts, not of the steps.

    The readings' own spread is some 10 % too large (Sheppard); 4000 parts know it to 1.2 %.
    """
    x = np.random.default_rng(102).normal(0.0007, 0.003, size=4000)
    y = np.round(x / 0.005) * 0.005
    found = fit_rounded(y, 0.005)
    assert y.std(ddof=1) > 1.08 * 0.003
    assert_allclose(found.fitted.sd, 0.003, rtol=0.05)
    assert_allclose(found.fitted.mean, 0.0007, atol=3e-4)
    with_gauge = fit_rounded(y, 0.005, gauge_sd=0.001)
    assert_allclose(with_gauge.fitted.sd, math.sqrt(found.fitted.sd**2 - 1e-6), rtol=1e-9)


def test_readings_on_one_step_leave_the_spread_open() -> None:
    """Twelve readings on one value: the spread has no lower end above a small share of a step."""
    found = fit_rounded(np.full(12, 0.010), 0.005)
    assert "1 values only" in found.notes[0]
    assert np.quantile(found.sds, 0.025) < 0.0005
    assert np.quantile(found.sds, 0.975) < 0.005


def test_a_cut_lot_shows_the_process_behind_it() -> None:
    """500 parts cut at -1 and +1.5 spreads: parent within its draws, sizes never beyond."""
    parent = stats.truncnorm(-1.0, 1.5, loc=0.010, scale=0.003)
    x = parent.rvs(500, random_state=103)
    found = fit_cut(x, 0.007, 0.0145)
    for draws, truth in ((found.means, 0.010), (found.sds, 0.003)):
        low, high = np.quantile(draws, [0.001, 0.999])
        assert low < truth < high
    sizes = found.size(*np.random.default_rng(104).standard_normal((2, 100_000)))
    assert sizes.min() >= 0.007
    assert sizes.max() <= 0.0145
    # the population between the limits is known far better than the parent
    slack = dkw(100_000) + 1.5 / math.sqrt(500.0)
    assert stats.kstest(sizes, parent.cdf).statistic < slack
    assert_allclose(found.share_outside(0.008, 0.0145).mean(), parent.cdf(0.008), atol=0.05)


def test_a_cut_lot_read_with_error() -> None:
    """Readings beyond the limits belong to parts within; without scatter they are refused."""
    rng = np.random.default_rng(105)
    x = stats.truncnorm(-1.0, 1.0, loc=0.0, scale=0.004).rvs(200, random_state=106)
    y = x + rng.normal(0.0, 0.001, size=200)
    found = fit_cut(y, -0.004, 0.004, gauge_sd=0.001)
    low, high = np.quantile(found.sds, [0.001, 0.999])
    assert low < 0.004 < high
    sizes = found.size(*rng.standard_normal((2, 100_000)))
    assert np.abs(sizes).max() <= 0.004
    with pytest.raises(ValueError, match="outside the limits"):
        fit_cut(y, -0.004, 0.004)


def test_limits_far_off_leave_students_t() -> None:
    """With limits out of reach a cut process is a plain normal one: the mean is Student's t."""
    x = np.random.default_rng(120).standard_normal(8)
    found = fit_cut(x, -60.0, 60.0)
    probability = [0.01, 0.1, 0.5, 0.9, 0.99]
    scale = x.std(ddof=1) / math.sqrt(8.0)
    exact = x.mean() + scale * stats.t(7).ppf(probability)
    assert_allclose(np.quantile(found.means, probability), exact, atol=0.04 * scale)
    spread = x.std(ddof=1) * np.sqrt(7.0 / stats.chi2(7).isf(probability))
    assert_allclose(np.quantile(found.sds, probability), spread, rtol=0.01)


def test_the_spread_of_a_cut_lot_is_covered() -> None:
    """Intervals of 95 % for the spread between the limits hold it in as many lots as they say."""
    rng = np.random.default_rng(121)
    cut, lots = stats.truncnorm(-1.5, 1.5), 40
    held = 0
    for _ in range(lots):
        found = fit_cut(cut.rvs(30, random_state=rng), -1.5, 1.5)
        low, high = np.quantile(_spreads(found), [0.025, 0.975])
        held += bool(low <= cut.std() <= high)
    assert held >= stats.binom(lots, 0.95).ppf(1e-3)


def _spreads(found: DrawnEvidence) -> FloatArray:
    """Spread between the limits of every eighth pair, by a sum over quantiles."""
    mean, sd = found.means[::8, None], found.sds[::8, None]
    low, high = (stats.norm.cdf((limit - mean) / sd) for limit in (-1.5, 1.5))
    u = (np.arange(200) + 0.5) / 200.0
    return np.asarray((mean + sd * stats.norm.ppf(low + u * (high - low))).std(axis=1))


@pytest.mark.parametrize("n", [5, 12])
def test_few_parts_of_a_middle_cut_are_fitted_all_the_same(n: int) -> None:
    """Whatever a handful of cut parts looks like, the fit stays between the limits."""
    rng = np.random.default_rng(119)
    for _ in range(20):
        x = stats.truncnorm(-1.5, 1.5).rvs(n, random_state=rng)
        found = fit_cut(x + 0.3 * rng.standard_normal(n), -1.5, 1.5, gauge_sd=0.3)
        assert found.fitted.support == (-1.5, 1.5)
        assert np.all(np.isfinite(found.share_outside(-1.0, 1.0)))


def test_a_cut_at_one_end_only() -> None:
    """An open side stays open; the recorded draw agrees."""
    x = stats.truncnorm(-9.0, 0.5, loc=0.0, scale=1.0).rvs(300, random_state=107)
    found = fit_cut(x, high=0.5)
    low, high = np.quantile(found.means, [0.001, 0.999])
    assert low < 0.0 < high
    recording = record(lambda q: [found.size(*q)], 2)
    z = np.random.default_rng(108).standard_normal((2, 1000))
    assert_allclose(recording(z)[0], found.size(*z), rtol=1e-12)


def test_a_skewed_lot_gives_its_shape() -> None:
    """400 parts of a gamma population of skewness 1: mean, spread and skewness come back."""
    x = np.random.default_rng(109).gamma(4.0, size=400)
    found = fit_skewed(x)
    assert_allclose(found.fitted.mean, 4.0, atol=5.0 * 2.0 / 20.0)
    assert_allclose(found.fitted.sd, 2.0, rtol=0.2)
    assert 0.6 < found.fitted.skewness < 1.4  # type: ignore[attr-defined]
    sizes = found.size(*np.random.default_rng(110).standard_normal((2, 100_000)))
    assert stats.kstest(sizes, stats.gamma(4.0).cdf).statistic < 0.06
    assert "eight values" in found.notes[0]
    recording = record(lambda q: [found.size(*q)], 2)
    z = np.random.default_rng(118).standard_normal((2, 500))
    assert_allclose(recording(z)[0], found.size(*z), rtol=1e-12)
    assert_allclose(found.share_outside(-1e3, 8.0).mean(), stats.gamma(4.0).sf(8.0), rtol=0.5)


def test_two_populations_come_apart() -> None:
    """NIST's two batches of ceramic: means 688.999 and 611.156, spreads 65.5 and 61.9 by batch;
    unlabelled, a mixture finds populations on either side of the grand mean and fits better.
    """
    with (DATA / "process_two_batches.csv").open() as file:
        rows = list(csv.DictReader(file))
    x = np.array([float(r["strength"]) for r in rows])
    for batch, mean, sd in (("1", 688.9986, 65.54909), ("2", 611.1560, 61.85425)):
        part = x[[r["batch"] == batch for r in rows]]
        assert_allclose([part.mean(), part.std(ddof=1)], [mean, sd], rtol=1e-5)
    process, value = fit_two(x)
    assert isinstance(process, Mixture)
    means = sorted(p.mean for _, p in process.parts)
    assert means[0] < x.mean() < means[1]
    assert value > float(stats.norm(x.mean(), x.std()).logpdf(x).sum())
    rng = np.random.default_rng(111)
    y = np.concatenate([rng.normal(0.0, 1.0, 600), rng.normal(5.0, 0.5, 400)])
    clear, _ = fit_two(y)
    assert isinstance(clear, Mixture)
    (share, one), (_, two) = sorted(clear.parts, key=lambda p: p[1].mean)
    assert_allclose([share, one.mean, one.sd, two.mean, two.sd], [0.6, 0, 1, 5, 0.5], atol=0.15)


@pytest.mark.parametrize(("n", "low", "high"), [(12, 0.04, 0.062), (100, 0.04, 0.062)])
def test_the_normality_test_refuses_one_in_twenty(n: int, low: float, high: float) -> None:
    """A2* above 0.752 in 5.1 % (n = 12) and 5.0 % (n = 100) of normal lots; 0.752 is p = 0.05."""
    rng = np.random.default_rng(112)
    values = [normality(rng.standard_normal(n)) for _ in range(3000)]
    assert low < np.mean([a > 0.752 for a, _ in values]) < high
    for a, p in values[:50]:
        assert 0.0 <= p <= 1.0
        assert (a > 0.752) == (p < 0.0498) or abs(a - 0.752) < 0.01


@pytest.mark.parametrize(
    ("make", "n", "name"),
    [
        (lambda r, n: r.normal(size=n), 15, "normal"),
        (lambda r, n: r.normal(size=n), 60, "normal"),
        (lambda r, n: r.gamma(1.5, size=n), 60, "skewed"),
        (lambda r, n: r.normal(size=n) + 6.0 * (np.arange(n) % 5 < 2), 60, "mixture"),
    ],
)
def test_the_shape_is_normal_unless_the_readings_refuse_it(make: object, n: int, name: str) -> None:
    """Clear cases choose the shape they were made from; few parts choose nothing."""
    assert callable(make)
    rng = np.random.default_rng(113)
    found = choose(make(rng, n), rng)
    assert found.chosen.name == name
    low, high = found.tail(found.chosen.process.mean + 3.0 * found.chosen.process.sd)
    assert 0.0 < low <= high
    if n < 20:
        assert "cannot choose" in found.reason


def test_readings_that_fit_nothing_are_smoothed() -> None:
    """Three separate clusters of unlike size are none of the shapes tried."""
    rng = np.random.default_rng(114)
    x = np.concatenate([rng.normal(0, 0.2, 60), rng.normal(10, 0.2, 40), rng.normal(30, 0.2, 60)])
    found = choose(x, rng)
    assert found.chosen.name == "kernel"
    assert "nothing is known beyond" in found.reason


def test_the_spread_behind_magnitudes() -> None:
    """Run-outs of 60 parts: exact chi-square interval of each axis; Rice finds the offset."""
    rng = np.random.default_rng(115)
    hits = 0
    for _ in range(400):
        r = np.hypot(*rng.normal(0.0, 2.0, size=(2, 10)))
        found = fit_rayleigh(r)
        hits += found.low <= 2.0 <= found.high
    assert abs(hits / 400 - 0.95) < 5.0 * math.sqrt(0.95 * 0.05 / 400)
    r = np.hypot(rng.normal(6.0, 1.0, size=200), rng.normal(0.0, 1.0, size=200))
    rice = fit_rice(r)
    assert np.quantile(rice.means, 0.001) < 6.0 < np.quantile(rice.means, 0.999)
    assert np.quantile(rice.sds, 0.001) < 1.0 < np.quantile(rice.sds, 0.999)
    assert "direction is unknown" in rice.notes[0]


def test_parts_read_at_two_ages() -> None:
    """Mean and scatter of settling, pair by pair, the gauge's scatter taken out twice."""
    rng = np.random.default_rng(116)
    a = rng.normal(0.0, 0.004, size=2000)
    b = a + rng.normal(-0.005, 0.0015, size=2000)
    found = paired_change(
        a + rng.normal(0, 0.001, 2000), b + rng.normal(0, 0.001, 2000), gauge_sd=0.001
    )
    assert found.mean.low < -0.005 < found.mean.high
    assert_allclose(found.sd.value, 0.0015, rtol=0.1)
    assert found.sd.low < found.sd.value < found.sd.high
    assert found.evidence.n == 2000


def test_makers_are_grouped_where_they_cannot_be_told_apart() -> None:
    """Three like makers fall into different groups in at most 5 % of 300 repeats."""
    rng = np.random.default_rng(117)
    wrong = 0
    for _ in range(300):
        found = compare_makers({k: rng.normal(size=12) for k in ("North", "Coast", "Ridge")})
        wrong += len(found.groups) > 1
    assert wrong / 300 <= 0.05 + 4.0 * math.sqrt(0.05 * 0.95 / 300)
    chain = compare_makers(
        {
            "North": rng.normal(0.0, 1.0, 30),
            "Coast": rng.normal(0.75, 1.0, 30),
            "Ridge": rng.normal(1.5, 1.0, 30),
        }
    )
    apart = {(c.first, c.second) for c in chain.comparisons if c.means_apart}
    assert ("North", "Ridge") in apart
    spread = compare_makers({"North": rng.normal(0, 1, 40), "Coast": rng.normal(0, 4, 40)})
    assert spread.groups == (("North",), ("Coast",))
    assert spread.comparisons[0].spreads_apart


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: fit_rounded([1.0], 0.1), "at least 2"),
        (lambda: fit_rounded([1.0, 2.0], 0.0), "step above 0"),
        (lambda: fit_cut([1.0, 2.0, 3.0], 5.0, 4.0), "low < high"),
        (lambda: fit_cut([1.0, 1.0, 1.0], 0.0, 4.0), "all readings are alike"),
        (lambda: fit_skewed(np.ones(9)), "all readings are alike"),
        (lambda: fit_two(np.ones(9)), "all readings are alike"),
        (lambda: fit_rayleigh([-1.0, 1.0]), "cannot be negative"),
        (lambda: fit_rayleigh([0.0, 0.0]), "all magnitudes are 0"),
        (lambda: fit_rice([1.0, 1.0, 1.0]), "alike"),
        (lambda: paired_change([1.0, 2.0], [1.0]), "as many at either age"),
        (lambda: paired_change([1.0, 2.0], [1.0, math.nan]), "lacks a reading"),
        (lambda: paired_change([1.0, 2.0], [2.0, 3.0]), "step is too coarse"),
        (lambda: compare_makers({"North": [1.0, 2.0]}), "at least two makers"),
        (lambda: compare_makers({"North": [1.0, 2.0], "Coast": [1.0]}), "Coast: needs"),
        (lambda: compare_makers({"North": [1.0, 2.0], "Coast": [1.0, 1.0]}), "Coast: all"),
        (lambda: normality([1.0, 2.0]), "at least 8"),
        (lambda: choose([1.0], np.random.default_rng(0)), "at least two"),
        (
            lambda: DrawnEvidence(
                means=np.zeros(2), sds=np.zeros(3), n=3, fitted=Normal(mean=0, sd=1), method=""
            ),
            "as many means",
        ),
    ],
)
def test_readings_that_cannot_be_fitted_are_refused(make: object, message: str) -> None:
    """Too few, alike or senseless readings are named."""
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
