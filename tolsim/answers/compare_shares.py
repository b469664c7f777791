"""Shares of all builds at once: under every parameter set, with the error of the draws they share.

Common draws and common parameter sets stay common: what two builds have alike cancels in their
difference, whichever of the two uncertainties it comes from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import ANY, Patterns, Together
from tolsim.answers.tally import SETS, Event, events_of
from tolsim.chance.estimate import Estimate, estimate
from tolsim.chance.event import event_of
from tolsim.chance.paired import independent_difference
from tolsim.chance.parameter_draws import ShareDraws
from tolsim.chance.streams import generator
from tolsim.intervals import Interval, weighted_counts
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build

__all__ = ["FEW", "RESAMPLED", "EventShares", "Features", "features_of"]

FloatArray = NDArray[np.float64]
#: Measured features of a build: what its parameters rest on.
Features = tuple[tuple[str, str], ...]

#: Draws of all rates together: parameter sets with the error of the draws.
RESAMPLED = 2 * SETS
#: Failed units below which a rate is left to the rare-event methods.
FEW = 400
_MOST_WEIGHTED = 4096  # weighted draws that the parameter sets are applied to
_SEEN = 30  # kept units below which the weights that were seen say too little


@dataclass(frozen=True, slots=True)
class _Sums:
    """Units under each parameter set, by pattern, in counts: (k, p); largest single weight (k, p).

    `variance` is that of the weights alone; counting has its own.
    """

    value: FloatArray
    variance: FloatArray
    largest: FloatArray


@dataclass(slots=True)
class _Cloud:
    """Failed units by pattern, each pattern with its sums for every set of features."""

    bits: NDArray[np.bool_]
    counts: FloatArray
    kept: FloatArray
    sums: dict[Features, _Sums]
    counted: bool

    def counting(self, sums: _Sums) -> FloatArray:
        """Variance of the counts behind these sums (k, p); weighted draws have none."""
        if not self.counted:
            return np.zeros(1)
        return np.asarray(np.square(sums.value) / np.maximum(self.counts, 1.0))


@dataclass(slots=True)
class EventShares:
    """One event: shares of every differing build, alone and against each other.

    Parameters
    ----------
    together : Together
        The run.
    event : Event
        Which failure.
    table : ndarray
        Parameter sets (d, k), those that the units were drawn under.
    rare : bool
        Estimate by importance weights what too few units failed at.
    """

    together: Together
    event: Event
    table: FloatArray
    rare: bool = True
    _plain: _Cloud = field(init=False)
    _weighted: _Cloud | None = field(init=False, default=None)
    #: Builds whose shares rest on importance weights, by their places.
    few: frozenset[int] = field(init=False, default=frozenset())
    _found: Estimate | None = field(init=False, default=None)
    _resampled: FloatArray | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        patterns = self.together.patterns[self.event]
        self._plain = _plain_cloud(self.together, patterns, self.table)
        if self.rare:
            self._estimate(patterns)

    def _estimate(self, patterns: Patterns) -> None:
        """One weighted sample of all builds that too few units failed at, together."""
        known = [self._rows(b) for b in self.together.builds]
        few = [g for g, r in enumerate(known) if r and patterns.failed(g) < FEW]
        if not few:
            return
        recording = self.together.joints[0].recording
        union = int(patterns.counts[patterns.bits[:, few].any(axis=1)].sum())
        found = estimate(
            event_of(recording, sorted({r for g in few for r in known[g]})),
            seed=self.together.seed,
            plain_counts=(union, self.together.n),
        )
        if found.sample is None or not found.trusted:
            return
        z, weight = found.sample.z, found.sample.weight * (self.together.n / found.sample.n)
        hits = np.zeros((weight.size, len(known)), dtype=bool)
        for g in few:
            hits[:, g] = (recording.select(known[g])(z) < 0.0).any(axis=0)
        index, weight = _thinned(weight, self.together.seed)
        z, hits = z[:, index], hits[index]
        gauged = [r for at in _gauged(self.together).values() for r in at]
        sizes = recording.select(gauged)(z) if gauged else np.empty((0, weight.size))
        self.few, self._found = frozenset(few), found
        self._weighted = _weighted_cloud(self.together, hits, weight, sizes, self.table)

    def _rows(self, build: Build) -> list[int]:
        if self.event == ANY:
            return list(build.rows)
        return events_of(build).get(self.event, [])

    def of_build(self, place: int, failed: int) -> ShareDraws:
        """Share of one build under each parameter set, from the units that were counted."""
        cloud, n = self._plain, self.together.n
        sums = cloud.sums[features_of(self.together.builds[place])]
        own = cloud.bits[:, place]
        if not own.any():
            zero = np.zeros(SETS)
            most = np.full(SETS, SETS / n)
            return ShareDraws(value=zero, variance=zero, heaviest=most, failed=failed, n=n)
        variance = sums.variance + cloud.counting(sums)
        enough = cloud.kept[own].sum() >= _SEEN
        largest = sums.largest[:, own].max(axis=1) if enough else np.full(SETS, float(SETS))
        return ShareDraws(
            value=np.broadcast_to(sums.value[:, own].sum(axis=1) / n, (SETS,)),
            variance=np.broadcast_to(variance[:, own].sum(axis=1) / n**2, (SETS,)),
            heaviest=np.broadcast_to(largest / n, (SETS,)),
            failed=failed,
            n=n,
        )

    def resampled(self) -> FloatArray:
        """Shares (m, g) of all builds in `RESAMPLED` draws of everything that is not known.

        Draw m takes parameter set m, and for each pattern a gamma deviate in place of its count.
        """
        if self._resampled is None:
            self._resampled = self._resample(self._plain, "counted")
            if self._weighted is not None:
                rare = list(self.few)
                self._resampled[:, rare] = self._resample(self._weighted, "weighted")[:, rare]
        return self._resampled

    def _resample(self, cloud: _Cloud, what: str) -> FloatArray:
        out = np.zeros((RESAMPLED, len(self.together.builds)))
        if not len(cloud.counts):
            return out
        label = f"resample {self.event[0]} {self.event[1]} {what}"
        rng = generator(self.together.seed, label)
        places = (RESAMPLED, len(cloud.counts))
        noise = np.ones((1, 1))
        if cloud.counted:
            noise = rng.standard_gamma(cloud.counts, places) / cloud.counts
        # the same deviate moves all weights of a pattern, whatever they weigh
        deviate = rng.standard_normal(places)
        n = self.together.n
        for features, sums in cloud.sums.items():
            own = [g for g, b in enumerate(self.together.builds) if features_of(b) == features]
            relative = sums.variance / np.maximum(np.square(sums.value), 1e-300)
            spread = np.sqrt(np.log1p(np.minimum(relative, 1e3)))
            at = np.arange(RESAMPLED) % len(sums.value)
            value = sums.value[at] * noise
            if spread.any():
                value *= np.exp(spread[at] * (deviate - 0.5 * spread[at]))
            out[:, own] = value @ cloud.bits[:, own] / n
        return out

    def difference(self, first: FloatArray, second: FloatArray, confidence: float) -> Interval:
        """Share over builds with weights `first` minus that with `second`, the draws' error alone.

        Counted on common draws: units on which the first fails more, and those on which it fails
        less, each with the gamma interval of weighted counts, squared and added. Where both are
        rare: paired importance weights.
        """
        c = self.together.folded(self.event, first - second)
        if not c.any():
            return Interval(value=0.0, low=0.0, high=0.0, confidence=confidence, method="the same")
        moved = set(np.flatnonzero(c).tolist())
        found = self._found
        if self._weighted is not None and found is not None and moved <= self.few:
            return self._weighted_difference(c, found, confidence)
        n, cloud = self.together.n, self._plain
        part = cloud.bits @ c
        largest = float(np.abs(c).max()) / n
        more, less = (
            weighted_counts(
                float(cloud.counts @ side) / n,
                float(cloud.counts @ np.square(side)) / n**2,
                largest,
                confidence=confidence,
            )
            for side in (np.maximum(part, 0.0), np.maximum(-part, 0.0))
        )
        both = independent_difference(more, less)
        return Interval(
            value=both.value,
            low=max(-1.0, both.low),
            high=min(1.0, both.high),
            confidence=confidence,
            method="paired counts",
        )

    def _weighted_difference(self, c: FloatArray, found: Estimate, confidence: float) -> Interval:
        from tolsim.chance.weighted import log_interval

        sample = found.sample
        assert sample is not None
        part = np.zeros(sample.weight.size)
        recording = self.together.joints[0].recording
        for g in np.flatnonzero(c):
            hit = (recording.select(self._rows(self.together.builds[g]))(sample.z) < 0.0).any(0)
            part += c[g] * hit
        weight = sample.weight / sample.n
        ends = []
        for side in (np.maximum(part, 0.0), np.maximum(-part, 0.0)):
            total, squares = float(weight @ side), float(np.square(weight) @ np.square(side))
            if total > 0.0:
                ends.append(log_interval(total, squares**0.5 / total, confidence=confidence))
            else:
                most = 3.7 * float(np.median(weight))  # none of the draws moved that way
                ends.append(
                    Interval(value=0.0, low=0.0, high=most, confidence=confidence, method="none")
                )
        both = independent_difference(ends[0], ends[1])
        return Interval(
            value=both.value,
            low=both.low,
            high=both.high,
            confidence=confidence,
            method="paired importance weights",
        )


def features_of(build: Build) -> Features:
    """Measured features of a build, by part and key."""
    return tuple((m.part_name, m.key) for m in build.measured)


def _gauged(together: Together) -> dict[tuple[str, str], tuple[int, int]]:
    out: dict[tuple[str, str], tuple[int, int]] = {}
    for b in together.builds:
        for measured, at in zip(b.measured, b.gauged, strict=True):
            out.setdefault((measured.part_name, measured.key), at)
    return out


def _sets_of_features(together: Together) -> dict[Features, tuple[Measured, ...]]:
    return {features_of(b): b.measured for b in together.builds}


class _Weights:
    """Weights of units' sizes under every set; each feature's density is computed once."""

    def __init__(self, together: Together, sizes: FloatArray, table: FloatArray) -> None:
        self.at = {name: 2 * k for k, name in enumerate(together.measured)}
        self.sizes, self.table = sizes, table
        self._known: dict[tuple[str, str], FloatArray] = {}

    def of(self, measured: Sequence[Measured]) -> FloatArray:
        """Density of each unit's sizes under every set over that under their mixture, (k, m)."""
        total = np.zeros((self.table.shape[1], self.sizes.shape[1]))
        for m in measured:
            name = m.part_name, m.key
            if name not in self._known:
                row = self.at[name]
                self._known[name] = m.log_density(self.sizes[row : row + 2], self.table)
            total += self._known[name]
        total -= total.max(axis=0)
        np.exp(total, out=total)
        total /= total.mean(axis=0)
        return total


