"""One answer as a plain dict: the only thing that writers read."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Sequence
from importlib.metadata import version
from typing import Any

from tolsim import __version__
from tolsim.answers.assumptions import AssumptionRun
from tolsim.answers.results import CauseResult, InterferenceRange, ModeResult, Prediction
from tolsim.report.basis import basis_payload
from tolsim.report.evidence_words import evidence_payload
from tolsim.report.loads import loads_payload
from tolsim.report.lots import lots_payload
from tolsim.report.pictures import pictures_payload
from tolsim.report.provable import provable_payload
from tolsim.report.shapes import shape_payload
from tolsim.spec.files import Source

__all__ = ["assumption_payload", "mode_payload", "prediction_payload", "provenance"]

SCHEMA = "tolsim/prediction/1"


def provenance(sources: Iterable[Source], *, seed: int, draws: int) -> dict[str, Any]:
    """What an answer rests on: inputs by digest, versions, seed, draws; no clock, no path."""
    return {
        "tolsim": __version__,
        "python": platform.python_version(),
        "numpy": version("numpy"),
        "scipy": version("scipy"),
        "seed": seed,
        "draws": draws,
        "inputs": [{"name": s.name, "sha256": s.sha256} for s in sources],
    }


def prediction_payload(p: Prediction) -> dict[str, Any]:
    """The payload of a prediction, schema ``tolsim/prediction/1``.

    Shares are fractions of units (both seats) unless they stand under ``seats``.
    """
    spec = p.study.spec
    return {
        "schema": SCHEMA,
        "study": {
            "title": spec.title,
            "file": p.study.name,
            "joint": spec.joint.kind,
            "temperature_C": list(spec.service.temperature),
            "evidence": evidence_payload(p.study),
            "basis": basis_payload(p.study.strata),
        },
        "seed": p.seed,
        "draws": p.draws,
        "verdict": p.verdict,
        "modes": {name: None if m is None else mode_payload(m) for name, m in p.modes.items()},
        "seats": [
            {
                "seat": s.seat,
                "name": s.name,
                "modes": {name: mode_payload(m) for name, m in s.modes.items()},
                "interference": [_interference(r) for r in s.interference],
            }
            for s in p.seats
        ],
        "causes": [_cause(c) for c in p.causes],
        "supply": [
            {
                "name": s.name,
                "share": s.share,
                "parts": s.parts,
                "modes": {name: mode_payload(m) for name, m in s.modes.items()},
                "causes": [_cause(c) for c in s.causes],
            }
            for s in p.supply
        ],
        "pictures": pictures_payload(p),
        "scrap": [
            {"build": s.build, "feature": s.feature, "gauge": s.gauge, "share": s.share}
            for s in p.scrap
        ],
        "assumptions": [
            {
                "name": a.name,
                "value": a.value,
                "low": a.low,
                "high": a.high,
                "unit": a.unit,
                "basis": a.basis,
                "stated_by": a.stated_by,
                "could_turn": list(p.turning.get(a.name, ())),
            }
            for a in p.assumed
        ],
        "stated": [
            {
                "name": a.name,
                "value": a.value,
                "low": a.low,
                "high": a.high,
                "unit": a.unit,
                "stated_by": a.stated_by,
                "source": a.basis,
            }
            for a in p.stated
        ],
        "loads": [loads_payload(build, x) for build, x in p.loads],
        "shapes": [shape_payload(s) for s in p.shapes],
        "lots": [lots_payload(x) for x in p.lots],
        "next_lot": {name: mode_payload(m) for name, m in p.next_lot.items()},
        "provable": provable_payload(p.provable),
        "warnings": list(p.warnings),
        "provenance": provenance(p.study.sources, seed=p.seed, draws=p.draws),
    }


def _ends(ends: tuple[float, float] | None) -> dict[str, float] | None:
    return None if ends is None else {"low": ends[0], "high": ends[1]}


def mode_payload(m: ModeResult) -> dict[str, Any]:
    """One rate with its interval, target, verdict and method."""
    out: dict[str, Any] = {
        "share": m.share,
        "low": m.low,
        "high": m.high,
        "confidence": m.confidence,
        "target": m.target,
        "verdict": m.verdict,
        "simulation": _ends(m.simulation),
        "sample": _ends(m.sample),
        "left_open": _ends(m.left_open),
        "open_by_lots": m.open_by_lots,
        "method": m.method,
        "draws": m.draws,
    }
    if m.why is not None:
        out["why"] = m.why
    if m.reason is not None:
        out["reason"] = m.reason
    if m.unseen is not None:
        out["unseen"] = m.unseen
    return out


def _cause(c: CauseResult) -> dict[str, Any]:
    seats: Sequence[int] = c.margin.seats
    return {
        "cause": c.margin.cause,
        "mode": c.margin.mode,
        "seat": seats[0] if len(seats) == 1 else None,
        "temperature_C": c.margin.temperature,
        "limit": c.margin.limit,
        "share": c.share,
        "low": c.low,
        "high": c.high,
    }


def _interference(r: InterferenceRange) -> dict[str, Any]:
    known = r.known
    simulated = [1e3 * v for v in r.central]
    out: dict[str, Any] = {
        "build": r.build,
        "share": r.share,
        "at_C": 20.0,
        "mean_um": 1e3 * r.mean,
        "sd_um": 1e3 * r.sd,
        "simulated_um": simulated,
        "simulated_central_share": 0.9973,
        "resolution_um": 1e3 * r.resolution,
        "worst_case_um": None,
        "root_sum_square_um": None,
        "shift_um": None,
        "width_ratio": None,
    }
    if known.worst is None or known.root_sum_square is None:
        out["why"] = known.why
        return out
    low, high = (1e3 * v for v in known.root_sum_square)
    out["worst_case_um"] = [1e3 * v for v in known.worst]
    out["root_sum_square_um"] = [low, high]
    out["shift_um"] = 1e3 * r.mean - 0.5 * (low + high)
    out["width_ratio"] = (simulated[1] - simulated[0]) / (high - low) if high > low else None
    return out


def assumption_payload(runs: tuple[AssumptionRun, ...]) -> list[dict[str, Any]]:
    """Reruns at the ends of remembered constants, for the key ``assumption_runs``."""
    return [
        {
            "constants": [
                {"name": c.name, "value": v, "unit": c.unit, "basis": c.basis}
                for c, v in zip(r.constants, r.values, strict=True)
            ],
            "modes": {name: mode_payload(m) for name, m in r.modes.items()},
            "turned": list(r.turned),
        }
        for r in runs
    ]
