"""What a concept demands of its shops over assumed ranges, against the closed form."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import compare
from tolsim.answers.compare_concepts import Combo
from tolsim.answers.compare_demand import place_by_counting
from tolsim.answers.compare_results import AlternativeResult
from tolsim.report.compare import comparison_payload, comparison_text
from tolsim.report.compare_evidence import whole_sentences
from tolsim.spec.load import load_study

FloatArray = NDArray[np.float64]
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


def test_survival_is_that_of_all_corners(tmp_path: Path) -> None:
    """Just below and just above the rate of the best and of the worst corner, by the closed form,
    a concept survives nowhere, in part, and everywhere."""
    ranges = "mean_range_um = [-14, -12]\nsd_range_um = [3, 4]"
    best, worst = _rate(-14.0, 3.0), _rate(-12.0, 4.0)
    for k, (target, wanted) in enumerate(
        [(0.5 * best, False), (1.5 * best, None), (1.2 * worst, True)]
    ):
        (found,) = _concepts(tmp_path / str(k), target, ranges).whole
        assert found.survives is wanted, target
        assert found.best.rate.low < best < found.best.rate.high
        assert found.worst.rate.low < worst < found.worst.rate.high


def test_the_best_place_is_found_where_two_ways_to_fail_balance() -> None:
    """From a poor start the place that is counted best lies within a step of the bottom of a
    valley whose sides are the ways to fail, and of a start that is best nothing is lost."""

    def valley(combos: list[Combo]) -> FloatArray:
        x, y = (np.array([c[k][0] for c in combos]) for k in (0, 1))
        return np.asarray(np.exp(np.maximum(0.4 - x, 2.0 * (x - 0.4)) + 3.0 * np.abs(y + 0.7)))

    means = ((-1.0, 1.0), (-1.0, 1.0))
    for start in (((-1.0, 0.2), (1.0, 0.3)), ((0.4, 0.2), (-0.7, 0.3))):
        (x, sx), (y, sy) = place_by_counting(means, start, valley)
        assert (sx, sy) == (0.2, 0.3)
        assert abs(x - 0.4) <= 0.04
        assert abs(y + 0.7) <= 0.04
    assert (x, y) == (0.4, -0.7)


@pytest.mark.parametrize(
    ("share", "low", "high", "words"),
    [
        (0.031, 0.029, 0.033, "was found that keeps the targets"),
        (0.0199, 0.0185, 0.0213, "stays open"),
        (0.018, 0.017, 0.019, "at its very best only"),
    ],
)
def test_what_is_said_without_windows_is_what_was_counted(
    share: float, low: float, high: float, words: str
) -> None:
    """Nothing keeps a target, perhaps something does, or just the best: as the interval says."""
    rates = {"creak": {"share": share, "low": low, "high": high}}
    a = {
        "whole_ranges": [],
        "demand": {"windows": None, "rates": rates},
        "modes": {"creak": {"target": 0.02}},
    }
    (said,) = whole_sentences(a, {})
    assert words in said
