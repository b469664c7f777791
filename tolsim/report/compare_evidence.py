"""Sentences of a comparison about what is not known: what would decide, what a lot must show."""

from __future__ import annotations

import math
import re
from typing import Any

from tolsim.report.numbers import clean, micrometres, minus, share, share_range, target
from tolsim.report.text import MODE_WORDS

__all__ = [
    "break_even_sentence",
    "condition_sentences",
    "decide_sentences",
    "money_text",
    "next_lot_sentences",
    "whole_sentences",
]

_FEATURES = {
    "bore.diameter": "bores",
    "bearing.outside": "rings",
    "bearing.clearance": "clearances",
    "sleeve.inside": "sleeve bores",
    "sleeve.outside": "sleeves' outsides",
    "bore.alignment": "axes of both seats",
    "sleeve.alignment": "axes of sleeves",
    "bore.taper": "tapers of bores",
    "bore.roundness": "roundnesses of bores",
}
_SETTLING = re.compile(r"^(\w+)\.\w+\.settle\d+$")


def feature_name(key: str) -> str:
    """What is measured, in words.

    >>> feature_name("bore.diameter"), feature_name("bore.diameter.settle1")
    ('bores', 'settling of bores, the same ones at both ages')
    """
    settling = _SETTLING.match(key)
    if settling:
        return f"settling of {settling.group(1)}s, the same ones at both ages"
    return _FEATURES.get(key, key)


def money_text(value: float) -> str:
    """A sum as it is known: three digits at most.

    >>> money_text(41743.0), money_text(-1526.75), money_text(0.0), money_text(2.7)
    ('41 700', '−1 530', '0', '2.70')
    """
    if abs(value) < 5e-3:
        return "0"
    if abs(value) < 9.995:
        return f"{value:.2f}".replace("-", "−")
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}".replace(",", " ").replace("-", "−")


def _probability(x: float) -> str:
    if x > 0.995:
        return "over 99 %"
    return "below 1 %" if x < 0.005 else f"{100 * x:.0f} %"


def _at_most(x: float) -> str:
    """A probability that is a bound.

    >>> _at_most(0.05), _at_most(1e-4)
    ('at most 5 %', 'below 1 %')
    """
    return _probability(x) if x < 0.005 else f"at most {_probability(x)}"


def _things(c: dict[str, Any]) -> str:
    """What is measured, and whose."""
    what = feature_name(c["feature"])
    if c["both_seats_of_a_unit"]:
        what = "units (both seats)"
    return f"{what} of {clean(c['part'])}"


def decide_sentences(a: dict[str, Any], p: dict[str, Any]) -> list[str]:
    """How many more parts of what decide, and what nothing but other knowledge decides."""
    plan = a["evidence_plan"]
    if plan is None:
        return []
    wanted = _probability(plan["probability_wanted"])
    out: list[str] = []
    able = [c for c in plan["candidates"] if c["further_parts_needed"] is not None]
    for c in able:
        n = c["further_parts_needed"]
        text = f"{n} measured {_things(c)}" if c["assumed"] else f"{n} more {_things(c)}"
        out.append(f"{text} decide, one way or the other, with a probability of {wanted} or more.")
    if not able:
        out.append(
            f"No one part decides with a probability of {wanted}, with up to 1000 more of it."
        )
        n = plan["parts_of_each_needed"]
        if n is not None:
            out.append(f"{n} more of each of those below together do.")
    beside = [c for c in plan["candidates"] if c["further_parts_needed_with_claims_known"]]
    for c in beside:
        n = c["further_parts_needed_with_claims_known"]
        out.append(f"{n} more {_things(c)} do once the claims are known exactly.")
    if len(plan["candidates"]) > 1:
        first = plan["candidates"][0]
        what = feature_name(first["feature"])
        out.append(f"The one measurement that would tell most: {what} of {clean(first['part'])}.")
    if any(r["what"] == "readings" for r in a["reasons"]):
        out.append(
            "Readings that are not those of one process make nothing acceptable, however many "
            "there are: find out first what is mixed in them, measure the populations apart and "
            "name each as a [[supply]] of its own, or state the shape in the part where every lot "
            "is to be as this one."
        )
    for c in plan["candidates"]:
        out.append(_candidate(c, p))
    if plan["lots_measured"]:
        lots = "; ".join(minus(clean(x)) for x in plan["lots_measured"])
        out.append(
            f"So few lots say little about the next: {lots}. A decision must hold for lots not "
            "yet seen; further readings are meant to come from further lots."
        )
    known = _probability(plan["all_processes_known"])
    if plan["claims_known"] is not None:
        claims, both = (_probability(plan[k]) for k in ("claims_known", "everything_known"))
        known += f"; with the claims known exactly and nothing measured: {claims}; both: {both}"
    kinds = {c["assumed"] for c in plan["candidates"]}
    allows = " and ".join(
        what
        for assumed, what in ((False, "the readings at hand"), (True, "the assumed ranges"))
        if assumed in kinds
    )
    # of a share of so many worlds, at its widest
    points = 100.0 * 1.96 * math.sqrt(0.25 / plan["worlds"])
    out.append(
        f"Probability of a decision with every process known exactly: {known}. Simulated in "
        f"{plan['worlds']} worlds that {allows or 'the readings at hand'} allow, each judged again "
        f"by the same rule: such a probability is known to {points:.0f} points either way."
    )
    return out