def _plain_cloud(together: Together, patterns: Patterns, table: FloatArray) -> _Cloud:
    counts = patterns.counts.astype(np.float64)
    kept = np.array([s.shape[1] for s in patterns.sizes], dtype=np.float64)
    cloud = _Cloud(patterns.bits, counts, kept, {}, counted=True)
    wide = any(s.size for s in patterns.sizes)
    sizes = np.concatenate(patterns.sizes, axis=1) if wide else np.empty((0, 0))
    owner = np.repeat(np.arange(len(kept)), kept.astype(int))
    weights = _Weights(together, sizes, table)
    for features, measured in _sets_of_features(together).items():
        if not measured or not wide:
            one = counts[None, :]
            cloud.sums[features] = _Sums(one, np.zeros_like(one), np.ones_like(one))
            continue
        w = weights.of(measured)
        mean, spread, largest = _by_pattern(w, owner, len(kept))
        # the mean weight is known from the units that were kept
        cloud.sums[features] = _Sums(
            value=counts * mean,
            variance=np.square(counts) * spread / kept,
            largest=largest,
        )
    return cloud


def _by_pattern(
    w: FloatArray, owner: NDArray[np.intp], patterns: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, variance and largest weight of each pattern, (k, p); owners ascend."""
    starts = np.searchsorted(owner, np.arange(patterns))
    n = np.diff(np.append(starts, owner.size))
    mean = np.add.reduceat(w, starts, axis=1) / n
    square = np.add.reduceat(np.square(w), starts, axis=1) / n
    return mean, np.maximum(square - np.square(mean), 0.0), np.maximum.reduceat(w, starts, axis=1)


def _thinned(weight: FloatArray, seed: int) -> tuple[NDArray[np.intp], FloatArray]:
    """At most `_MOST_WEIGHTED` draws in proportion to their weights, and what each then counts."""
    if weight.size <= _MOST_WEIGHTED:
        return np.arange(weight.size), weight
    total = float(weight.sum())
    step = total / _MOST_WEIGHTED
    start = generator(seed, "thinned weights").random() * step
    at = start + step * np.arange(_MOST_WEIGHTED)
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), at), weight.size - 1)
    return chosen, np.full(_MOST_WEIGHTED, step)


def _weighted_cloud(
    together: Together,
    hits: NDArray[np.bool_],
    weight: FloatArray,
    sizes: FloatArray,
    table: FloatArray,
) -> _Cloud:
    bits, inverse = np.unique(hits, axis=0, return_inverse=True)
    order = np.argsort(inverse, kind="stable")
    owner, weight, sizes = inverse[order], weight[order], sizes[:, order]
    starts = np.searchsorted(owner, np.arange(len(bits)))
    counts = np.add.reduceat(weight, starts)
    kept = np.diff(np.append(starts, owner.size)).astype(np.float64)
    cloud = _Cloud(bits, counts, kept, {}, counted=False)
    weights = _Weights(together, sizes, table)
    for features, measured in _sets_of_features(together).items():
        w = weights.of(measured) * weight if measured else weight[None, :]
        cloud.sums[features] = _Sums(
            value=np.add.reduceat(w, starts, axis=1),
            variance=np.add.reduceat(np.square(w), starts, axis=1),
            largest=np.maximum.reduceat(w, starts, axis=1),
        )
    return cloud
