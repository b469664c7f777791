"""A comparison as a page of terminal text: the answer in sentences, then side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from tolsim.report.compare_evidence import (
    condition_sentences,
    decide_sentences,
    money_text,
    next_lot_sentences,
    whole_sentences,
)
from tolsim.report.compare_layout import probability, table, wrap
from tolsim.report.compare_money import money_lines, money_range, per
from tolsim.report.numbers import clean, minus, share, share_range, target
from tolsim.report.provable import provable_sentences
from tolsim.report.text import CAUTION, MODE_WORDS

__all__ = ["comparison_text"]

WIDTH = 92
_TOLD = ("creak", "tight", "bond")


def comparison_text(p: dict[str, Any], *, width: int = WIDTH) -> str:
    """The page of a payload ``tolsim/comparison/1``."""
    lines: list[str] = [*wrap(clean(p["title"]), width), ""]
    sections: tuple[Callable[[dict[str, Any], int], Iterator[str]], ...] = (
        _answer,
        _decide,
        _conditions,
        _next_lots,
        _wholes,
        _side_by_side,
        _differences,
        money_lines,
        _supplies,
        _seats,
        _basis,
        _warnings,
    )
    for section in sections:
        block = list(section(p, width))
        if block:
            lines += [*block, ""]
    return "\n".join(lines).rstrip() + "\n"


def _rate(m: dict[str, Any]) -> str:
    if m["share"] == 0.0:
        return f"none seen ({share_range(0.0, m['high'])})"
    return f"{share(m['share'], m['low'], m['high'])} ({share_range(m['low'], m['high'])})"


def _choices(p: dict[str, Any]) -> list[dict[str, Any]]:
    return [a for a in p["alternatives"] if a["verdict"] is not None]


def _answer(p: dict[str, Any], width: int) -> Iterator[str]:
    for a in _choices(p):
        yield from wrap(f"{a['verdict'].upper()}: {clean(a['name'])}. {_why(a, p)}", width)
    if len(p["alternatives"]) > 1:
        yield from wrap(_ranking(p), width)


def _why(a: dict[str, Any], p: dict[str, Any]) -> str:
    told = [_reason(r, a, p) for r in a["reasons"]]
    if not told:
        return "Nothing was asked of it: no target, no price of a claim."
    text = "; ".join(told)
    lots = list(dict.fromkeys(x for r in a["reasons"] for x in r["kept_open_by_lots"]))
    if lots:
        text += (
            ". The lots measured would decide, but so few say too little about the next ones: "
            f"{'; '.join(minus(clean(x)) for x in lots)}"
        )
    assumed = [b["part"] for b in a["basis"] if b["basis"] == "assumed" and b["brought"]]
    if assumed:
        text += f". Assumed, not measured: {', '.join(assumed)}"
    return f"{text[0].upper()}{text[1:]}."


def _reason(r: dict[str, Any], a: dict[str, Any], p: dict[str, Any]) -> str:
    if r["what"] == "money":
        return _money_reason(r, a, p)
    if r["what"] == "readings":
        doubts = "; ".join(f"{d['part']}, {d['text']}" for d in a["doubts"])
        return f"its readings are not those of one process ({minus(clean(doubts))})"
    if r["what"].startswith("not worse"):
        name = r["what"].partition(": ")[2]
        return f"{MODE_WORDS[name]}: {_against(a['differences'][name])}"
    m = a["modes"][r["what"]]
    word = {
        "acceptable": "stays within",
        "not acceptable": "exceeds",
        "not enough evidence": "may or may not stay within",
    }[r["verdict"]]
    return f"{MODE_WORDS[r['what']]} {word} {target(m['target'])} of units: {_rate(m)}"


def _money_reason(r: dict[str, Any], a: dict[str, Any], p: dict[str, Any]) -> str:
    m = a["money"]
    word = {
        "acceptable": "it pays",
        "not acceptable": "it does not pay",
        "not enough evidence": "it may or may not pay",
    }[r["verdict"]]
    return (
        f"{word}: what it saves less what it costs in claims is "
        f"{money_text(m['net']['value'])} ({money_range(m['net'])}) {p['currency']} {per(m)}"
    )


def _against(d: dict[str, Any]) -> str:
    """A difference in words."""
    if d["same"]:
        return "exactly the same"
    if d["low"] < 0.0 < d["high"]:
        return (
            f"not told apart: between {share(-d['low'])} of all units less often and "
            f"{share(d['high'])} more often"
        )
    if d["low"] == 0.0 == d["high"]:
        return "no difference seen"
    word = "more" if d["high"] > 0.0 else "less"
    low, high = sorted((abs(d["low"]), abs(d["high"])))
    if d["share"] == 0.0 or low == 0.0:
        return f"not told apart: {word} often by {share_range(0.0, high)} of all units"
    return (
        f"{word} often, by {share(abs(d['share']), low, high)} of all units "
        f"({share_range(low, high)})"
    )


def _ranking(p: dict[str, Any]) -> str:
    best = max(p["alternatives"], key=lambda a: float(a["probability_best"]))
    kept = p["best_keeps_targets"]
    what = {
        ("cost", False): "the cheapest, claims counted",
        ("cost", True): "the cheapest that keeps the targets, claims counted",
        ("failing", False): "that with the fewest units failing at any limit",
        (
            "failing",
            True,
        ): "that which keeps the targets with the fewest units failing at any limit",
    }[p["ranked_by"], kept]
    same = [clean(n) for n in best["same_as"]]
    if same and len(same) + 1 == len(p["alternatives"]):
        return "All of them are the same: on every draw each unit fails in all or in none."
    none = p["probability_none_keeps_them"]
    if kept and none > 0.995:
        return "None of them keeps the targets, whatever the evidence leaves open."
    name = clean(best["name"]) + (f" (the same as {', '.join(same)})" if same else "")
    sure, known = (
        best[k] * (len(same) + 1) for k in ("probability_best", "probability_best_without_ranges")
    )
    text = f"Best, {what}: {name}, with a probability of {probability(sure)}"
    if abs(sure - known) > 0.02:
        text += f" ({probability(known)} with every remembered constant at its value)"
    if kept and none >= 0.005:
        text += f"; that none of them keeps the targets has {probability(none)}"
    return text + "."


def _side_by_side(p: dict[str, Any], width: int) -> Iterator[str]:
    told = [
        m
        for m in MODE_WORDS
        if any(a["modes"].get(m) for a in p["alternatives"])
        and (m in _TOLD or any((a["modes"].get(m) or {}).get("target") for a in p["alternatives"]))
    ]
    yield f"Side by side, of all units, at {100 * p['confidence']:g} % confidence"
    rows = [["", *(MODE_WORDS[m] for m in told), "probably best"]]
    for a in sorted(p["alternatives"], key=lambda a: a["rank"]):
        cells = []
        for m in told:
            mode = a["modes"].get(m)
            cells.append("-" if mode is None else share_range(mode["low"], mode["high"]))
        rows.append([clean(a["name"]), *cells, probability(a["probability_best"])])
    yield from table(rows)


def _differences(p: dict[str, Any], width: int) -> Iterator[str]:
    first = clean(p["reference"])
    yield f"Against {first}, unit by unit on the same draws"
    for a in p["alternatives"][1:]:
        changed = "; ".join(minus(clean(c)) for c in a["changes"])
        yield from wrap(f"{clean(a['name'])} ({changed}):", width, "  ")
        if a["differences"] and all(d["same"] for d in a["differences"].values()):
            yield "    exactly the same: every unit fails in both or in neither."
            continue
        for name, d in a["differences"].items():
            yield from wrap(f"{MODE_WORDS[name]}: {_against(d)}.", width, "    ")
        cause = next((c for c in sorted(a["causes"], key=lambda c: -c["share"])), None)
        if cause is not None and cause["share"] > 0.0:
            at = "" if cause["temperature_C"] is None else f" at {cause['temperature_C']:g} °C"
            yield from wrap(
                f"mostly fails at: {cause['cause']}{minus(at)} ({share(cause['share'])}, "
                f"{minus(cause['limit'])}).",
                width,
                "    ",
            )


def _told(
    heading: str, sentences: Callable[[dict[str, Any], dict[str, Any]], list[str]]
) -> Callable[[dict[str, Any], int], Iterator[str]]:
    """A section with a block of sentences for each alternative that has any."""

    def section(p: dict[str, Any], width: int) -> Iterator[str]:
        found = {a["name"]: s for a in p["alternatives"] if (s := sentences(a, p))}
        if found:
            yield heading
        for name, told in found.items():
            if len(p["alternatives"]) > 2:
                yield f"  {clean(name)}"
            for sentence in told:
                yield from wrap(sentence, width, "  " if len(p["alternatives"]) < 3 else "    ")

    return section


_decide = _told("What would decide", decide_sentences)
_conditions = _told("What a lot must show", condition_sentences)
_next_lots = _told("The next lot", next_lot_sentences)
_wholes = _told("Over the whole of the assumed ranges", whole_sentences)


def _supplies(p: dict[str, Any], width: int) -> Iterator[str]:
    if all(len(a["supply"]) < 2 for a in p["alternatives"]):
        return
    yield "Who delivers it, each alone (creak; overly tight)"
    rows: list[list[str]] = [
        ["", "units", "creak", "overly tight", f"creak against {clean(p['reference'])}"]
    ]
    for a in p["alternatives"]:
        rows.append([clean(a["name"]), "", "", "", ""])
        for s in a["supply"]:
            worst = " (worst)" if s["name"] == a["worst_supply"] else ""
            d = s["differences"].get("creak")
            rows.append(
                [
                    f"  {clean(s['name'])}{worst}",
                    f"{100 * s['share']:g} %",
                    *(
                        share_range(s["modes"][m]["low"], s["modes"][m]["high"])
                        if m in s["modes"]
                        else "-"
                        for m in ("creak", "tight")
                    ),
                    "" if d is None else _short(d),
                ]
            )
    yield from table(rows)


def _short(d: dict[str, Any]) -> str:
    if d["same"]:
        return "the same"
    if d["low"] <= 0.0 <= d["high"]:
        return "not told apart"
    low, high = sorted((abs(d["low"]), abs(d["high"])))
    return f"{share_range(low, high)} {'more' if d['share'] > 0.0 else 'fewer'}"


def _seats(p: dict[str, Any], width: int) -> Iterator[str]:
    yield "Seat by seat (shares counted in these draws, without what is open about the processes)"
    rows = [["", "seat", *(MODE_WORDS[m] for m in ("creak", "tight"))]]
    for a in p["alternatives"]:
        for k, seat in enumerate(a["seats"], 1):
            cells = [
                share(seat[m]["share"], seat[m]["low"], seat[m]["high"]) if m in seat else "-"
                for m in ("creak", "tight")
            ]
            rows.append([clean(a["name"]) if k == 1 else "", f"{k}", *cells])
    yield from table(rows)


def _basis(p: dict[str, Any], width: int) -> Iterator[str]:
    yield "What it rests on"
    seen: dict[str, str] = {}
    for a in p["alternatives"]:
        for b in a["basis"]:
            n = f", {b['readings']} readings" if b["readings"] else ""
            seen[b["part"]] = f"{b['part']} ({b['basis']}{n}): {clean(b['title'])}"
    for text in seen.values():
        yield from wrap(text, width, "  ")
    turn = sorted({n for a in p["alternatives"] for n in a["could_turn"]})
    if turn:
        yield from wrap(
            "Remembered constants that could turn a verdict within their ranges: "
            f"{', '.join(turn)}.",
            width,
            "  ",
        )
    yield from wrap(
        f"{p['draws']:,} units drawn once and built in every way, seed {p['seed']}, tolsim "
        f"{p['provenance']['tolsim']}. {CAUTION}",
        width,
        "  ",
    )


def _warnings(p: dict[str, Any], width: int) -> Iterator[str]:
    found = list(p["warnings"])
    for a in p["alternatives"]:
        told = (*a["warnings"], *provable_sentences(a))
        found += [w for w in told if w not in found]
    if found:
        yield "Mind"
    for w in found:
        yield from wrap(clean(w), width, "  ")
