"""Failed units of all builds, and what they weigh under each parameter set."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import Patterns, Together
from tolsim.answers.compare_kept import Units, each_of, thinned_units
from tolsim.chance.streams import generator
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build

__all__ = [
    "AT_ONCE",
    "Cloud",
    "Features",
    "Weighed",
    "features_of",
    "plain_cloud",
    "thinned",
    "weighted_cloud",
]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
#: Measured features of a build: what its parameters rest on.
Features = tuple[tuple[str, str], ...]

#: Units, or draws of all rates, taken together: their matrices stay in the cache.
AT_ONCE = 128
_MOST_WEIGHTED = 4096  # weighted draws that the parameter sets are applied to
_CELL = 8  # kept units below which the weight of a group is that of several groups


@dataclass(frozen=True, kw_only=True, slots=True)
class Weighed:
    """Failed units of the builds whose parameters rest on the same features.

    Units are told apart by these builds alone: those on which the same of them fail are a group.
    Groups of few kept units share a cell, and with it their weights.

    `builds` are the places of the b builds, `group` (p,) the group of every pattern of the event,
    -1 where none of them fails. Of each group `bits` (q, b) say which builds fail, `counts` (q,)
    how many units, `kept` (q,) how many of them were kept, and `cell` (q,) where its weights
    stand. Of each cell and parameter set `mean` (k, c) is the mean weight of its units,
    `variance` that of this mean, `largest` the largest single weight; k is 1 where nothing was
    measured.
    """

    builds: tuple[int, ...]
    group: NDArray[np.intp]
    bits: BoolArray
    counts: FloatArray
    kept: NDArray[np.intp]
    cell: NDArray[np.intp]
    mean: FloatArray
    variance: FloatArray
    largest: FloatArray

    def by_cell(self, place: int) -> FloatArray:
        """Failed units of one build by cell, (c,)."""
        own = self.bits[:, self.builds.index(place)]
        found = np.bincount(self.cell[own], self.counts[own], self.mean.shape[1])
        return np.asarray(found, dtype=np.float64)

    def seen(self, place: int) -> int:
        """Kept units of one build."""
        return int(self.kept[self.bits[:, self.builds.index(place)]].sum())


@dataclass(slots=True)
class Cloud:
    """Failed units by pattern, and as the builds with each set of features see them.

    The units of a pattern that is `bits` (p, g) are `counts` (p,); `number` (p,) of counted units
    would be known as precisely.
    """

    bits: BoolArray
    counts: FloatArray
    number: FloatArray
    weighed: dict[Features, Weighed]
    #: Shares of all builds in draws of everything that is not known, once they are asked for.
    resampled: FloatArray | None = None


def features_of(build: Build) -> Features:
    """Measured features of a build, by part and key."""
    return tuple((m.part_name, m.key) for m in build.measured)


class _Weights:
    """What units of some builds weigh under every parameter set."""

    def __init__(self, together: Together, measured: Sequence[Measured], table: FloatArray) -> None:
        at = {name: 2 * k for k, name in enumerate(together.measured)}
        self._densities: list[tuple[int, Callable[[FloatArray], FloatArray]]] = [
            (at[m.part_name, m.key], m.log_densities(table)) for m in measured
        ]
        self._sets = table.shape[1]

    def of(self, sizes: FloatArray, stands_for: FloatArray) -> FloatArray:
        """Density of each unit's sizes under every set over that under their mixture, (k, m).

        Times what each unit stands for.
        """
        (row, density), *more = self._densities
        first = density(sizes[row : row + 2])
        total = first if first.flags.writeable else first.copy()
        for row, density in more:
            total += density(sizes[row : row + 2])
        total -= total.max(axis=0)
        np.exp(total, out=total)
        total *= stands_for / total.mean(axis=0)
        return np.asarray(total)

    def sums(
        self, units: Units, cell: NDArray[np.intp], cells: int
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Sums and sums of squares of the weights of units, and the largest, by cell, (k, c).

        Units stand in the order of their cells; each weight counts as often as its unit stands
        for others.
        """
        first, second, largest = (np.zeros((self._sets, cells)) for _ in range(3))
        for start in range(0, cell.size, AT_ONCE):
            these = slice(start, start + AT_ONCE)
            own = cell[these]
            w = self.of(units.sizes[:, these], units.stands_for[these])
            starts = np.flatnonzero(np.diff(own, prepend=-1))
            within = own[starts]
            one = (own[:, None] == within).astype(np.float64)
            first[:, within] += w @ one
            most = np.maximum.reduceat(w, starts, axis=1)
            largest[:, within] = np.maximum(largest[:, within], most)
            second[:, within] += np.square(w, out=w) @ one
        return first, second, largest


