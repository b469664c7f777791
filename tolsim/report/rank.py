"""A ranking as a payload, from which every page of it is written."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tolsim.answers.rank import Move, Ranking, worsened
from tolsim.answers.rank_moves import Difference
from tolsim.answers.rank_parts import Group, MarginParts
from tolsim.report.evidence_words import assumed_ranges
from tolsim.report.payload import mode_payload, provenance
from tolsim.report.provable import provable_payload

__all__ = ["rank_payload"]

SCHEMA = "tolsim/rank/2"


def rank_payload(r: Ranking) -> dict[str, Any]:
    """Payload ``tolsim/rank/2``; rates are fractions of units, intervals at 95 %."""
    return {
        "schema": SCHEMA,
        "study": {"title": r.study.spec.title, "file": r.study.name},
        "seed": r.seed,
        "draws": r.draws,
        "main": r.main,
        "targets": dict(r.targets),
        "before": {
            m: {"value": b.value, "low": b.low, "high": b.high, "method": b.method}
            for m, b in r.before.items()
        },
        "moves": [_move(m, r) for m in r.moves],
        "effects": [
            {
                "contributor": e.path,
                "supply": e.supply,
                "unit": e.unit,
                "step": e.step,
                "mean": {m: _difference(d) for m, d in e.mean.items()},
                "spread_10_percent_less": {m: _difference(d) for m, d in e.spread.items()},
            }
            for e in r.effects
        ],
        "failed_units_sat": [
            {
                "contributor": s.path,
                "supply": s.supply,
                "mode": s.mode,
                "magnitude": s.magnitude,
                "mean_sd": s.mean,
                "mean_sd_low": s.low,
                "mean_sd_high": s.high,
                "mean": s.shift,
                "unit": s.unit,
                "spread": s.spread,
                "failed": s.failed,
            }
            for s in r.sat
        ],
        "variance": [_parts(v, r) for v in r.variance],
        "today": {m: mode_payload(x) for m, x in r.today.items()},
        "provable": provable_payload(r.provable),
        "assumed_ranges": assumed_ranges(r.study),
        "provenance": provenance(r.study.sources, seed=r.seed, draws=r.draws),
    }


def _difference(d: Difference) -> dict[str, Any]:
    return asdict(d)


def _move(m: Move, r: Ranking) -> dict[str, Any]:
    again = m.rerun
    return {
        "contributor": m.path,
        "supply": m.supply,
        "kind": m.kind,
        "amount": m.amount,
        "unit": m.unit,
        "rates": {k: _difference(d) for k, d in m.rates.items()},
        "past_target": worsened(m.rates, r.targets),
        "rerun": None
        if again is None
        else {
            "seed": again.seed,
            "draws": again.draws,
            "rates": {
                k: {"value": v.value, "low": v.low, "high": v.high, "method": v.method}
                for k, v in again.rates.items()
            },
        },
    }


def _parts(v: MarginParts, r: Ranking) -> dict[str, Any]:
    return {
        "supply": v.supply,
        "margin": v.margin.cause,
        "mode": v.margin.mode,
        "seats": list(v.margin.seats),
        "temperature_C": v.margin.temperature,
        "parts": [
            {
                "kind": _kind(p.group, v.supply, r),
                "name": p.group.name,
                "alone": p.first,
                "alone_half_width": p.first_half,
                "with_others": p.total,
                "with_others_half_width": p.total_half,
            }
            for p in v.parts
        ],
    }


def _kind(group: Group, supply: str, r: Ranking) -> str:
    """As the group has it; what is open for want of readings is "assumed range"."""
    stratum = next((s for s in r.study.strata if s.name in supply.split(", ")), None)
    if group.kind != "readings" or stratum is None:
        return group.kind
    part = stratum.names.get(group.name.partition(".")[0])
    ranged = f"{part} {group.name}" in assumed_ranges(r.study)
    return "assumed range" if ranged else group.kind
