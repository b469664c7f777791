"""Plans for what is not one normal size: alignment, settling, parts of another shape."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.answers.test_predict_shapes import even, skewed
from tests.answers.test_predict_shapes import study as of_bores
from tests.joint.test_read_parts import AXES, MISALIGNED, axes_file
from tests.studies import write
from tolsim.answers.compare import compare, labelled
from tolsim.answers.compare_run import Run
from tolsim.answers.compare_surface import all_coordinates
from tolsim.answers.evidence_plan import evidence_plan
from tolsim.answers.evidence_readings import simulator_of
from tolsim.answers.evidence_rule import Rule
from tolsim.answers.evidence_shrunk import shrunk_of
from tolsim.report.compare import comparison_payload
from tolsim.report.compare_text import comparison_text
from tolsim.spec.load import Study, load_study
from tolsim.spec.money import Costs

SAME = '[[alternative]]\nname = "same"\nbearing = "bearings/r"\n'


def with_alternative(folder: Path, more: str = "") -> Study:
    path = folder / "study.toml"
    path.write_text(path.read_text() + more + SAME)
    return load_study(folder)


def test_shrunk_draws_are_those_of_the_posterior(tmp_path: Path) -> None:
    """30 more of 15 readings: over many worlds mean and spread left open are those that drawing and
    evaluating the readings leaves, within the error of 400 worlds."""
    study = with_alternative(of_bores(tmp_path, even(stats.norm(-10.0, 2.0), 15)))
    run = Run(labelled([study]), seed=1, draws=2**13, workers=1, plain=True)
    feature = ("bores/b", "bore.diameter")
    sets = np.arange(0, run.table.shape[1], 4)
    now = all_coordinates(run.together.builds, run.table)
    drawn, shrunk = simulator_of(run, feature, sets), shrunk_of(run, [feature], now, sets)
    assert drawn is not None
    assert shrunk is not None
    assert (shrunk.feature, shrunk.n) == (feature, 15)
    middles, widths = [], []
    for simulator in (drawn, shrunk):
        found = [
            simulator.after(7 * w % 1024, 30, np.random.default_rng([3, w]))[feature]
            for w in range(400)
        ]
        middles.append(np.std([x.mean(axis=1) for x in found], axis=0))
        widths.append(np.mean([x.std(axis=1) for x in found], axis=0))
    assert middles[1] == pytest.approx(middles[0], rel=4.0 / math.sqrt(2.0 * 400))
    assert widths[1] == pytest.approx(widths[0], rel=0.1)


def test_alignment_is_part_of_the_plan(tmp_path: Path) -> None:
    """Six units whose axes were read leave misaligned units open: the plan names reading more axes,
    all components at once, and the page says how many."""
    folder = write(
        tmp_path,
        bore_more=AXES,
        limits=MISALIGNED,
        study_more="[targets]\nmisaligned = 0.01\n",
    )
    axes_file(folder, 6, np.random.default_rng(41))
    study = with_alternative(folder)
    c = compare([study], draws=2**16, workers=1, plain=True)
    plan = c.alternatives[1].plan
    assert plan is not None
    (candidate,) = plan.candidates
    assert (candidate.part, candidate.key) == ("bores/b", "bore.alignment")
    assert candidate.n in (6, 12)
    assert candidate.perfect > candidate.chance[30] > 0.3
    page = " ".join(comparison_text(comparison_payload(c)).split())
    assert "axes of both seats" in page


def test_skewed_parts_are_part_of_the_plan(tmp_path: Path) -> None:
    """40 skewed readings of a rate that straddles its target: the surface of the rate follows the
    shape, and more parts decide more often."""
    study = with_alternative(
        of_bores(tmp_path, even(skewed(-11.5, 2.2, 1.2), 40), 'shape = "skewed"\n')
    )
    run = Run(labelled([study]), seed=1, draws=2**16, workers=1, plain=True)
    rule = Rule(run, 1, None, Costs(), 0.0)
    assert rule.error < 0.02
    assert rule.word(rule.at) == "not enough evidence"
    plan = evidence_plan(rule, seed=2, worlds=80)
    (candidate,) = plan.candidates
    assert candidate.n == 40
    assert candidate.perfect > 0.8
    chances = [candidate.chance[n] for n in sorted(candidate.chance)]
    assert chances == sorted(chances)
    assert simulator_of(run, ("bores/b", "bore.diameter"), np.arange(4)) is None
