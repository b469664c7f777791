"""Failed units by pattern, and what they weigh under each parameter set."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import Patterns, Together
from tolsim.chance.streams import generator
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build

__all__ = [
    "AT_ONCE",
    "Cloud",
    "Features",
    "Sums",
    "features_of",
    "plain_cloud",
    "thinned",
    "weighted_cloud",
]

FloatArray = NDArray[np.float64]
#: Measured features of a build: what its parameters rest on.
Features = tuple[tuple[str, str], ...]

#: Units, or draws of all rates, taken together: their matrices stay in the cache.
AT_ONCE = 128
_MOST_WEIGHTED = 4096  # weighted draws that the parameter sets are applied to


@dataclass(frozen=True, slots=True)
class Sums:
    """Units under each parameter set, by pattern, in counts: (k, p); largest single weight (k, p).

    Of the patterns in `places` only, those on which a build with these features fails. `variance`
    is that of the weights alone; counting has its own.
    """

    places: NDArray[np.intp]
    value: FloatArray
    variance: FloatArray
    largest: FloatArray


@dataclass(slots=True)
class Cloud:
    """Failed units by pattern, each pattern with its sums for every set of features."""

    bits: NDArray[np.bool_]
    counts: FloatArray
    kept: FloatArray
    sums: dict[Features, Sums]
    counted: bool
    #: Shares of all builds in draws of everything that is not known, once they are asked for.
    resampled: FloatArray | None = None

    def counting(self, sums: Sums) -> FloatArray:
        """Variance of the counts behind these sums (k, p); weighted draws have none."""
        if not self.counted:
            return np.zeros(1)
        return np.asarray(np.square(sums.value) / np.maximum(self.counts[sums.places], 1.0))


def features_of(build: Build) -> Features:
    """Measured features of a build, by part and key."""
    return tuple((m.part_name, m.key) for m in build.measured)


def _sets_of_features(together: Together) -> dict[Features, tuple[Measured, ...]]:
    return {features_of(b): b.measured for b in together.builds}


class _Weights:
    """Weights of units' sizes under every set; each feature's density is computed once."""

    def __init__(
        self,
        densities: Mapping[tuple[str, str], tuple[int, Callable[[FloatArray], FloatArray]]],
        sizes: FloatArray,
    ) -> None:
        self._densities, self._sizes = densities, sizes
        self._known: dict[tuple[str, str], FloatArray] = {}

    def of(self, features: Features) -> FloatArray:
        """Density of each unit's sizes under every set over that under their mixture, (k, m)."""
        for name in features:
            if name not in self._known:
                row, density = self._densities[name]
                self._known[name] = density(self._sizes[row : row + 2])
        first, *more = (self._known[name] for name in features)
        total = first - first.max(axis=0) if not more else first + more[0]
        for other in more[1:]:
            total += other
        if more:
            total -= total.max(axis=0)
        np.exp(total, out=total)
        total /= total.mean(axis=0)
        return np.asarray(total)


