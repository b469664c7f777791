"""What share of units will be loose, overly tight or misaligned: the first question."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import SETS, Event, Kept, Tally, evidence_table, tally
from tolsim.chance.parameter_draws import ShareDraws, mixture_weights, share_draws, spread
from tolsim.intervals import clopper_pearson, weighted_counts
from tolsim.joint.assemble import assemble
from tolsim.joint.model import MODES, Build, Interference, Joint, Margin
from tolsim.joint.population import Population
from tolsim.spec.load import Study

__all__ = [
    "CauseResult",
    "InterferenceRange",
    "ModeResult",
    "Prediction",
    "SeatResult",
    "SupplyResult",
    "predict",
]

Ends = tuple[float, float]
FloatArray = NDArray[np.float64]
DEFAULT_DRAWS = 2**20
_AT_ONCE = 128  # kept units weighed together: their matrices stay in the cache
_FEW = 30  # below this many kept units the weights that were seen say too little
_NOT_MEASURED = "nothing was measured: every process is assumed or taken from a drawing"


@dataclass(frozen=True, kw_only=True, slots=True)
class ModeResult:
    """Share of units (or of one seat's units) that fail in one way; fractions, never percent.

    `low`, `high` hold every uncertainty and decide the verdict; `simulation` shrinks with more
    draws, `sample` only with more measured parts.
    """

    share: float
    low: float
    high: float
    confidence: float
    target: float | None
    verdict: str | None
    simulation: Ends
    sample: Ends | None
    why: str | None
    method: str
    draws: int


@dataclass(frozen=True, kw_only=True, slots=True)
class InterferenceRange:
    """Effective interference of one seat of one build at 20 °C [mm]."""

    build: str
    share: float
    known: Interference
    mean: float
    sd: float
    central: Ends
    resolution: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SeatResult:
    """One seat: shares over all supplies, interference of each build."""

    seat: int
    name: str
    modes: dict[str, ModeResult]
    interference: tuple[InterferenceRange, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class CauseResult:
    """Share of units that fail at one limit, over all supplies."""

    margin: Margin
    share: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyResult:
    """One supply: its share of the units, and its own rates."""

    name: str
    share: float
    parts: dict[str, str]
    modes: dict[str, ModeResult]
    causes: tuple[CauseResult, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Pictures:
    """Counts that only the figures show."""

    joint: Joint
    counted: Tally


@dataclass(frozen=True, kw_only=True, slots=True)
class Prediction:
    """The answer to `predict`, with everything that a page needs."""

    study: Study
    seed: int
    draws: int
    modes: dict[str, ModeResult | None]
    seats: tuple[SeatResult, SeatResult]
    causes: tuple[CauseResult, ...]
    supply: tuple[SupplyResult, ...]
    populations: tuple[tuple[str, Population], ...]
    pictures: Pictures | None
    warnings: tuple[str, ...]

    @property
    def verdict(self) -> str | None:
        """Of all targets together: missed beats undecided beats met; None without targets."""
        given = [m.verdict for m in self.modes.values() if m is not None and m.verdict]
        for word in ("missed", "undecided", "met"):
            if word in given:
                return word
        return None


def verdict_of(low: float, high: float, target: float | None) -> str | None:
    """Met when the upper end is at or below the target, missed when the lower end is above it.

    >>> verdict_of(0.001, 0.002, 0.002), verdict_of(0.001, 0.003, 0.002)
    ('met', 'undecided')
    """
    if target is None:
        return None
    if high <= target:
        return "met"
    return "missed" if low > target else "undecided"


def predict(
    study: Study,
    *,
    seed: int = 1,
    draws: int = DEFAULT_DRAWS,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
    detail: bool = False,
) -> Prediction:
    """Predict the shares of loose, overly tight and misaligned units.

    Parameters
    ----------
    study : Study
        From `tolsim.spec.load.load_study`.
    seed, draws, workers : int
        Seed of every stream; units drawn of each combination of parts; threads. The result
        depends on seed and draws, never on the threads.
    progress : callable, optional
        Told (blocks done, blocks in all).
    detail : bool
        Count as well what the figures show.

    Returns
    -------
    Prediction
    """
    if draws < 1:
        raise ValueError(f"need at least one draw, got {draws}")
    joint = assemble(study)
    counted = tally(joint, seed=seed, n=draws, workers=workers, progress=progress, detail=detail)
    judge = _Judge(study, joint, counted, seed)
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes: dict[str, ModeResult | None] = {}
    for mode in (*MODES, "creak"):
        has = any(b.rows_of(mode) for b in joint.builds) or mode == "creak"
        modes[mode] = judge.mode((mode, 0), everything, target=True) if has else None
    seats = tuple(_seat(judge, joint, counted, number) for number in (1, 2))
    supply = _supplies(study, joint, judge)
    return Prediction(
        study=study,
        seed=seed,
        draws=draws,
        modes=modes,
        seats=(seats[0], seats[1]),
        causes=judge.causes(everything),
        supply=supply,
        populations=tuple((", ".join(b.names), p) for b in joint.builds for p in b.populations),
        pictures=Pictures(joint=joint, counted=counted) if detail else None,
        warnings=_warnings(study, joint),
    )


class _Judge:
    """Turns counts into shares with their intervals."""

    def __init__(self, study: Study, joint: Joint, counted: Tally, seed: int) -> None:
        self.study, self.joint, self.counted = study, joint, counted
        self.confidence = study.spec.targets.confidence
        self.table = evidence_table(joint, seed)
        self._draws: dict[tuple[int, Event], ShareDraws] = {}

    def mode(
        self, event: Event, builds: Sequence[tuple[int, float]], *, target: bool = False
    ) -> ModeResult:
        """Share of one event over builds with their weights."""
        n = self.counted.n
        counts = [(w, self.counted.events.get((i, event), 0)) for i, w in builds]
        share = math.fsum(w * c for w, c in counts) / n
        simulation = self._simulation(event, builds, counts)
        sample: Ends | None = None
        why: str | None = _NOT_MEASURED
        ends = simulation
        if any(self.joint.builds[i].measured for i, _ in builds):
            why = None
            sample, ends = spread(
                [self._of_build(i, event).scaled(w) for i, w in builds], self.confidence
            )
            ends = (min(ends[0], simulation[0], share), max(ends[1], simulation[1]))
        wanted = getattr(self.study.spec.targets, event[0], None) if target else None
        return ModeResult(
            share=share,
            low=ends[0],
            high=ends[1],
            confidence=self.confidence,
            target=wanted,
            verdict=verdict_of(ends[0], ends[1], wanted),
            simulation=simulation,
            sample=sample,
            why=why,
            method="plain draws",
            draws=n,
        )

    def _simulation(
        self, event: Event, builds: Sequence[tuple[int, float]], counts: list[tuple[float, int]]
    ) -> Ends:
        n = self.counted.n
        if len(builds) == 1:
            whole = clopper_pearson(counts[0][1], n, confidence=self.confidence)
            return (whole.low, whole.high)
        share, squares = self.counted.mix[event]
        interval = weighted_counts(share, squares, 1.0 / n, confidence=self.confidence)
        if share > 0.5:  # counts of good units are the rarer ones
            good = 1.0 - share
            total = math.fsum(w for w, _ in counts)
            # variance of the weighted share: E v^2 = n * squares
            good_squares = max(0.0, (total - 2.0 * share + n * squares)) / n
            other = weighted_counts(good, good_squares, 1.0 / n, confidence=self.confidence)
            return (max(0.0, 1.0 - other.high), min(1.0, 1.0 - other.low))
        return (interval.low, min(1.0, interval.high))

    def _of_build(self, i: int, event: Event) -> ShareDraws:
        if (i, event) not in self._draws:
            build = self.joint.builds[i]
            kept = self.counted.kept.get((i, event), Kept())
            failed = self.counted.events.get((i, event), 0)
            if not build.measured:
                represented = np.array([float(failed)] if failed else [])
                self._draws[i, event] = share_draws(None, represented, self.counted.n, SETS)
            elif not kept.sizes:
                self._draws[i, event] = share_draws(
                    np.zeros((SETS, 0)), np.zeros(0), self.counted.n, SETS
                )
            else:
                self._draws[i, event] = self._reweighted(build, kept, failed)
        return self._draws[i, event]

    def _reweighted(self, build: Build, kept: Kept, failed: int) -> ShareDraws:
        """Share under each parameter set from the kept failed units, a few at a time.

        With weights w of units that stand for r failed ones each, of F in n draws, the share is
        F w' / n with w' the mean of w over r, and its variance F (w'/n)^2 from the count and
        sum (r (w - w') / n)^2 from the units that were kept.
        """
        n = self.counted.n
        sizes, stands_for = np.concatenate(kept.sizes, axis=1), np.concatenate(kept.represented)
        first, second, cross = np.zeros(SETS), np.zeros(SETS), np.zeros(SETS)
        largest = np.zeros(SETS)
        for start in range(0, len(stands_for), _AT_ONCE):
            r = stands_for[start : start + _AT_ONCE]
            w = mixture_weights(self._log_density(build, sizes[:, start : start + _AT_ONCE]))
            first += w @ r
            cross += w @ (r * r)
            second += np.square(w) @ (r * r)
            np.maximum(largest, w.max(axis=1), out=largest)
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


def _seat(judge: _Judge, joint: Joint, counted: Tally, number: int) -> SeatResult:
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes = {
        mode: judge.mode((mode, number), everything)
        for mode in (*MODES, "creak")
        if any((mode, number) in e for e in [_known_events(b) for b in joint.builds])
    }
    ranges = []
    for i, build in enumerate(joint.builds):
        h = counted.interference[i, number - 1]
        ranges.append(
            InterferenceRange(
                build=", ".join(build.names),
                share=build.share,
                known=build.known[number - 1],
                mean=h.mean,
                sd=h.sd,
                central=(h.quantile(0.00135), h.quantile(0.99865)),
                resolution=h.resolution,
            )
        )
    return SeatResult(
        seat=number, name=joint.seat_names[number - 1], modes=modes, interference=tuple(ranges)
    )


def _known_events(build: Build) -> set[Event]:
    from tolsim.answers.tally import events_of

    return set(events_of(build))


def _supplies(study: Study, joint: Joint, judge: _Judge) -> tuple[SupplyResult, ...]:
    out = []
    for stratum in study.strata:
        i = next(k for k, b in enumerate(joint.builds) if stratum.name in b.names)
        known = _known_events(joint.builds[i])
        modes = {
            mode: judge.mode((mode, 0), [(i, 1.0)], target=True)
            for mode in (*MODES, "creak")
            if (mode, 0) in known
        }
        out.append(
            SupplyResult(
                name=stratum.name,
                share=stratum.share,
                parts=dict(stratum.names),
                modes=modes,
                causes=judge.causes([(i, 1.0)]),
            )
        )
    return tuple(out)


def _warnings(study: Study, joint: Joint) -> tuple[str, ...]:
    found: dict[str, None] = dict.fromkeys(joint.warnings)
    for build in joint.builds:
        for text in build.warnings:
            found.setdefault(f"{', '.join(build.names)}: {text}")
        for measured in build.measured:
            for text in measured.notes:
                found.setdefault(f"{measured.part_name}: {text}")
    return tuple(found)
