"""What is said about sorted, mixed, drifting, changed and rounded lots, and when it is silent."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.campaigns.detection import POPULATIONS
from tolsim.process.departures import statistics
from tolsim.process.detection import critical_value, detect, seen
from tolsim.process.rounding import spread_ties, step_of

DATA = Path(__file__).parents[1] / "published" / "data"


@pytest.mark.parametrize("n", [12, 30, 100])
@pytest.mark.parametrize("ordered", [True, False])
def test_plain_lots_raise_few_false_alarms(n: int, ordered: bool) -> None:
    """All questions together see something in at most 5 % of 4000 plain normal lots.

    They are set for 4.5 %; the bound adds four standard errors (1.3 points).
    """
    x = np.random.default_rng([91, n]).standard_normal((4000, n))
    found = statistics(x, order=ordered)
    alarm = np.zeros(4000, dtype=bool)
    for name, values in found.items():
        alarm |= values > critical_value(name, n, order=ordered)
    assert float(alarm.mean()) <= 0.045 + 4.0 * math.sqrt(0.045 * 0.955 / 4000)
    assert float(alarm.mean()) >= 0.03  # and it does look


@pytest.mark.parametrize(
    ("name", "n", "at_least"),
    [
        # guard: from this code, shares of 1000 lots in the campaign less five standard errors
        ("cut at +0.5 sd", 100, 0.97),
        ("cut at ±1 sd", 100, 0.95),
        ("middle ±0.5 sd taken out", 30, 0.97),
        ("two equal humps 3 sd apart", 100, 0.70),
        ("two equal humps 4 sd apart", 30, 0.55),
        ("one in twenty 6 sd off", 100, 0.88),
        ("drift of 2 sd over the lot", 30, 0.45),
        ("step of 1.5 sd half-way", 30, 0.60),
        ("tool cycle of 25 parts, 4 sd wide", 100, 0.92),
    ],
)
def test_departures_are_seen_as_often_as_the_campaign_says(
    name: str, n: int, at_least: float
) -> None:
    """60 lots of each departure are named by the right kind in about the campaign's share."""
    make, hits, _ = POPULATIONS[name]
    rng = np.random.default_rng(92)
    count = 0
    for _ in range(60):
        found = detect(0.003 * make(rng, n), ordered=True)
        count += any(seen(found, kind) for kind in hits)
    assert count / 60 >= at_least - 0.12


def test_twelve_parts_cannot_tell_a_mixture() -> None:
    """Twelve parts of a plain lot leave the mixture open and say how many parts would show it."""
    x = np.random.default_rng(93).normal(0.010, 0.003, size=12)
    found = {f.kind: f for f in detect(x, ordered=True)}
    assert found["mixture"].verdict == "cannot tell"
    assert "cannot tell from 12 parts" in found["mixture"].text
    assert "95" in found["mixture"].text
    assert found["rounding"].verdict == "not seen"
    large = {f.kind: f for f in detect(np.random.default_rng(94).normal(size=300))}
    assert large["mixture"].verdict == "not seen"
    assert "drift" not in large


def test_two_batches_of_ceramic_are_told_apart() -> None:
    """NIST's 480 strengths of two batches: not one normal population; batch means 689 and 611."""
    with (DATA / "process_two_batches.csv").open() as file:
        rows = list(csv.DictReader(file))
    strength = np.array([float(r["strength"]) for r in rows])
    found = detect(strength)
    assert seen(found, "mixture") or seen(found, "shape")
    in_order = np.concatenate([strength[[r["batch"] == b for r in rows]] for b in ("1", "2")])
    change = next(f for f in detect(in_order, ordered=True) if f.kind == "change")
    assert change.verdict == "seen"
    assert change.place is not None
    assert abs(change.place - 241) <= 12  # the second batch begins with reading 241


def test_the_place_of_a_departure_is_named() -> None:
    """Edge, gap, groups and step are located."""
    rng = np.random.default_rng(95)
    x = np.abs(rng.normal(0.0, 0.004, size=80)) + 0.010
    edge = next(f for f in detect(x) if f.kind == "sorted edge")
    assert edge.verdict == "seen"
    assert edge.place == pytest.approx(x.min())
    assert "lower end is cut off" in edge.text
    y = np.concatenate([rng.normal(0.0, 0.001, 40), rng.normal(0.010, 0.001, 40)])
    found = detect(y, ordered=True)
    change = next(f for f in found if f.kind == "change")
    assert change.place == 41.0
    jump = float(y[40:].mean() - y[:40].mean()) * 1e3
    assert f"change by {jump:+.3g} µm at part 41" in change.text
    groups = next(f for f in found if f.kind == "mixture")
    assert "40 parts about" in groups.text
    gap = next(f for f in found if f.kind == "hollow middle")
    assert gap.place is not None
    assert 0.003 < gap.place < 0.007
    both = next(f for f in detect(rng.uniform(0.0, 0.01, size=300)) if f.kind == "sorted edge")
    assert "both ends are cut off" in both.text


def test_rounding_is_seen_and_not_taken_for_a_gap() -> None:
    """Twelve parts on three values 5 µm apart: rounding is named, nothing else is claimed."""
    x = np.array([10, 10, 10, 15, 15, 15, 15, 15, 20, 20, 20, 15]) * 1e-3
    found = detect(x)
    assert [f.kind for f in found if f.verdict == "seen"] == ["rounding"]
    assert "12 readings stand on 3 values 5 µm apart" in found[0].text
    alike = detect(np.full(12, 0.010), ordered=True)
    assert {f.verdict for f in alike} == {"cannot tell"}
    few = detect([0.010, 0.011, 0.0125, 0.013])
    assert {f.verdict for f in few if f.kind != "rounding"} == {"cannot tell"}


def test_steps_and_ties() -> None:
    """The step is the common divisor; ties are spread within half a step and keep their mean."""
    assert_allclose(step_of([41.0025, 41.0100, 41.0050]), 0.0025)
    assert step_of([41.0, 41.0]) == 0.0
    x = np.array([1.0, 2.0, 2.0, 2.0, 3.0])
    spread = spread_ties(x, 1.0)
    assert np.all(np.abs(spread - x) < 0.5)
    assert_allclose(spread[1:4].mean(), 2.0)
    assert np.unique(spread).size == 5


@pytest.mark.parametrize(
    ("values", "message"),
    [([1.0], "at least two"), ([1.0, math.nan], "finite readings"), ([[1.0, 2.0]], "one lot")],
)
def test_what_is_no_lot_is_refused(values: list[float], message: str) -> None:
    """One reading, gaps and tables are refused."""
    with pytest.raises(ValueError, match=message):
        detect(values)
    with pytest.raises(ValueError, match="at least 8 parts"):
        statistics(np.arange(5.0), order=False)
    with pytest.raises(ValueError, match="all parts are alike"):
        statistics(np.ones(9), order=False)
