"""A comparison as a payload: the only thing that its page reads."""

from __future__ import annotations

from typing import Any

from tolsim.answers.compare_bag import NextLot
from tolsim.answers.compare_concepts import Corner, WholeRange
from tolsim.answers.compare_condition import Condition
from tolsim.answers.compare_demand import Demand
from tolsim.answers.compare_results import (
    AlternativeResult,
    Comparison,
    DifferenceResult,
    SupplyRates,
)
from tolsim.answers.compare_single import Singles
from tolsim.answers.evidence_plan import WANTED, EvidencePlan
from tolsim.answers.money import Line, Money
from tolsim.answers.results import CauseResult
from tolsim.intervals import Interval
from tolsim.report.compare_html import comparison_html
from tolsim.report.compare_text import comparison_text
from tolsim.report.payload import mode_payload, provenance
from tolsim.report.provable import provable_payload
from tolsim.spec.files import Source
from tolsim.spec.parts import Bearing

__all__ = ["comparison_html", "comparison_payload", "comparison_text"]

SCHEMA = "tolsim/comparison/1"


def comparison_payload(c: Comparison) -> dict[str, Any]:
    """Payload ``tolsim/comparison/1``; shares are fractions of units, money in `currency`.

    Every difference is the alternative's share minus the reference's, the first alternative.
    """
    # two studies may have files of one name
    sources: dict[Source, None] = {}
    for a in c.alternatives:
        sources.update(dict.fromkeys(a.study.sources))
    return {
        "schema": SCHEMA,
        "title": c.title,
        "seed": c.seed,
        "draws": c.draws,
        "confidence": c.confidence,
        "verdict": c.verdict,
        "reference": c.alternatives[0].name,
        "reference_is_a_choice": not c.has_reference,
        "ranked_by": c.ranked_by,
        "best_keeps_targets": c.within_targets,
        "probability_none_keeps_them": c.none_best if c.within_targets else None,
        "single_measurements": _singles(c.singles),
        "currency": c.currency,
        "yearly": c.yearly,
        "alternatives": [_alternative(a, c) for a in c.alternatives],
        "assumptions": [
            {
                "name": a.name,
                "value": a.value,
                "low": a.low,
                "high": a.high,
                "unit": a.unit,
                "basis": a.basis,
            }
            for a in c.assumed
        ],
        "warnings": list(c.warnings),
        "provenance": provenance(sources, seed=c.seed, draws=c.draws),
    }


def _singles(s: Singles) -> dict[str, Any]:
    return {
        "right_now": s.now,
        "worlds": s.worlds,
        "found": [
            {
                "part": x.part,
                "feature": x.key,
                "readings_now": x.readings,
                "right": x.right,
                "error": x.error,
                "tells_more": x.tells(s.now),
            }
            for x in s.found
        ],
    }


def _alternative(a: AlternativeResult, c: Comparison) -> dict[str, Any]:
    worst = a.worst
    return {
        "name": a.name,
        "kind": a.study.spec.joint.kind,
        "temperature_C": list(a.study.spec.service.temperature),
        "changes": list(a.changes),
        "is_choice": a in c.choices,
        "verdict": a.verdict if a in c.choices else None,
        "reasons": [
            {"what": r.what, "verdict": r.verdict, "kept_open_by_lots": list(r.but_for)}
            for r in a.reasons
        ],
        "modes": {n: None if m is None else mode_payload(m) for n, m in a.modes.items()},
        "differences": {n: _difference(d) for n, d in a.differences.items()},
        "supply": [_supply(s) for s in a.supply],
        "worst_supply": None if worst is None else worst.name,
        "seats": [{n: _interval(i) for n, i in seat.items()} for seat in a.seats],
        "causes": [_cause(x) for x in a.causes],
        "basis": _basis(a, c.alternatives[0]),
        "outlay": {
            "parts": a.outlay.parts,
            "assembly": a.outlay.assembly,
            "scrap": a.outlay.scrap,
            "without_price": list(a.outlay.unknown),
        },
        "money": None if a.money is None else _money(a.money),
        "money_unknown": list(a.money_unknown),
        "claims_forecast": None
        if a.forecast is None
        else {"number": _line(a.forecast.claims), "cost": _line(a.forecast.cost)},
        "rank": a.rank,
        "probability_best": a.best,
        "probability_best_without_ranges": a.best_without_ranges,
        "same_as": list(a.same_as),
        "could_turn": list(a.could_turn),
        "doubts": [
            {"part": d.part, "feature": d.key, "kind": d.kind, "text": d.text} for d in a.doubts
        ],
        "evidence_plan": None if a.plan is None else _plan(a.plan),
        "purchase_conditions": [_condition(x) for x in a.conditions],
        "next_lots": [_next_lot(x) for x in a.next_lots],
        "whole_ranges": [_whole(x) for x in a.whole],
        "demand": None if a.demand is None else _demand(a.demand),
        "provable": provable_payload(a.provable),
        "warnings": list(a.warnings),
    }


def _plan(p: EvidencePlan) -> dict[str, Any]:
    return {
        "probability_wanted": WANTED,
        "candidates": [
            {
                "part": c.part,
                "feature": c.key,
                "supplies": list(c.supplies),
                "readings_now": c.n,
                "assumed": c.assumed,
                "both_seats_of_a_unit": c.paired,
                "probability_of_a_decision": [
                    {"further_parts": m, "probability": v} for m, v in sorted(c.chance.items())
                ],
                "probability_known_exactly": c.perfect,
                "further_parts_needed": c.needed,
                "further_parts_needed_with_claims_known": c.needed_with_claims,
                "worth_of_30": c.worth,
            }
            for c in p.candidates
        ],
        "all_processes_known": p.all_known,
        "claims_known": p.claims_known,
        "everything_known": p.everything_known,
        "parts_of_each_needed": p.together,
        "worlds": p.worlds,
        "error_of_log_rates": p.error,
        "lots_measured": list(p.lots),
    }


