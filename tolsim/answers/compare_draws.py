"""One run over several studies: which of their builds fail on the same unit, block by block.

A unit is drawn once and built in every way. What is counted is the pattern of failure: which
builds fail on it together. Rates, paired counts of any two alternatives and the failed units that
the sampling of evidence needs all follow from the patterns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import CREAK, SETS, Event, Kept, Tally, events_of, evidence_table
from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import BLOCK, Streams, generator
from tolsim.errors import InternalError, Interrupted
from tolsim.joint.model import MODES, Build, Joint

__all__ = ["ANY", "Patterns", "Together", "draw_together", "tally_of"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: The event that a unit fails at any limit at all.
ANY: Event = ("any", 0)
_KEPT = 4096  # failed units kept of each event in all, at least 32 a block
_FEWEST = 4  # of each pattern, where there are so many
_MOST_KEPT = 1024  # of one pattern in all; twice as many are thinned to this


@dataclass(slots=True)
class _Pattern:
    bits: BoolArray
    count: int = 0
    sizes: list[FloatArray] = field(default_factory=list)
    kept: int = 0


@dataclass(frozen=True, slots=True)
class Patterns:
    """Patterns of one event: which builds fail (p, g), how many units (p,), sizes (2k, m) kept."""

    bits: BoolArray
    counts: NDArray[np.int64]
    sizes: tuple[FloatArray, ...]

    def failed(self, build: int) -> int:
        """Units on which one build fails."""
        return int(self.counts[self.bits[:, build]].sum())


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
        (mode, seat) whose patterns are wanted; `ANY` is always counted.
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
    marks = _marks(_first_block(first, streams, rows, table))
    builds, places = _differing(joints, marks)
    gauged: dict[tuple[str, str], tuple[int, int]] = {}
    for b in builds:
        for measured, at in zip(b.measured, b.gauged, strict=True):
            gauged.setdefault((measured.part_name, measured.key), at)
    blocks = -(-n // BLOCK)
    most = max(32, _KEPT // blocks) if keep else 0
    counter = _Counter(builds, (*events, ANY), [r for at in gauged.values() for r in at], most)

    def start() -> Callable[[int], _Counted]:
        run = first.recording.runner(BLOCK)
        for i in first.evidence:
            run.z[i] = np.tile(table[i], BLOCK // SETS)
        drawn = [run.z[i] for i in rows]

        def count(block: int) -> _Counted:
            streams.fill(block, drawn, rows=rows)
            return counter.count(run()[:, : min(BLOCK, n - block * BLOCK)], seed, block)

        return count

    found: dict[Event, dict[int, _Pattern]] = {e: {} for e in (*events, ANY)}
    margins = np.zeros(first.recording.outputs, dtype=np.int64)
    results = run_blocks(start, blocks, workers=workers, progress=progress, processes=True)
    try:
        for done, r in enumerate(results):
            margins += r.margins
            for event, code, bits, count, sizes in r.patterns:
                _add(found[event], code, bits, count, sizes, seed, done)
    except KeyboardInterrupt:
        raise Interrupted("stopped while drawing units; nothing was written") from None
    finally:
        results.close()
    return Together(
        joints=tuple(joints),
        builds=builds,
        places=places,
        n=n,
        seed=seed,
        patterns={e: _finished(p, len(builds)) for e, p in found.items()},
        margins=margins,
        measured=tuple(gauged),
        alike={e: _alike(builds, marks, e) for e in (*events, ANY)},
    )


def _first_block(joint: Joint, streams: Streams, rows: list[int], table: FloatArray) -> FloatArray:
    """Outputs of the first block of draws."""
    z = np.zeros((len(joint.latent), BLOCK))
    drawn = np.empty((len(rows), BLOCK))
    streams.fill(0, drawn, rows=rows)
    z[rows] = drawn
    for i in joint.evidence:
        z[i] = np.tile(table[i], BLOCK // SETS)
    return joint.recording(z)


def _marks(out: FloatArray) -> list[bytes]:
    """A digest of every output: equal to the last bit on a whole block, or not."""
    return [blake2b(row, digest_size=16).digest() for row in out]


def _differing(
    joints: Sequence[Joint], marks: Sequence[bytes]
) -> tuple[tuple[Build, ...], tuple[tuple[int, ...], ...]]:
    """Builds whose margins differ on some draw, and where each joint's builds are among them.

    Margins are continuous functions of the draws: what agrees to the last bit on a whole block
    is the same function.
    """
    known: dict[tuple[object, ...], list[int]] = {}
    builds: list[Build] = []
    places = []
    for joint in joints:
        own = []
        for build in joint.builds:
            alike = known.setdefault(tuple(marks[r] for r in build.rows), [])
            place = next((k for k in alike if builds[k].margins == build.margins), None)
            if place is None:
                place = len(builds)
                builds.append(build)
                alike.append(place)
            own.append(place)
        places.append(tuple(own))
    return tuple(builds), tuple(places)


def _alike(builds: Sequence[Build], marks: Sequence[bytes], event: Event) -> tuple[int, ...]:
    """The first build whose margins for an event are those of each build."""
    first: dict[tuple[bytes, ...], int] = {}
    out = []
    for k, build in enumerate(builds):
        rows = build.rows if event == ANY else events_of(build).get(event, [])
        out.append(first.setdefault(tuple(marks[r] for r in rows), k))
    return tuple(out)


@dataclass(slots=True)
class _Counted:
    margins: NDArray[np.int64]
    patterns: list[tuple[Event, int, BoolArray, int, FloatArray]]


class _Counter:
    """Counts one block of outputs; holds no buffers, so threads may share it."""

    def __init__(
        self, builds: Sequence[Build], events: Sequence[Event], gauged: list[int], keep: int
    ) -> None:
        self.builds, self.events = builds, events
        self.gauged = np.array(gauged, dtype=np.intp)
        self.keep = keep if len(gauged) > 0 else 0
        self.rows = [
            {(m, s): r for (m, s), r in events_of(b).items() if s and m in MODES} for b in builds
        ]
        # a hash of the pattern: any two differ but for one chance in 2**64
        self.code = generator(0, "patterns").integers(
            1, 2**63, size=len(builds), dtype=np.uint64, endpoint=False
        )

    def count(self, out: FloatArray, seed: int, block: int) -> _Counted:
        if not np.isfinite(out.sum()):
            raise InternalError(
                f"a margin is no number in block {block}; it would count as good, so the run "
                "ends. predict names the unit"
            )
        failed = out < 0.0
        margins = np.array([np.count_nonzero(row) for row in failed])
        result = _Counted(margins=margins, patterns=[])
        seats = [
            {e: self._any(failed, rows, result.margins) for e, rows in known.items()}
            for known in self.rows
        ]
        for event in self.events:
            hits = [_hit(own, event) for own in seats]
            some = [h for h in hits if h is not None]
            if not some:
                continue
            index = np.flatnonzero(np.logical_or.reduce(some))
            bits = np.array([_at(h, index) for h in hits])
            self._patterns(event, index, bits, out, seed, block, result)
        return result

    @staticmethod
    def _any(failed: BoolArray, rows: list[int], counts: NDArray[np.int64]) -> BoolArray | None:
        hit = [failed[r] for r in rows if counts[r]]
        return np.logical_or.reduce(hit) if hit else None

    def _patterns(
        self,
        event: Event,
        index: NDArray[np.intp],
        bits: BoolArray,
        out: FloatArray,
        seed: int,
        block: int,
        result: _Counted,
    ) -> None:
        codes = np.zeros(index.size, dtype=np.uint64)
        for row, code in zip(bits, self.code, strict=True):
            codes += row * code
        values, first, inverse, counts = np.unique(
            codes, return_index=True, return_inverse=True, return_counts=True
        )
        order = np.argsort(inverse, kind="stable")
        # gathered once for all patterns, of which there may be hundreds
        own = bits[:, first].T.copy()
        none = np.empty((len(self.gauged), 0))
        measured = out[self.gauged[:, None], index[order]] if self.keep else none
        start = 0
        for k, (value, count) in enumerate(zip(values.tolist(), counts.tolist(), strict=True)):
            sizes = none
            if self.keep:
                most = max(_FEWEST, round(self.keep * count / index.size))
                if count > most:
                    rng = generator(seed, f"kept {event[0]} {event[1]}", block)
                    chosen = start + np.sort(rng.choice(count, most, replace=False))
                    sizes = measured[:, chosen]
                else:
                    sizes = measured[:, start : start + count].copy()
            start += count
            result.patterns.append((event, value, own[k], count, sizes))


def _at(hit: BoolArray | None, index: NDArray[np.intp]) -> BoolArray:
    return np.zeros(index.size, dtype=bool) if hit is None else hit[index]


def _hit(seats: dict[Event, BoolArray | None], event: Event) -> BoolArray | None:
    """Units on which one build fails, from what fails at its seats; None where none does."""
    mode, seat = event
    modes = {"any": MODES, "creak": CREAK}.get(mode, (mode,))
    found = [h for (m, s), h in seats.items() if m in modes and (seat in (0, s)) and h is not None]
    return np.logical_or.reduce(found) if found else None


def _add(
    found: dict[int, _Pattern],
    code: int,
    bits: BoolArray,
    count: int,
    sizes: FloatArray,
    seed: int,
    done: int,
) -> None:
    pattern = found.setdefault(code, _Pattern(bits))
    pattern.count += count
    if not sizes.size:
        return
    pattern.sizes.append(sizes)
    pattern.kept += sizes.shape[1]
    if pattern.kept >= 2 * _MOST_KEPT:
        # every block kept its units in proportion, so a plain choice among them is fair
        whole = np.concatenate(pattern.sizes, axis=1)
        chosen = generator(seed, "thinned", done).choice(pattern.kept, _MOST_KEPT, replace=False)
        pattern.sizes = [whole[:, np.sort(chosen)]]
        pattern.kept = _MOST_KEPT


def _finished(found: dict[int, _Pattern], builds: int) -> Patterns:
    ordered = sorted(found.values(), key=lambda p: (-p.count, p.bits.tobytes()))
    empty = np.empty((0, 0))
    return Patterns(
        bits=np.array([p.bits for p in ordered], dtype=bool).reshape(-1, builds),
        counts=np.array([p.count for p in ordered], dtype=np.int64),
        sizes=tuple(np.concatenate(p.sizes, axis=1) if p.sizes else empty for p in ordered),
    )


def tally_of(together: Together, joint: int) -> Tally:
    """What a plain run of one of the joints would have counted, for the rule that judges it."""
    own = together.joints[joint]
    places = together.places[joint]
    events: dict[tuple[int, Event], int] = {}
    kept: dict[tuple[int, Event], Kept] = {}
    mix: dict[Event, tuple[float, float]] = {}
    n = together.n
    for event, patterns in together.patterns.items():
        weight = patterns.bits @ together.weights(joint)
        mix[event] = (
            float(patterns.counts @ weight) / n,
            float(patterns.counts @ np.square(weight)) / n**2,
        )
        for i, (build, place) in enumerate(zip(own.builds, places, strict=True)):
            events[i, event] = patterns.failed(place)
            if build.measured and patterns.sizes:
                kept[i, event] = _kept(together, build, patterns, place)
    return Tally(
        n=n,
        events=events,
        margins=together.margins,
        mix=mix,
        kept=kept,
        interference={},
    )


def _kept(together: Together, build: Build, patterns: Patterns, place: int) -> Kept:
    at = {name: 2 * k for k, name in enumerate(together.measured)}
    rows = [r for m in build.measured for r in (at[m.part_name, m.key], at[m.part_name, m.key] + 1)]
    out = Kept()
    for bits, count, sizes in zip(patterns.bits, patterns.counts, patterns.sizes, strict=True):
        if bits[place] and sizes.size:
            out.sizes.append(sizes[rows])
            out.represented.append(np.full(sizes.shape[1], count / sizes.shape[1]))
            out.count += sizes.shape[1]
    return out