def _candidate(c: dict[str, Any], p: dict[str, Any]) -> str:
    at = {x["further_parts"]: x["probability"] for x in c["probability_of_a_decision"]}
    now = "none measured" if c["assumed"] else f"{c['readings_now']} readings now"
    text = (
        f"{clean(c['part'])}, {feature_name(c['feature'])} ({now}): 30 "
        f"{'of them' if c['assumed'] else 'more'} decide with {_probability(at[30])}, any number "
        f"at most with {_probability(c['probability_known_exactly'])}"
    )
    if c["worth_of_30"] is not None:
        per = "a year" if _yearly(p) else "a thousand units"
        worth = money_text(c["worth_of_30"])
        if worth == "0":
            text += "; 30 are worth nothing: on average they would not change what is best to do"
        else:
            text += f"; 30 are worth {worth} {p['currency']} {per}"
    return text + "."


def _yearly(p: dict[str, Any]) -> bool:
    paid = [x["money"] for x in p["alternatives"] if x["money"] is not None]
    return bool(paid and paid[0]["yearly"])


def _range(ends: list[float]) -> str:
    return f"{micrometres(ends[0])} and {micrometres(ends[1])} µm"


def condition_sentences(a: dict[str, Any], p: dict[str, Any]) -> list[str]:
    """The mean and spread that lots must have, and the sample that shows it."""
    out = []
    for c in a["purchase_conditions"]:
        name = f"{clean(c['part'])}, {feature_name(c['feature'])}"
        looked = c["looked_at_um"]
        if c["mean_um"] is None:
            out.append(
                f"{name}: no lot will do, all other parts being as they are known (looked at "
                f"means between {_range(looked['mean'])}, spreads from {looked['sd'][0]:.1f} to "
                f"{looked['sd'][1]:.1f} µm)."
            )
            continue
        text = (
            f"{name}: acceptable where the mean lies between {_range(c['mean_um'])} from nominal "
            f"and the spread is at most {c['sd_most_um']:.1f} µm"
        )
        t = c["test"]
        if t is None:
            out.append(f"{text}; no sample of up to 200 parts tells such a lot from a worse one.")
            continue
        out.append(f"{text}.")
        out.append(
            f"A lot shows it on {t['parts']} parts with a mean between {_range(t['mean_um'])} and "
            f"a standard deviation of at most {t['sd_most_um']:.1f} µm: a lot that is not so "
            f"passes with {_at_most(t['risk'])}, a good one (centred, three quarters "
            f"of the spread) with {_probability(t['good_lot_passes'])}."
        )
        today = c["today_um"]
        out.append(
            f"A lot as {'assumed' if _assumed(a, c['part']) else 'measured'} today (mean "
            f"{micrometres(today['mean'])} µm, spread {today['sd']:.1f} µm) would pass with "
            f"{_probability(c['lot_like_today_passes'])}."
        )
    return out


def _assumed(a: dict[str, Any], part: str) -> bool:
    return any(b["part"] == part and b["basis"] != "measured" for b in a["basis"])


def break_even_sentence(a: dict[str, Any]) -> str:
    """The share of creaking units that must become claims for saving and claims to be equal."""
    m, b = a["money"], a["money"]["break_even_claim_share"]
    if b is None:
        return f"No break-even: {_no_even(m)}."
    cheaper = m["left_before_creak_claims"] > 0.0
    if b["low"] >= 1.0:
        return (
            "Break-even: none; it pays even if every creaking unit comes back."
            if cheaper
            else "Break-even: none; it would not pay even if every creaking unit came back."
        )
    if b["value"] >= 1.0 and not cheaper:
        return (
            "Break-even: none as the rates stand: it would not pay even if every creaking unit "
            f"came back; with the rates at their best for it, from {_per_cent(b['low'])} of them "
            "on."
        )
    if b["value"] >= 1.0:
        return (
            "Break-even: none as the rates stand: it pays even if every creaking unit comes back; "
            f"with the rates at their worst for it, up to {_per_cent(b['low'])} of them."
        )
    high = "all" if b["high"] >= 1.0 else _per_cent(b["high"])
    return (
        f"Break-even: {_per_cent(b['value'])} of creaking units becoming claims "
        f"({_per_cent(b['low'])} to {high}); it pays where {'fewer' if cheaper else 'more'} do."
    )