def _um(ends: tuple[float, float]) -> list[float]:
    return [1e3 * ends[0], 1e3 * ends[1]]


def _condition(c: Condition) -> dict[str, Any]:
    return {
        "part": c.part,
        "feature": c.key,
        "mean_um": None if c.box is None else _um(c.box),
        "sd_most_um": None if c.sd is None else 1e3 * c.sd,
        "today_um": {"mean": 1e3 * c.today[0], "sd": 1e3 * c.today[1]},
        "lot_like_today_passes": c.today_passes,
        "looked_at_um": {"mean": _um(c.looked[0]), "sd": _um(c.looked[1])},
        "test": None
        if c.test is None
        else {
            "parts": c.test.n,
            "mean_um": _um(c.test.mean),
            "sd_most_um": 1e3 * c.test.sd,
            "risk": c.test.risk,
            "good_lot_passes": c.test.passes,
        },
    }


def _next_lot(x: NextLot) -> dict[str, Any]:
    return {
        "part": x.part,
        "feature": x.key,
        "readings": x.n,
        "two_populations": x.verdict,
        "text": x.text,
        "groups": [
            {
                "share": g.share,
                "mean_um": 1e3 * g.mean,
                "sd_um": 1e3 * g.sd,
                "rates_of_a_lot_of_it": dict(g.rates),
            }
            for g in x.groups
        ],
        "rates_as_the_bag": dict(x.together),
    }


def _whole(x: WholeRange) -> dict[str, Any]:
    def corner(c: Corner) -> dict[str, Any]:
        return {
            "at": [
                {"part": p, "feature": k, "mean_um": 1e3 * v[0], "sd_um": 1e3 * v[1]}
                for (p, k), v in c.at.items()
            ],
            **_interval(c.rate),
        }

    return {
        "mode": x.mode,
        "target": x.target,
        "survives": {True: "yes", False: "no", None: "in part"}[x.survives],
        "best": corner(x.best),
        "worst": corner(x.worst),
    }


def _demand(d: Demand) -> dict[str, Any]:
    return {
        "windows": None
        if d.windows is None
        else [
            {"part": p, "feature": k, "mean_um": _um(w.mean), "sd_most_um": 1e3 * w.sd}
            for (p, k), w in d.windows.items()
        ],
        "rates": {m: _interval(i) for m, i in d.rates.items()},
    }


def _basis(a: AlternativeResult, reference: AlternativeResult) -> list[dict[str, Any]]:
    """What each part rests on: a part with readings is measured, whatever it says of the rest."""
    there = {n for s in reference.study.strata for n in s.names.values()}
    seen: dict[str, dict[str, Any]] = {}
    for stratum in a.study.strata:
        for role, part in stratum.parts.items():
            own = {k: r for k, r in stratum.readings.items() if k.startswith(f"{role}.")}
            read = {k: len(r) for k, r in own.items()}
            name = stratum.names[role]
            seen.setdefault(
                name,
                {
                    "part": name,
                    "role": role,
                    "title": part.title,
                    "basis": "measured" if read else part.basis,
                    "readings": sum(read.values()),
                    "lots_unnamed": any(r.lot is None for r in own.values()),
                    "drawn": part.drawn if isinstance(part, Bearing) else None,
                    "price_each": part.price_each,
                    "brought": a is not reference and name not in there,
                },
            )
    return list(seen.values())


def _ends(low: float, high: float) -> dict[str, float]:
    return {"low": low, "high": high}


def _difference(d: DifferenceResult) -> dict[str, Any]:
    return {
        "share": d.value,
        **_ends(d.low, d.high),
        "simulation": _ends(d.simulation.low, d.simulation.high),
        "method": d.simulation.method,
        "same": d.same,
    }


def _interval(i: Interval) -> dict[str, float]:
    return {"share": i.value, **_ends(i.low, i.high)}


def _supply(s: SupplyRates) -> dict[str, Any]:
    return {
        "name": s.name,
        "share": s.share,
        "parts": dict(s.parts),
        "modes": {n: mode_payload(m) for n, m in s.modes.items()},
        "differences": {n: _difference(d) for n, d in s.differences.items()},
        "causes": [_cause(c) for c in s.causes],
    }


def _cause(c: CauseResult) -> dict[str, Any]:
    return {
        "cause": c.margin.cause,
        "mode": c.margin.mode,
        "seat": c.margin.seats[0] if len(c.margin.seats) == 1 else None,
        "temperature_C": c.margin.temperature,
        "limit": c.margin.limit,
        "share": c.share,
        **_ends(c.low, c.high),
    }


def _line(x: Line) -> dict[str, float]:
    return {"value": x.value, **_ends(x.low, x.high)}


def _money(m: Money) -> dict[str, Any]:
    return {
        "units": m.units,
        "yearly": m.yearly,
        "saving": m.saving,
        "extra_claims": _line(m.claims),
        "net": _line(m.net),
        "break_even_claim_share": None if m.break_even is None else _line(m.break_even),
        "probability_of_paying": m.pays,
        "left_before_creak_claims": m.before_creak,
        "why_no_break_even": m.no_even,
        "claims_with_a_price": list(m.priced),
    }
