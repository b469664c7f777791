"""How many units fail in each of many joints on common draws; nothing else is kept."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_hits import Hits, packed
from tolsim.answers.tally import SETS, Event, evidence_table
from tolsim.chance.streams import BLOCK, Streams
from tolsim.errors import InternalError
from tolsim.joint.model import Joint

__all__ = ["failures"]

FloatArray = NDArray[np.float64]
_OUTPUTS = 4096  # that differ, judged together: some dozen megabytes of truth values


def failures(
    joints: Sequence[Joint], *, seed: int, n: int, events: Sequence[Event]
) -> dict[Event, FloatArray]:
    """Units of `n` that fail, supplies weighted by their shares, by event and joint, (j,).

    Parameters
    ----------
    joints : sequence of Joint
        Over one recording.
    seed, n : int
        Seed of all streams, units.
    events : sequence of Event
        What is counted.

    Raises
    ------
    InternalError
        If a margin is not finite.
    """
    out = {e: np.zeros(len(joints)) for e in events}
    group: list[int] = []
    differing: set[object] = set()
    for j, joint in enumerate(joints):
        group.append(j)
        # joints that differ in a constant have most margins in common
        differing.update(joint.recording.same([r for b in joint.builds for r in b.rows]))
        if len(differing) >= _OUTPUTS or j == len(joints) - 1:
            _count(joints, group, seed, n, out)
            group, differing = [], set()
    return out


def _count(
    joints: Sequence[Joint], group: list[int], seed: int, n: int, out: dict[Event, FloatArray]
) -> None:
    first = joints[group[0]]
    rows = [r for j in group for b in joints[j].builds for r in b.rows]
    recording = first.recording.select(rows)
    place = {r: k for k, r in enumerate(rows)}
    judge = recording.judging(BLOCK, range(len(rows)))
    table = evidence_table(first, seed)
    streams = Streams(seed, first.latent)
    drawn = [i for i in recording.reads if i not in first.evidence]
    for i in set(recording.reads).intersection(first.evidence):
        judge.z[i] = np.tile(table[i], BLOCK // SETS)
    into = [judge.z[i] for i in drawn]
    builds = [(j, b) for j in group for b in joints[j].builds]
    owner, share = np.array([j for j, _ in builds]), np.array([b.share for _, b in builds])
    hits = Hits([b for _, b in builds], list(out), {r: judge.rows[place[r]] for r in rows})
    for block in range(-(-n // BLOCK)):
        streams.fill(block, into, rows=drawn)
        failed = packed(judge(), min(BLOCK, n - block * BLOCK))
        if not judge.finite:
            raise InternalError(
                f"a margin is no number in block {block} with a remembered constant at an end of "
                "its range; it would count as good, so the run ends"
            )
        for e, own in hits.of(failed):
            each = np.bitwise_count(own).sum(axis=1, dtype=np.int64)
            np.add.at(out[e], owner, share * each)
