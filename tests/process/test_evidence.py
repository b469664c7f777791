"""Evidence of few parts: marginals of the drawn parameters, ties of a pair, gauge taken out."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from tests.campaigns.coverage_lots import missed
from tests.process.loops import dkw
from tolsim.process.evidence import NormalEvidence, PairEvidence, log_normal_density
from tolsim.process.lots import LotEvidence, lot_evidence, lots_differ
from tolsim.process.plain import Normal
from tolsim.record import record

DRAWS = 200_000
DATA = Path(__file__).parents[1] / "published" / "data"


def ks_to_t(x: np.typing.NDArray[np.float64], n: int, mean: float, sd: float) -> float:
    """Distance of draws from the predictive Student t of n readings."""
    t = (x - mean) / (sd * math.sqrt(1.0 + 1.0 / n))
    return float(stats.kstest(t, stats.t(n - 1).cdf).statistic)


@pytest.mark.parametrize("n", [2, 5, 12, 30])
def test_the_predictive_of_a_part_is_students_t(n: int) -> None:
    """Sizes drawn with fresh parameters follow Student's t with n - 1 degrees of freedom."""
    evidence = NormalEvidence(n=n, mean=0.4, sd=2.0)
    x = evidence.size(*np.random.default_rng(51).standard_normal((3, DRAWS)))
    assert ks_to_t(x, n, 0.4, 2.0) < dkw(DRAWS)


def test_each_seat_of_a_pair_keeps_its_students_t() -> None:
    """Seats with unlike counts and a correlation are each exactly Student t; together they tie."""
    pair = PairEvidence(
        seats=(NormalEvidence(n=12, mean=0.0, sd=1.0), NormalEvidence(n=20, mean=1.0, sd=3.0)),
        correlation=0.7,
        pairs=10,
    )
    z = np.random.default_rng(52).standard_normal((7, DRAWS))
    one, two = pair.sizes((z[0], z[1]), (z[2], z[3]), (z[4], z[5]), z[6])
    assert ks_to_t(one, 12, 0.0, 1.0) < dkw(DRAWS)
    assert ks_to_t(two, 20, 1.0, 3.0) < dkw(DRAWS)
    (m1, m2), (s1, s2), rho = pair.parameters((z[2], z[3]), (z[4], z[5]), z[6])
    # the drawn correlation is Fisher's: artanh(0.7) +- 1/sqrt(7)
    assert_allclose(np.median(rho), 0.7, atol=5e-3)
    assert_allclose(np.std(np.arctanh(rho)), 1.0 / math.sqrt(7.0), rtol=1e-2)
    # the two sample means share the 10 complete pairs of 12 and 20 readings
    standard_1, standard_2 = m1 / s1 * math.sqrt(12.0), (m2 - 1.0) / s2 * math.sqrt(20.0)
    expected = float(np.mean(rho)) * 10.0 / math.sqrt(240.0)
    assert_allclose(np.corrcoef(standard_1, standard_2)[0, 1], expected, atol=0.01)


def test_a_pair_recorded_gives_the_same_sizes() -> None:
    """Evidence of two seats with gauge error can be recorded, seven rows in, two sizes out."""
    pair = PairEvidence(
        seats=(
            NormalEvidence(n=12, mean=0.0, sd=1.0, gauge_sd=0.3),
            NormalEvidence(n=12, mean=1.0, sd=3.0, gauge_sd=0.3),
        ),
        correlation=0.7,
        pairs=12,
    )
    recording = record(
        lambda q: list(pair.sizes((q[0], q[1]), (q[2], q[3]), (q[4], q[5]), q[6])), 7
    )
    z = np.random.default_rng(53).standard_normal((7, 1000))
    direct = pair.sizes((z[0], z[1]), (z[2], z[3]), (z[4], z[5]), z[6])
    assert_allclose(recording(z), np.stack(direct), rtol=1e-12)
    rho = pair.parameters((z[2], z[3]), (z[4], z[5]), z[6])[2]
    assert np.all(np.abs(rho) <= 0.999)


