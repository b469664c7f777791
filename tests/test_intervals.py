"""Exact intervals against published tables, scipy and simulated coverage."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from tolsim.intervals import (
    Interval,
    clopper_pearson,
    mean_interval,
    poisson_interval,
    sd_interval,
    weighted_counts,
    wilson,
)

DATA = Path(__file__).parent / "published" / "data" / "statistics_binomial.csv"
ROWS = list(csv.DictReader(DATA.open()))


def test_table_is_read() -> None:
    """The table of binomial intervals holds its fifteen pairs."""
    assert len(ROWS) == 15


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['x']}/{r['n']}")
def test_binomial_intervals_match_the_table(row: dict[str, str]) -> None:
    """Exact and score intervals equal those of scipy and statsmodels, 0 and n of n included."""
    x, n = int(row["x"]), int(row["n"])
    exact, score = clopper_pearson(x, n), wilson(x, n)
    assert_allclose([exact.low, exact.high], [float(row["cp_lo"]), float(row["cp_hi"])], rtol=1e-9)
    want = [float(row["wilson_lo"]), float(row["wilson_hi"])]
    assert_allclose([score.low, score.high], want, rtol=1e-9, atol=1e-15)
    one_sided = clopper_pearson(x, n, confidence=0.90).high
    assert_allclose(one_sided, float(row["cp_upper_one_sided95"]), rtol=1e-9)


@pytest.mark.parametrize(
    ("failed", "n", "low", "high"),
    [
        # Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, score method without
        # continuity correction, 95 %; 4 decimals; from memory
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_matches_published_table(failed: int, n: int, low: float, high: float) -> None:
    """The score interval reproduces the published examples, zero failures included."""
    got = wilson(failed, n)
    assert_allclose([got.low, got.high], [low, high], rtol=0, atol=0.5e-4)


@pytest.mark.parametrize("count", [0, 1, 3, 17, 1000])
def test_poisson_interval_matches_chi_square(count: int) -> None:
    """Garwood's interval equals half chi-square quantiles of scipy."""
    got = poisson_interval(count, confidence=0.9)
    low = 0.0 if count == 0 else 0.5 * stats.chi2.ppf(0.05, 2 * count)
    assert_allclose([got.low, got.high], [low, 0.5 * stats.chi2.ppf(0.95, 2 * count + 2)])


def test_equal_weights_give_the_poisson_interval() -> None:
    """The interval of weighted counts with one weight is the exact Poisson one, scaled."""
    for count in (0, 1, 5, 40):
        got, want = weighted_counts(2.0 * count, 4.0 * count, 2.0), poisson_interval(count)
        assert_allclose([got.low, got.high], [2.0 * want.low, 2.0 * want.high], rtol=1e-12)


def test_weighted_counts_cover() -> None:
    """The gamma interval covers at least 95 % over 4000 sums of three weighted Poisson counts.

    It is known to be conservative; the bound is 0.95 less four standard errors of a coverage.
    """
    rng = np.random.default_rng(3)
    w, mean = np.array([1.0, 0.2, 3.0]), np.array([4.0, 10.0, 0.7])
    truth, hits = float(w @ mean), 0
    for x in rng.poisson(mean, (4000, 3)):
        i = weighted_counts(float(w @ x), float(w**2 @ x), 3.0)
        hits += i.low <= truth <= i.high
    assert hits / 4000 > 0.95 - 4 * np.sqrt(0.95 * 0.05 / 4000)


def test_mean_interval_matches_scipy() -> None:
    """Student's interval of twelve values equals scipy's."""
    got = mean_interval(3.0, 0.5, 12, confidence=0.99)
    want = stats.t.interval(0.99, 11, loc=3.0, scale=0.5 / np.sqrt(12))
    assert_allclose([got.low, got.high], want, rtol=1e-9)


def test_sd_interval_matches_known_factors() -> None:
    """Twelve values leave a standard deviation known to 0.708 ... 1.698 (chi-square, 11)."""
    got = sd_interval(2.0, 12)
    assert_allclose([got.low / 2, got.high / 2], [0.708395, 1.697878], atol=5e-7)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: clopper_pearson(3, 2), "0 <= failed <= n"),
        (lambda: clopper_pearson(0, 0), "n > 0"),
        (lambda: wilson(-1, 5), "0 <= failed <= n"),
        (lambda: clopper_pearson(1, 2, confidence=1.0), "between 0 and 1, got 1.0"),
        (lambda: weighted_counts(1.0, 1.0, 0.0), "largest > 0"),
        (lambda: mean_interval(0.0, 1.0, 1), "n >= 2"),
        (lambda: sd_interval(-1.0, 5), "sd >= 0"),
    ],
)
def test_nonsense_is_refused(call: object, message: str) -> None:
    """Counts, sizes and confidences out of range raise with what was found."""
    with pytest.raises(ValueError, match=message):
        call()  # type: ignore[operator]


def test_intervals_are_records() -> None:
    """An interval names its method and confidence and cannot be changed."""
    i = clopper_pearson(1, 10)
    assert (i.method, i.confidence, i.value) == ("exact binomial", 0.95, 0.1)
    assert isinstance(i, Interval)
    with pytest.raises(AttributeError):
        i.low = 0.0  # type: ignore[misc]
