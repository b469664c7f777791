"""Counting: what is counted is what the margins say, and keeping failed units costs no truth."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tolsim.answers.tally import SETS, Kept, events_of, evidence_table, tally
from tolsim.chance.streams import BLOCK, Streams
from tolsim.errors import InternalError, Interrupted
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Joint
from tolsim.record import record
from tolsim.spec.load import load_study

STUDIES = Path(__file__).parents[2] / "studies"


def _joint(name: str) -> Joint:
    return assemble(load_study(STUDIES / name))


def _normals(joint: Joint, seed: int, block: int, width: int) -> NDArray[np.float64]:
    """The rows of one block, evidence from its sets, as a run should see them."""
    z = np.empty((len(joint.latent), BLOCK))
    Streams(seed, joint.latent).fill(block, z)
    table = evidence_table(joint, seed)
    for i in joint.evidence:
        z[i] = np.tile(table[i], BLOCK // SETS)
    return z[:, :width]


@pytest.mark.parametrize("name", ["three-shops", "bonded-carbon"])
def test_counts_are_those_of_the_margins(name: str) -> None:
    """Every count, and the spread of the mix, is that of the margins evaluated one by one."""
    joint, n = _joint(name), BLOCK + 777
    counted = tally(joint, seed=5, n=n, workers=2)
    out = np.concatenate(
        [
            joint.recording(_normals(joint, 5, block, width))
            for block, width in ((0, BLOCK), (1, 777))
        ],
        axis=1,
    )
    failed = out < 0.0
    assert (counted.margins == failed.sum(axis=1)).all()
    mixed: dict[tuple[str, int], NDArray[np.float64]] = {}
    for i, build in enumerate(joint.builds):
        for event, rows in events_of(build).items():
            hit = np.zeros(n, dtype=bool)
            for row in rows:
                hit |= failed[row]
            assert counted.events.get((i, event), 0) == hit.sum()
            mixed[event] = mixed.get(event, np.zeros(n)) + build.share * hit
        for seat, row in enumerate(build.interference):
            h = counted.interference[i, seat]
            assert h.n == n
            assert h.mean == pytest.approx(out[row].mean(), abs=1e-12)
            assert h.sd == pytest.approx(out[row].std(ddof=1), rel=1e-9)
            for share in (0.00135, 0.5, 0.99865):
                exact = float(np.quantile(out[row], share))
                assert h.quantile(share) == pytest.approx(exact, abs=20.0 * h.resolution)
    for event, weight in mixed.items():
        assert counted.mix[event][0] == pytest.approx(weight.mean(), rel=1e-12)
        assert counted.mix[event][1] == pytest.approx((weight**2).sum() / n**2, rel=1e-12)


@pytest.mark.parametrize("name", ["three-shops", "bonded-carbon", "threaded-steel"])
def test_events(name: str) -> None:
    """A mode at the unit is any of its causes at any seat; creak is loose, misaligned or bond."""
    for build in _joint(name).builds:
        events = events_of(build)
        margins = {build.first + k: m for k, m in enumerate(build.margins)}
        for (mode, seat), rows in events.items():
            expected = [
                r
                for r, m in margins.items()
                if (m.mode == mode if mode != "creak" else m.mode != "tight")
                and (seat == 0 or seat in m.seats)
            ]
            assert sorted(rows) == expected
        assert {m.mode for m in build.margins} == {m for m, _ in events} - {"creak"}


def test_more_units_go_on_where_fewer_stopped() -> None:
    """A longer run holds the shorter one: counts only grow, down to a single unit."""
    joint = _joint("summer-and-winter")
    sizes = (1, 100, BLOCK, BLOCK + 1, 2 * BLOCK)
    counts = [tally(joint, seed=1, n=n, workers=1) for n in sizes]
    for n, c in zip(sizes, counts, strict=True):
        assert c.n == n
        assert all(0 <= v <= n for v in c.events.values())
    for a, b in itertools.pairwise(counts):
        assert (a.margins <= b.margins).all()
        assert all(a.events[k] <= b.events[k] for k in a.events)


def test_kept_units_stay_few_and_fair() -> None:
    """However many units failed, few are kept, they stand for all, and their mean stays true."""
    rng = np.random.default_rng(3)
    kept, total, weighted, most = Kept(), 0.0, 0.0, 0
    for block in range(2000):
        count = 40 if block % 2 else 5
        weight = 10.0 if block % 2 else 1.0
        # units of the heavy blocks are of another kind: thinning must not prefer either
        sizes = rng.standard_normal((2, count)) + (1.0 if block % 2 else -1.0)
        kept.add(sizes, weight, seed=1, block=block)
        total += weight * count
        weighted += weight * sizes[0].sum()
        most = max(most, kept.count)
        assert kept.count == sum(len(r) for r in kept.represented)
    assert most < 5000
    represented = np.concatenate(kept.represented)
    sizes = np.concatenate(kept.sizes, axis=1)
    assert represented.sum() == pytest.approx(total, rel=1e-9)
    mean = float(represented @ sizes[0]) / total
    error = math.sqrt(float((represented**2 * (sizes[0] - mean) ** 2).sum())) / total
    # thinned about six times over, each time with an error of this order
    assert abs(mean - weighted / total) < 4.0 * math.sqrt(6.0) * error


def test_kept_units_failed() -> None:
    """A unit that is kept failed: its sizes are found among the failed units of the run."""
    joint = _joint("coast-first-parts")
    counted = tally(joint, seed=2, n=BLOCK, workers=1)
    (build,) = joint.builds
    out = joint.recording(_normals(joint, 2, 0, BLOCK))
    rows = [r for pair in build.gauged for r in pair]
    for event, outputs in events_of(build).items():
        kept = counted.kept.get((0, event))
        hit = (out[outputs] < 0.0).any(axis=0)
        if kept is None:
            assert not hit.any()
            continue
        failed = {tuple(c) for c in out[rows][:, hit].T}
        assert {tuple(c) for c in np.concatenate(kept.sizes, axis=1).T} <= failed
        assert np.concatenate(kept.represented).sum() == pytest.approx(hit.sum())


def test_interrupted() -> None:
    """Ctrl-C ends the run with what was done, and its exit code."""

    def stop(done: int, total: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(Interrupted, match=r"stopped after 16,384 of 819,200 units") as caught:
        tally(_joint("steel-all-year"), seed=1, n=100 * BLOCK, workers=2, progress=stop)
    assert caught.value.exit_code == 130


def test_any_number_that_is_none_ends_the_run() -> None:
    """Not only a margin: a size at the gauge that is no number ends the run too."""
    joint = _joint("coast-first-parts")
    last = joint.recording.outputs - 1
    assert last in joint.builds[0].gauged[-1]

    def function(z: Sequence[Any]) -> list[Any]:
        bad = np.log(z[0])  # NaN for half of the units
        return [1.0 + 0.0 * z[1] if k != last else bad for k in range(last + 1)]

    broken = replace(joint, recording=record(function, len(joint.latent)))
    with (
        np.errstate(invalid="ignore"),
        pytest.raises(InternalError, match=r"a size at the gauge is nan at unit \d+"),
    ):
        tally(broken, seed=1, n=100, workers=1)
