"""Gauge studies: published totals, intervals that cover, and studies that cannot be worked."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.process.gauge_study import gauge_study, share_of_band

STUDY = Path(__file__).parents[1] / "published" / "data" / "process_gauge_study.csv"


def test_the_manuals_example() -> None:
    """10 parts, 3 appraisers, 3 trials (automotive MSA manual, from memory): the pooled analysis
    of variance gives .199933, .226838, .302373 and 1.042327, the third
    to the rounding of the squares it was printed from.
    """
    with STUDY.open() as file:
        rows = list(csv.DictReader(file))
    found = gauge_study(
        [float(r["value"]) for r in rows], [r["part"] for r in rows], [r["appraiser"] for r in rows]
    )
    assert found.reproducibility is not None
    assert found.pooled
    assert_allclose(
        [
            found.repeatability.value,
            found.reproducibility.value,
            found.both.value,
            found.part.value,
        ],
        [0.199933, 0.226838, 0.302373, 1.042327],
        atol=2e-6,
    )
    assert found.interaction is not None
    assert found.interaction > 0.25
    assert (found.parts, found.appraisers, found.trials) == (10, 3, 3)
    assert_allclose(found.share_of_spread, 0.302373 / math.hypot(0.302373, 1.042327), rtol=1e-5)
    assert_allclose(found.classes_told_apart, 1.41 * 1.042327 / 0.302373, rtol=1e-5)
    for interval in (found.repeatability, found.reproducibility, found.both, found.part):
        assert interval.low < interval.value < interval.high


@pytest.mark.parametrize("interaction", [0.0, 1.0])
def test_intervals_cover_the_true_spreads(interaction: float) -> None:
    """8 parts, 4 appraisers, 3 trials, 300 studies: 95 % intervals hold the truth in at least
    88 % (five standard errors of 300 repeats below 95 %), repeatability within 6.3 points.
    """
    rng = np.random.default_rng(81)
    truth = {
        "repeatability": 1.0,
        "reproducibility": math.hypot(1.5, interaction),
        "both": math.sqrt(1.0 + 1.5**2 + interaction**2),
        "part": 4.0,
    }
    hits = dict.fromkeys(truth, 0)
    part = np.repeat(np.arange(8), 12).tolist()
    who = np.tile(np.repeat(np.arange(4), 3), 8).tolist()
    for _ in range(300):
        y = (
            4.0 * rng.standard_normal((8, 1, 1))
            + 1.5 * rng.standard_normal((1, 4, 1))
            + interaction * rng.standard_normal((8, 4, 1))
            + rng.standard_normal((8, 4, 3))
        )
        found = gauge_study(y.ravel(), part, who)
        for name, value in truth.items():
            interval = getattr(found, name)
            hits[name] += interval.low <= value <= interval.high
    for name, count in hits.items():
        # pooling an interaction that is there spoils the repeatability a little
        assert count / 300 >= 0.95 - 5.0 * math.sqrt(0.95 * 0.05 / 300), name


def test_a_single_appraiser_gives_repeatability_only() -> None:
    """Without a second appraiser nothing is said about reproducibility."""
    rng = np.random.default_rng(82)
    y = 3.0 * rng.standard_normal((20, 1)) + rng.standard_normal((20, 3))
    found = gauge_study(y.ravel(), np.repeat(np.arange(20), 3).tolist())
    assert found.reproducibility is None
    assert found.interaction is None
    within = math.sqrt(float(y.var(axis=1, ddof=1).mean()))
    assert_allclose(found.repeatability.value, within)
    between = float(y.mean(axis=1).var(ddof=1)) - within**2 / 3.0
    assert_allclose(found.part.value, math.sqrt(between))


def test_two_appraisers_and_parts_alike_are_said() -> None:
    """Too few appraisers, and parts that the gauge cannot tell apart, are noted."""
    rng = np.random.default_rng(84)
    y = rng.standard_normal((3, 2, 6))
    y -= y.mean(axis=(1, 2), keepdims=True)
    found = gauge_study(
        y.ravel(), np.repeat(np.arange(3), 12).tolist(), np.tile([0] * 6 + [1] * 6, 3).tolist()
    )
    assert found.part.value == 0.0
    assert "2 appraisers hardly say" in found.notes[0]
    assert "do not differ" in found.notes[-1]


@pytest.mark.parametrize(
    ("values", "parts", "who", "message"),
    [
        ([1.0, 2.0, 3.0], ["a", "a", "b"], None, "part b has 1 readings by one"),
        ([1.0, 2.0], ["a", "b"], None, "2 readings of each"),
        ([1.0, 2.0], ["a", "a"], None, "needs 2 parts"),
        ([1.0, 1.0, 2.0, 2.0], ["a", "a", "b", "b"], None, "step is too coarse"),
        ([1.0, math.nan, 2.0, 2.0], ["a", "a", "b", "b"], None, "must be finite"),
        ([1.0, 2.0], ["a"], None, "one part and one appraiser a reading"),
    ],
)
def test_studies_that_cannot_be_worked_are_refused(
    values: list[float], parts: list[str], who: list[str] | None, message: str
) -> None:
    """Gaps in the table, missing repeats and a coarse step are named."""
    with pytest.raises(ValueError, match=message):
        gauge_study(values, parts, who)


def test_the_gauge_against_the_band() -> None:
    """Six standard deviations of 1.5 µm are 36 % of a band of 25 µm."""
    assert_allclose(share_of_band(0.0015, (-0.042, -0.017)), 0.36)
    with pytest.raises(ValueError, match="low < high"):
        share_of_band(0.001, (1.0, 0.0))
