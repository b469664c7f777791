"""Patterns of failure: which builds fail together on a unit, counted and merged block by block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import CREAK as CREAK_MODES
from tolsim.answers.tally import Event, events_of
from tolsim.chance.streams import BLOCK, generator
from tolsim.errors import InternalError
from tolsim.joint.model import MODES, Build
from tolsim.record import Judging

__all__ = ["ANY", "CREAK", "Counted", "Counter", "Patterns", "PatternsMerged"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
#: One bit a unit.
Packed = NDArray[np.uint8]

#: The event that a unit fails at any limit at all.
ANY: Event = ("any", 0)
CREAK: Event = ("creak", 0)
_KEPT = 4096  # failed units kept of each event, shared among the builds
_LEAST_KEPT = 1024  # of each build, however many there are
_FEWEST = 2  # of each pattern, where there are so many
_MOST_KEPT = 1024  # of one pattern in all; twice as many are thinned to this
_AT_ONCE = 32  # blocks merged together
_EXACT = 50  # bits of a float's whole numbers that are surely exact
_PLACE = (BLOCK - 1).bit_length()  # bits of a place in a block


@dataclass(frozen=True, slots=True)
class Patterns:
    """Patterns of one event: which builds fail (p, g), how many units (p,), sizes (2k, m) kept."""

    bits: BoolArray
    counts: NDArray[np.int64]
    sizes: tuple[FloatArray, ...]

    def failed(self, build: int) -> int:
        """Units on which one build fails."""
        return int(self.counts[self.bits[:, build]].sum())

    def same(self, other: Patterns) -> bool:
        """Whether the other has the same patterns and units."""
        mine, its = ((p.bits, p.counts, *p.sizes) for p in (self, other))
        return len(mine) == len(its) and all(map(np.array_equal, mine, its))


@dataclass(frozen=True, slots=True)
class _Found:
    """Patterns of one event in some blocks, by code; `sizes` (2k, m) stand in their order."""

    codes: NDArray[np.uint64]
    bits: BoolArray
    counts: NDArray[np.int64]
    kept: NDArray[np.intp]
    sizes: FloatArray


@dataclass(slots=True)
class Counted:
    """One block: failures by margin, the patterns of every event of units that happened, and how
    often each build fails at one of its seats (g,)."""

    margins: NDArray[np.int64]
    patterns: dict[Event, _Found] = field(default_factory=dict)
    seats: dict[Event, NDArray[np.int64]] = field(default_factory=dict)


class Counter:
    """Counts what one block of judged margins holds; has no buffers, so threads may share it.

    Parameters
    ----------
    builds : sequence of Build
        Builds that truly differ.
    events : sequence of Event
        (mode, seat) that are wanted: patterns of units, failures of single seats.
    outputs : int
        Outputs of the recording.
    gauged : sequence of int
        Rows of the values kept by the judge whose sizes are kept of failed units.
    blocks : int
        Blocks of the whole run; 0 keeps no sizes.
    """

    def __init__(
        self,
        builds: Sequence[Build],
        events: Sequence[Event],
        outputs: int,
        gauged: Sequence[int],
        blocks: int,
    ) -> None:
        self.builds, self.events, self.outputs = builds, events, outputs
        self.gauged = np.array(gauged, dtype=np.intp)
        # a quarter more than is wanted in the end: blocks differ
        self.keep = 1 + 5 * _each(len(builds)) // (4 * blocks) if len(gauged) and blocks else 0
        self.fewest = max(1, 2 * _FEWEST // max(1, blocks))
        self.rows = [
            {(m, s): r for (m, s), r in events_of(b).items() if s and m in MODES} for b in builds
        ]
        words = -(-len(builds) // 64)
        # up to 64 builds the pattern is its own code; beyond, a hash of it: any two differ but
        # for one chance in 2**64
        odd = generator(0, "patterns").integers(1, 2**62, size=words, dtype=np.uint64)
        self.code = np.ones(1, dtype=np.uint64) if words == 1 else 2 * odd + np.uint64(1)

    def count(self, judge: Judging, width: int, block: int) -> Counted:
        """Patterns of the first `width` columns that `judge` judged last."""
        if not judge.finite or not np.isfinite(judge.out.sum()):
            raise InternalError(
                f"a margin is no number in block {block}; it would count as good, so the run "
                "ends. predict names the unit"
            )
        failed = packed(judge.failed, width)
        each = np.bitwise_count(failed).sum(axis=1, dtype=np.int64)
        margins = np.zeros(self.outputs, dtype=np.int64)
        at = np.fromiter(judge.rows.values(), dtype=np.intp)
        margins[np.fromiter(judge.rows, dtype=np.intp)] = each[at]
        result = Counted(margins)
        seats = [
            {e: self._any(failed, [judge.rows[r] for r in rows], each) for e, rows in own.items()}
            for own in self.rows
        ]
        known: dict[bytes, _Found] = {}
        for event in self.events:
            hits = [_hit(own, event) for own in seats]
            if event[1]:
                result.seats[event] = np.array([0 if h is None else _number(h) for h in hits])
            elif any(h is not None for h in hits):
                rows = _rows(hits)
                # often every unit that fails creaks: one event is then the other
                name = rows.tobytes()
                if name not in known:
                    known[name] = self._patterns(rows, judge.out)
                result.patterns[event] = known[name]
        return result

    @staticmethod
    def _any(failed: Packed, rows: list[int], counts: NDArray[np.int64]) -> Packed | None:
        return _united([failed[r] for r in rows if counts[r]])

    def _codes(self, bits: BoolArray) -> NDArray[np.uint64]:
        builds, units = bits.shape
        if builds <= _EXACT:
            # a sum of powers of two is exact, and a product of matrices the fastest sum
            powers = np.ldexp(1.0, np.arange(builds))
            return np.asarray(powers @ bits.astype(np.float64)).astype(np.uint64)
        words = np.zeros((units, 8 * len(self.code)), dtype=np.uint8)
        words[:, : -(-builds // 8)] = np.packbits(bits, axis=0).T
        return np.asarray((words.view(np.uint64) * self.code).sum(axis=1, dtype=np.uint64))

    def _patterns(self, rows: Packed, values: FloatArray) -> _Found:
        index = np.flatnonzero(np.unpackbits(np.bitwise_or.reduce(rows)).view(np.bool_))
        bits = np.unpackbits(rows, axis=1).view(np.bool_)[:, index]
        codes = self._codes(bits)
        order = _order(codes, len(rows))
        starts = _starts(codes[order])
        counts = np.diff(np.append(starts, index.size))
        if self.keep:
            most = _most(bits[:, order[starts]].T, counts, self.keep, self.fewest)
            chosen = _some(counts, most)
            kept = np.minimum(counts, most)
            sizes = values[self.gauged[:, None], index[order[chosen]]]
        else:
            kept, sizes = np.zeros_like(counts), np.empty((0, 0))
        first = order[starts]
        return _Found(codes[first], bits[:, first].T.copy(), counts, kept, sizes)


class PatternsMerged:
    """Patterns of one event over all blocks, merged a few at a time so that memory stays flat."""

    def __init__(self, builds: int) -> None:
        self._builds = builds
        self._waiting: list[_Found] = []

    def add(self, found: _Found) -> None:
        """Take the patterns of the next block."""
        self._waiting.append(found)
        if len(self._waiting) >= _AT_ONCE:
            self._waiting = [self._merged()]

    def _merged(self) -> _Found:
        if len(self._waiting) == 1:
            return self._waiting[0]
        codes = np.concatenate([f.codes for f in self._waiting])
        order = np.argsort(codes, kind="stable")
        starts = _starts(codes[order])
        counts = np.add.reduceat(np.concatenate([f.counts for f in self._waiting])[order], starts)
        bits = np.concatenate([f.bits for f in self._waiting])[order[starts]]
        each = np.concatenate([f.kept for f in self._waiting])
        kept = np.add.reduceat(each[order], starts)
        sizes = np.empty((0, 0))
        if kept.any():
            place = np.empty(len(codes), dtype=np.intp)
            place[order] = np.repeat(np.arange(len(starts)), np.diff([*starts, len(codes)]))
            owner = np.repeat(place, each)
            by_pattern = np.argsort(owner, kind="stable")
            whole = np.concatenate([f.sizes for f in self._waiting], axis=1)
            # every block kept its units in proportion, so a plain choice among them is fair
            most = np.where(kept >= 2 * _MOST_KEPT, _MOST_KEPT, kept)
            sizes = whole[:, by_pattern[_some(kept, most)]]
            kept = most
        return _Found(codes[order[starts]], bits, counts, kept, sizes)

    def finished(self) -> Patterns:
        """All patterns, the commonest first, with no more units kept than each build needs."""
        if not self._waiting:
            none = np.zeros((0, self._builds), dtype=bool)
            return Patterns(none, np.zeros(0, dtype=np.int64), ())
        found = self._merged()
        wanted = _most(found.bits, found.counts, _each(self._builds), _FEWEST)
        most = np.minimum(found.kept, wanted)
        sizes = found.sizes[:, _some(found.kept, most)] if found.sizes.size else None
        ends = np.concatenate([[0], np.cumsum(most)])
        named = [b.tobytes() for b in found.bits]
        order = sorted(range(len(named)), key=lambda p: (-found.counts[p], named[p]))
        empty = np.empty((0, 0))
        return Patterns(
            bits=found.bits[order],
            counts=found.counts[order].astype(np.int64),
            sizes=tuple(
                empty if sizes is None else sizes[:, ends[p] : ends[p + 1]].copy() for p in order
            ),
        )


def packed(failed: BoolArray, width: int) -> Packed:
    """One bit a unit (j, n/8), of the first `width` columns only."""
    out = np.packbits(failed, axis=1)
    if width < failed.shape[1]:
        out &= np.packbits(np.arange(failed.shape[1]) < width)
    return out


def _each(builds: int) -> int:
    """Failed units that each of so many builds keeps of an event."""
    return max(_LEAST_KEPT, _KEPT // builds)


def _most(bits: BoolArray, counts: NDArray[np.int64], each: int, fewest: int) -> NDArray[np.intp]:
    """Units to keep of every pattern, so that every build that fails has at least `each`."""
    failed = counts @ bits
    share: FloatArray = np.where(bits, 1.0 / np.maximum(failed, 1), 0.0).max(axis=1)
    return np.asarray(np.maximum(fewest, np.ceil(each * share * counts).astype(np.intp)))


def _order(codes: NDArray[np.uint64], builds: int) -> NDArray[np.intp]:
    """Order of the codes of one block, alike ones in the order in which they stand."""
    if builds > 64 - _PLACE:
        return np.argsort(codes, kind="stable")
    # a plain sort of code and place together is much faster than a stable one of the code
    both = np.sort((codes << np.uint64(_PLACE)) | np.arange(codes.size, dtype=np.uint64))
    return np.asarray(both & np.uint64((1 << _PLACE) - 1)).astype(np.intp)


def _starts(ascending: NDArray[np.uint64]) -> NDArray[np.intp]:
    """Where each number begins."""
    return np.concatenate([[0], np.flatnonzero(ascending[1:] != ascending[:-1]) + 1])


def _some(counts: NDArray[np.intp], most: NDArray[np.intp]) -> NDArray[np.intp]:
    """Of groups that stand one after another at most so many each, evenly spaced.

    Units stand in the order in which they were drawn. That order says nothing of their sizes, so
    evenly spaced ones are as fair a choice as any.
    """
    taken = np.minimum(counts, most)
    ends = np.cumsum(taken)
    number = np.arange(int(ends[-1]) if len(ends) else 0) - np.repeat(ends - taken, taken)
    whole, part = np.repeat(counts, taken), np.repeat(taken, taken)
    return np.asarray(np.repeat(np.cumsum(counts) - counts, taken) + number * whole // part)


def _hit(seats: dict[Event, Packed | None], event: Event) -> Packed | None:
    """Units on which one build fails, from what fails at its seats; None where none does."""
    mode, seat = event
    modes = {"any": MODES, "creak": CREAK_MODES}.get(mode, (mode,))
    found = [h for (m, s), h in seats.items() if m in modes and (seat in (0, s)) and h is not None]
    return _united(found)


def _rows(hits: Sequence[Packed | None]) -> Packed:
    """A row of bits a build."""
    none = np.zeros_like(next(h for h in hits if h is not None))
    return np.array([none if h is None else h for h in hits])


def _number(hits: Packed) -> int:
    """Units in a row of bits."""
    return int(np.bitwise_count(hits).sum())


def _united(hits: Sequence[Packed]) -> Packed | None:
    """Units on which any of these fails; None where there are none of them."""
    if len(hits) < 2:
        return hits[0] if hits else None
    return np.asarray(np.bitwise_or.reduce(hits))
