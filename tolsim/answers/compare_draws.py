"""One run over several studies: which of their builds fail on the same unit, block by block.

A unit is drawn once and built in every way. What is counted is the pattern of failure: which
builds fail on it together. Rates, paired counts of any two alternatives and the failed units that
the sampling of evidence needs all follow from the patterns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_hits import ANY, CREAK
from tolsim.answers.compare_marks import Marks
from tolsim.answers.compare_patterns import Counted, Counter, Patterns, PatternsMerged
from tolsim.answers.tally import SETS, Event, Tally, events_of, evidence_table
from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import BLOCK, Streams
from tolsim.errors import Interrupted
from tolsim.joint.model import Build, Joint
from tolsim.record import Judging

__all__ = ["ANY", "Patterns", "Together", "draw_together", "gauged_of", "tally_of"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Together:
    """Several joints over one recording, run on the same `n` units.

    `places[j][i]` is the place of build i of joint j among the `builds` that truly differ;
    `measured` names the measured features whose sizes are kept, in the order of their rows.
    """

    joints: tuple[Joint, ...]
    builds: tuple[Build, ...]
    places: tuple[tuple[int, ...], ...]
    n: int
    seed: int
    patterns: dict[Event, Patterns]
    #: Units on which each differing build fails at one of its seats, (g,).
    seats: dict[Event, NDArray[np.int64]]
    margins: NDArray[np.int64]
    measured: tuple[tuple[str, str], ...]
    #: By event: the first build with the same margins for it, for every build.
    alike: dict[Event, tuple[int, ...]]

    def folded(self, event: Event, weights: FloatArray) -> FloatArray:
        """Weights (g,) with those of builds that are the same for an event added up."""
        out = np.zeros(len(self.builds))
        np.add.at(out, list(self.alike[event]), weights)
        # shares add up but for rounding
        return np.where(np.abs(out) < 1e-12, 0.0, out)

    def weights(self, joint: int, supply: str | None = None) -> FloatArray:
        """Share of each differing build in a joint's units, or in those of one supply, (g,)."""
        out = np.zeros(len(self.builds))
        for place, build in zip(self.places[joint], self.joints[joint].builds, strict=True):
            if supply is None:
                out[place] += build.share
            elif supply in build.names:
                out[place] = 1.0
        return out


