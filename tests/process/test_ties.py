"""Steps that tie features, parts or a lot together, against parts made one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.process.loops import dkw, rank_correlation, share_error, two_sample
from tolsim.process.base import Process
from tolsim.process.correlation import spearman_of_copula
from tolsim.process.functions import tied
from tolsim.process.gauging import Window
from tolsim.process.plain import Fixed, Normal, Uniform
from tolsim.process.skewed import Lognormal, Skewed
from tolsim.process.ties import SharedFilm, lot_sized
from tolsim.process.unit_gauge import UnitGauge
from tolsim.process.wear import ToolWear
from tolsim.record import record

PARTS = 40_000
DRAWS = 200_000
SLACK = dkw(PARTS) + dkw(DRAWS)
RANK = 5.0 * 1.1 / math.sqrt(PARTS)


def test_one_film_on_bore_and_outside_ties_them() -> None:
    """A sleeve dipped once: both diameters, their rank correlation and the share that is loose
    at both interfaces agree with sleeves coated one by one.
    """
    film = SharedFilm(
        film=Lognormal(mean=0.010, sd=0.002),
        outward=Uniform(low=0.3, high=0.5),
        bore_share=Normal(mean=0.85, sd=0.05),
    )
    rng = np.random.default_rng(31)
    loop = []
    log_sd = math.sqrt(math.log1p(0.04))
    for _ in range(PARTS):
        thick = math.exp(rng.normal(math.log(0.010) - 0.5 * log_sd**2, log_sd))
        growth = 2.0 * rng.uniform(0.3, 0.5) * thick
        bore = rng.normal(0.010, 0.002) - growth * rng.normal(0.85, 0.05)
        outside = rng.normal(-0.008, 0.002) + growth
        loop.append((bore, outside))
    bores, outsides = np.array(loop).T
    z = rng.standard_normal((6, DRAWS))
    x, y = film.sizes(
        0.010 + 0.002 * z[0],
        -0.008 + 0.002 * z[1],
        z_film=z[2],
        z_outward=z[3],
        z_bore=z[4],
        z_outside=z[5],
    )
    assert two_sample(bores, x) < SLACK
    assert two_sample(outsides, y) < SLACK
    assert rank_correlation(x, y) < -0.15  # the tie matters
    assert abs(rank_correlation(bores, outsides) - rank_correlation(x, y)) < RANK
    both = float(np.mean((bores > 0.004) & (outsides < 0.0)))
    apart = float(np.mean(bores > 0.004) * np.mean(outsides < 0.0))
    assert abs(both - float(np.mean((x > 0.004) & (y < 0.0)))) < 1.2 * share_error(both, PARTS)
    assert both > apart + share_error(both, PARTS)


def test_the_seats_of_a_small_lot_share_the_phase_of_the_tool() -> None:
    """Two seats bored one after the other in a lot of ten: sizes and their tie agree."""
    wear = ToolWear(mean=0.0, sd=0.001, wear=-0.0002, parts=50, resolution=0.001)
    rng = np.random.default_rng(32)
    loop = []
    for _ in range(PARTS):
        k = int(rng.integers(50))
        offset = rng.uniform(-0.0005, 0.0005)
        first = -0.0002 * (k - 24.5) + offset + 0.001 * rng.standard_normal()
        second = -0.0002 * ((k + 1) % 50 - 24.5) + offset + 0.001 * rng.standard_normal()
        loop.append((first, second))
    one, two = np.array(loop).T
    z = rng.standard_normal((4, DRAWS))
    x = wear.in_phase(z[0], z[2], z[3])
    y = wear.in_phase(z[1], z[2], z[3], ahead=1)
    assert two_sample(one, x) < SLACK
    assert two_sample(two, y) < SLACK
    assert abs(rank_correlation(one, two) - rank_correlation(x, y)) < RANK
    both = float(np.mean((one > 0.004) & (two > 0.004)))
    assert abs(both - float(np.mean((x > 0.004) & (y > 0.004)))) < 1.2 * share_error(both, PARTS)
    # the population of a long run is what one seat alone shows
    population = wear.process()
    assert two_sample(population.size(z[0]), x) < 2.0 * dkw(DRAWS)


def test_parts_of_one_lot_move_together() -> None:
    """Two parts of a lot are correlated by the share of the variance between lots."""
    rng = np.random.default_rng(33)
    loop = []
    for _ in range(PARTS):
        lot = 0.002 * rng.standard_normal()
        loop.append((rng.normal(lot, 0.003), rng.normal(lot, 0.003)))
    one, two = np.array(loop).T
    z = rng.standard_normal((3, DRAWS))
    x, y = lot_sized(0.003 * z[0], 0.002, z[2]), lot_sized(0.003 * z[1], 0.002, z[2])
    assert two_sample(one, x) < SLACK
    expected = spearman_of_copula(0.002**2 / (0.002**2 + 0.003**2))
    assert abs(rank_correlation(x, y) - expected) < 5.0 * 1.1 / math.sqrt(DRAWS)
    assert abs(rank_correlation(one, two) - expected) < RANK


@pytest.mark.parametrize(
    ("seats", "sd"),
    [
        ((Normal(mean=0.0, sd=0.004), Normal(mean=0.001, sd=0.003)), 0.0),
        ((Normal(mean=0.0, sd=0.004), Normal(mean=0.001, sd=0.003)), 0.0015),
        (
            (
                Skewed(mean=0.0, sd=0.004, skewness=1.0),
                Skewed(mean=0.001, sd=0.003, skewness=-0.7),
            ),
            0.0,
        ),
    ],
)
def test_a_unit_is_rejected_for_either_seat(seats: tuple[Process, Process], sd: float) -> None:
    """Marginals, rank correlation, the share with a loose seat and the yield agree with units
    gauged one by one; some 20 % are rejected.
    """
    rho, window = 0.7, Window(low=-0.005, high=0.006, sd=sd)
    gauge = UnitGauge(seats=seats, rho=rho, window=window)
    rng = np.random.default_rng(34)
    kept = []
    made = 0
    rows = rng.standard_normal((2, 2 * PARTS))
    sizes = np.stack([p.size(z) for p, z in zip(seats, [rows[0], tied(rho, *rows)], strict=True)])
    for first, second in sizes.T.tolist():
        made += 1
        a, b = first + sd * rng.standard_normal(), second + sd * rng.standard_normal()
        if window.low <= a <= window.high and window.low <= b <= window.high:
            kept.append((first, second))
    one, two = np.array(kept).T
    z = rng.standard_normal((gauge.rows, DRAWS))
    x, y = gauge.sizes(*z)
    assert abs(len(kept) / made - gauge.accepted) < share_error(gauge.accepted, made)
    assert two_sample(one, x) < SLACK
    assert two_sample(two, y) < SLACK
    assert abs(rank_correlation(one, two) - rank_correlation(x, y)) < RANK
    loose = float(np.mean(np.maximum(one, two) > 0.0045))
    assert abs(loose - float(np.mean(np.maximum(x, y) > 0.0045))) < 1.2 * share_error(loose, PARTS)
    recording = record(lambda q: list(gauge.sizes(*q)), gauge.rows)
    few = np.ascontiguousarray(z[:, :500])
    assert_allclose(recording(few), np.stack([x, y])[:, :500], rtol=1e-12, atol=1e-15)


def test_independent_seats_pass_a_unit_gauge_each_on_its_own() -> None:
    """Without correlation the yield is the product of the seats' yields."""
    p = Normal(mean=0.0, sd=1.0)
    gauge = UnitGauge(seats=(p, p), rho=0.0, window=Window(low=-1.0, high=2.0))
    assert_allclose(gauge.accepted, 0.8185946141203637**2, rtol=1e-10)


