"""Shares of all builds at once: under every parameter set, with the error of the draws they share.

Common draws and common parameter sets stay common: what two builds have alike cancels in their
difference, whichever of the two uncertainties it comes from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_clouds import (
    AT_ONCE,
    Cloud,
    Weighed,
    features_of,
    plain_cloud,
    thinned,
    weighted_cloud,
)
from tolsim.answers.compare_draws import ANY, Patterns, Together, gauged_of
from tolsim.answers.tally import SETS, Event, events_of
from tolsim.chance.estimate import Estimate, estimate
from tolsim.chance.event import event_of
from tolsim.chance.paired import independent_difference
from tolsim.chance.parameter_draws import ShareDraws
from tolsim.chance.streams import generator
from tolsim.intervals import Interval, weighted_counts
from tolsim.joint.model import Build

__all__ = ["FEW", "RESAMPLED", "EventShares"]

FloatArray = NDArray[np.float64]
#: Draws of all rates together: parameter sets with the error of the draws.
RESAMPLED = 2 * SETS
#: Failed units below which a rate is left to the rare-event methods.
FEW = 400
_SEEN = 30  # kept units below which the weights that were seen say too little


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
    clouds : dict
        Clouds of the run by the patterns that they are of, filled here.
    """

    together: Together
    event: Event
    table: FloatArray
    rare: bool = True
    clouds: dict[int, Cloud] = field(default_factory=dict)
    _plain: Cloud = field(init=False)
    _weighted: Cloud | None = field(init=False, default=None)
    #: Builds whose shares rest on importance weights, by their places.
    few: frozenset[int] = field(init=False, default=frozenset())
    _found: Estimate | None = field(init=False, default=None)
    _resampled: FloatArray | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        patterns = self.together.patterns[self.event]
        if id(patterns) not in self.clouds:
            self.clouds[id(patterns)] = plain_cloud(self.together, patterns, self.table)
        self._plain = self.clouds[id(patterns)]
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
        index, weight = thinned(weight, self.together.seed)
        z, hits = z[:, index], hits[index]
        gauged = [r for at in gauged_of(self.together.builds).values() for r in at]
        sizes = recording.select(gauged)(z) if gauged else np.empty((0, weight.size))
        self.few, self._found = frozenset(few), found
        self._weighted = weighted_cloud(self.together, hits, weight, sizes, self.table)

    def _rows(self, build: Build) -> list[int]:
        if self.event == ANY:
            return list(build.rows)
        return events_of(build).get(self.event, [])

    def of_build(self, place: int, failed: int) -> ShareDraws:
        """Share of one build under each parameter set, from the units that were counted."""
        n = self.together.n
        weighed = self._plain.weighed[features_of(self.together.builds[place])]
        counts = weighed.by_cell(place)
        if not failed:
            zero = np.zeros(SETS)
            most = np.full(SETS, SETS / n)
            return ShareDraws(value=zero, variance=zero, heaviest=most, failed=failed, n=n)
        # that of the weights, and that of the counts
        variance = weighed.variance @ np.square(counts) + np.square(weighed.mean) @ counts
        enough = weighed.seen(place) >= _SEEN
        most = weighed.largest[:, counts > 0.0].max(axis=1) if enough else np.full(1, float(SETS))
        value, variance, most = (
            np.broadcast_to(x, (SETS,)) for x in (weighed.mean @ counts, variance, most)
        )
        return ShareDraws(
            value=value / n, variance=variance / n**2, heaviest=most / n, failed=failed, n=n
        )

    def resampled(self) -> FloatArray:
        """Shares (m, g) of all builds in `RESAMPLED` draws of everything that is not known.

        Draw m takes parameter set m, and for each pattern a gamma deviate in place of its count.
        """
        if self._resampled is None:
            if self._plain.resampled is None:
                self._plain.resampled = self._resample(self._plain, "counted")
            self._resampled = self._plain.resampled
            if self._weighted is not None:
                rare = list(self.few)
                self._resampled = self._resampled.copy()
                self._resampled[:, rare] = self._resample(self._weighted, "weighted")[:, rare]
        return self._resampled

    def _resample(self, cloud: Cloud, what: str) -> FloatArray:
        out = np.zeros((RESAMPLED, len(self.together.builds)))
        label = f"resample {self.event[0]} {self.event[1]} {what}"
        rng = generator(self.together.seed, label)
        seen = [w for w in cloud.weighed.values() if len(w.counts)]
        if not seen:
            return out
        spread = [
            np.sqrt(np.log1p(np.minimum(w.variance / np.maximum(np.square(w.mean), 1e-300), 1e3)))
            for w in seen
        ]
        ends = np.cumsum([0, *(len(w.counts) for w in seen)])
        shape, each = cloud.number[:, None], (cloud.counts / cloud.number)[:, None]
        summed = _membership(seen)
        n = self.together.n
        for start in range(0, RESAMPLED, AT_ONCE):
            # the gamma deviates are common to all builds
            every = summed @ (each * rng.standard_gamma(shape, (len(shape), AT_ONCE)))
            for w, wide, first, last in zip(seen, spread, ends, ends[1:], strict=False):
                at = np.arange(start, start + AT_ONCE) % len(w.mean)
                weight = w.mean[at]
                if wide.any():
                    # one deviate moves all weights of a cell
                    moved = rng.standard_normal(weight.shape)
                    weight = weight * np.exp(wide[at] * (moved - 0.5 * wide[at]))
                units = every[first:last] * weight.T[w.cell]
                out[start : start + AT_ONCE, w.builds] = (w.bits.T.astype(np.float64) @ units).T / n
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


def _membership(seen: Sequence[Weighed]) -> Any:
    """Sparse matrix (q, p) that sums patterns to the groups of all of these, one after another."""
    from scipy.sparse import csr_array

    ends = np.cumsum([0, *(len(w.counts) for w in seen)])
    rows = np.concatenate([w.group + first for w, first in zip(seen, ends, strict=False)])
    patterns = np.concatenate([np.arange(len(w.group)) for w in seen])
    some = np.concatenate([w.group >= 0 for w in seen])
    shape = (int(ends[-1]), len(seen[0].group))
    return csr_array((np.ones(int(some.sum())), (rows[some], patterns[some])), shape=shape)