def test_gauge_error_does_not_weaken_the_correlation() -> None:
    """Independent gauge errors are taken out of the correlation as out of the spreads."""
    pair = PairEvidence(
        seats=(
            NormalEvidence(n=4000, mean=0.0, sd=math.hypot(1.0, 0.5), gauge_sd=0.5),
            NormalEvidence(n=4000, mean=0.0, sd=math.hypot(2.0, 0.5), gauge_sd=0.5),
        ),
        correlation=0.6 * 2.0 / (math.hypot(1.0, 0.5) * math.hypot(2.0, 0.5)),
        pairs=4000,
    )
    zero = np.zeros(1)
    _, sds, rho = pair.parameters((zero, zero), (zero, zero), zero)
    assert_allclose([*sds, rho], [[1.0], [2.0], [0.6]], rtol=1e-3)


def test_a_gauge_that_explains_everything_is_said() -> None:
    """Negative variance of the process becomes 0 and a note, not an error."""
    evidence = NormalEvidence(n=12, mean=0.0, sd=0.001, gauge_sd=0.0015)
    assert evidence.process_sd == 0.0
    assert evidence.plug_in() == Normal(mean=0.0, sd=0.0)
    assert "cannot be told from 0" in evidence.notes[0]
    _, sd = evidence.parameters(np.zeros(2), np.array([-3.0, 3.0]))
    assert sd[0] == 0.0
    assert sd[1] > 0.0
    assert NormalEvidence(n=12, mean=0.0, sd=0.001).notes == ()


def test_log_density_is_that_of_the_normal() -> None:
    """Log density of sizes under drawn parameters, broadcast."""
    x = np.linspace(-1.0, 2.0, 5)
    mean, sd = np.array([[0.0], [0.5]]), np.array([[1.0], [2.0]])
    assert_allclose(log_normal_density(x, mean, sd), stats.norm(mean, sd).logpdf(x), rtol=1e-12)
    evidence = NormalEvidence(n=5, mean=0.0, sd=1.0)
    assert_allclose(evidence.log_density(0.3, 0.0, 1.0), stats.norm.logpdf(0.3), rtol=1e-12)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: NormalEvidence(n=1, mean=0.0, sd=1.0), "at least 2 parts"),
        (lambda: NormalEvidence(n=5, mean=0.0, sd=0.0), "5 equal readings"),
        (lambda: NormalEvidence(n=5, mean=0.0, sd=1.0, gauge_sd=-1.0), "must not be negative"),
        (
            lambda: PairEvidence(
                seats=(NormalEvidence(n=5, mean=0, sd=1), NormalEvidence(n=5, mean=0, sd=1)),
                correlation=0.5,
                pairs=3,
            ),
            "at least 4 complete pairs",
        ),
        (
            lambda: PairEvidence(
                seats=(NormalEvidence(n=5, mean=0, sd=1), NormalEvidence(n=5, mean=0, sd=1)),
                correlation=1.0,
                pairs=5,
            ),
            "-1 < correlation < 1",
        ),
        (
            lambda: PairEvidence(
                seats=(NormalEvidence(n=5, mean=0, sd=1), NormalEvidence(n=5, mean=0, sd=1)),
                correlation=0.1,
                pairs=6,
            ),
            "more pairs than readings",
        ),
        (lambda: lot_evidence([1.0, 2.0], ["a", "a"]), "one lot says nothing"),
        (lambda: lot_evidence([1.0, 2.0], ["a", "b"]), "no lot has two parts"),
        (lambda: lot_evidence([1.0, 2.0], ["a"]), "one lot a reading"),
        (lambda: lots_differ([1.0, 1.0, 2.0, 2.0], "aabb"), "step is too coarse"),
    ],
)
def test_evidence_that_says_nothing_is_refused(make: object, message: str) -> None:
    """Too few parts, pairs or lots are named."""
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()


