"""A design as a payload: callouts, what they promise, what they cost, and why none would do."""

from __future__ import annotations

from typing import Any

from tolsim.answers.design_results import BandResult, Choice, Design
from tolsim.answers.provable import provable
from tolsim.report.payload import mode_payload, provenance
from tolsim.report.provable import provable_payload

__all__ = ["SCHEMA", "callout", "design_payload", "signed"]

SCHEMA = "tolsim/design/1"


def design_payload(d: Design) -> dict[str, Any]:
    """Payload ``tolsim/design/1``; sizes as deviations from nominal [µm], rates as fractions."""
    verified = None
    if d.met:
        verified = {
            "seed": d.verified_seed,
            "draws": d.draws,
            "modes": {n: mode_payload(m) for n, m in d.modes.items()},
        }
    return {
        "schema": SCHEMA,
        "study": {"title": d.study.spec.title, "file": d.study.name},
        "seed": d.seed,
        "verdict": "met" if d.met else "undecided" if d.undecided else "missed",
        "provable": provable_payload(provable(d.study)),
        "chosen": dict(d.label),
        "bands": [_band(b) for b in d.bands],
        "cost": d.cost,
        "cost_of": _costing(d),
        "currency": d.currency,
        "targets": d.targets,
        "verified": verified,
        "choices": [_choice(c) for c in d.choices],
        "runner_up": None if d.runner_up is None else _choice(d.runner_up),
        "classes": [
            {
                "feature": c.path,
                "class": c.designation,
                "band_um": [1e3 * c.low, 1e3 * c.high],
                "verdict": c.verdict,
                "modes": {n: mode_payload(m) for n, m in c.modes.items()},
                "cost": c.cost,
            }
            for c in d.classes
        ],
        "constraints": [
            {"kind": c.kind, "name": c.name, "change": c.change, "saved": c.saved}
            for c in d.constraints
        ],
        "cost_against_target": None
        if d.curve_mode is None
        else {
            "mode": d.curve_mode,
            "points": [{"target": c.target, "cost": c.cost} for c in d.curve],
        },
        "allocations": [_allocation(d, k) for k in range(len(d.allocations))],
        "region": _region(d),
        "unreachable": [
            {
                "mode": u.mode,
                "target": u.target,
                "best": u.best,
                "whatever_the_others": u.alone,
                "mostly": u.cause,
            }
            for u in d.unreachable
        ],
        "nearest_rates": d.attainable,
        "remedies": [
            {
                "kind": r.kind,
                "what": r.what,
                "factor": r.factor,
                "before": r.before,
                "after": r.after,
                "unit": r.unit,
                "enough": r.enough,
            }
            for r in d.remedies
        ],
        "warnings": list(d.warnings),
        "provenance": provenance(d.study.sources, seed=d.seed, draws=d.draws),
    }


def _band(b: BandResult) -> dict[str, Any]:
    return {
        "feature": b.path,
        "nominal_mm": b.nominal,
        "low": None if b.low is None else b.low * b.scale,
        "high": None if b.high is None else b.high * b.scale,
        "width": b.width * b.scale,
        "unit": b.unit,
        "callout": callout(b),
        "class": b.word,
        "process": b.process,
        "follows": b.follows,
        "capability": b.capability,
        "capability_basis": b.basis,
        "cost": b.cost,
        "scrap_share": b.scrap,
        "state": b.state,
    }


def _choice(c: Choice) -> dict[str, Any]:
    return {
        "chosen": dict(c.label),
        "cost": c.cost,
        "status": c.status,
        "bands": [_band(b) for b in c.bands],
    }


def _costing(d: Design) -> dict[str, Any] | None:
    c = d.costing
    if c is None:
        return None
    names = [b.path for b in d.bands]
    return {
        "parts": c.parts,
        "assembly": c.assembly,
        "bands": dict(zip(names, c.bands, strict=True)),
        "scrap": dict(zip(names, c.scrap, strict=True)),
        "claims": c.claims,
    }


def _allocation(d: Design, k: int) -> dict[str, Any]:
    a = d.allocations[k]
    return {
        "rule": a.rule,
        "window_um": [1e3 * v for v in a.window],
        "taken_by_other_bands": a.taken,
        "widths_um": None if a.widths is None else {n: 1e3 * v for n, v in a.widths.items()},
        "cost": a.cost,
    }


def _region(d: Design) -> dict[str, Any] | None:
    r = d.region
    if r is None:
        return None
    scale = {b.path: b.scale for b in d.bands}
    features = []
    for k, (path, step, bands) in enumerate(zip(r.paths, r.steps, r.bands, strict=True)):
        middles, widest = r.widest(k)
        features.append(
            {
                "feature": path,
                "unit": next(b.unit for b in d.bands if b.path == path),
                "step": step * scale[path],
                "bands": [[c * scale[path], w * scale[path]] for c, w in bands.tolist()],
                "middle": [c * scale[path] for c in middles.tolist()],
                "widest": [w * scale[path] if w > 0.0 else None for w in widest.tolist()],
            }
        )
    good_at = r.good.nonzero()
    return {
        "features": features,
        "looked_at": int(r.good.size),
        "good": int(r.good.sum()),
        "good_at": [list(map(int, at)) for at in zip(*good_at, strict=True)],
    }


def signed(value: float) -> str:
    """A deviation with its sign.

    >>> signed(-12.0), signed(0.0), signed(3.5)
    ('−12', '0', '+3.5')
    """
    return "0" if abs(value) < 5e-7 else f"{value:+.6g}".replace("-", "−")


def callout(b: BandResult) -> str:
    """The band as it goes on the drawing."""
    if b.low is None or b.high is None:
        return f"zone {b.width * b.scale:.4g} {b.unit}"
    low, high = b.low * b.scale, b.high * b.scale
    if b.nominal is None:
        word = f" ({b.word})" if b.word else ""
        return f"{low:.4g} to {high:.4g} {b.unit}{word}"
    places = 3 if all(abs(v - round(v)) < 1e-6 for v in (low, high)) else 5
    ends = f"{b.nominal + b.low:.{places}f} to {b.nominal + b.high:.{places}f} mm"
    word = f" {b.word}" if b.word else ""
    return f"{b.nominal:g}{word} {signed(high)}/{signed(low)} µm ({ends})"