def _groups(bits: BoolArray) -> tuple[NDArray[np.intp], BoolArray]:
    """Group of every pattern (p, b), -1 where none of the builds fails, and groups' bits (q, b)."""
    group = np.full(len(bits), -1, dtype=np.intp)
    some = np.flatnonzero(bits.any(axis=1))
    words = np.zeros((some.size, 8 * -(-bits.shape[1] // 64)), dtype=np.uint8)
    words[:, : -(-bits.shape[1] // 8)] = np.packbits(bits[some], axis=1)
    codes = words.view(np.uint64)
    if codes.shape[1] == 1:
        _, first, inverse = np.unique(codes[:, 0], return_index=True, return_inverse=True)
    else:
        _, first, inverse = np.unique(codes, axis=0, return_index=True, return_inverse=True)
    group[some] = inverse.ravel()
    return group, bits[some[first]]


def _cells(bits: BoolArray, counts: FloatArray, kept: NDArray[np.intp]) -> NDArray[np.intp]:
    """Cell of every group: its own where it kept enough, else that of its rarest build's groups.

    What is left of a build with hardly a unit goes to the largest group that has it.
    """
    own = kept >= _CELL
    cell = np.where(own, np.cumsum(own) - 1, -1)
    failed = counts @ bits
    rarest = np.where(bits, failed, np.inf).argmin(axis=1) if len(bits) else cell
    number = int(own.sum())
    for b in np.unique(rarest[~own]).tolist():
        pool = ~own & (rarest == b)
        larger = np.flatnonzero(own & bits[:, b])
        if kept[pool].sum() < 2 and larger.size:
            cell[pool] = cell[larger[counts[larger].argmax()]]
        else:
            cell[pool] = number
            number += 1
    return np.asarray(cell)


def _weighed(
    together: Together,
    features: Features,
    cloud: Cloud,
    units: Units,
    table: FloatArray,
    *,
    counted: bool,
) -> Weighed:
    """The units of a cloud as the builds with some features see them.

    Where units are `counted` those that are kept are a choice; else they are all.
    """
    builds = tuple(g for g, b in enumerate(together.builds) if features_of(b) == features)
    group, bits = _groups(cloud.bits[:, list(builds)])
    some = group >= 0
    counts = np.bincount(group[some], cloud.counts[some], len(bits)).astype(np.float64)
    own = group[units.owner]
    at = np.argsort(own, kind="stable")[np.count_nonzero(own < 0) :]
    units = Units(own[at], units.stands_for[at], units.sizes[:, at])
    if features and counted:
        # as many as these builds want; others kept more of theirs
        wanted = each_of(len(together.builds)) / np.maximum(counts @ bits, 1.0)
        units = thinned_units(units, bits, wanted)
    kept = np.bincount(units.owner, minlength=len(bits))
    cell = np.arange(len(bits))
    if not features or not units.owner.size:
        mean = largest = np.ones((1, len(bits)))
        variance = np.zeros((1, len(bits)))
    else:
        weights = _Weights(together, together.builds[builds[0]].measured, table)
        if counted:
            cell = _cells(bits, counts, kept)
            mean, variance, largest = _moments(weights, units, cell, counts)
        else:
            first, second, largest = weights.sums(units, units.owner, len(bits))
            mean = first / counts
            # without what the number of draws leaves open, which all builds have in common
            squares = np.bincount(units.owner, np.square(units.stands_for), len(bits))
            variance = np.maximum(second - np.square(mean) * squares, 0.0) / np.square(counts)
    return Weighed(
        builds=builds,
        group=group,
        bits=bits,
        counts=counts,
        kept=kept,
        cell=cell,
        mean=mean,
        variance=variance,
        largest=largest,
    )


def _moments(
    weights: _Weights, units: Units, cell: NDArray[np.intp], counts: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean weight of each cell's units, its variance and the largest weight, by set, (k, c)."""
    of_units, cells = cell[units.owner], int(cell.max()) + 1
    at = np.argsort(of_units, kind="stable")
    alike = Units(of_units[at], np.ones(at.size), units.sizes[:, at])
    first, second, largest = weights.sums(alike, of_units[at], cells)
    number = np.bincount(of_units, minlength=cells)
    whole = np.bincount(cell, counts, cells)
    mean: FloatArray = np.where(number, first / np.maximum(number, 1), 1.0)
    spread = np.maximum(second / np.maximum(number, 1) - np.square(mean), 0.0)
    # of some of the units the spread of all is found by n - 1
    of_some = np.where((number > 1) & (number < whole), number - 1, np.maximum(number, 1))
    return mean, spread / of_some, largest


def plain_cloud(together: Together, patterns: Patterns, table: FloatArray) -> Cloud:
    """Counted units by pattern, weighed by the units kept of them.

    Parameters
    ----------
    together : Together
        The run.
    patterns : Patterns
        Of one event; sizes of the units kept in mm.
    table : ndarray
        Parameter sets (d, k).
    """
    counts = patterns.counts.astype(np.float64)
    cloud = Cloud(bits=patterns.bits, counts=counts, number=counts, weighed={})
    for features in dict.fromkeys(map(features_of, together.builds)):
        cloud.weighed[features] = _weighed(
            together, features, cloud, patterns.units, table, counted=True
        )
    return cloud


def thinned(weight: FloatArray, seed: int) -> tuple[NDArray[np.intp], FloatArray]:
    """At most `_MOST_WEIGHTED` draws in proportion to their weights, and what each then counts."""
    if weight.size <= _MOST_WEIGHTED:
        return np.arange(weight.size), weight
    total = float(weight.sum())
    step = total / _MOST_WEIGHTED
    start = generator(seed, "thinned weights").random() * step
    at = start + step * np.arange(_MOST_WEIGHTED)
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), at), weight.size - 1)
    return chosen, np.full(_MOST_WEIGHTED, step)


def weighted_cloud(
    together: Together,
    hits: BoolArray,
    weight: FloatArray,
    sizes: FloatArray,
    table: FloatArray,
) -> Cloud:
    """Importance-weighted draws by pattern.

    Parameters
    ----------
    together : Together
        The run.
    hits : ndarray of bool
        Which builds fail on each draw (m, g).
    weight : ndarray
        What each draw counts for, in units of the run (m,).
    sizes : ndarray
        Sizes of the measured features on each draw [mm], (2f, m).
    table : ndarray
        Parameter sets (d, k).
    """
    bits, inverse = np.unique(hits, axis=0, return_inverse=True)
    units = Units(inverse.ravel(), weight, sizes)
    counts = np.bincount(units.owner, weight, len(bits)).astype(np.float64)
    number = np.square(counts) / np.bincount(units.owner, np.square(weight), len(bits))
    cloud = Cloud(bits=bits, counts=counts, number=number, weighed={})
    for features in dict.fromkeys(map(features_of, together.builds)):
        cloud.weighed[features] = _weighed(together, features, cloud, units, table, counted=False)
    return cloud
