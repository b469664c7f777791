"""Patterns of failure, their merging over blocks, and the units that are kept of each."""

from __future__ import annotations

import numpy as np
import pytest

from tests.shipped import ROOT
from tolsim.answers.compare_draws import draw_together
from tolsim.answers.compare_patterns import ANY, packed
from tolsim.answers.tally import EVENTS, SETS, events_of, evidence_table
from tolsim.chance.streams import BLOCK, Streams
from tolsim.joint.assemble import assemble_together
from tolsim.joint.model import Joint
from tolsim.spec.load import load_study

_N = 3 * BLOCK - 1001


@pytest.fixture(scope="module")
def joints() -> tuple[Joint, ...]:
    study = load_study(ROOT / "studies" / "which-joint")
    return assemble_together([study, *study.alternatives.values()])


def _values(joint: Joint, n: int) -> np.ndarray:
    """All outputs of the draws that a run takes, kept whole."""
    streams, blocks = Streams(1, joint.latent), -(-n // BLOCK)
    z = np.empty((len(joint.latent), blocks * BLOCK))
    for k in range(blocks):
        part = np.empty((len(joint.latent), BLOCK))
        streams.fill(k, part)
        z[:, k * BLOCK : (k + 1) * BLOCK] = part
    table = evidence_table(joint, 1)
    for i in joint.evidence:
        z[i] = np.tile(table[i], blocks * BLOCK // SETS)
    return joint.recording(z[:, :n])


def test_patterns_are_those_of_the_values(joints: tuple[Joint, ...]) -> None:
    """Every pattern of every event of units, and every failure of a seat, is counted as often as
    it stands in the draws, the last block cut short."""
    together = draw_together(joints, seed=1, n=_N, workers=2, events=EVENTS)
    failed = _values(joints[0], _N) < 0.0
    assert together.margins.sum() > 0
    for event in (*EVENTS, ANY):
        hits = np.zeros((_N, len(together.builds)), dtype=bool)
        for g, build in enumerate(together.builds):
            rows = list(build.rows) if event == ANY else events_of(build).get(event, [])
            if rows:
                hits[:, g] = failed[rows].any(axis=0)
        if event[1]:
            assert together.seats[event].tolist() == hits.sum(axis=0).tolist()
            continue
        wanted, counts = np.unique(hits[hits.any(axis=1)], axis=0, return_counts=True)
        found = together.patterns[event]
        assert {
            (bits.tobytes(), int(c)) for bits, c in zip(found.bits, found.counts, strict=True)
        } == {(bits.tobytes(), int(c)) for bits, c in zip(wanted, counts, strict=True)}


def test_every_failing_build_keeps_enough_units(joints: tuple[Joint, ...]) -> None:
    """Each build keeps about a thousand failed units of an event, or nearly all where fewer fail:
    a rare build loses none to the common ones beside it."""
    together = draw_together(joints, seed=1, n=8 * BLOCK, workers=2, events=EVENTS)
    checked = 0
    for event, found in together.patterns.items():
        kept = np.array([s.shape[1] for s in found.sizes])
        for g, build in enumerate(together.builds):
            own = found.bits[:, g]
            if build.measured and own.any():
                assert kept[own].sum() >= 0.7 * min(1024, found.failed(g)), (event, g)
                checked += 1
    assert checked > 10


def test_sizes_that_are_kept_are_a_fair_sample(joints: tuple[Joint, ...]) -> None:
    """Sizes kept of a pattern are those of some of its units, and their means lie within five
    standard errors of the means of all of them."""
    n = 3 * BLOCK
    together = draw_together(joints, seed=1, n=n, workers=1, events=EVENTS)
    values, event, tested = _values(joints[0], n), ("loose", 0), 0
    rows = {
        (m.part_name, m.key): at
        for b in together.builds
        for m, at in zip(b.measured, b.gauged, strict=True)
    }
    sizes_of_all = values[[r for name in together.measured for r in rows[name]]]
    hits = np.array([(values[events_of(b)[event]] < 0.0).any(axis=0) for b in together.builds]).T
    found = together.patterns[event]
    for bits, sizes in zip(found.bits, found.sizes, strict=True):
        whole = sizes_of_all[:, (hits == bits).all(axis=1)]
        assert np.isin(sizes[0], whole[0]).all()
        assert len(np.unique(sizes[0])) == sizes.shape[1]
        if sizes.shape[1] > 200:
            error = whole.std(axis=1) / np.sqrt(sizes.shape[1]) + 1e-15
            assert (np.abs(sizes.mean(axis=1) - whole.mean(axis=1)) < 5.0 * error).all()
            tested += 1
    assert tested


def test_packing_leaves_out_what_was_not_drawn() -> None:
    """Columns beyond the width of the last block are no failures."""
    failed = np.ones((2, 64), dtype=bool)
    assert np.bitwise_count(packed(failed, 13)).sum(axis=1).tolist() == [13, 13]
    assert np.bitwise_count(packed(failed, 64)).sum(axis=1).tolist() == [64, 64]
