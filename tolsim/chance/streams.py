"""Named streams of standard normals: one generator for every (seed, name, block).

Block `i` of a latent variable depends on the seed, its name and `i` alone. So adding or
reordering variables leaves the draws of the others alone, alternatives share draws, the result
does not depend on how many workers shared the blocks, and a run can resume at any block.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.random import SFC64, Generator
from numpy.random.bit_generator import ISeedSequence
from numpy.typing import NDArray

__all__ = ["BLOCK", "Streams", "generator"]

#: Assemblies a block: the rows of one block stay in the cache, a call costs more than its lock.
BLOCK = 8192

_STATE_BYTES = 24  # SFC64 is seeded by three words of 64 bits


class _Words(ISeedSequence):
    """Hands finished seed words to SFC64, which warms up over its customary 12 rounds.

    numpy's own SeedSequence mixes for 7 us a generator, a tenth of drawing a row of 8192.
    """

    def __init__(self, digest: bytes) -> None:
        self._words = np.frombuffer(digest, dtype=np.uint64)

    def generate_state(self, n_words: int, dtype: Any = np.uint32) -> NDArray[Any]:
        if n_words != 3 or np.dtype(dtype) != np.uint64:
            raise ValueError(f"these words seed SFC64 only, asked for {n_words} of {dtype}")
        return self._words


def _start(seed: int, label: str) -> Any:
    """The hash of seed and label, to be completed by a block number."""
    return hashlib.blake2b(f"{seed}\0{label}\0".encode(), digest_size=_STATE_BYTES)


def _generator(start: Any, block: int) -> Generator:
    h = start.copy()
    h.update(block.to_bytes(8, "little"))
    return Generator(SFC64(_Words(h.digest())))  # type: ignore[arg-type]  # stub omits ISeedSequence


def _check_seed(seed: int) -> int:
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or seed < 0:
        raise ValueError(f"a seed is a whole number from 0 up, got {seed!r}")
    return int(seed)


def generator(seed: int, label: str, index: int = 0) -> Generator:
    """A generator of its own for one stage of an estimator, keyed as the blocks of a stream.

    Parameters
    ----------
    seed : int
        From 0 up; 0 is a seed like any other.
    label, index : str, int
        Name of the stage and its repeat.

    Examples
    --------
    >>> a, b = generator(0, "subset", 1), generator(0, "subset", 1)
    >>> a.standard_normal() == b.standard_normal()
    True
    """
    return _generator(_start(_check_seed(seed), f"stage\0{label}"), index)


class Streams:
    """Blocks of independent standard normals, one row a named latent variable.

    Parameters
    ----------
    seed : int
        From 0 up; 0 is a seed like any other.
    names : sequence of str
        Names of the d rows, all different.
    block : int
        Columns of a full block.

    Raises
    ------
    ValueError
        If two names are, or hash to, the same; names both and their rows.

    Notes
    -----
    Native SFC64, keyed by 192 bits of BLAKE2b over seed, name and block. Nothing is kept between
    calls, so threads may share one object.

    Examples
    --------
    >>> z = np.empty((2, 4))
    >>> Streams(1, ["bore", "ring"], block=4).fill(7, z)
    >>> y = np.empty((1, 4))
    >>> Streams(1, ["sleeve", "ring"], block=4).fill(7, y, rows=[1])
    >>> bool((y[0] == z[1]).all())
    True
    """

    def __init__(self, seed: int, names: Sequence[str], block: int = BLOCK) -> None:
        self.seed = _check_seed(seed)
        self.names = tuple(names)
        if block < 1:
            raise ValueError(f"a block has at least one column, got {block}")
        self.block = block
        self._starts = [_start(self.seed, name) for name in self.names]
        seen: dict[bytes, int] = {}
        for row, start in enumerate(self._starts):
            first = seen.setdefault(start.digest(), row)
            if first != row:
                raise ValueError(
                    f"rows {first} and {row} would share their draws: "
                    f"{self.names[first]!r} and {self.names[row]!r}"
                )

    def fill(
        self,
        block_index: int,
        out: NDArray[np.float64] | Sequence[NDArray[np.float64]],
        *,
        rows: Sequence[int] | None = None,
    ) -> None:
        """Fill `out` with the normals of one block.

        Parameters
        ----------
        block_index : int
            From 0 up.
        out : ndarray or sequence of ndarray
            (d, n) or, with `rows`, (len(rows), n); rows contiguous, n <= `block`. A shorter block
            holds the first n columns of the full one. A sequence holds the rows one by one.
        rows : sequence of int, optional
            Rows that are wanted, in the order of `out`; the others are not drawn.
        """
        starts = self._starts if rows is None else [self._starts[r] for r in rows]
        shapes = {row.shape for row in out}
        if len(out) != len(starts) or any(len(s) != 1 or s[0] > self.block for s in shapes):
            raise ValueError(f"need {len(starts)} rows of at most {self.block}, got {shapes}")
        for row, start in zip(out, starts, strict=True):
            _generator(start, block_index).standard_normal(out=row)
