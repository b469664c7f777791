"""The public estimator: which method it takes, what it refuses, what it never does."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.special import ndtr

from tests.chance.problems import FUNCTIONS, ProblemCase, hidden, shapes
from tolsim.chance.estimate import Estimate, count_plain, estimate
from tolsim.chance.event import Event, event_of
from tolsim.chance.mixture import MixtureSettings
from tolsim.record import record

RARE = event_of(record(FUNCTIONS["linear_p1e-06_n10"][1], 10))
ODD = {c.name: c for c in shapes()}
LONG = ("ring_10_of_40", "ring_20_of_40")


def near(got: Estimate, exact: float) -> None:
    """Within 4.5 of its own standard errors, once in 150 000 otherwise."""
    assert got.trusted, got.reason
    assert abs(math.log(got.value / exact)) < 4.5 * got.relative_error


@pytest.mark.parametrize(
    "case",
    [pytest.param(c, marks=pytest.mark.slow) if name in LONG else c for name, c in ODD.items()],
    ids=lambda c: c.name,
)
def test_problems_that_break_one_assumption(case: ProblemCase) -> None:
    """Rings up to 40 dimensions, pockets, decoys, cliffs and units apart: right, and precise."""
    got = estimate(case.event, seed=11, plain_draws=2**14)
    near(got, case.exact)
    assert got.relative_error < 0.06
    assert got.evaluations < 1.5e6


def test_ring_without_slopes() -> None:
    """A ring at 1e-6 in 40 dimensions is also found where slopes and margins are hidden."""
    case = ODD["ring_2_of_40"]
    got = estimate(hidden(case.event, gradient=False), seed=12, plain_counts=(1, 2**20))
    near(got, case.exact)


def test_counting_decides_what_it_can_see() -> None:
    """Enough failures in the plain run: exact binomial, no further evaluation."""
    event = event_of(record(lambda z: [2.0 - z[0]], 1))
    got = estimate(event, seed=1, plain_draws=2**16)
    assert (got.method, got.evaluations, got.n) == ("plain", 0.0, 2**16)
    near(got, float(ndtr(-2.0)))
    assert got.reason == "counted as precisely as asked"


def test_counts_may_be_handed_in() -> None:
    """A plain run that was made elsewhere is taken instead of a new one."""
    calls: list[int] = []
    event = Event(dimension=1, values=lambda z: calls.append(1) or z[0])  # type: ignore[func-returns-value]
    got = estimate(event, seed=1, plain_counts=(1000, 10_000))
    assert (got.value, got.n, calls) == (0.1, 10_000, [])


def test_same_seed_same_answer() -> None:
    """Everything repeats with the seed, whatever the workers; another seed differs."""
    a = estimate(RARE, seed=0, plain_draws=2**15, workers=1)
    b = estimate(RARE, seed=0, plain_draws=2**15, workers=3)
    c = estimate(RARE, seed=1, plain_draws=2**15)
    assert (a.value, a.low, a.high, a.evaluations) == (b.value, b.low, b.high, b.evaluations)
    assert a.diagnostics == b.diagnostics
    assert a.value != c.value


def test_diagnostics_are_data() -> None:
    """Whoever prints finds the numbers behind the verdict, ready for JSON."""
    got = estimate(RARE, seed=3, plain_counts=(2, 2**20))
    facts = json.loads(json.dumps(got.diagnostics))
    assert facts["missed"] < 1.6
    assert facts["largest_share"] < 0.05
    assert facts["unseen_bound"] == pytest.approx(3.0 / 2**20, rel=0.01)
    assert facts["nearest_distance"][0] == pytest.approx(4.753424308822899, rel=1e-3)
    assert len(facts["nearest"][0]) == 10
    assert got.sample is not None
    assert got.sample.weight.sum() / got.sample.n == pytest.approx(1e-6, rel=0.1)


def test_an_impossible_failure_is_a_bound() -> None:
    """What no search meets is no 0: the exact upper bound of the plain run, and why."""
    event = event_of(record(lambda z: [1.0 + np.exp(z[0])], 2))
    got = estimate(event, seed=4, plain_draws=2**15)
    assert (got.method, got.value, got.low, got.trusted) == ("bound", 0.0, 0.0, False)
    assert got.high == pytest.approx(3.688879 / 2**15, rel=1e-3)
    assert got.reason.startswith("no failure was met by descent")


def test_a_count_that_contradicts_is_believed() -> None:
    """Fifty failures where the samplers see one in a million: the exact count stands, with why.

    It is how a pocket behind a cliff shows that no sampler can find.
    """
    got = estimate(RARE, seed=5, plain_counts=(50, 2**20))
    assert got.method == "plain"
    assert got.trusted
    assert "50 failures in 1048576 plain draws contradict" in got.reason
    assert got.low < 50 / 2**20 < got.high
    assert "contradict" in got.diagnostics["against_mixture"]


def test_a_mixture_that_misses_is_replaced_by_subset_runs() -> None:
    """With one round and a starved fit the cross-examination objects and repeats answer instead.

    A pilot of 30 draws in 40 dimensions cannot fit a ring of 20.
    """
    case = ODD["ring_20_of_40"]
    weak = MixtureSettings(pilot=30, rounds=1, least=500, most=500)
    got = estimate(
        hidden(case.event, gradient=False), seed=6, plain_counts=(1, 2**20), settings=weak
    )
    assert got.method == "subset replicates"
    assert got.reason.startswith("mixture rejected")
    assert len(got.diagnostics["replicates"]) == 10
    near(got, case.exact)


def test_a_pocket_behind_a_cliff_is_bounded() -> None:
    """What neither slope nor level leads to is missed by all: its bound is printed beside.

    A ball of 2e-7 without slope, away from a plane at 1e-6: the estimate may see the plane
    alone, and the bound of 2.9e-6 covers what it missed.
    """

    def values(z: np.ndarray) -> np.ndarray:
        pocket = np.hypot(z[0] + 5.6, z[1]) < 0.6
        return np.where(pocket, -1.0, 4.753424308822899 - z[2])

    got = estimate(Event(dimension=3, values=values), seed=7, plain_counts=(1, 2**20))
    assert got.trusted
    assert got.high + got.diagnostics["unseen_bound"] > 1.0e-6 + 2e-7
    assert got.diagnostics["unseen_bound"] > 2e-7


def test_a_budget_leaves_the_plain_result() -> None:
    """Too few evaluations for the method: the count stands and the reason says so."""
    got = estimate(RARE, seed=8, plain_counts=(3, 2**20), budget=20_000)
    assert (got.method, got.value) == ("plain", 3 / 2**20)
    assert got.reason == "a budget of 2e+04 evaluations does not suffice"
    assert got.evaluations <= 20_000


def test_a_stop_leaves_the_plain_result() -> None:
    """A caller's time limit ends the rare-event method, not the answer."""
    got = estimate(RARE, seed=9, plain_counts=(0, 2**20), stop=lambda: True)
    assert got.method == "bound"
    assert "stopped" in got.reason


def test_precision_asked_is_precision_got() -> None:
    """The final run is as long as the relative half-width needs."""
    for target in (0.05, 0.01):
        got = estimate(RARE, seed=10, plain_counts=(1, 2**20), target_relative=target)
        assert 0.5 * (got.high - got.low) < 1.3 * target * got.value
        near(got, 1e-6)


def test_plain_counts_come_in_whole_blocks() -> None:
    """A count rounds up to blocks of 8192 and does not depend on the threads."""
    one, two = (count_plain(RARE, 10_000, seed=1, workers=w) for w in (1, 2))
    assert one == two
    assert one[1] == 2 * 8192
    with pytest.raises(ValueError, match="target_relative > 0"):
        estimate(RARE, seed=1, target_relative=0.0)