def _per_cent(share: float) -> str:
    """A share of claims.

    >>> _per_cent(0.281), _per_cent(2.7e-11)
    ('28.1 %', 'below 0.001 %')
    """
    return "below 0.001 %" if 0.0 < share < 1e-5 else f"{100 * share:.3g} %"


def _no_even(m: dict[str, Any]) -> str:
    """Why no share of claims makes saving and claims equal."""
    if m["why_no_break_even"] == "no price":
        return "nothing says what a claim on a creaking unit costs"
    if m["why_no_break_even"] == "equal":
        return "neither what it costs nor what creaks differs"
    if m["why_no_break_even"] == "always":
        return "no more units creak, so every claim share pays"
    if m["saving"] > 0.0:
        return "claims on overly tight units take what it saves, and no fewer units creak"
    return "it saves nothing when built, and no fewer units creak"


def next_lot_sentences(a: dict[str, Any], p: dict[str, Any]) -> list[str]:
    """Bags that hold, or may hold, two populations."""
    out = []
    for x in a["next_lots"]:
        seen = x["two_populations"] == "seen"
        head = "two populations are seen" if seen else "whether the bag holds two makes is open"
        out.append(f"{clean(x['part'])}: {head}; {minus(clean(x['text']))}.")
        groups = ", ".join(
            f"{100 * g['share']:.0f} % about {micrometres(g['mean_um'])} ± {g['sd_um']:.1f} µm"
            for g in x["groups"]
        )
        rates = "; ".join(
            f"{MODE_WORDS[m]} {share(x['rates_as_the_bag'][m])} if mixed like this bag, "
            + " or ".join(share(g["rates_of_a_lot_of_it"][m]) for g in x["groups"])
            + " if of one of the two only"
            for m in x["rates_as_the_bag"]
        )
        likely = "The split is" if seen else "If it does, the likeliest split is"
        out.append(f"{likely} {groups}. Units built from the next lot: {rates}.")
    return out


def whole_sentences(a: dict[str, Any], p: dict[str, Any]) -> list[str]:
    """Whether a concept survives the corners of its assumptions."""
    out = []
    for x in a["whole_ranges"]:
        word = {
            "yes": "survives everywhere",
            "no": "survives nowhere",
            "in part": "survives in part",
        }[x["survives"]]
        worst = "; ".join(
            f"{feature_name(c['feature'])} of {clean(c['part'])} "
            f"{micrometres(c['mean_um'])} ± {c['sd_um']:.1f} µm"
            for c in x["worst"]["at"]
        )
        ends = [share_range(c["low"], c["high"]) for c in (x["best"], x["worst"])]
        out.append(
            f"{MODE_WORDS[x['mode']].capitalize()} {word}: from {ends[0]} in the best corner to "
            f"{ends[1]} in the worst, target {target(x['target'])} (worst with {worst})."
        )
    if a["demand"] is not None:
        out.append(_demanded(a))
    return out


def _demanded(a: dict[str, Any]) -> str:
    """What all its shops must keep to, at once."""
    d = a["demand"]
    rates = ", ".join(
        f"{MODE_WORDS[m]} {share(r['share'], r['low'], r['high'])} "
        f"(target {target(a['modes'][m]['target'])})"
        for m, r in d["rates"].items()
    )
    if d["windows"] is None:
        pairs = [(r, a["modes"][m]["target"]) for m, r in d["rates"].items()]
        if all(r["high"] <= goal for r, goal in pairs):
            return f"It keeps the targets at its very best only, which gives {rates}."
        if any(r["low"] > goal for r, goal in pairs):
            return (
                "No process within the ranges was found that keeps the targets: the best found "
                f"gives {rates}."
            )
        return (
            "Whether a process within the ranges keeps the targets stays open: the best found "
            f"gives {rates}."
        )
    together = ", for all of these parts at once" if len(d["windows"]) > 1 else ""
    return f"It demands what a lot must show{together}: the worst corner of that gives {rates}."
