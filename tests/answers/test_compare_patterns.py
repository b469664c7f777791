"""Patterns of failure, their merging over blocks, and the units that are kept of each."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.shipped import ROOT
from tests.studies import machine, write
from tolsim.answers import compare_patterns
from tolsim.answers.compare_draws import draw_together
from tolsim.answers.compare_hits import ANY, packed
from tolsim.answers.compare_kept import chosen
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


@pytest.mark.parametrize("number", [20, 40, 65])
def test_patterns_of_many_builds(tmp_path: Path, number: int) -> None:
    """However a pattern is written as a number, as many builds as bits of a short float, of a long
    one, or more: every pattern is counted as often as it stands in the draws."""
    bore = machine("diameter", -14.0, 3.0)
    more = "".join(
        f'[[alternative]]\nname = "a{k}"\nlimits = {{ loose = {{ interference_um = {k} }} }}\n'
        for k in range(1, number)
    )
    write(tmp_path, bore_route=bore, ring_route=machine("outside", -4.0, 1.0), study_more=more)
    study = load_study(tmp_path)
    every = assemble_together([study, *study.alternatives.values()])
    found = draw_together(every, seed=1, n=5000, workers=1, events=EVENTS).patterns["loose", 0]
    failed = _values(every[0], 5000) < 0.0
    hits = np.array([failed[list(b.rows)].any(axis=0) for j in every for b in j.builds]).T
    wanted, counts = np.unique(hits[hits.any(axis=1)], axis=0, return_counts=True)
    assert found.bits.shape == (len(wanted), number)
    assert {(b.tobytes(), int(c)) for b, c in zip(found.bits, found.counts, strict=True)} == {
        (b.tobytes(), int(c)) for b, c in zip(wanted, counts, strict=True)
    }


def test_every_failing_build_keeps_enough_units(joints: tuple[Joint, ...]) -> None:
    """Each build keeps about a thousand failed units of an event, or nearly all where fewer fail:
    a rare build loses none to the common ones beside it."""
    together = draw_together(joints, seed=1, n=8 * BLOCK, workers=2, events=EVENTS)
    checked = 0
    for event, found in together.patterns.items():
        for g, build in enumerate(together.builds):
            own = found.bits[found.units.owner, g]
            if build.measured and found.failed(g):
                assert own.sum() >= 0.7 * min(1024, found.failed(g)), (event, g)
                checked += 1
    assert checked > 10


@pytest.mark.parametrize("at_once", [2, 32])
def test_units_that_are_kept_are_a_fair_sample(
    joints: tuple[Joint, ...], at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept units are some of those that failed, once each, and stand for all of them: for each
    build their number and mean sizes lie within five standard errors of those of all that failed,
    whether the blocks were merged once or several times."""
    monkeypatch.setattr(compare_patterns, "_AT_ONCE", at_once)
    n = 5 * BLOCK
    together = draw_together(joints, seed=1, n=n, workers=2, events=EVENTS)
    values, event, tested = _values(joints[0], n), ("loose", 0), 0
    rows = {
        (m.part_name, m.key): at
        for b in together.builds
        for m, at in zip(b.measured, b.gauged, strict=True)
    }
    sizes_of_all = values[[r for name in together.measured for r in rows[name]]]
    hits = np.array([(values[events_of(b)[event]] < 0.0).any(axis=0) for b in together.builds])
    found = together.patterns[event]
    units = found.units
    assert len(np.unique(units.sizes[0])) == units.sizes.shape[1] < hits.any(axis=0).sum()
    where = {x: k for k, x in enumerate(sizes_of_all[0].tolist())}
    for x, owner in zip(units.sizes[0].tolist(), units.owner, strict=True):
        assert (hits[:, where[x]] == found.bits[owner]).all()
    for g in range(len(together.builds)):
        own, failed = found.bits[units.owner, g], found.failed(g)
        r, whole = units.stands_for[own], sizes_of_all[:, hits[g]]
        if own.sum() < 200:
            continue
        # an even choice spreads less than one by chance, of which this is the error
        error = np.sqrt((r * (r - 1.0)).sum())
        assert abs(r.sum() - failed) < 5.0 * error + 1e-9 * failed
        mean = (r * units.sizes[:, own]).sum(axis=1) / r.sum()
        spread = whole.std(axis=1) * np.sqrt((r * r).sum()) / r.sum() + 1e-15
        assert (np.abs(mean - whole.mean(axis=1)) < 5.0 * spread).all()
        tested += 1
    assert tested


def test_chances_that_are_common_to_no_place() -> None:
    """Over many turns every unit is kept as often as its chance says."""
    chance = np.array([0.2, 0.5, 0.05, 1.0, 0.3, 0.7])
    often = np.zeros(6)
    for turn in range(2000):
        often[chosen(chance, turn)] += 1.0
    # evenly spread starts: each place is hit within two of its share
    assert (np.abs(often - 2000 * chance) < 10.0).all()


def test_packing_leaves_out_what_was_not_drawn() -> None:
    """Columns beyond the width of the last block are no failures."""
    failed = np.ones((2, 64), dtype=bool)
    assert np.bitwise_count(packed(failed, 13)).sum(axis=1).tolist() == [13, 13]
    assert np.bitwise_count(packed(failed, 64)).sum(axis=1).tolist() == [64, 64]