def test_lots_are_reduced_to_means_and_pooled_spread() -> None:
    """Balanced lots give the mean squares of the one-way analysis of variance."""
    rng = np.random.default_rng(54)
    values = (rng.standard_normal((6, 1)) * 2.0 + rng.standard_normal((6, 10))).ravel()
    lots = [k // 10 for k in range(60)]
    found = lot_evidence(values, lots)
    table = values.reshape(6, 10)
    f = stats.f_oneway(*table)
    ratio = found.size * found.lot_sd**2 / found.within_sd**2
    assert_allclose(ratio, f.statistic, rtol=1e-10)
    assert_allclose([found.lots, found.parts, found.size], [6, 60, 10.0])
    assert_allclose(found.between_sd, math.sqrt(found.lot_sd**2 - found.within_sd**2 / 10.0))


def test_lots_that_differ_are_told() -> None:
    """NIST's gear diameters, 10 batches of 10: F = 2.2969 (handbook 1.4.2.10, from memory)."""
    with (DATA / "nist_gear_diameter.csv").open() as file:
        rows = list(csv.DictReader(file))
    found = lots_differ([float(r["diameter"]) for r in rows], [r["batch"] for r in rows])
    assert_allclose(found.ratio, 2.2969, atol=5e-5)
    assert_allclose(found.p_value, stats.f(9, 90).sf(found.ratio), rtol=1e-9)
    assert (found.lots, found.parts) == (10, 100)


@pytest.mark.slow
def test_the_next_lot_is_covered_as_often_as_claimed() -> None:
    """A part of the next lot falls below its predictive 95 % point in 95 % of 1000 repeats.

    The generalised pivotal quantity is not exact: the bound is four standard errors of 1000
    repeats, 2.8 points, on either side.
    """
    rng = np.random.default_rng(55)
    hits = 0
    repeats = 1000
    z = rng.standard_normal((5, 4000))
    for _ in range(repeats):
        lots = 1.5 * rng.standard_normal((5, 1)) + rng.standard_normal((5, 6))
        found = lot_evidence(lots.ravel(), [k // 6 for k in range(30)])
        limit = float(np.quantile(found.next_lot(*z), 0.95))
        hits += 1.5 * rng.standard_normal() + rng.standard_normal() <= limit
    assert abs(hits / repeats - 0.95) < 4.0 * math.sqrt(0.95 * 0.05 / repeats)


def test_a_held_spread_keeps_the_lower_end_of_a_rate() -> None:
    """Two lots, 1000 worlds: draws alone put the true rate below the lower end of a rate too
    often; with the spread between lots held taken in that happens in 2.5 % at most, as the truth
    lies above the upper end in any case. Bounds: four standard errors."""
    found = missed(2, 1.0, 0.01, 1000, draws=500)
    error = math.sqrt(0.025 * 0.975 / found.worlds)
    assert found.below / found.worlds > 0.025 + 4.0 * error
    assert found.below_held / found.worlds < 0.025 + 4.0 * error
    assert found.above / found.worlds < 0.025 + 4.0 * error


def test_parameters_of_lots_have_their_pivots() -> None:
    """Within and lot-mean spreads follow their chi-squares, the mean Student's t."""
    found = LotEvidence(lots=5, parts=30, mean=1.0, lot_sd=2.0, within_sd=1.0, size=6.0)
    z = np.random.default_rng(56).standard_normal((3, DRAWS))
    mean, between, within = found.parameters(*z)
    chi = 25.0 / within**2
    assert stats.kstest(chi, stats.chi2(25).cdf).statistic < dkw(DRAWS)
    t = (mean - 1.0) / (2.0 / math.sqrt(5.0))
    assert stats.kstest(t, stats.t(4).cdf).statistic < dkw(DRAWS)
    lots = between**2 + within**2 / 6.0
    kept = between > 0.0
    assert stats.kstest(16.0 / lots[kept], stats.chi2(4).cdf).statistic < dkw(DRAWS) + float(
        np.mean(~kept)
    )
    still = replace(found, held=True).parameters(*z)
    assert_allclose(still[1], found.between_sd)
    assert_allclose(still[::2], [mean, within])
    recording = record(lambda q: [found.next_lot(*q)], 5)
    rows = np.random.default_rng(57).standard_normal((5, 100))
    assert_allclose(recording(rows)[0], found.next_lot(*rows), rtol=1e-12)
