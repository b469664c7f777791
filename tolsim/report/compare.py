"""A comparison as a payload: the only thing that its page reads."""

from __future__ import annotations

from typing import Any

from tolsim.answers.compare_results import (
    AlternativeResult,
    Comparison,
    DifferenceResult,
    SupplyRates,
)
from tolsim.answers.money import Line, Money
from tolsim.answers.results import CauseResult
from tolsim.intervals import Interval
from tolsim.report.compare_text import comparison_text
from tolsim.report.payload import mode_payload, provenance
from tolsim.spec.files import Source

__all__ = ["comparison_payload", "comparison_text"]

SCHEMA = "tolsim/comparison/1"


def comparison_payload(c: Comparison) -> dict[str, Any]:
    """Payload ``tolsim/comparison/1``; shares are fractions of units, money in `currency`.

    Every difference is the alternative's share minus the reference's, the first alternative.
    """
    sources: dict[str, Source] = {}
    for a in c.alternatives:
        sources.update({s.name: s for s in a.study.sources})
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
        "currency": c.currency,
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
        "provenance": provenance(sources.values(), seed=c.seed, draws=c.draws),
    }


def _alternative(a: AlternativeResult, c: Comparison) -> dict[str, Any]:
    judged = a in c.choices
    worst = a.worst
    return {
        "name": a.name,
        "kind": a.study.spec.joint.kind,
        "temperature_C": list(a.study.spec.service.temperature),
        "changes": list(a.changes),
        "verdict": a.verdict if judged else None,
        "reasons": [{"what": r.what, "verdict": r.verdict} for r in a.reasons],
        "modes": {n: None if m is None else mode_payload(m) for n, m in a.modes.items()},
        "differences": {n: _difference(d) for n, d in a.differences.items()},
        "supply": [_supply(s) for s in a.supply],
        "worst_supply": None if worst is None else worst.name,
        "seats": [{n: _interval(i) for n, i in seat.items()} for seat in a.seats],
        "causes": [_cause(x) for x in a.causes],
        "basis": _basis(a),
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
        "warnings": list(a.warnings),
    }


def _basis(a: AlternativeResult) -> list[dict[str, Any]]:
    """What each part rests on: a part with readings is measured, whatever it says of the rest."""
    seen: dict[str, dict[str, Any]] = {}
    for stratum in a.study.strata:
        for role, part in stratum.parts.items():
            read = {k: len(r) for k, r in stratum.readings.items() if k.startswith(f"{role}.")}
            seen.setdefault(
                stratum.names[role],
                {
                    "part": stratum.names[role],
                    "role": role,
                    "title": part.title,
                    "basis": "measured" if read else part.basis,
                    "readings": sum(read.values()),
                    "price_each": part.price_each,
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
    }
