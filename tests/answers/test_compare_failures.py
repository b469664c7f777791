"""Counts of many joints over one recording against the count of each by itself."""

from __future__ import annotations

import pytest

from tests.shipped import ROOT
from tolsim.answers.compare_failures import failures
from tolsim.answers.compare_hits import ANY
from tolsim.answers.compare_ranges import ranges_of
from tolsim.answers.compare_run import Run
from tolsim.answers.tally import EVENTS, tally
from tolsim.chance.streams import BLOCK
from tolsim.joint.assemble import assemble, assemble_each
from tolsim.joint.assumed import Assumptions
from tolsim.spec.load import Study, load_study

_N = 2 * BLOCK - 77


@pytest.fixture(scope="module")
def studies() -> list[Study]:
    # drawn without readings: their rows of evidence depend on how many there are in all
    study = load_study(ROOT / "studies" / "sleeved-alloy")
    return [study, load_study(ROOT / "studies" / "threaded-steel")]


def test_counts_are_those_of_each_joint_alone(studies: list[Study]) -> None:
    """Two joints, each with two constants moved, counted together: every count is that of a run
    of the one joint with the one constant, for every mode, seat and at any limit at all."""
    settings = [{}, {"ring-creep": 0.12}, {"smoothing-factor": 0.4}]
    pairs = [(s, Assumptions(o)) for s in studies for o in settings]
    together = failures(assemble_each(pairs, tell=False), seed=3, n=_N, events=[*EVENTS, ANY])
    moved = 0
    for j, (study, given) in enumerate(pairs):
        joint = assemble(study, Assumptions(given.overrides))
        alone = tally(joint, seed=3, n=_N, workers=1)
        for event in EVENTS:
            wanted = sum(
                b.share * alone.events.get((i, event), 0) for i, b in enumerate(joint.builds)
            )
            assert together[event][j] == pytest.approx(wanted, rel=1e-12), (j, event)
        moved += together["loose", 0][j] != together["loose", 0][len(settings) * (j // 3)]
    assert moved >= 2


def test_a_constant_moves_only_those_who_ask_for_it() -> None:
    """Constants of the adhesive leave a pressed joint's rates alone; those of the ring do not."""
    study = load_study(ROOT / "studies" / "which-joint")
    run = Run({study.name: study, **study.alternatives}, seed=1, draws=BLOCK, workers=1, plain=True)
    ranges = ranges_of(run)
    names = [a.name for a in ranges.constants]
    asked = [{a.name for a in assemble(s).assumed} for s in run.studies.values()]
    assert len({frozenset(a) for a in asked}) > 1
    ends = ranges.ends["creak", 0]
    for c, name in enumerate(names):
        for j, own in enumerate(asked):
            if name not in own:
                assert not ends[c, :, j].any()
    assert ends.any()
