"""Which outputs of a recording are the same function of the draws."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from hashlib import blake2b

import numpy as np

from tolsim.record import Judging, Recording

__all__ = ["Marks"]


class Marks:
    """What tells outputs apart, from one block of draws that a judge has judged.

    Margins are continuous functions of the draws: what agrees to the last bit on a whole block is
    the same function. Values are looked at only where outputs that are computed differently fail
    on the same units.

    Parameters
    ----------
    recording : Recording
        The outputs.
    judge : Judging
        Has judged them; its draws are kept.
    """

    def __init__(self, recording: Recording, judge: Judging) -> None:
        self._recording, self._z = recording, judge.z.copy()
        bits = np.packbits(judge.failed, axis=1)
        marks = [blake2b(row, digest_size=16).digest() for row in bits]
        self._bits = {output: marks[row] for output, row in judge.rows.items()}
        self._values: dict[int, bytes] = {}

    def first_alike(
        self, rows: Sequence[Sequence[int]], more: Sequence[Hashable] | None = None
    ) -> tuple[int, ...]:
        """For each group of outputs the first group that is the same function, output by output.

        `more` is whatever else must be equal.
        """
        more = more or [None] * len(rows)
        groups: dict[Hashable, list[int]] = {}
        for k, own in enumerate(rows):
            groups.setdefault((more[k], tuple(self._bits[r] for r in own)), []).append(k)
        out = list(range(len(rows)))
        for members in groups.values():
            first: dict[Hashable, int] = {}
            told = len({self._recording.same(rows[k]) for k in members}) > 1
            if told:
                self._look_at(sorted({r for k in members for r in rows[k]}))
            for k in members:
                mark = tuple(self._values[r] for r in rows[k]) if told else None
                out[k] = first.setdefault(mark, k)
        return tuple(out)

    def _look_at(self, outputs: list[int]) -> None:
        """Digests of these outputs' values."""
        new = [r for r in outputs if r not in self._values]
        if new:
            values = self._recording.select(new)(self._z)
            for r, row in zip(new, values, strict=True):
                self._values[r] = blake2b(row, digest_size=16).digest()