@pytest.mark.parametrize(
    ("seats", "rho", "sd", "message"),
    [
        ((Fixed(value=0.0), Normal(mean=0.0, sd=1.0)), 0.5, 0.0, "spread above 0"),
        ((Normal(mean=0.0, sd=1.0), Normal(mean=0.0, sd=1.0)), 1.0, 0.0, "0.999"),
        (
            (Uniform(low=-1.0, high=1.0), Normal(mean=0.0, sd=1.0)),
            0.5,
            0.1,
            "both seats must be normal",
        ),
    ],
)
def test_unit_gauges_that_cannot_be_worked_are_refused(
    seats: tuple[Process, Process], rho: float, sd: float, message: str
) -> None:
    """What has no exact form is refused, not approximated in silence."""
    with pytest.raises(ValueError, match=message):
        UnitGauge(seats=seats, rho=rho, window=Window(low=-0.5, high=0.5, sd=sd))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"sd": -1.0, "wear": 0.1, "parts": 5}, "must not be negative"),
        ({"sd": 1.0, "wear": 0.1, "parts": 0}, "count 1 to 20000"),
        ({"sd": 1.0, "wear": math.inf, "parts": 5}, "finite number"),
    ],
)
def test_senseless_tools_are_refused(given: dict[str, float], message: str) -> None:
    """Counts and spreads of a wearing tool are checked."""
    with pytest.raises(ValueError, match=message):
        ToolWear(mean=0.0, **given)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="leave no population"):
        ToolWear(mean=0.0, sd=0.0, wear=0.1, parts=5).process()


def test_a_tool_without_wear_is_its_scatter() -> None:
    """One part between corrections, or no wear, leaves the scatter and the offset's error."""
    plain = ToolWear(mean=1.0, sd=0.3, wear=0.0, parts=100).process()
    assert plain == Normal(mean=1.0, sd=0.3)
    single = ToolWear(mean=1.0, sd=0.3, wear=9.0, parts=1, reset_gauge_sd=0.4).process()
    assert single == Normal(mean=1.0, sd=0.5)
    comb = ToolWear(mean=0.0, sd=0.0, wear=1.0, parts=3, resolution=0.2).process()
    assert_allclose(comb.cdf([-1.1, -0.9, 0.0, 0.9]), [0.0, 1 / 3, 0.5, 2 / 3], atol=1e-9)
    z = np.array([-2.0, 0.1, 2.0])
    assert_allclose(ToolWear(mean=0.0, sd=1.0, wear=0.0, parts=9).position(z), 0.0)
