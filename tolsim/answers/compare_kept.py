"""Failed units of which the sizes are kept: few of the common failures, all of the rare ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Units", "chances", "chosen", "each_of", "none_kept", "thinned_units"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
_KEPT = 4096  # failed units kept of each event, shared among the builds
_LEAST_KEPT = 1536  # of each build, however many there are
_GOLDEN = 0.5 * (5.0**0.5 - 1.0)


@dataclass(frozen=True, slots=True)
class Units:
    """Failed units: pattern of each (m,), how many it stands for (m,), its sizes (2k, m) [mm]."""

    owner: NDArray[np.intp]
    stands_for: FloatArray
    sizes: FloatArray


def none_kept() -> Units:
    """No units at all."""
    return Units(np.zeros(0, dtype=np.intp), np.zeros(0), np.empty((0, 0)))


def each_of(builds: int) -> int:
    """Failed units that each of so many builds keeps of an event."""
    return max(_LEAST_KEPT, _KEPT // max(1, builds))


def chances(bits: BoolArray, keep: FloatArray) -> FloatArray:
    """Chance of a unit of each pattern (p, g) to be kept: what its rarest build wants, (p,).

    `keep` is the chance that every build asks for its own failed units (g,).
    """
    return np.asarray((bits * keep).max(axis=1, initial=0.0))


def chosen(chance: FloatArray, turn: int) -> NDArray[np.intp]:
    """Places of the units kept, each with its own chance, evenly spaced in the order they stand.

    One in `1 / chance` of alike units; a chance of one is always kept. `turn` numbers the choices,
    which start at different places so that all of them together favour no place.

    Examples
    --------
    >>> chosen(np.full(9, 1.0 / 3.0), 0).tolist()
    [2, 5, 8]
    >>> chosen(np.array([1.0, 0.1, 1.0]), 0).tolist()
    [0, 2]
    """
    if (chance >= 1.0).all():
        return np.arange(chance.size)
    start = (turn * _GOLDEN) % 1.0
    # a little is added so that sums of thirds come to one
    passed = np.floor(np.cumsum(np.minimum(chance, 1.0)) + start + 1e-9)
    return np.flatnonzero(np.diff(passed, prepend=np.floor(start + 1e-9)) > 0.0)


def thinned_units(units: Units, bits: BoolArray, keep: FloatArray) -> Units:
    """Of units that were kept with higher chances those that are wanted now.

    Parameters
    ----------
    units : Units
        In the order of their patterns.
    bits : ndarray of bool
        Which builds fail on each pattern (p, g).
    keep : ndarray
        Chance that every build asks for its own failed units (g,).
    """
    if not units.owner.size:
        return units
    wanted = chances(bits, keep)[units.owner]
    if (wanted * units.stands_for >= 1.0).all():
        return units
    at = chosen(wanted * units.stands_for, 0)
    stands_for = np.maximum(units.stands_for[at], 1.0 / wanted[at])
    return Units(units.owner[at], stands_for, units.sizes[:, at])
