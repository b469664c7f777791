"""Quantiles of a quantity from a histogram on a fixed grid that blocks can fill and merge.

Nothing but counts is kept, so memory does not grow with the number of draws.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Histogram"]


@dataclass(slots=True)
class Histogram:
    """Counts of a quantity on `bins` equal cells of [low, high), with two open end cells.

    Parameters
    ----------
    low, high : float
        Ends of the grid, in the unit of the quantity.
    bins : int
        Cells between them; a quantile is good to ``(high - low) / bins``.

    Examples
    --------
    >>> h = Histogram(0.0, 10.0, bins=1000)
    >>> h.add(np.arange(0.0, 10.0, 0.01))
    >>> h.quantile(0.5)
    5.0
    """

    low: float
    high: float
    bins: int = 4096
    counts: NDArray[np.int64] = field(init=False, repr=False)
    minimum: float = field(init=False, default=np.inf)
    maximum: float = field(init=False, default=-np.inf)
    _sum: float = field(init=False, default=0.0, repr=False)
    _squares: float = field(init=False, default=0.0, repr=False)

    def __post_init__(self) -> None:
        if not (np.isfinite(self.low) and np.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"need finite low < high, got {self.low} and {self.high}")
        if self.bins < 1:
            raise ValueError(f"need at least one bin, got {self.bins}")
        self.counts = np.zeros(self.bins + 2, dtype=np.int64)

    def __reduce__(self) -> tuple[Any, ...]:
        # one block fills a small part of the grid, and its counts cross a pipe
        filled = np.flatnonzero(self.counts)
        first, last = (int(filled[0]), int(filled[-1])) if filled.size else (0, -1)
        packed = self.counts[first : last + 1]
        if filled.size and int(packed.max()) <= np.iinfo(np.uint16).max:
            packed = packed.astype(np.uint16)
        sums = (self.minimum, self.maximum, self._sum, self._squares)
        return _unpacked, (
            self.low,
            self.high,
            self.bins,
            first,
            packed.tobytes(),
            packed.dtype.char,
            sums,
        )

    @property
    def n(self) -> int:
        """Values counted."""
        return int(self.counts.sum())

    @property
    def resolution(self) -> float:
        """Width of a cell: how far a quantile inside the grid can be off its sample's."""
        return (self.high - self.low) / self.bins

    @property
    def mean(self) -> float:
        """Mean of all values, those beyond the grid included; NaN where one was infinite."""
        return self._centre + self._sum / self.n if self.n else float("nan")

    @property
    def sd(self) -> float:
        """Standard deviation (n - 1) of all values; NaN where one was infinite."""
        n = self.n
        if n < 2:
            return float("nan")
        with np.errstate(invalid="ignore", over="ignore"):
            squares = self._squares - np.float64(self._sum) ** 2 / n
            return float(np.sqrt(np.maximum(0.0, squares) / (n - 1)))

    @property
    def _centre(self) -> float:
        return 0.5 * (self.low + self.high)  # sums are taken about it, to keep their digits

    def add(self, values: NDArray[np.float64]) -> None:
        """Count the values of one block, shape (n,); NaN raises ValueError."""
        if values.size == 0:
            return
        smallest, largest = float(values.min()), float(values.max())
        if np.isnan(smallest) or np.isnan(largest):
            raise ValueError("cannot count NaN")
        offset = values - self._centre
        with np.errstate(invalid="ignore", over="ignore"):
            self._sum += float(offset.sum())
            self._squares += float(np.dot(offset, offset))
        # from the first cell inside on; clamped before the cast: a float beyond int64 has no
        # defined integer, and one that is not negative is cut to the cell below
        cell = offset
        cell *= self.bins / (self.high - self.low)
        cell += 0.5 * self.bins + 1.0
        np.maximum(cell, 0.0, out=cell)
        np.minimum(cell, self.bins + 1.0, out=cell)
        self.counts += np.bincount(cell.astype(np.int64), minlength=self.bins + 2)
        self.minimum = min(self.minimum, smallest)
        self.maximum = max(self.maximum, largest)

    def merge(self, other: Histogram) -> None:
        """Add the counts of a histogram on the same grid."""
        if (self.low, self.high, self.bins) != (other.low, other.high, other.bins):
            raise ValueError("histograms on different grids cannot be merged")
        self.counts += other.counts
        self._sum += other._sum
        self._squares += other._squares
        self.minimum = min(self.minimum, other.minimum)
        self.maximum = max(self.maximum, other.maximum)

    def quantile(self, share: float) -> float:
        """Value below which `share` of the sample lies, linear inside its cell.

        Within `resolution` of the sample's own quantile while it falls on the grid; in an open
        end cell it is clamped to that end of the grid (`clamped` tells).
        """
        n = self.n
        if not 0.0 <= share <= 1.0 or n == 0:
            raise ValueError(f"need a share from 0 to 1 and values, got {share} of {n}")
        below = np.concatenate([[0], np.cumsum(self.counts)])
        wanted = share * n
        cell = int(np.searchsorted(below[1:], wanted, side="left"))
        while cell < self.bins + 1 and self.counts[cell] == 0:
            cell += 1
        if cell == 0:
            return self.low
        if cell == self.bins + 1:
            return self.high
        inside = (wanted - below[cell]) / self.counts[cell]
        value = self.low + (cell - 1 + inside) * self.resolution
        return float(min(max(value, self.minimum), self.maximum))

    def clamped(self, share: float) -> bool:
        """Whether this quantile lies beyond the grid, so that only its bound is known."""
        wanted = share * self.n
        return bool(
            wanted < self.counts[0] or (self.counts[-1] > 0 and wanted > self.n - self.counts[-1])
        )


def _unpacked(
    low: float,
    high: float,
    bins: int,
    first: int,
    packed: bytes,
    kind: str,
    sums: tuple[float, float, float, float],
) -> Histogram:
    out = Histogram(low, high, bins)
    counts = np.frombuffer(packed, dtype=kind)
    out.counts[first : first + counts.size] = counts
    out.minimum, out.maximum, out._sum, out._squares = sums
    return out
