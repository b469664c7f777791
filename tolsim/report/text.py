"""A prediction as a page of terminal text: the answer first, then what, who, where, and on what."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from tolsim.report.assumptions import assumption_sentences
from tolsim.report.basis import part_sentences
from tolsim.report.evidence_words import alone, cure
from tolsim.report.loads import LOADS_HEADING, load_sentences
from tolsim.report.lots import lot_sentences
from tolsim.report.mode_words import MODE_WORDS, VERDICT_WORDS
from tolsim.report.numbers import clean, micrometres, minus, share, share_range, target
from tolsim.report.provable import provable_sentences
from tolsim.report.shapes import SHAPES_HEADING, shape_sentences

__all__ = [
    "CAUSES_HEADING",
    "CAUTION",
    "MODE_WORDS",
    "VERDICT_WORDS",
    "answer_sentences",
    "apart_sentence",
    "assumption_sentences",
    "cause_name",
    "hit_causes",
    "interference_sentence",
    "method_sentences",
    "modes_heading",
    "never_seen_sentence",
    "prediction_text",
    "run_sentence",
    "scrap_sentences",
    "seat_sentence",
    "supply_sentences",
]

WIDTH = 92


def prediction_text(p: dict[str, Any], *, width: int = WIDTH) -> str:
    """The page of a payload ``tolsim/prediction/1``."""
    lines: list[str] = []
    for section in (
        _answer,
        _modes,
        _causes,
        _supplies,
        _loads,
        _seats,
        _scrap,
        _assumptions,
        _shapes,
        _basis,
        _warnings,
    ):
        block = list(section(p, width))
        if block:
            lines += [*block, ""]
    return "\n".join(lines).rstrip() + "\n"


def _wrap(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )


def _rate(m: dict[str, Any]) -> str:
    if m["share"] == 0.0:
        return f"none in {m['draws']:,} drawn ({share_range(0.0, m['high'])})"
    return f"{share(m['share'], m['low'], m['high'])} ({share_range(m['low'], m['high'])})"


def answer_sentences(p: dict[str, Any]) -> list[str]:
    """The answer: one sentence a target, or that none is set."""
    judged = [(n, m) for n, m in p["modes"].items() if m is not None and m["target"] is not None]
    out = []
    for name, m in judged:
        word = MODE_WORDS[name]
        goal = target(m["target"])
        if m["verdict"] == "met":
            text = f"{VERDICT_WORDS['met']}: {word} stays within {goal} of units: {_rate(m)}."
        elif m["verdict"] == "missed":
            text = f"{VERDICT_WORDS['missed']}: {word} exceeds {goal} of units: {_rate(m)}."
        else:
            text = f"{VERDICT_WORDS['undecided']}: {_undecided(m, word, goal, p)}."
        out.append(text)
    if not judged:
        causes = {n for n, m in p["modes"].items() if m is not None} - {"creak"}
        # creak sums up what makes it; where nothing of that is judged it says nothing
        told = [n for n in p["modes"] if n in causes or (n == "creak" and causes - {"tight"})]
        rates = ", ".join(f"{MODE_WORDS[n]} {_rate(p['modes'][n])}" for n in told)
        out.append(f"No target is set. Of all units: {rates}.")
    return out


def _answer(p: dict[str, Any], width: int) -> Iterator[str]:
    yield from _wrap(clean(p["study"]["title"]), width)
    yield ""
    for sentence in answer_sentences(p):
        yield from _wrap(sentence, width)


def _undecided(m: dict[str, Any], word: str, goal: str, p: dict[str, Any]) -> str:
    if m["open_by_lots"]:
        name = next(n for n, other in p["modes"].items() if other is m)
        later = p["next_lot"][name]
        side = "stays within" if m["high"] <= m["target"] else "exceeds"
        return (
            f"{word} {side} {goal} of units for the lots measured: {_rate(m)}; but so few lots say "
            f"too little of the next one: {share_range(later['low'], later['high'])}; only more "
            'lots, or how they are to be taken stated in the part (between_lots = "one"), decide it'
        )
    return f"{word} may or may not stay within {goal} of units: {_rate(m)}; {_cure(m, p)}"


def apart_sentence(m: dict[str, Any], p: dict[str, Any]) -> str:
    """What the draws leave open alone, what the measured parts do, and what is left open beside."""
    simulation, sample, shape = m["simulation"], m["sample"], m["left_open"]
    text = f"draws alone {share_range(simulation['low'], simulation['high'])}"
    if sample is not None:
        name = alone(p["study"]["evidence"])
        text += f"; {name} {share_range(sample['low'], sample['high'])}"
    if shape is not None:
        named = any(s["left_open"] is not None for s in p["shapes"])
        held = any(x["taken"] == "random" for x in p["lots"])
        told = ["in the shape left open"] * named
        told += ["with the spread between lots at its estimate"] * held
        text += f"; {' and '.join(told)} {share_range(shape['low'], shape['high'])}"
    return text


def _cure(m: dict[str, Any], p: dict[str, Any]) -> str:
    sample, simulation = m["sample"], m["simulation"]
    if sample is not None and (
        sample["high"] - sample["low"] > simulation["high"] - simulation["low"]
    ):
        lots = any(x["taken"] == "random" for x in p["lots"])
        return cure(p["study"]["evidence"], lots=lots)
    return "more draws would decide it"


def modes_heading(p: dict[str, Any]) -> str:
    """Heading over the modes, with the confidence of their intervals."""
    confidence = next(m["confidence"] for m in p["modes"].values() if m is not None)
    return f"What fails, of all units, at {100 * confidence:g} % confidence"


def _modes(p: dict[str, Any], width: int) -> Iterator[str]:
    yield modes_heading(p)
    judged = {name: m for name, m in p["modes"].items() if m is not None}
    rates = {name: share(m["share"], m["low"], m["high"]) for name, m in judged.items()}
    ranges = {name: share_range(m["low"], m["high"]) for name, m in judged.items()}
    first, second = (max(map(len, column.values())) for column in (rates, ranges))
    for name, m in judged.items():
        goal = "" if m["target"] is None else f"target {target(m['target'])}"
        yield (
            f"  {MODE_WORDS[name]:<13} {rates[name]:<{max(first, 17)}} "
            f"{ranges[name]:<{max(second, 27)}} {goal:<16} {VERDICT_WORDS[m['verdict']]}"
        ).rstrip()
        if m["sample"] is not None and m["share"] > 0.0:
            yield from _wrap(apart_sentence(m, p), width, " " * 16)
    for sentence in method_sentences(p):
        yield from _wrap(sentence, width, "  ")


def method_sentences(p: dict[str, Any]) -> list[str]:
    """How rates that counting cannot see were found, and what stays unseen."""
    told: dict[str, list[str]] = {}
    bound = 0.0
    for name, m in p["modes"].items():
        if m is not None and m.get("unseen") is not None:
            told.setdefault(m["method"], []).append(f"{MODE_WORDS[name]} ({m['draws']:,} draws)")
            bound = max(bound, m["unseen"])
    out = [f"Too rare to count, found by {how}: {', '.join(who)}." for how, who in told.items()]
    if out:
        out.append(
            f"A region of failure that no slope leads to could hide from that; counting bounds it: "
            f"{share_range(0.0, bound)}."
        )
    for name, m in p["modes"].items():
        if m is None or m.get("unseen") is not None:
            continue
        reason = m.get("reason")
        if reason and "precisely" not in reason:
            out.append(f"{MODE_WORDS[name]}: counted only, because {reason}.")
    return out


def cause_name(c: dict[str, Any], p: dict[str, Any]) -> str:
    """A limit with its temperature and seat."""
    where = "" if c["seat"] is None else f", seat {clean(p['seats'][c['seat'] - 1]['name'])}"
    at = "" if c["temperature_C"] is None else f" at {c['temperature_C']:g} °C"
    return f"{c['cause']}{minus(at)}{where}"


CAUSES_HEADING = (
    "Which limit does it, most frequent first (a unit may fail at several; by the draws alone)"
)


def hit_causes(p: dict[str, Any]) -> list[dict[str, Any]]:
    """Limits that at least one unit failed at, most frequent first."""
    return [c for c in sorted(p["causes"], key=lambda c: -c["share"]) if c["share"] > 0.0]


def never_seen_sentence(p: dict[str, Any]) -> str | None:
    """Names the limits that no unit failed at."""
    quiet = sorted({c["cause"] for c in p["causes"]} - {c["cause"] for c in hit_causes(p)})
    return f"never seen in {p['draws']:,} units: {', '.join(quiet)}" if quiet else None


def _causes(p: dict[str, Any], width: int) -> Iterator[str]:
    hit = hit_causes(p)
    yield CAUSES_HEADING
    names = [cause_name(c, p) for c in hit[:10]]
    column = max([38, *map(len, names)])
    for name, c in zip(names, hit, strict=False):
        rate = share(c["share"], c["low"], c["high"])
        yield f"  {name:<{column}} {rate:<17} {share_range(c['low'], c['high'])}"
        yield f"    {MODE_WORDS[c['mode']]}: {minus(c['limit'])}"
    if len(hit) > 10:
        yield f"  and {len(hit) - 10} more"
    quiet = never_seen_sentence(p)
    if quiet:
        yield from _wrap(quiet, width, "  ")


def supply_sentences(p: dict[str, Any]) -> list[str]:
    """One sentence a supply, the worst first, and what if only the worst delivers."""
    if len(p["supply"]) < 2:
        return []
    out = []
    ordered = sorted(p["supply"], key=lambda s: -_worst(s))
    for s in ordered:
        told = [
            f"{MODE_WORDS[name]} {_rate(m)}"
            for name, m in s["modes"].items()
            if name in ("creak", "tight") or (name == "bond" and m is not None)
        ]
        verdicts = [m["verdict"] for m in s["modes"].values() if m["verdict"]]
        words = ""
        for v in ("missed", "undecided", "met"):
            if v in verdicts:
                words = f" — alone: {VERDICT_WORDS[v]}"
                break
        head = f"{clean(s['name'])} ({100 * s['share']:g} % of units){words}: "
        cause = next((c for c in sorted(s["causes"], key=lambda c: -c["share"])), None)
        tail = ""
        if cause is not None and cause["share"] > 0.0:
            tail = f"; mostly {cause_name(cause, p)}"
        out.append(head + ", ".join(told) + tail + ".")
    if _worst(ordered[0]) > 0.0:
        out.append(
            f"If only the worst delivers ({clean(ordered[0]['name'])}): creak "
            f"{_rate(ordered[0]['modes']['creak'])}."
        )
    return out


def _supplies(p: dict[str, Any], width: int) -> Iterator[str]:
    sentences = supply_sentences(p)
    if sentences:
        yield "Who delivers it"
    for sentence in sentences:
        yield from _wrap(sentence, width, "  ")


def _loads(p: dict[str, Any], width: int) -> Iterator[str]:
    if p["loads"]:
        yield LOADS_HEADING
    for sentence in load_sentences(p):
        yield from _wrap(sentence, width, "  ")


def _worst(s: dict[str, Any]) -> float:
    creak = s["modes"].get("creak")
    return float(creak["share"]) if creak is not None else 0.0


def seat_sentence(s: dict[str, Any]) -> str:
    """Shares of one seat."""
    told = "; ".join(f"{MODE_WORDS[n]} {_rate(m)}" for n, m in s["modes"].items())
    return f"seat {clean(s['name'])}: {told}."


def scrap_sentences(p: dict[str, Any]) -> list[str]:
    """What the gauges reject, one sentence each."""
    return [
        f"{clean(s['gauge'])} of {s['feature']} ({clean(s['build'])}) rejects "
        f"{share(s['share']) if s['share'] > 0.0 else 'nothing'} of what reaches it."
        for s in p["scrap"]
    ]


def _scrap(p: dict[str, Any], width: int) -> Iterator[str]:
    if p["scrap"]:
        yield "What the gauges cost"
        for sentence in scrap_sentences(p):
            yield from _wrap(sentence, width, "  ")


def _seats(p: dict[str, Any], width: int) -> Iterator[str]:
    yield "Seat by seat"
    for s in p["seats"]:
        yield from _wrap(seat_sentence(s), width, "  ")
        for r in s["interference"]:
            yield from _wrap(interference_sentence(r, len(s["interference"]) > 1), width, "    ")


def _range(pair: list[float]) -> str:
    return f"{micrometres(pair[0])} to {micrometres(pair[1])} µm"


def interference_sentence(r: dict[str, Any], several: bool) -> str:
    """Worst case, root sum square and simulated range against each other, and why they differ."""
    who = f"{clean(r['build'])}: " if several else ""
    simulated = _range(r["simulated_um"])
    if r["worst_case_um"] is None:
        return f"{who}interference of 99.73 % of the seats {simulated}; no worst case, {r['why']}."
    text = (
        f"{who}interference by the drawing {_range(r['worst_case_um'])} (worst case), "
        f"{_range(r['root_sum_square_um'])} (root sum square), as made {simulated} (99.73 %). "
    )
    reasons = ["both ends of two bands seldom meet, so worst case is the widest"]
    shift, ratio = r["shift_um"], r["width_ratio"]
    if abs(shift) >= 0.5:
        reasons.append(
            f"the parts sit {micrometres(abs(shift))} µm "
            f"{'tighter' if shift > 0 else 'looser'} than the middle of their bands"
        )
    if ratio is not None and (ratio > 1.05 or ratio < 0.95):
        reasons.append(
            f"they spread {ratio:.2f} times as wide as bands made at six standard deviations"
        )
    if len(reasons) == 1:
        reasons.append("the parts are centred and as wide as root sum square takes them")
    return text + "Why: " + "; ".join(reasons) + "."


def run_sentence(p: dict[str, Any]) -> str:
    """What was drawn, and where it was judged."""
    temps = minus(", ".join(f"{t:g}" for t in p["study"]["temperature_C"]))
    return (
        f"{p['draws']:,} units drawn of each combination of parts, seed {p['seed']}, tolsim "
        f"{p['provenance']['tolsim']}; judged at {temps} °C."
    )


CAUTION = (
    "Estimates for a decision, not a proof: bearing makers' data, standards and a licensed "
    "engineer's judgement come first."
)


def _basis(p: dict[str, Any], width: int) -> Iterator[str]:
    yield "What it rests on"
    for sentence in (*part_sentences(p), f"{run_sentence(p)} {CAUTION}"):
        yield from _wrap(sentence, width, "  ")


def _shapes(p: dict[str, Any], width: int) -> Iterator[str]:
    if p["shapes"]:
        yield SHAPES_HEADING
        for sentence in (*shape_sentences(p), *lot_sentences(p), *provable_sentences(p)):
            yield from _wrap(sentence, width, "  ")


def _warnings(p: dict[str, Any], width: int) -> Iterator[str]:
    if p["warnings"]:
        yield "Mind"
        for w in p["warnings"]:
            yield from _wrap(minus(clean(w)), width, "  ")


def _assumptions(p: dict[str, Any], width: int) -> Iterator[str]:
    sentences = assumption_sentences(p)
    if sentences:
        yield "What the physics does not know"
    for sentence in sentences:
        yield from _wrap(sentence, width, "  ")
