"""From counts, or from a rare-event method, to shares with their intervals and verdicts."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.results import CauseResult, ModeResult, verdict_of
from tolsim.answers.tally import SETS, Event, Kept, Tally, events_of, evidence_table
from tolsim.chance.estimate import Estimate, estimate
from tolsim.chance.event import event_of
from tolsim.chance.parameter_draws import ShareDraws, mixture_weights, spread
from tolsim.intervals import clopper_pearson, weighted_counts
from tolsim.joint.model import Build, Joint, Margin
from tolsim.spec.load import Study

__all__ = ["Clock", "Judge"]

Ends = tuple[float, float]
FloatArray = NDArray[np.float64]
_AT_ONCE = 128  # kept units weighed together: their matrices stay in the cache
_FEW = 30  # below this many kept units the weights that were seen say too little
_TOO_FEW = 400  # failed units below which a rate is left to the rare-event methods
_NOT_MEASURED = "nothing was measured: every process is assumed or taken from a drawing"


class Clock:
    """Whether a limit of time is spent; the only thing that reads the time, and no number does."""

    def __init__(self, seconds: float | None) -> None:
        self._end = None if seconds is None else time.monotonic() + seconds

    @property
    def spent(self) -> bool:
        """True once the limit has passed; never without one."""
        return self._end is not None and time.monotonic() > self._end


@dataclass(frozen=True, kw_only=True, slots=True)
class _Found:
    """Share of one event in one build, and how it was found."""

    share: float
    low: float
    high: float
    failed: int
    rare: Estimate | None
    method: str
    draws: int
    reason: str | None
    unseen: float | None


class Judge:
    """Shares of every event over builds with their weights.

    Counting comes first; the rate of a whole unit that too few draws hit is estimated by a
    rare-event method, unless `plain` is asked for. What no method can stand behind stays a count
    with its exact interval, and says why. `left_open` judges the same builds with the shapes that
    readings leave open: intervals hold what it says as well.
    """

    def __init__(
        self,
        study: Study,
        joint: Joint,
        counted: Tally,
        seed: int,
        *,
        plain: bool = False,
        precision: float | None = None,
        clock: Clock | None = None,
        left_open: Judge | None = None,
    ) -> None:
        self.study, self.joint, self.counted, self.seed = study, joint, counted, seed
        self.plain, self.precision, self.clock = plain, precision, clock or Clock(None)
        self.left_open = left_open
        self.confidence = study.spec.targets.confidence
        self.table = evidence_table(joint, seed)
        self._events = [events_of(b) for b in joint.builds]
        self._found: dict[tuple[int, Event], _Found] = {}
        self._draws: dict[tuple[int, Event], ShareDraws] = {}

    def coarse(self) -> bool:
        """Whether some rate of a unit is not yet known as precisely as asked."""
        assert self.precision is not None
        for i, events in enumerate(self._events):
            for event in events:
                if event[1] == 0:
                    found = self._of(i, event)
                    half = 0.5 * (found.high - found.low)
                    if found.share > 0.0 and half > self.precision * found.share:
                        return True
        return False

    def mode(
        self, event: Event, builds: Sequence[tuple[int, float]], *, target: bool = False
    ) -> ModeResult:
        """Share of one event over builds with their weights."""
        parts = [(w, self._of(i, event)) for i, w in builds]
        share = math.fsum(w * f.share for w, f in parts)
        simulation = self._simulation(event, parts)
        sample: Ends | None = None
        why: str | None = _NOT_MEASURED
        ends = simulation
        if any(self.joint.builds[i].measured for i, _ in builds):
            why = None
            sample, ends = spread(
                [self._of_build(i, event).scaled(w) for i, w in builds], self.confidence
            )
            ends = (min(ends[0], simulation[0], share), max(ends[1], simulation[1]))
        left_open: Ends | None = None
        if self.left_open is not None:
            other = self.left_open.mode(event, builds)
            left_open = (other.low, other.high)
            ends = (min(ends[0], other.low), max(ends[1], other.high))
        wanted = getattr(self.study.spec.targets, event[0], None) if target else None
        rare = [f for _, f in parts if f.rare is not None]
        reasons = dict.fromkeys(f.reason for _, f in parts if f.reason)
        return ModeResult(
            share=share,
            low=ends[0],
            high=ends[1],
            confidence=self.confidence,
            target=wanted,
            verdict=verdict_of(ends[0], ends[1], wanted),
            simulation=simulation,
            sample=sample,
            left_open=left_open,
            why=why,
            method=" and ".join(sorted({f.method for _, f in parts})),
            draws=max(f.draws for _, f in parts),
            reason="; ".join(reasons) or None,
            unseen=max((f.unseen or 0.0 for f in rare), default=None),
        )

    def _of(self, i: int, event: Event) -> _Found:
        if (i, event) not in self._found:
            self._found[i, event] = self._find(i, event)
        return self._found[i, event]

    def _find(self, i: int, event: Event) -> _Found:
        n = self.counted.n
        failed = self.counted.events.get((i, event), 0)
        counted = clopper_pearson(failed, n, confidence=self.confidence)
        wanted = self.precision or 0.1
        few = failed < _TOO_FEW or (
            self.precision is not None
            and 0.5 * (counted.high - counted.low) > self.precision * counted.value
        )
        rows = self._events[i].get(event)
        rare: Estimate | None = None
        reason: str | None = None
        if few and not self.plain and event[1] == 0 and rows and not self.clock.spent:
            rare = estimate(
                event_of(self.joint.recording, rows),
                seed=self.seed,
                target_relative=wanted,
                plain_counts=(failed, n),
                confidence=self.confidence,
                stop=lambda: self.clock.spent,
            )
            reason = rare.reason
            if not rare.trusted or rare.method not in (
                "mixture importance sampling",
                "subset replicates",
            ):
                rare = None
        if rare is not None:
            return _Found(
                share=rare.value,
                low=rare.low,
                high=rare.high,
                failed=failed,
                rare=rare,
                method=rare.method,
                draws=rare.n,
                reason=reason,
                unseen=float(rare.diagnostics["unseen_bound"]),
            )
        return _Found(
            share=failed / n,
            low=counted.low,
            high=counted.high,
            failed=failed,
            rare=None,
            method="plain draws",
            draws=n,
            reason=reason,
            unseen=None,
        )

    def _simulation(self, event: Event, parts: list[tuple[float, _Found]]) -> Ends:
        if len(parts) == 1:
            return (parts[0][1].low, parts[0][1].high)
        if any(f.rare is not None for _, f in parts):
            flat = [self._flat(f).scaled(w) for w, f in parts]
            return spread(flat, self.confidence)[1]
        n = self.counted.n
        share, squares = self.counted.mix[event]
        if share > 0.5:
            # counts of good units are the rarer ones
            good = 1.0 - share
            total = math.fsum(w for w, _ in parts)
            # variance of the weighted share: E v^2 = n * squares
            good_squares = max(0.0, (total - 2.0 * share + n * squares)) / n
            other = weighted_counts(good, good_squares, 1.0 / n, confidence=self.confidence)
            return (max(0.0, 1.0 - other.high), min(1.0, 1.0 - other.low))
        interval = weighted_counts(share, squares, 1.0 / n, confidence=self.confidence)
        return (interval.low, min(1.0, interval.high))

    def _flat(self, found: _Found, sets: int = 1) -> ShareDraws:
        """A share that is the same whatever the readings leave open."""
        n, one = self.counted.n, np.ones(sets)
        if found.rare is not None:
            error = found.rare.relative_error * found.share
            return ShareDraws(
                value=one * found.share,
                variance=one * error**2,
                heaviest=one * 0.0,
                failed=found.failed,
                n=n,
                relative_error=found.rare.relative_error,
                mean=found.share,
            )
        return ShareDraws(
            value=one * found.share,
            variance=one * (found.failed / n**2),
            heaviest=one / n,
            failed=found.failed,
            n=n,
        )

    def _of_build(self, i: int, event: Event) -> ShareDraws:
        if (i, event) not in self._draws:
            build, found = self.joint.builds[i], self._of(i, event)
            kept = self.counted.kept.get((i, event), Kept())
            if not build.measured:
                self._draws[i, event] = self._flat(found, SETS)
            elif found.rare is not None and found.rare.sample is not None:
                self._draws[i, event] = self._reweighted_rare(build, found, found.rare)
            elif not kept.sizes:
                zero = np.zeros(SETS)
                self._draws[i, event] = ShareDraws(
                    value=zero,
                    variance=zero,
                    heaviest=np.full(SETS, SETS / self.counted.n),
                    failed=0,
                    n=self.counted.n,
                )
            else:
                self._draws[i, event] = self._reweighted(build, kept, found.failed)
        return self._draws[i, event]

    def _reweighted(self, build: Build, kept: Kept, failed: int) -> ShareDraws:
        """Share under each parameter set from the kept failed units, a few at a time.

        With weights w of units that stand for r failed ones each, of F in n draws, the share is
        F w' / n with w' the mean of w over r, and its variance F (w'/n)^2 from the count and
        sum (r (w - w') / n)^2 from the units that were kept.
        """
        n = self.counted.n
        sizes, stands_for = np.concatenate(kept.sizes, axis=1), np.concatenate(kept.represented)
        first, second, cross, largest = self._weigh(build, sizes, stands_for)
        mean = first / stands_for.sum()
        squares = float(np.dot(stands_for, stands_for))
        kept_only = np.maximum(second - 2.0 * mean * cross + mean * mean * squares, 0.0)
        return ShareDraws(
            value=failed / n * mean,
            variance=(failed * mean * mean + kept_only) / n**2,
            heaviest=largest / n if len(stands_for) >= _FEW else np.full(SETS, SETS / n),
            failed=failed,
            n=n,
        )

    def _reweighted_rare(self, build: Build, found: _Found, rare: Estimate) -> ShareDraws:
        """The same from the weighted failing draws of the rare-event sampler."""
        sample = rare.sample
        assert sample is not None
        rows = [r for pair in build.gauged for r in pair]
        sizes = self.joint.recording.select(rows)(sample.z)
        first, second, _, largest = self._weigh(build, sizes, sample.weight)
        return ShareDraws(
            value=first / sample.n,
            variance=second / sample.n**2,
            heaviest=largest * float(np.median(sample.weight)) / sample.n,
            failed=found.failed,
            n=self.counted.n,
            relative_error=rare.relative_error,
            mean=rare.value,
        )

    def _weigh(
        self, build: Build, sizes: FloatArray, counts: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Sums over units of counts and weights under each set: r w, (r w)^2, r^2 w; largest w."""
        first, second, cross = np.zeros(SETS), np.zeros(SETS), np.zeros(SETS)
        largest = np.zeros(SETS)
        for start in range(0, len(counts), _AT_ONCE):
            r = counts[start : start + _AT_ONCE]
            w = mixture_weights(self._log_density(build, sizes[:, start : start + _AT_ONCE]))
            first += w @ r
            cross += w @ (r * r)
            second += np.square(w) @ (r * r)
            np.maximum(largest, w.max(axis=1), out=largest)
        return first, second, cross, largest

    def _log_density(self, build: Build, sizes: FloatArray) -> FloatArray:
        total = np.zeros((SETS, sizes.shape[1]))
        for k, measured in enumerate(build.measured):
            total += measured.log_density(sizes[2 * k : 2 * k + 2], self.table)
        return total

    def causes(self, builds: Sequence[tuple[int, float]]) -> tuple[CauseResult, ...]:
        """Share of every limit, over builds with their weights, in the order of the limits."""
        n = self.counted.n
        together: dict[Margin, list[tuple[float, int]]] = {}
        for i, weight in builds:
            build = self.joint.builds[i]
            for k, margin in enumerate(build.margins):
                count = int(self.counted.margins[build.first + k])
                together.setdefault(margin, []).append((weight, count))
        out = []
        for margin, counts in together.items():
            share = math.fsum(w * c for w, c in counts) / n
            level = 1.0 - (1.0 - self.confidence) / len(counts)
            parts = [(w, clopper_pearson(c, n, confidence=level)) for w, c in counts]
            out.append(
                CauseResult(
                    margin=margin,
                    share=share,
                    low=math.fsum(w * p.low for w, p in parts),
                    high=math.fsum(w * p.high for w, p in parts),
                )
            )
        return tuple(out)
