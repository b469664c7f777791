"""A design as a payload and as text: callouts first, then what they promise and what they cost."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import Any

from tolsim.answers.design import BandResult, Design
from tolsim.report.numbers import clean, share, share_range, target
from tolsim.report.payload import mode_payload, provenance
from tolsim.report.text import MODE_WORDS

__all__ = ["design_payload", "design_text"]

SCHEMA = "tolsim/design/1"
WIDTH = 92


def design_payload(d: Design) -> dict[str, Any]:
    """Payload ``tolsim/design/1``; sizes as deviations from nominal [µm], rates as fractions."""
    p = d.prediction
    return {
        "schema": SCHEMA,
        "study": {"title": d.study.spec.title, "file": d.study.name},
        "seed": d.seed,
        "verdict": "met" if d.met else "missed",
        "bands": [_band(b) for b in d.bands],
        "parts": d.parts,
        "cost": d.cost,
        "currency": d.currency,
        "targets": d.targets,
        "verified": None
        if p is None
        else {
            "seed": p.seed,
            "draws": p.draws,
            "modes": {n: None if m is None else mode_payload(m) for n, m in p.modes.items()},
        },
        "classes": [
            {
                "feature": c.path,
                "class": c.designation,
                "band_um": [1e3 * c.low, 1e3 * c.high],
                "rates": c.rates,
                "cost": c.cost,
                "meets": c.meets,
            }
            for c in d.classes
        ],
        "choices": [{"parts": c.parts, "cost": c.cost, "feasible": c.feasible} for c in d.choices],
        "savings_if_target_four_times": d.savings,
        "cost_against_target": [{"target": t, "cost": c} for t, c in d.curve],
        "allocations": [
            {
                "rule": a.rule,
                "window_um": [1e3 * v for v in a.window],
                "taken_um": 1e3 * a.taken,
                "widths_um": None
                if a.widths is None
                else {k: 1e3 * v for k, v in a.widths.items()},
                "cost": a.cost,
            }
            for a in d.allocations
        ],
        "region": None
        if d.region is None
        else {
            "feature": d.region.path,
            "centre_um": [1e3 * v for v in d.region.centres],
            "widest_um": [None if w is None else 1e3 * w for w in d.region.widest],
        },
        "unreachable": [
            {
                "mode": u.mode,
                "target": u.target,
                "best": u.best,
                "capability": u.capability,
                "sentence": u.sentence,
            }
            for u in d.unreachable
        ],
        "warnings": list(d.warnings),
        "provenance": provenance(d.study.sources, seed=d.seed, draws=0 if p is None else p.draws),
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
        "follows": b.follows,
        "capability": b.capability,
        "capability_basis": b.basis,
        "cost": b.cost,
        "scrap_share": b.scrap,
        "state": b.state,
    }


def _signed(value: float) -> str:
    text = f"{value:+.4g}".replace("-", "−")
    return "0" if float(value) == 0.0 else text


def callout(b: BandResult) -> str:
    """The band as it goes on the drawing."""
    if b.low is None or b.high is None:
        return f"zone {b.width * b.scale:.4g} {b.unit}"
    low, high = b.low * b.scale, b.high * b.scale
    if b.nominal is None:
        return f"{low:.4g} to {high:.4g} {b.unit}"
    ends = f"{b.nominal + b.low:.3f} to {b.nominal + b.high:.3f} mm"
    return f"{b.nominal:g} {_signed(high)}/{_signed(low)} µm ({ends})"


def design_text(p: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/design/1``."""
    lines: list[str] = []

    def say(text: str = "", indent: str = "") -> None:
        lines.extend(
            textwrap.wrap(
                clean(text),
                WIDTH,
                initial_indent=indent,
                subsequent_indent=indent,
                break_on_hyphens=False,
            )
            or [""]
        )

    for w in p["warnings"]:
        say(w)
        say()
    say(p["study"]["title"])
    say()
    if p["verdict"] == "met":
        _told_met(p, say)
    else:
        _told_missed(p, say)
    _told_choices(p, say)
    v = p["provenance"]
    say(
        f"Search with seed {p['seed']}, tolsim {v['tolsim']}. Estimates for a decision, not a "
        "proof: bearing makers' data, standards and a licensed engineer's judgement come first."
    )
    return "\n".join(lines).rstrip() + "\n"


Say = Callable[..., None]


def _money(p: dict[str, Any], value: float) -> str:
    return f"{value:.2f} {p['currency']}"