def draw_together(
    joints: Sequence[Joint],
    *,
    seed: int,
    n: int,
    workers: int,
    events: Sequence[Event],
    keep: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> Together:
    """Draw `n` units once and count on which of them each build of every joint fails.

    Parameters
    ----------
    joints : sequence of Joint
        From `assemble_together`: they share rows and recording.
    seed, n, workers : int
        Seed of all streams, units, threads; the counts do not depend on the threads.
    events : sequence of Event
        (mode, seat) that are wanted: patterns of units, failures of single seats. `ANY` is always
        counted.
    keep : bool
        Keep sizes of failed units, for the sampling of evidence.
    progress : callable, optional
        Told (blocks done, blocks in all).

    Raises
    ------
    InternalError
        If a margin is not finite.
    Interrupted
        If the user stopped the run.
    """
    first = joints[0]
    streams = Streams(seed, first.latent)
    reads = set(first.recording.reads)
    rows = [i for i in range(len(first.latent)) if i in reads and i not in first.evidence]
    table = evidence_table(first, seed)
    every = [b for joint in joints for b in joint.builds]
    judged = [r for b in every for r in b.rows]
    sizes = gauged_of(every)
    kept = [r for at in sizes.values() for r in at]
    blocks = -(-n // BLOCK)

    def judging() -> tuple[Judging, Callable[[int], None]]:
        judge = first.recording.judging(BLOCK, judged, kept)
        for i in first.evidence:
            judge.z[i] = np.tile(table[i], BLOCK // SETS)
        drawn = [judge.z[i] for i in rows]

        def run(block: int) -> None:
            streams.fill(block, drawn, rows=rows)
            judge()

        return judge, run

    judge, run = judging()
    run(0)
    marks = Marks(first.recording, judge)
    builds, places = _differing(joints, marks)
    gauged = gauged_of(builds)
    place = {name: 2 * k for k, name in enumerate(sizes)}
    counter = Counter(
        builds,
        (*events, ANY),
        first.recording.outputs,
        judge.rows,
        [place[name] + k for name in gauged for k in (0, 1)],
        blocks if keep else 0,
    )
    whole = counter.count(judge, min(BLOCK, n), 0)

    # one worker goes on with the buffers that are there; several need their own
    ready = [(judge, run)] if workers == 1 else []

    def start() -> Callable[[int], Counted]:
        judge, run = ready.pop() if ready else judging()

        def count(block: int) -> Counted:
            run(block)
            return counter.count(judge, min(BLOCK, n - block * BLOCK), block)

        return count

    found = {e: PatternsMerged(len(builds)) for e in (*events, ANY) if not e[1]}
    seats = {e: np.zeros(len(builds), dtype=np.int64) for e in events if e[1]}
    margins = np.zeros(first.recording.outputs, dtype=np.int64)
    # the block that told the builds apart is not judged again
    told = None if progress is None else lambda done, _: progress(done + 1, blocks)
    results = run_blocks(start, range(1, blocks), workers=workers, progress=told, processes=True)
    try:
        for r in chain([whole], results):
            margins += r.margins
            for event, some in r.patterns.items():
                found[event].add(some)
            for event, failed in r.seats.items():
                seats[event] += failed
    except KeyboardInterrupt:
        raise Interrupted("stopped while drawing units; nothing was written") from None
    finally:
        results.close()
    patterns = {e: p.finished() for e, p in found.items()}
    if CREAK in patterns and patterns[CREAK].same(patterns[ANY]):
        patterns[ANY] = patterns[CREAK]  # what is worked out of the one is not worked out again
    return Together(
        joints=tuple(joints),
        builds=builds,
        places=places,
        n=n,
        seed=seed,
        patterns=patterns,
        seats=seats,
        margins=margins,
        measured=tuple(gauged),
        alike={e: _alike(builds, marks, e) for e in found},
    )


def gauged_of(builds: Sequence[Build]) -> dict[tuple[str, str], tuple[int, int]]:
    """Outputs that are the sizes of every measured feature, at either seat."""
    out: dict[tuple[str, str], tuple[int, int]] = {}
    for b in builds:
        for measured, at in zip(b.measured, b.gauged, strict=True):
            out.setdefault((measured.part_name, measured.key), at)
    return out


def _differing(
    joints: Sequence[Joint], marks: Marks
) -> tuple[tuple[Build, ...], tuple[tuple[int, ...], ...]]:
    """Builds whose margins differ on some draw, and where each joint's builds are among them."""
    every = [b for joint in joints for b in joint.builds]
    same = marks.first_alike([b.rows for b in every], [b.margins for b in every])
    builds: list[Build] = []
    at: dict[int, int] = {}
    for k, first in enumerate(same):
        if first == k:
            at[k] = len(builds)
            builds.append(every[k])
    numbers = iter(same)
    places = tuple(tuple(at[next(numbers)] for _ in joint.builds) for joint in joints)
    return tuple(builds), places


def _alike(builds: Sequence[Build], marks: Marks, event: Event) -> tuple[int, ...]:
    """The first build whose margins for an event are those of each build."""
    rows = [b.rows if event == ANY else events_of(b).get(event, []) for b in builds]
    return marks.first_alike(rows)


def tally_of(together: Together, joint: int) -> Tally:
    """What a plain run of one of the joints would have counted, for the rule that judges it."""
    places = together.places[joint]
    events: dict[tuple[int, Event], int] = {}
    mix: dict[Event, tuple[float, float]] = {}
    n = together.n
    for event, patterns in together.patterns.items():
        weight = patterns.bits @ together.weights(joint)
        mix[event] = (
            float(patterns.counts @ weight) / n,
            float(patterns.counts @ np.square(weight)) / n**2,
        )
        events.update({(i, event): patterns.failed(place) for i, place in enumerate(places)})
    for event, failed in together.seats.items():
        events.update({(i, event): int(failed[place]) for i, place in enumerate(places)})
    return Tally(
        n=n,
        events=events,
        margins=together.margins,
        mix=mix,
        kept={},
        interference={},
    )
