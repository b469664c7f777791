"""What a concept demands of its shops over assumed ranges, against the closed form."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import compare
from tolsim.answers.compare_results import AlternativeResult
from tolsim.report.compare import comparison_payload, comparison_text
from tolsim.spec.load import load_study

RING = (-4.0, 1.0)


def _rate(mean: float, sd: float) -> float:
    """Share of units with a loose seat: bore N(mean, sd), the ring above, two seats apart."""
    p = float(stats.norm.cdf((mean - RING[0]) / math.hypot(sd, RING[1])))
    return 1.0 - (1.0 - p) ** 2


def _concepts(folder: Path, target: float, ranges: str) -> AlternativeResult:
    route = f'[[diameter.route]]\nstep = "machine"\nmean_um = -14\nsd_um = 3\n{ranges}\n'
    write(
        folder,
        bore_route=route,
        ring_route=machine("outside", *RING),
        study_more=f'name = "first"\n[targets]\nloose = {target}\n'
        '[[alternative]]\nname = "same"\nbearing = "bearings/r"\n',
    )
    found = compare([load_study(folder)], draws=2**17, workers=1, plain=True)
    assert "Over the whole of the assumed ranges" in comparison_text(comparison_payload(found))
    return found.alternatives[0]


def test_the_demand_ends_where_the_worst_corner_meets_the_target(tmp_path: Path) -> None:
    """The windows keep the target at their loose corner, by the closed form, and nearly use it
    up; the counted rate is that of the corner; lots are asked for what the windows allow."""
    target = 0.02
    a = _concepts(tmp_path, target, "mean_range_um = [-18, -10]\nsd_range_um = [2, 4]")
    assert a.demand is not None
    assert a.demand.windows is not None
    (window,) = a.demand.windows.values()
    worst = _rate(1e3 * window.mean[1], 1e3 * window.sd)
    assert 0.4 * target < worst < 1.05 * target
    assert a.demand.rates["loose"].low < worst < a.demand.rates["loose"].high
    (condition,) = a.conditions
    assert (condition.box, condition.sd) == (window.mean, window.sd)


def test_everything_is_allowed_where_the_whole_range_keeps_the_target(tmp_path: Path) -> None:
    """A concept that survives everywhere demands no more than its ranges."""
    a = _concepts(tmp_path, 0.5, "mean_range_um = [-18, -14]\nsd_range_um = [2, 4]")
    assert a.demand is not None
    assert a.demand.windows is not None
    (window,) = a.demand.windows.values()
    assert [1e3 * m for m in window.mean] == pytest.approx([-18.0, -14.0])
    assert 1e3 * window.sd == pytest.approx(4.0)
    assert [w.survives for w in a.whole] == [True]


def test_nothing_within_the_ranges_keeps_the_target(tmp_path: Path) -> None:
    """Where even the best place misses the target there is no demand, and its rate is told."""
    target = 0.0002
    a = _concepts(tmp_path, target, "mean_range_um = [-15, -13]\nsd_range_um = [3, 4]")
    assert a.demand is not None
    assert a.demand.windows is None
    found = a.demand.rates["loose"]
    assert found.low < _rate(-15.0, 3.0) < found.high
    assert a.conditions == ()
    assert [w.survives for w in a.whole] == [False]