def _told_met(p: dict[str, Any], say: Say) -> None:
    say("For the drawing:")
    for b in p["bands"]:
        text = f"{b['feature']}: {b['callout']}"
        if b["state"]:
            text += f", {b['state']}"
        if b["follows"] == "gauge":
            text += f"; parts outside are sorted out, {share(b['scrap_share'])} of them"
        else:
            text += f"; made at a capability of {b['capability']:g}"
            text += f" ({b['capability_basis'] or 'basis not stated'})"
        say(text + ".", "  ")
    for role, name in p["parts"].items():
        say(f"{role}: {name}.", "  ")
    say()
    say(f"Cost: {_money(p, p['cost'])} a unit for what is chosen, claims included.")
    say()
    verified = p["verified"]
    say(f"Verified on {verified['draws']:,} fresh units of each combination of parts:")
    for name, goal in p["targets"].items():
        m = verified["modes"][name]
        say(
            f"{MODE_WORDS[name]} {share(m['share'], m['low'], m['high'])} "
            f"({share_range(m['low'], m['high'])}) against a target of {target(goal)}.",
            "  ",
        )
    say()
    _told_costs(p, say)
    _told_region(p, say)
    _told_classes(p, say)
    _told_rules(p, say)


def _told_costs(p: dict[str, Any], say: Say) -> None:
    savings = p["savings_if_target_four_times"]
    if not savings:
        return
    say("What the targets cost:")
    for name, saved in savings.items():
        if saved < 0.005:
            say(f"{MODE_WORDS[name]} costs nothing: loosening it would not make it cheaper.", "  ")
        else:
            say(
                f"four times the target for {MODE_WORDS[name]} would save {_money(p, saved)} a "
                "unit.",
                "  ",
            )
    main = "creak" if "creak" in p["targets"] else next(iter(p["targets"]))
    points = ", ".join(
        f"{target(c['target'])}: " + ("out of reach" if c["cost"] is None else _money(p, c["cost"]))
        for c in p["cost_against_target"]
    )
    say(f"cost against the target for {MODE_WORDS[main]}: {points}.", "  ")
    say()


def _told_region(p: dict[str, Any], say: Say) -> None:
    r = p["region"]
    if r is None:
        return
    good = [(c, w) for c, w in zip(r["centre_um"], r["widest_um"], strict=True) if w is not None]
    if not good:
        return
    say(f"All bands of {r['feature']} that meet the targets, by their middle (enumerated):")
    told = ", ".join(f"{c:.4g}: up to {w:.4g}" for c, w in good)
    say(f"{told} µm wide.".replace("-", "−"), "  ")
    say()


def _told_classes(p: dict[str, Any], say: Say) -> None:
    if not p["classes"]:
        return
    say("Classes of ISO 286-2 nearby, with rates of their own:")
    for c in p["classes"]:
        rates = ", ".join(f"{MODE_WORDS[n]} {share(r)}" for n, r in c["rates"].items())
        low, high = c["band_um"]
        word = "meets the targets" if c["meets"] else "does not"
        text = f"{c['class']} ({_signed(high)}/{_signed(low)} µm): {word}; {rates}; "
        say(text + f"{_money(p, c['cost'])}.", "  ")
    say()


def _told_rules(p: dict[str, Any], say: Say) -> None:
    if not p["allocations"]:
        return
    low, high = p["allocations"][0]["window_um"]
    say(
        f"By the older rules, on a nominal unit that holds while the size moves from "
        f"{_signed(low)} to {_signed(high)} µm:"
    )
    for a in p["allocations"]:
        if a["widths_um"] is None:
            say(
                f"{a['rule']} asks the impossible: other bands take {a['taken_um']:.3g} µm.",
                "  ",
            )
        else:
            widths = ", ".join(f"{k} {v:.3g} µm wide" for k, v in a["widths_um"].items())
            say(f"{a['rule']} would ask {widths}, for {_money(p, a['cost'])}.", "  ")
    say("They see neither loads nor clearance nor alignment scatter, and promise no rate.", "  ")
    say()


def _told_missed(p: dict[str, Any], say: Say) -> None:
    say("No choice that is free here meets the targets.")
    for u in p["unreachable"]:
        say(f"{MODE_WORDS[u['mode']]}: {u['sentence']}.", "  ")
    if p["bands"]:
        told = "; ".join(f"{b['feature']}: {b['callout']}" for b in p["bands"])
        say(f"Nearest: {told}.", "  ")
    say()


def _told_choices(p: dict[str, Any], say: Say) -> None:
    others = [c for c in p["choices"] if c["parts"]]
    if len(others) < 2:
        return
    say("Combinations of parts, cheapest first:")
    for c in others:
        name = " + ".join(c["parts"].values())
        cost = _money(p, c["cost"]) if c["feasible"] else "cannot meet the targets"
        say(f"{name}: {cost}.", "  ")
    say()
