"""Patterns of failure: which builds fail together on a unit, counted and merged block by block."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_hits import Hits, Words, packed
from tolsim.answers.compare_kept import (
    Units,
    chances,
    chosen,
    each_of,
    none_kept,
    thinned_units,
)
from tolsim.answers.tally import Event
from tolsim.chance.streams import BLOCK, generator
from tolsim.errors import InternalError
from tolsim.joint.model import Build
from tolsim.record import Judging

__all__ = ["Counted", "Counter", "Patterns", "PatternsMerged"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
#: One bit a unit.
Packed = NDArray[np.uint8]

_AT_ONCE = 32  # blocks merged together
_PLACE = (BLOCK - 1).bit_length()  # bits of a place in a block
_WORD = 8 * np.dtype(np.uint64).itemsize


@dataclass(frozen=True, slots=True)
class Patterns:
    """Patterns of one event: which builds fail (p, g), how many units (p,), and some of these."""

    bits: BoolArray
    counts: NDArray[np.int64]
    units: Units

    def failed(self, build: int) -> int:
        """Units on which one build fails."""
        return int(self.counts[self.bits[:, build]].sum())

    def same(self, other: Patterns) -> bool:
        """Whether the other has the same patterns and units."""
        mine, its = (
            (p.bits, p.counts, p.units.owner, p.units.stands_for, p.units.sizes)
            for p in (self, other)
        )
        return all(map(np.array_equal, mine, its))


@dataclass(frozen=True, slots=True)
class _Found:
    """Patterns of one event in some blocks, by code; `units` stand in their order."""

    codes: NDArray[np.uint64]
    bits: BoolArray
    counts: NDArray[np.int64]
    units: Units


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
    rows : mapping
        Row of a judge's answers for every output.
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
        rows: Mapping[int, int],
        gauged: Sequence[int],
        blocks: int,
    ) -> None:
        self.outputs = outputs
        self.gauged = np.array(gauged, dtype=np.intp)
        self.blocks = blocks if len(gauged) else 0
        #: Chance that every build asks for its own failed units, by event, from the first block.
        self.keep: dict[Event, FloatArray] = {}
        self._places = np.fromiter(rows.values(), dtype=np.intp)
        self._outputs = np.fromiter(rows, dtype=np.intp)
        self._hits = Hits(builds, events, rows)
        words = -(-len(builds) // _WORD)
        # up to 64 builds the pattern is its own code; beyond, a hash of it: any two differ but
        # for one chance in 2**64
        odd = generator(0, "patterns").integers(1, 2**62, size=words, dtype=np.uint64)
        self.code = np.ones(1, dtype=np.uint64) if words == 1 else 2 * odd + np.uint64(1)

    def count(self, judge: Judging, width: int, block: int) -> Counted:
        """Patterns of the first `width` columns that `judge` judged last.

        Block 0 comes first: it says how many of the failed units are kept.
        """
        if not judge.finite or not np.isfinite(judge.out.sum()):
            raise InternalError(
                f"a margin is no number in block {block}; it would count as good, so the run "
                "ends. predict names the unit"
            )
        failed = packed(judge.failed, width)
        each = np.bitwise_count(failed).sum(axis=1, dtype=np.int64)
        margins = np.zeros(self.outputs, dtype=np.int64)
        margins[self._outputs] = each[self._places]
        result = Counted(margins)
        known: dict[bytes, _Found] = {}
        for event, own in self._hits.of(failed):
            if event[1]:
                result.seats[event] = np.bitwise_count(own).sum(axis=1, dtype=np.int64)
                continue
            if block == 0:
                self.keep[event] = self._wanted(own)
            if own.any():
                # often every unit that fails creaks: one event is then the other
                name = own.tobytes() + self.keep[event].tobytes()
                if name not in known:
                    known[name] = self._patterns(own.view(np.uint8), judge.out, event, block)
                result.patterns[event] = known[name]
        return result

    def _wanted(self, own: Words) -> FloatArray:
        """Chance of every build's failed units, so that it surely keeps enough in all blocks."""
        failed = np.bitwise_count(own).sum(axis=1, dtype=np.int64)
        surely = self.blocks * np.maximum(failed - 2.0 * np.sqrt(failed), 0.0)
        enough = 1.25 * each_of(len(failed))
        return np.asarray(np.where(surely > enough, enough / np.maximum(surely, enough), 1.0))

    def _codes(self, bits: NDArray[np.uint8]) -> NDArray[np.uint64]:
        """Code of every unit's pattern; 0 only where nothing fails."""
        builds, units = bits.shape
        for short, whole in ((np.float32, 24), (np.float64, 50)):
            if builds <= whole:
                # a sum of so many powers of two is exact, and a product of matrices is fastest
                powers = np.ldexp(1.0, np.arange(builds)).astype(short)
                return np.asarray(powers @ bits.astype(short)).astype(np.uint64)
        words = np.zeros((units, 8 * len(self.code)), dtype=np.uint8)
        words[:, : -(-builds // 8)] = np.packbits(bits, axis=0).T
        return np.asarray((words.view(np.uint64) * self.code).sum(axis=1, dtype=np.uint64))

    def _patterns(self, rows: Packed, values: FloatArray, event: Event, block: int) -> _Found:
        bits = np.unpackbits(rows, axis=1)
        codes = self._codes(bits)
        order = _order(codes, len(rows))
        order = order[np.count_nonzero(codes == 0) :]
        starts = _starts(codes[order])
        counts = np.diff(np.append(starts, order.size))
        first = order[starts]
        patterns = bits[:, first].T.astype(np.bool_, order="C")
        units = none_kept()
        if self.blocks:
            chance = chances(patterns, self.keep[event])
            owner = np.repeat(np.arange(len(counts)), counts)
            at = chosen(chance[owner], block)
            sizes = values[self.gauged[:, None], order[at]]
            units = Units(owner[at], 1.0 / chance[owner[at]], sizes)
        return _Found(codes[first], patterns, counts, units)


class PatternsMerged:
    """Patterns of one event over all blocks, merged a few at a time so that memory stays flat."""

    def __init__(self, builds: int) -> None:
        self._builds = builds
        self._waiting: list[_Found] = []

    def add(self, found: _Found) -> None:
        """Take the patterns of the next block."""
        self._waiting.append(found)
        if len(self._waiting) >= _AT_ONCE:
            # half as many again as are wanted in the end
            self._waiting = [self._merged(1.5)]

    def _merged(self, more: float) -> _Found:
        codes = np.concatenate([f.codes for f in self._waiting])
        order = np.argsort(codes, kind="stable")
        starts = _starts(codes[order])
        counts = np.add.reduceat(np.concatenate([f.counts for f in self._waiting])[order], starts)
        bits = np.concatenate([f.bits for f in self._waiting])[order[starts]]
        place = np.empty(len(codes), dtype=np.intp)
        place[order] = np.repeat(np.arange(len(starts)), np.diff([*starts, len(codes)]))
        before = np.cumsum([0, *(len(f.codes) for f in self._waiting)])[:-1]
        kept = [
            (f.units, first)
            for f, first in zip(self._waiting, before, strict=True)
            if f.units.owner.size
        ]
        units = none_kept()
        if kept:
            owner = place[np.concatenate([u.owner + first for u, first in kept])]
            by_pattern = np.argsort(owner, kind="stable")
            units = thinned_units(
                Units(
                    owner[by_pattern],
                    np.concatenate([u.stands_for for u, _ in kept])[by_pattern],
                    np.concatenate([u.sizes for u, _ in kept], axis=1)[:, by_pattern],
                ),
                bits,
                more * each_of(self._builds) / np.maximum(counts @ bits, 1),
            )
        return _Found(codes[order[starts]], bits, counts, units)

    def finished(self) -> Patterns:
        """All patterns, the commonest first, with no more units kept than each build needs."""
        if not self._waiting:
            none = np.zeros((0, self._builds), dtype=bool)
            return Patterns(none, np.zeros(0, dtype=np.int64), none_kept())
        found = self._merged(1.0)
        order = np.lexsort((found.codes, -found.counts))
        place = np.empty(len(order), dtype=np.intp)
        place[order] = np.arange(len(order))
        owner = place[found.units.owner]
        by_pattern = np.argsort(owner, kind="stable")
        units = Units(
            owner[by_pattern],
            found.units.stands_for[by_pattern],
            found.units.sizes[:, by_pattern],
        )
        return Patterns(found.bits[order], found.counts[order].astype(np.int64), units)


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
