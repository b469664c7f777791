"""Cells of a table: which one a standard normal falls into, found without a search."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["REACH", "Cells", "EvenCells", "OctaveCells"]

FloatArray: TypeAlias = NDArray[np.float64]

REACH = 8.5  # tables cover -REACH to REACH: 2e-17 of the draws lie outside
_NEAREST = 2.0**-24  # octave cells start at this distance from their centre
_BITS, _FRACTION, _BIAS = 32, 23, 127  # of a float32


class Cells(Protocol):
    """A division of the axis of z into numbered cells."""

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Lower and upper end of every cell, in the order of their numbers.

        Cells beyond the reach of a table are empty: both ends are the same.
        """

    @property
    def given_up(self) -> NDArray[np.bool_]:
        """Which cells no straight line is to stand for."""

    def of(self, z: FloatArray) -> NDArray[np.int64]:
        """Number of the cell of each z, to be clipped to the first and last."""


@dataclass(frozen=True, slots=True)
class EvenCells:
    r"""Cells of one width, `per_unit` (a power of two) for each unit of z.

    Adding :math:`1.5 \cdot 2^{52} h` to z rounds it to a multiple of the cell width h, whose number
    then stands in the low bits: one addition and one integer subtraction a draw.

    >>> EvenCells(512).of(np.array([-8.5, 0.0, 8.5]))
    array([   0, 4352, 8704])
    """

    per_unit: int

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Ends of 17 `per_unit` + 1 cells, the first and last centred at the reach."""
        count = round(2.0 * REACH * self.per_unit) + 1
        edges = -REACH - 0.5 / self.per_unit + np.arange(count + 1) / self.per_unit
        return edges[:-1], edges[1:]

    @property
    def given_up(self) -> NDArray[np.bool_]:
        """None: beyond the reach the outermost cells go on as straight lines."""
        return np.zeros(round(2.0 * REACH * self.per_unit) + 1, dtype=np.bool_)

    def of(self, z: FloatArray) -> NDArray[np.int64]:
        """Number of the cell of each z; clip."""
        shift = 1.5 * 2.0**52 / self.per_unit
        cells = np.add(z, shift).view(np.int64)
        cells -= np.array([shift - REACH]).view(np.int64)[0]
        return cells


@dataclass(frozen=True, slots=True)
class OctaveCells:
    r"""Cells that narrow towards jumps: `2**bits` for every octave of the distance from one.

    Near a jump a quantile curve rises like :math:`\sqrt{-\ln|z - z_0|}`, to which cells in
    proportion to the distance do justice. Sign, exponent and leading fraction bits of the distance
    as a float32 are the number of the cell among those of the nearest jump. Most numbers stand for
    distances that no draw has; those nearer than 2**-24 are left to nodes. `jumps` increase; half
    way between two the nearest changes.

    >>> cells = OctaveCells((0.5,), 7)
    >>> low, high = cells.ends
    >>> k = int(cells.of(np.array([1.6]))[0])
    >>> float(low[k]), float(high[k])
    (1.59375, 1.6015625)
    """

    jumps: tuple[float, ...]
    bits: int

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Ends jump by jump: of the cells above it, outwards, then of those below, outwards."""
        near, far = self._distances()
        borders = (-REACH, *self._halfway, REACH)
        ends = [
            (
                np.clip(np.concatenate([jump + near, jump - far]), first, last),
                np.clip(np.concatenate([jump + far, jump - near]), first, last),
            )
            for jump, (first, last) in zip(self.jumps, pairwise(borders), strict=True)
        ]
        return np.concatenate([low for low, _ in ends]), np.concatenate([high for _, high in ends])

    @property
    def given_up(self) -> NDArray[np.bool_]:
        """The cells at the jumps, of either sign."""
        return np.tile(self._distances()[0] < _NEAREST, 2 * len(self.jumps))

    def of(self, z: FloatArray) -> NDArray[np.int64]:
        """Number of the cell of each z."""
        if len(self.jumps) == 1:
            return self._number(np.subtract(z, self.jumps[0])).astype(np.int64)
        first, *others = self._halfway
        nearest = (z > first).astype(np.int64)
        for border in others:
            nearest += z > border
        distance = np.array(self.jumps).take(nearest, mode="clip")
        np.subtract(z, distance, out=distance)
        nearest <<= _BITS - _FRACTION + self.bits
        nearest += self._number(distance)
        return nearest

    def _number(self, distance: FloatArray) -> NDArray[np.uint32]:
        leading = distance.astype(np.float32).view(np.uint32)
        leading >>= _FRACTION - self.bits
        return leading

    @property
    def _halfway(self) -> tuple[float, ...]:
        return tuple(0.5 * (a + b) for a, b in pairwise(self.jumps))

    def _distances(self) -> tuple[FloatArray, FloatArray]:
        """Smallest and largest distance of the cells of one side; one cell holds the nearest."""
        number = np.arange((1 << _BITS - 1 - _FRACTION + self.bits) + 1, dtype=np.int64)
        exponent, part = np.divmod(number, 1 << self.bits)
        edge = np.ldexp(1.0 + part / (1 << self.bits), exponent - _BIAS)
        near, far = edge[:-1], edge[1:]
        empty = near < _NEAREST
        near, far = np.where(empty, 0.0, near), np.where(empty, 0.0, far)
        far[0] = _NEAREST
        return near, far