def _runs(kept: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Patterns first to last, so few that their kept units stay in the cache; one at least."""
    out, first, held = [], 0, 0
    for p, k in enumerate(kept.tolist()):
        if held and held + k > AT_ONCE:
            out.append((first, p))
            first, held = p, 0
        held += k
    return [*out, (first, len(kept))]


def _places_of(together: Together, bits: NDArray[np.bool_]) -> dict[Features, NDArray[np.intp]]:
    """Patterns on which a build with these features fails, for every set of features."""
    out: dict[Features, NDArray[np.intp]] = {}
    for features in _sets_of_features(together):
        own = [g for g, b in enumerate(together.builds) if features_of(b) == features]
        out[features] = np.flatnonzero(bits[:, own].any(axis=1))
    return out


def _weighed(
    together: Together,
    bits: NDArray[np.bool_],
    kept: NDArray[np.intp],
    sizes: FloatArray,
    table: FloatArray,
    summed: Callable[[FloatArray, slice, NDArray[np.intp]], tuple[FloatArray, ...]],
) -> dict[Features, tuple[FloatArray, ...]]:
    """What `summed` makes of the weights, by features: three arrays (k, patterns of theirs).

    Units stand in the order of their patterns, `kept` of each; `summed` gets the weights of some
    of them, which these are, and where among them each pattern starts.
    """
    known = _sets_of_features(together)
    places = _places_of(together, bits)
    sets = table.shape[1]
    out = {
        f: tuple(np.zeros((sets, len(places[f]))) for _ in range(3)) for f, m in known.items() if m
    }
    at = {name: 2 * k for k, name in enumerate(together.measured)}
    densities = {
        (m.part_name, m.key): (at[m.part_name, m.key], m.log_densities(table))
        for measured in known.values()
        for m in measured
    }
    ends = np.concatenate([[0], np.cumsum(kept)])
    for first, last in _runs(kept) if out else []:
        units = slice(int(ends[first]), int(ends[last]))
        weights = _Weights(densities, sizes[:, units])
        starts = ends[first:last] - ends[first]
        for features, arrays in out.items():
            own = places[features]
            low, high = np.searchsorted(own, [first, last])
            if low == high:
                continue
            found = summed(weights.of(features), units, starts)
            for into, some in zip(arrays, found, strict=True):
                into[:, low:high] = some[:, own[low:high] - first]
    return out


def plain_cloud(together: Together, patterns: Patterns, table: FloatArray) -> Cloud:
    """Counted units by pattern, weighed by the units kept of each.

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
    kept = np.array([s.shape[1] for s in patterns.sizes], dtype=np.intp)
    cloud = Cloud(patterns.bits, counts, kept.astype(np.float64), {}, counted=True)
    wide = any(s.size for s in patterns.sizes)
    sizes = np.concatenate(patterns.sizes, axis=1) if wide else np.empty((0, 0))
    known = _sets_of_features(together)
    places = _places_of(together, patterns.bits)

    def moments(w: FloatArray, units: slice, starts: NDArray[np.intp]) -> tuple[FloatArray, ...]:
        n = np.diff(np.append(starts, w.shape[1]))
        mean = np.add.reduceat(w, starts, axis=1) / n
        square = np.add.reduceat(np.square(w), starts, axis=1) / n
        largest = np.maximum.reduceat(w, starts, axis=1)
        return mean, np.maximum(square - np.square(mean), 0.0), largest

    found = _weighed(together, patterns.bits, kept, sizes, table, moments) if wide else {}
    for features in known:
        own = places[features]
        some = counts[own]
        if features not in found:
            one = some[None, :]
            cloud.sums[features] = Sums(own, one, np.zeros_like(one), np.ones_like(one))
            continue
        mean, spread, largest = found[features]
        # of some of the units the spread of all is found by n - 1
        of_some = np.where((kept[own] > 1) & (kept[own] < some), kept[own] - 1, kept[own])
        # the mean weight is known from the units that were kept
        cloud.sums[features] = Sums(
            places=own,
            value=some * mean,
            variance=np.square(some) * spread / of_some,
            largest=largest,
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
    hits: NDArray[np.bool_],
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
    order = np.argsort(inverse, kind="stable")
    owner, weight, sizes = inverse[order], weight[order], sizes[:, order]
    starts = np.searchsorted(owner, np.arange(len(bits)))
    counts = np.add.reduceat(weight, starts)
    kept = np.diff(np.append(starts, owner.size))
    cloud = Cloud(bits, counts, kept.astype(np.float64), {}, counted=False)

    def sums(w: FloatArray, units: slice, begin: NDArray[np.intp]) -> tuple[FloatArray, ...]:
        w = w * weight[units]
        return (
            np.add.reduceat(w, begin, axis=1),
            np.add.reduceat(np.square(w), begin, axis=1),
            np.maximum.reduceat(w, begin, axis=1),
        )

    found = _weighed(together, bits, kept, sizes, table, sums)
    for features, own in _places_of(together, bits).items():
        if features in found:
            cloud.sums[features] = Sums(own, *found[features])
            continue
        alone = sums(np.ones((1, weight.size)), slice(None), starts)
        cloud.sums[features] = Sums(own, *(a[:, own] for a in alone))
    return cloud
