"""A comparison as a page of terminal text: the answer in sentences, then side by side."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from typing import Any

from tolsim.report.compare_evidence import (
    condition_sentences,
    decide_sentences,
    money_text,
    next_lot_sentences,
    whole_sentences,
)
from tolsim.report.numbers import clean, minus, share, share_range, target
from tolsim.report.text import CAUTION, MODE_WORDS

__all__ = ["comparison_text"]

WIDTH = 92
_TOLD = ("creak", "tight", "bond")


def comparison_text(p: dict[str, Any], *, width: int = WIDTH) -> str:
    """The page of a payload ``tolsim/comparison/1``."""
    lines: list[str] = [*_wrap(clean(p["title"]), width), ""]
    sections: tuple[Callable[[dict[str, Any], int], Iterator[str]], ...] = (
        _answer,
        _decide,
        _conditions,
        _next_lots,
        _wholes,
        _side_by_side,
        _differences,
        _money,
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


def _wrap(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )


def _money_range(line: dict[str, float]) -> str:
    return f"{money_text(line['low'])} to {money_text(line['high'])}"


def _rate(m: dict[str, Any]) -> str:
    if m["share"] == 0.0:
        return f"none seen ({share_range(0.0, m['high'])})"
    return f"{share(m['share'], m['low'], m['high'])} ({share_range(m['low'], m['high'])})"


def _choices(p: dict[str, Any]) -> list[dict[str, Any]]:
    return [a for a in p["alternatives"] if a["verdict"] is not None]


def _answer(p: dict[str, Any], width: int) -> Iterator[str]:
    for a in _choices(p):
        yield from _wrap(f"{a['verdict'].upper()}: {clean(a['name'])}. {_why(a, p)}", width)
    if len(p["alternatives"]) > 1:
        yield from _wrap(_ranking(p), width)


def _why(a: dict[str, Any], p: dict[str, Any]) -> str:
    told = []
    for r in a["reasons"]:
        if r["what"] == "money":
            told.append(_money_reason(a, p))
        elif r["what"] == "readings":
            doubts = "; ".join(f"{d['part']}, {d['text']}" for d in a["doubts"])
            told.append(f"its readings are not those of one normal process ({minus(doubts)})")
        elif r["what"].startswith("not worse"):
            name = r["what"].partition(": ")[2]
            told.append(f"{MODE_WORDS[name]}: {_against(a['differences'][name])}")
        else:
            m = a["modes"][r["what"]]
            word = {
                "acceptable": "stays within",
                "not acceptable": "exceeds",
                "not enough evidence": "may or may not stay within",
            }[r["verdict"]]
            told.append(
                f"{MODE_WORDS[r['what']]} {word} {target(m['target'])} of units: {_rate(m)}"
            )
    if not told:
        return "Nothing was asked of it: no target, no price of a claim."
    return "; ".join(told) + "."


def _money_reason(a: dict[str, Any], p: dict[str, Any]) -> str:
    m = a["money"]
    word = {True: "it pays", False: "it does not pay", None: "it may or may not pay"}[
        True if m["net"]["low"] >= 0.0 else False if m["net"]["high"] < 0.0 else None
    ]
    return (
        f"{word}: {money_text(m['net']['value'])} ({_money_range(m['net'])}) {p['currency']} "
        f"{_per(m)} are left of what it saves"
    )


def _per(m: dict[str, Any]) -> str:
    return "a year" if m["yearly"] else "a thousand units"


def _against(d: dict[str, Any]) -> str:
    """A difference in words."""
    if d["same"]:
        return "exactly the same"
    if d["low"] <= 0.0 <= d["high"]:
        ends = (
            f"between {share(-d['low'])} fewer and {share(d['high'])} more"
            if d["low"] < 0.0 < d["high"]
            else "no difference"
        )
        return f"not told apart ({ends} of units)"
    word = "more" if d["share"] > 0.0 else "fewer"
    low, high = sorted((abs(d["low"]), abs(d["high"])))
    return f"{share(abs(d['share']), low, high)} {word} of units ({share_range(low, high)})"


def _ranking(p: dict[str, Any]) -> str:
    best = max(p["alternatives"], key=lambda a: float(a["probability_best"]))
    what = {
        "cost": "the cheapest, claims counted",
        "failing": "that with the fewest units failing at any limit",
    }[p["ranked_by"]]
    same = [clean(n) for n in best["same_as"]]
    if same and len(same) + 1 == len(p["alternatives"]):
        return "All of them are the same: on every draw each unit fails in all or in none."
    name = clean(best["name"]) + (f" (the same as {', '.join(same)})" if same else "")
    sure, known = best["probability_best"], best["probability_best_without_ranges"]
    text = f"Best, {what}: {name}, with a probability of {_probability(sure * (len(same) + 1))}"
    if abs(sure - known) > 0.02:
        known *= len(same) + 1
        text += f" ({_probability(known)} with every remembered constant at its value)"
    return text + "."


def _probability(x: float) -> str:
    """A probability without false certainty.

    >>> _probability(0.9999), _probability(0.5)
    ('over 99.5 %', '50 %')
    """
    if x > 0.995:
        return "over 99.5 %"
    return "below 0.5 %" if x < 0.005 else f"{100 * x:.0f} %"


def _table(rows: list[list[str]], indent: str = "  ") -> Iterator[str]:
    widths = [max(len(r[k]) for r in rows) for k in range(len(rows[0]))]
    for r in rows:
        yield (indent + "  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True))).rstrip()


def _side_by_side(p: dict[str, Any], width: int) -> Iterator[str]:
    told = [
        m
        for m in MODE_WORDS
        if any(a["modes"].get(m) for a in p["alternatives"])
        and (m in _TOLD or any((a["modes"].get(m) or {}).get("target") for a in p["alternatives"]))
    ]
    yield f"Side by side, of all units, at {100 * p['confidence']:g} % confidence"
    rows = [["", *(MODE_WORDS[m] for m in told), "best"]]
    for a in sorted(p["alternatives"], key=lambda a: a["rank"]):
        cells = []
        for m in told:
            mode = a["modes"].get(m)
            cells.append("-" if mode is None else share_range(mode["low"], mode["high"]))
        rows.append([clean(a["name"]), *cells, _probability(a["probability_best"])])
    yield from _table(rows)


def _differences(p: dict[str, Any], width: int) -> Iterator[str]:
    first = clean(p["reference"])
    yield f"Against {first}, unit by unit on the same draws"
    for a in p["alternatives"][1:]:
        changed = "; ".join(minus(clean(c)) for c in a["changes"])
        yield from _wrap(f"{clean(a['name'])} ({changed}):", width, "  ")
        if a["differences"] and all(d["same"] for d in a["differences"].values()):
            yield "    exactly the same: every unit fails in both or in neither."
            continue
        for name, d in a["differences"].items():
            yield from _wrap(f"{MODE_WORDS[name]}: {_against(d)}.", width, "    ")
        cause = next((c for c in sorted(a["causes"], key=lambda c: -c["share"])), None)
        if cause is not None and cause["share"] > 0.0:
            at = "" if cause["temperature_C"] is None else f" at {cause['temperature_C']:g} °C"
            yield from _wrap(
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
                yield from _wrap(sentence, width, "  " if len(p["alternatives"]) < 3 else "    ")

    return section


_decide = _told("What would decide", decide_sentences)
_conditions = _told("What a lot must show", condition_sentences)
_next_lots = _told("The next lot", next_lot_sentences)
_wholes = _told("Over the whole of the assumed ranges", whole_sentences)


def _money(p: dict[str, Any], width: int) -> Iterator[str]:
    paid = [a for a in p["alternatives"] if a["money"] is not None]
    lost = [a for a in p["alternatives"] if a["money_unknown"]]
    told = [a for a in p["alternatives"] if a["claims_forecast"] is not None]
    if not (paid or told):
        return
    yield "Money: who pays is not who saves"
    for a in paid:
        m, unit = a["money"], f"{p['currency']} {_per(a['money'])}"
        name = clean(a["name"])
        saves = "saves" if m["saving"] >= 0.0 else "costs more"
        claims = m["extra_claims"]
        more = "more" if claims["value"] >= 0.0 else "less"
        yield f"  {name}"
        rows = [
            [
                "purchasing and assembly, when built:",
                f"{saves} {money_text(abs(m['saving']))} {unit}",
            ],
            [
                "claims, later, in service:",
                f"{more} by {money_text(abs(claims['value']))} {unit} ({_money_range(claims)})",
            ],
            [
                "left:",
                f"{money_text(m['net']['value'])} {unit} ({_money_range(m['net'])}), "
                f"above zero with a probability of {_probability(m['probability_of_paying'])}",
            ],
        ]
        yield from _table(rows, "    ")
        yield from _wrap(_break_even(a), width, "    ")
    for a in lost:
        names = ", ".join(clean(n) for n in a["money_unknown"])
        yield from _wrap(f"{clean(a['name'])}: no sum, for want of a price: {names}.", width, "  ")
    for a in told:
        f = a["claims_forecast"]
        yield from _wrap(
            f"{clean(a['name'])}, claims to expect {_year(p)}: {money_text(f['number']['value'])} "
            f"({_money_range(f['number'])}), {money_text(f['cost']['value'])} "
            f"({_money_range(f['cost'])}) {p['currency']}.",
            width,
            "  ",
        )


def _year(p: dict[str, Any]) -> str:
    paid = [a["money"] for a in p["alternatives"] if a["money"] is not None]
    return "a thousand units" if paid and not paid[0]["yearly"] else "a year"


def _break_even(a: dict[str, Any]) -> str:
    b = a["money"]["break_even_claim_share"]
    if b is None:
        if a["money"]["saving"] <= 0.0:
            return "No break-even: it saves nothing when built."
        return "No break-even: no more units creak, so every claim share pays."
    if b["low"] >= 1.0:
        return "Break-even: none; it pays even if every creaking unit comes back."
    high = "all" if b["high"] >= 1.0 else f"{100 * b['high']:.3g} %"
    return (
        f"Break-even: {100 * min(b['value'], 1.0):.3g} % of creaking units becoming claims "
        f"({100 * b['low']:.3g} to {high}); fewer, and it pays."
    )


def _supplies(p: dict[str, Any], width: int) -> Iterator[str]:
    if all(len(a["supply"]) < 2 for a in p["alternatives"]):
        return
    yield "Who delivers it, each alone (creak; overly tight)"
    rows: list[list[str]] = [["", "units", "creak", "overly tight", "creak against the first"]]
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
    yield from _table(rows)


def _short(d: dict[str, Any]) -> str:
    if d["same"]:
        return "the same"
    if d["low"] <= 0.0 <= d["high"]:
        return "not told apart"
    low, high = sorted((abs(d["low"]), abs(d["high"])))
    return f"{share_range(low, high)} {'more' if d['share'] > 0.0 else 'fewer'}"


def _seats(p: dict[str, Any], width: int) -> Iterator[str]:
    yield "Seat by seat (counted; what the readings leave open comes on top)"
    rows = [["", "seat", *(MODE_WORDS[m] for m in ("creak", "tight"))]]
    for a in p["alternatives"]:
        for k, seat in enumerate(a["seats"], 1):
            cells = [
                share(seat[m]["share"], seat[m]["low"], seat[m]["high"]) if m in seat else "-"
                for m in ("creak", "tight")
            ]
            rows.append([clean(a["name"]) if k == 1 else "", f"{k}", *cells])
    yield from _table(rows)


def _basis(p: dict[str, Any], width: int) -> Iterator[str]:
    yield "What it rests on"
    seen: dict[str, str] = {}
    for a in p["alternatives"]:
        for b in a["basis"]:
            n = f", {b['readings']} readings" if b["readings"] else ""
            seen[b["part"]] = f"{b['part']} ({b['basis']}{n}): {clean(b['title'])}"
    for text in seen.values():
        yield from _wrap(text, width, "  ")
    turn = sorted({n for a in p["alternatives"] for n in a["could_turn"]})
    if turn:
        yield from _wrap(
            "Remembered constants that could turn a verdict within their ranges: "
            f"{', '.join(turn)}.",
            width,
            "  ",
        )
    yield from _wrap(
        f"{p['draws']:,} units drawn once and built in every way, seed {p['seed']}, tolsim "
        f"{p['provenance']['tolsim']}. {CAUTION}",
        width,
        "  ",
    )


def _warnings(p: dict[str, Any], width: int) -> Iterator[str]:
    found = list(p["warnings"])
    for a in p["alternatives"]:
        found += [w for w in a["warnings"] if w not in found]
    if found:
        yield "Mind"
    for w in found:
        yield from _wrap(clean(w), width, "  ")
