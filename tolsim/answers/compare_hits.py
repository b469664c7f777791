"""On which units of a block each build fails, event by event, one bit a unit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import CREAK as CREAK_MODES
from tolsim.answers.tally import Event, events_of
from tolsim.joint.model import MODES, Build

__all__ = ["ANY", "CREAK", "Hits", "Words", "packed"]

BoolArray = NDArray[np.bool_]
#: Sixty-four units a number.
Words = NDArray[np.uint64]

#: The event that a unit fails at any limit at all.
ANY: Event = ("any", 0)
CREAK: Event = ("creak", 0)


class Hits:
    """What the answers of a judge mean for builds and events; what several ask for is found once.

    Parameters
    ----------
    builds : sequence of Build
        The builds, g of them.
    events : sequence of Event
        (mode, seat) that are wanted, `ANY` among them if that is.
    rows : mapping
        Row of a judge's answers for every output of these builds.
    """

    def __init__(
        self, builds: Sequence[Build], events: Sequence[Event], rows: Mapping[int, int]
    ) -> None:
        seats = [
            {(m, s): r for (m, s), r in events_of(b).items() if s and m in MODES} for b in builds
        ]
        # groups of rows from 1 up; 0 is what never fails
        groups: dict[tuple[int, ...], int] = {}
        asked = {
            event: [
                [
                    groups.setdefault(tuple(sorted({rows[r] for r in own[e]})), len(groups) + 1)
                    for e in own
                    if _belongs(e, event)
                ]
                for own in seats
            ]
            for event in events
        }
        self._rows = np.array([r for group in groups for r in group], dtype=np.intp)
        self._starts = np.cumsum([0, *map(len, groups)])[:-1]
        self._asked = {event: _padded(found) for event, found in asked.items()}

    def of(self, failed: Words) -> Iterator[tuple[Event, Words]]:
        """For every event the units on which each build fails (g, w), of rows of outputs (j, w)."""
        hits = np.zeros((len(self._starts) + 1, failed.shape[1]), dtype=np.uint64)
        if len(self._starts):
            np.bitwise_or.reduceat(failed[self._rows], self._starts, axis=0, out=hits[1:])
        for event, asked in self._asked.items():
            yield event, np.bitwise_or.reduce(hits[asked], axis=1)


def packed(failed: BoolArray, width: int) -> Words:
    """One bit a unit (j, n/64), of the first `width` columns only; n is a multiple of 64."""
    out = np.packbits(failed, axis=1)
    if width < failed.shape[1]:
        out &= np.packbits(np.arange(failed.shape[1]) < width)
    return out.view(np.uint64)


def _belongs(own: Event, event: Event) -> bool:
    """Whether failing so at one seat is the event."""
    mode, seat = event
    modes = {"any": MODES, "creak": CREAK_MODES}.get(mode, (mode,))
    return own[0] in modes and seat in (0, own[1])


def _padded(groups: Sequence[Sequence[int]]) -> NDArray[np.intp]:
    """Numbers of each group in a row of its own, the shorter ones filled up with 0."""
    out = np.zeros((len(groups), max([1, *map(len, groups)])), dtype=np.intp)
    for row, group in zip(out, groups, strict=True):
        row[: len(group)] = group
    return out
