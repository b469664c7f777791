"""One alternative: its rates, how they differ from the reference's, its money, and its verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tolsim.answers.compare_changes import changes
from tolsim.answers.compare_lots import lots_measured
from tolsim.answers.compare_ranges import Ranges
from tolsim.answers.compare_rank import Ranking
from tolsim.answers.compare_results import AlternativeResult, DifferenceResult, SupplyRates
from tolsim.answers.compare_rule import holding, judged
from tolsim.answers.compare_run import Run
from tolsim.answers.doubts import unexplained
from tolsim.answers.left_open import open_lots, open_shapes
from tolsim.answers.money import (
    ClaimDraws,
    Forecast,
    Money,
    Outlay,
    forecast,
    money,
    unknown_between,
)
from tolsim.answers.provable import provable
from tolsim.answers.readings_taken import reading_steps
from tolsim.answers.results import ModeResult
from tolsim.intervals import Interval, clopper_pearson
from tolsim.joint.model import MODES
from tolsim.spec.money import Costs

__all__ = ["Prices", "alternative_of", "difference_of"]

UNIT_MODES = (*MODES, "creak")


@dataclass(frozen=True, slots=True)
class Prices:
    """What every alternative costs to build, and what claims cost; the confidence of it all."""

    outlays: list[Outlay]
    claims: ClaimDraws | None
    costs: Costs
    confidence: float


def alternative_of(
    run: Run, j: int, prices: Prices, ranges: Ranges, ranking: Ranking, *, against: bool
) -> AlternativeResult:
    """Everything that is said of one alternative; `against` judges it against the reference."""
    name, study, joint, judge = (
        run.names[j],
        run.studies[run.names[j]],
        run.joints[j],
        run.judges[j],
    )
    confidence = prices.confidence
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes, differences, paid, unknown = _judged_by(run, j, prices)
    same = tuple(
        other
        for k, other in enumerate(run.names)
        if k != j and np.array_equal(run.together.weights(k), run.together.weights(j))
    )
    doubts = unexplained(study, joint, next_lot=True)
    # a saving beside claims that have no price says nothing of what is worse
    weighed = against and prices.claims is not None
    compared = differences if against else {}
    reasons = judged(modes, paid if weighed else None, compared, doubts)
    if run.lots is not None:
        found, apart, net, _ = _judged_by(run.lots, j, prices)
        later = judged(found, net if weighed else None, apart if against else {}, doubts)
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
        outlay=prices.outlays[j],
        money=paid,
        money_unknown=unknown if j else (),
        forecast=_forecast(run, j, prices, modes),
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
    run: Run, j: int, prices: Prices
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
        m: difference_of(run, m, j, prices.confidence)
        for m, r in modes.items()
        if r is not None and j
    }
    kinds = tuple(run.studies[run.names[k]].spec.joint.kind for k in (0, j))
    first, own = prices.outlays[0], prices.outlays[j]
    unknown = unknown_between(first, own, (kinds[0], kinds[1]), prices.costs)
    paid = _money(run, j, prices) if j and not unknown else None
    if paid is not None and run.shape is not None:
        other = _money(run.shape, j, prices)
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


def _money(run: Run, j: int, prices: Prices) -> Money | None:
    if run.studies[run.names[0]].spec.costs is None:
        return None
    difference = {}
    for mode in prices.claims.modes if prices.claims else ():
        draws = run.resampled((mode, 0), j) - run.resampled((mode, 0), 0)
        shares = run.shares((mode, 0))
        own, other = run.together.weights(j), run.together.weights(0)
        difference[mode] = (shares.difference(own, other, prices.confidence).value, draws)
    saving = prices.outlays[0].total - prices.outlays[j].total
    return money(prices.costs, prices.claims, saving, difference, confidence=prices.confidence)


def _forecast(
    run: Run, j: int, prices: Prices, modes: Mapping[str, ModeResult | None]
) -> Forecast | None:
    claims = prices.claims
    if claims is None:
        return None
    rates = {
        m: (r.share, run.resampled((m, 0), j))
        for m in claims.modes
        if (r := modes.get(m)) is not None
    }
    return forecast(prices.costs, claims, rates, seed=run.seed, confidence=prices.confidence)


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
