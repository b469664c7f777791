"""Alternatives against each other on the same draws: the cheaper bearing, the other supplier.

Every unit is drawn once and built in every way, so what the alternatives have in common cancels
in their differences. One rule judges each: acceptable, not acceptable, not enough evidence.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_changes import changes, unlike_questions
from tolsim.answers.compare_clouds import Cloud
from tolsim.answers.compare_draws import Together, draw_together, tally_of
from tolsim.answers.compare_lots import lots_measured
from tolsim.answers.compare_ranges import Ranges, ranges_of
from tolsim.answers.compare_rank import Ranking
from tolsim.answers.compare_results import (
    AlternativeResult,
    Comparison,
    DifferenceResult,
    SupplyRates,
)
from tolsim.answers.compare_rule import CommonJudge, holding, judged
from tolsim.answers.compare_shares import RESAMPLED, EventShares
from tolsim.answers.compare_single import singles_of
from tolsim.answers.compare_variants import told_apart
from tolsim.answers.doubts import unexplained
from tolsim.answers.left_open import (
    OPEN_DRAWS,
    left_open,
    lots_left_open,
    open_lots,
    open_shapes,
)
from tolsim.answers.lots_taken import over_any_lot
from tolsim.answers.money import (
    ClaimDraws,
    Forecast,
    Money,
    Outlay,
    claim_draws,
    forecast,
    money,
    outlay,
    unknown_between,
)
from tolsim.answers.provable import provable
from tolsim.answers.readings_taken import reading_steps
from tolsim.answers.results import ModeResult
from tolsim.answers.tally import EVENTS, Event, evidence_table
from tolsim.errors import UsageError
from tolsim.intervals import Interval, clopper_pearson
from tolsim.joint.assemble import assemble_together
from tolsim.joint.model import MODES
from tolsim.spec.alternatives import AS_IT_STANDS
from tolsim.spec.load import Study
from tolsim.spec.money import Costs

__all__ = ["DEFAULT_DRAWS", "Run", "compare", "difference_of", "labelled"]

FloatArray = NDArray[np.float64]
DEFAULT_DRAWS = 2**20
UNIT_MODES = (*MODES, "creak")


def labelled(studies: Sequence[Study]) -> dict[str, Study]:
    """Everything to compare by a name of its own: each study, each of its alternatives.

    Raises
    ------
    UsageError
        If there is only one.
    """
    out: dict[str, Study] = {}
    for study in studies:
        alone = len(studies) == 1
        folder = study.name.partition("/")[0]
        label = study.spec.joint.name or (AS_IT_STANDS if alone else folder)
        while label in out:
            label += " again"
        out[label] = study
        for name, other in study.alternatives.items():
            out[name if alone else f"{folder}: {name}"] = other
    if len(out) < 2:
        raise UsageError(
            "nothing to compare with: the study has no [[alternative]]; add one, or name "
            "several studies"
        )
    return told_apart(out)


def has_reference(studies: Sequence[Study]) -> bool:
    """Whether the first is only what the others are measured against: one study, joint unnamed."""
    return len(studies) == 1 and studies[0].spec.joint.name is None


class Run:
    """Everything drawn for a comparison, and what was computed from it so far.

    `plain` counts only; `alone` leaves out what readings leave open. The parameter sets are common
    to all alternatives. `shape` is the same comparison with the shapes, and the spread between
    lots, that readings leave open beside those taken, `lots` that over any lot, where one lot is
    taken for all.
    """

    def __init__(
        self,
        studies: Mapping[str, Study],
        *,
        seed: int,
        draws: int,
        workers: int,
        plain: bool = False,
        events: Sequence[Event] = EVENTS,
        progress: Callable[[int, int], None] | None = None,
        alone: bool = False,
    ) -> None:
        self.studies = {name: over_any_lot(study) for name, study in studies.items()}
        self.seed, self.plain = seed, plain
        self.names = tuple(self.studies)
        self.joints = assemble_together(list(self.studies.values()))
        self.together: Together = draw_together(
            self.joints, seed=seed, n=draws, workers=workers, events=events, progress=progress
        )
        self.table = evidence_table(self.joints[0], seed)
        self.shape: Run | None = None
        self.lots: Run | None = None
        if not alone:
            beside = map(left_open, self.studies.values(), self.joints)
            lots = map(lots_left_open, self.studies.values())
            self.shape, self.lots = (
                self._again(list(found), draws, workers, events) for found in (beside, lots)
            )
        self._shares: dict[Event, EventShares] = {}
        self._clouds: dict[int, Cloud] = {}
        shared: dict[object, object] = {}
        self.judges = [
            CommonJudge(self, j, study, tally_of(self.together, j), shared)
            for j, study in enumerate(self.studies.values())
        ]

    def _again(
        self,
        found: Sequence[Study | None],
        draws: int,
        workers: int,
        events: Sequence[Event],
    ) -> Run | None:
        """The comparison once more, with what readings leave open; None where that is nothing."""
        if not any(found):
            return None
        pairs = zip(self.studies.items(), found, strict=True)
        return Run(
            {name: other or study for (name, study), other in pairs},
            seed=self.seed,
            draws=min(draws, OPEN_DRAWS),
            workers=workers,
            plain=self.plain,
            events=events,
            alone=True,
        )

    def shares(self, event: Event) -> EventShares:
        """Shares of all builds for one event."""
        if event not in self._shares:
            self._shares[event] = EventShares(
                self.together, event, self.table, rare=not self.plain, clouds=self._clouds
            )
        return self._shares[event]

    def resampled(self, event: Event, alternative: int) -> FloatArray:
        """Rate of one alternative, all supplies together, in every resampled draw, (m,)."""
        return self.shares(event).resampled() @ self.together.weights(alternative)


def compare(
    studies: Sequence[Study],
    *,
    seed: int = 1,
    draws: int = DEFAULT_DRAWS,
    workers: int = 2,
    plain: bool = False,
    deep: bool = True,
    progress: Callable[[int, int], None] | None = None,
    tell: Callable[[str], None] | None = None,
) -> Comparison:
    """Compare a study with its alternatives, or several studies side by side.

    Parameters
    ----------
    studies : sequence of Study
        One with alternatives, or several. The first is the reference of every difference; it is
        judged as a choice itself where there are several, or where its joint has a name.
    seed, draws, workers : int
        Seed of all streams, common units, threads; the answer does not depend on the threads.
    plain : bool
        Count only; no rare-event method.
    deep : bool
        Say as well what would decide, what a lot must show, and what the next lot may do.
    progress : callable, optional
        Told (blocks done, blocks in all).
    tell : callable, optional
        Told what is being done after the draws.

    Raises
    ------
    UsageError
        If there is nothing to compare.
    """
    chosen = labelled(studies)
    run = Run(chosen, seed=seed, draws=draws, workers=workers, plain=plain, progress=progress)
    found = comparison_of(run, has_reference=has_reference(studies), title=studies[0].spec.title)
    if not deep:
        return found
    from tolsim.answers.compare_depth import deepened

    return deepened(found, run, workers=workers, tell=tell)


def comparison_of(run: Run, *, has_reference: bool, title: str) -> Comparison:
    """The comparison that a run gives."""
    reference = run.studies[run.names[0]]
    costs = reference.spec.costs or Costs()
    confidence = reference.spec.targets.confidence
    ranges = ranges_of(run)
    claims = claim_draws(reference.spec.costs, seed=run.seed, n=RESAMPLED)
    outlays = [outlay(s, j, costs) for s, j in zip(run.studies.values(), run.joints, strict=True)]
    ranking = Ranking(run, ranges, outlays, claims, costs)
    found = [
        _alternative(run, j, ranges, outlays, claims, costs, ranking, confidence, has_reference)
        for j in range(len(run.names))
    ]
    return Comparison(
        title=title,
        seed=run.seed,
        draws=run.together.n,
        confidence=confidence,
        currency=costs.currency,
        alternatives=tuple(found),
        ranked_by=ranking.by,
        within_targets=ranking.within_targets,
        none_best=ranking.none,
        singles=singles_of(run, ranges, ranking.named),
        has_reference=has_reference,
        assumed=run.joints[0].assumed,
        warnings=unlike_questions(run.studies),
    )


def _alternative(
    run: Run,
    j: int,
    ranges: Ranges,
    outlays: list[Outlay],
    claims: ClaimDraws | None,
    costs: Costs,
    ranking: Ranking,
    confidence: float,
    against: bool,
) -> AlternativeResult:
    name, study, joint, judge = (
        run.names[j],
        run.studies[run.names[j]],
        run.joints[j],
        run.judges[j],
    )
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes, differences, paid, unknown = _judged_by(run, j, outlays, claims, costs, confidence)
    same = tuple(
        other
        for k, other in enumerate(run.names)
        if k != j and np.array_equal(run.together.weights(k), run.together.weights(j))
    )
    doubts = unexplained(study, joint, next_lot=True)
    reasons = judged(modes, paid if against else None, differences if against else {}, doubts)
    if run.lots is not None:
        found, apart, net, _ = _judged_by(run.lots, j, outlays, claims, costs, confidence)
        later = judged(found, net if against else None, apart if against else {}, doubts)
        reasons = holding(reasons, later, _told_lots(run, j))
    return AlternativeResult(
        name=name,
        study=study,
        changes=changes(run.studies[run.names[0]], study) if j else (),
        modes=modes,
        differences=differences,
        supply=_supplies(run, j, confidence),
        seats=(_seat(run, j, 1, confidence), _seat(run, j, 2, confidence)),
        causes=judge.causes(everything),
        reasons=reasons,
        outlay=outlays[j],
        money=paid,
        money_unknown=unknown if j else (),
        forecast=_forecast(run, j, claims, costs, modes, confidence),
        rank=int(ranking.rank[j]),
        best=float(ranking.best[j]),
        best_without_ranges=float(ranking.best_without[j]),
        same_as=same,
        could_turn=ranges.turning(j, modes),
        doubts=doubts,
        warnings=_warnings(run, j),
        provable=provable(study),
    )


def _judged_by(
    run: Run,
    j: int,
    outlays: list[Outlay],
    claims: ClaimDraws | None,
    costs: Costs,
    confidence: float,
) -> tuple[
    dict[str, ModeResult | None], dict[str, DifferenceResult], Money | None, tuple[str, ...]
]:
    """What an alternative is judged by: rates, differences, money, and what has no price."""
    judge = run.judges[j]
    everything = [(i, b.share) for i, b in enumerate(run.joints[j].builds)]
    modes: dict[str, ModeResult | None] = {
        m: judge.mode((m, 0), everything, target=True) if judge.knows((m, 0)) else None
        for m in UNIT_MODES
    }
    differences = {
        m: difference_of(run, m, j, confidence) for m, r in modes.items() if r is not None and j
    }
    kinds = tuple(run.studies[run.names[k]].spec.joint.kind for k in (0, j))
    unknown = unknown_between(outlays[0], outlays[j], (kinds[0], kinds[1]), costs)
    paid = _money(run, j, outlays, claims, costs, confidence) if j and not unknown else None
    if paid is not None and run.shape is not None:
        other = _money(run.shape, j, outlays, claims, costs, confidence)
        paid = paid if other is None else paid.holding(other)
    return modes, differences, paid, unknown


def _told_lots(run: Run, j: int) -> tuple[str, ...]:
    """The lots that an alternative or the reference rest on, in words."""
    found = {}
    for k in (j, 0):
        study = run.studies[run.names[k]]
        kept = open_lots(study)
        found.update({f: x.text for f, x in lots_measured(study).items() if f in kept})
    return tuple(found.values())


def difference_of(
    run: Run, mode: str, j: int, confidence: float, supply: str | None = None
) -> DifferenceResult:
    """How much more often an alternative, or one supply of it, fails than the reference."""
    shares = run.shares((mode, 0))
    own, other = run.together.weights(j, supply), run.together.weights(0, supply)
    simulated = shares.difference(own, other, confidence)
    draws = shares.resampled() @ run.together.folded((mode, 0), own - other)
    tail = 0.5 * (1.0 - confidence)
    low, high = (float(q) for q in np.quantile(draws, [tail, 1.0 - tail]))
    same = simulated.method == "the same"
    low, high = min(low, simulated.low), max(high, simulated.high)
    if run.shape is not None:
        wider = difference_of(run.shape, mode, j, confidence, supply)
        low, high = min(low, wider.low), max(high, wider.high)
    return DifferenceResult(
        value=simulated.value,
        low=low,
        high=high,
        simulation=simulated,
        same=same,
    )


def _supplies(run: Run, j: int, confidence: float) -> tuple[SupplyRates, ...]:
    joint, judge = run.joints[j], run.judges[j]
    before = {s.name for s in run.studies[run.names[0]].strata}
    out = []
    for stratum in run.studies[run.names[j]].strata:
        i = next(k for k, b in enumerate(joint.builds) if stratum.name in b.names)
        modes = {
            m: judge.mode((m, 0), [(i, 1.0)], target=True)
            for m in UNIT_MODES
            if judge.has(i, (m, 0))
        }
        differences = {
            m: difference_of(run, m, j, confidence, stratum.name)
            for m in modes
            if j and stratum.name in before
        }
        out.append(
            SupplyRates(
                name=stratum.name,
                share=stratum.share,
                parts=dict(stratum.names),
                modes=modes,
                differences=differences,
                causes=judge.causes([(i, 1.0)]),
            )
        )
    return tuple(out)


def _seat(run: Run, j: int, seat: int, confidence: float) -> dict[str, Interval]:
    """Shares of one seat, counted."""
    out: dict[str, Interval] = {}
    weights, n = run.together.weights(j), run.together.n
    for mode in UNIT_MODES:
        failed = run.together.seats.get((mode, seat))
        if failed is not None and run.judges[j].knows((mode, seat)):
            out[mode] = clopper_pearson(float(failed @ weights), n, confidence=confidence)
    return out


def _draws_of(run: Run, mode: str, j: int) -> FloatArray:
    return run.resampled((mode, 0), j)


def _money(
    run: Run,
    j: int,
    outlays: list[Outlay],
    claims: ClaimDraws | None,
    costs: Costs,
    confidence: float,
) -> Money | None:
    if run.studies[run.names[0]].spec.costs is None:
        return None
    difference = {}
    for mode in claims.modes if claims else ():
        draws = _draws_of(run, mode, j) - _draws_of(run, mode, 0)
        shares = run.shares((mode, 0))
        value = shares.difference(
            run.together.weights(j), run.together.weights(0), confidence
        ).value
        difference[mode] = (value, draws)
    saving = outlays[0].total - outlays[j].total
    return money(costs, claims, saving, difference, confidence=confidence)


def _forecast(
    run: Run,
    j: int,
    claims: ClaimDraws | None,
    costs: Costs,
    modes: Mapping[str, ModeResult | None],
    confidence: float,
) -> Forecast | None:
    if claims is None:
        return None
    rates = {
        m: (r.share, _draws_of(run, m, j)) for m in claims.modes if (r := modes.get(m)) is not None
    }
    return forecast(costs, claims, rates, seed=run.seed, confidence=confidence)


def _warnings(run: Run, j: int) -> tuple[str, ...]:
    study, joint = run.studies[run.names[j]], run.joints[j]
    found: dict[str, None] = dict.fromkeys(joint.warnings)
    for build in joint.builds:
        found.update(dict.fromkeys(build.warnings))
        for measured in build.measured:
            found.update({f"{measured.part_name}: {text}": None for text in measured.notes})
    for (part, key), shape in open_shapes(study, joint).items():
        told = (
            f"{part}: the readings of {key} do not rule out that such parts are {shape}; every "
            "range holds that too, and more parts, or the shape stated in the part, narrow it"
        )
        found[told] = None
    for (part, key), step in reading_steps(study).items():
        if step.between_lots == "random":
            told = f"{part}: every share is that of any lot of {key}, the next one included"
            found[told] = None
    return tuple(found)
