"""What the page of a comparison says, section by section: sentences and rows of tables."""

from __future__ import annotations

from typing import Any

from tolsim.report.compare_evidence import feature_name, money_text
from tolsim.report.compare_layout import probability
from tolsim.report.compare_money import money_range, per
from tolsim.report.numbers import clean, minus, share, share_range, target
from tolsim.report.provable import provable_sentences
from tolsim.report.text import CAUTION, MODE_WORDS

__all__ = [
    "answer_sentences",
    "basis_sentences",
    "best_sentences",
    "difference_blocks",
    "lead_sentence",
    "seat_rows",
    "side_rows",
    "supply_rows",
    "warning_sentences",
]

_TOLD = ("creak", "tight", "bond")
_MOST_SINGLES = 4


def _rate(m: dict[str, Any]) -> str:
    if m["share"] == 0.0:
        return f"none seen ({share_range(0.0, m['high'])})"
    return f"{share(m['share'], m['low'], m['high'])} ({share_range(m['low'], m['high'])})"


def _choices(p: dict[str, Any]) -> list[dict[str, Any]]:
    return [a for a in p["alternatives"] if a["is_choice"]]


def _judged(p: dict[str, Any]) -> bool:
    """Whether anything is asked of any choice."""
    return any(a["reasons"] for a in _choices(p))


def lead_sentence(p: dict[str, Any]) -> str | None:
    """Of three choices or more what the rule says of all of them; None of fewer."""
    found = _choices(p)
    if len(found) < 3 or not _judged(p):
        return None
    told = []
    for word, (one, several) in _COUNTED.items():
        names = [clean(a["name"]) for a in found if a["verdict"] == word]
        if names:
            told.append(f"{len(names)} {several if len(names) > 1 else one} ({'; '.join(names)})")
    return f"{p['verdict'].upper()}: of {len(found)} choices {', '.join(told)}."


_COUNTED = {
    "acceptable": ("is acceptable", "are acceptable"),
    "not enough evidence": ("stays open", "stay open"),
    "not acceptable": ("is not acceptable", "are not acceptable"),
}


def answer_sentences(p: dict[str, Any]) -> list[str]:
    """The verdict on every choice, with why; without a target that nothing is judged."""
    if not _judged(p):
        return ["No target is set, so that nothing is judged: the choices are only ranked."]
    return [
        f"{(a['verdict'] or 'not judged').upper()}: {clean(a['name'])}. {_why(a, p)}"
        for a in _choices(p)
    ]


def best_sentences(p: dict[str, Any]) -> list[str]:
    """Which is best and how sure that is, and which one measurement would tell most about it."""
    if len(p["alternatives"]) < 2:
        return []
    return [_ranking(p), *_singles(p)]


def _singles(p: dict[str, Any]) -> list[str]:
    """Single measurements, of all that the alternatives rest on, the most telling first."""
    s = p["single_measurements"]
    if len(_choices(p)) < 2:
        return []  # one choice is judged, not ranked: what would decide says more
    now = probability(s["right_now"])
    telling = [x for x in s["found"] if x["tells_more"]][:_MOST_SINGLES]
    if not telling:
        return [f"No single measurement would tell more about which is best: {now} now."]
    first, *others = telling
    text = (
        f"The single measurement, of all alternatives, that would tell most about which is best: "
        f"{_single(first)}. With that known exactly the best would be named rightly with "
        f"{_right(first)}, against {now} now"
    )
    if others:
        text += f"; next {', '.join(f'{_single(x)} {_right(x)}' for x in others)}"
    sure = p["confidence"]
    if first["right"] < sure:
        text += f". None alone settles it with {100 * sure:g} %"
    return [f"{text}."]


def _right(x: dict[str, Any]) -> str:
    error = 200.0 * x["error"]
    return f"{probability(x['right'])} (± {max(error, 1.0):.0f} %)"


def _single(x: dict[str, Any]) -> str:
    if x["feature"] is None:
        return f"the remembered constant {clean(x['part'])}"
    now = f"{x['readings_now']} readings now" if x["readings_now"] else "none measured"
    return f"{feature_name(x['feature'])} of {clean(x['part'])} ({now})"


def _why(a: dict[str, Any], p: dict[str, Any]) -> str:
    told = [_reason(r, a, p) for r in a["reasons"]]
    if not told:
        return "It has no target, so that nothing is judged: it is only ranked."
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
    if m["net"]["low"] == 0.0 == m["net"]["high"]:
        return "it costs the same, claims counted"
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
    # what fails alike may still cost more
    ranks = {a["name"]: a["rank"] for a in p["alternatives"]}
    same = [clean(n) for n in best["same_as"] if ranks[n] == best["rank"]]
    if same and len(same) + 1 == len(p["alternatives"]):
        cost = ", at the same cost" if p["ranked_by"] == "cost" else ""
        return f"All of them are the same: on every draw each unit fails in all or in none{cost}."
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


def side_rows(p: dict[str, Any]) -> list[list[str]]:
    """Alternatives in the order of their rank, headings first."""
    told = [
        m
        for m in MODE_WORDS
        if any(a["modes"].get(m) for a in p["alternatives"])
        and (m in _TOLD or any((a["modes"].get(m) or {}).get("target") for a in p["alternatives"]))
    ]
    rows = [["", *(MODE_WORDS[m] for m in told), "probably best"]]
    for a in sorted(p["alternatives"], key=lambda a: a["rank"]):
        cells = []
        for m in told:
            mode = a["modes"].get(m)
            cells.append("-" if mode is None else share_range(mode["low"], mode["high"]))
        rows.append([clean(a["name"]), *cells, probability(a["probability_best"])])
    return rows


def difference_blocks(p: dict[str, Any]) -> list[tuple[str, list[str]]]:
    """Each alternative against the reference: what it changes, and sentences."""
    out = []
    for a in p["alternatives"][1:]:
        changed = "; ".join(minus(clean(c)) for c in a["changes"])
        told: list[str] = []
        if a["differences"] and all(d["same"] for d in a["differences"].values()):
            told.append("exactly the same: every unit fails in both or in neither.")
        else:
            told += [f"{MODE_WORDS[m]}: {_against(d)}." for m, d in a["differences"].items()]
            cause = next((c for c in sorted(a["causes"], key=lambda c: -c["share"])), None)
            if cause is not None and cause["share"] > 0.0:
                at = "" if cause["temperature_C"] is None else f" at {cause['temperature_C']:g} °C"
                told.append(
                    f"mostly fails at: {cause['cause']}{minus(at)} ({share(cause['share'])}, "
                    f"{minus(cause['limit'])})."
                )
        out.append((f"{clean(a['name'])} ({changed}):", told))
    return out


def supply_rows(p: dict[str, Any]) -> list[list[str]]:
    """Every supply of every alternative alone, headings first; none where each has one."""
    if all(len(a["supply"]) < 2 for a in p["alternatives"]):
        return []
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
    return rows


def _short(d: dict[str, Any]) -> str:
    if d["same"]:
        return "the same"
    if d["low"] <= 0.0 <= d["high"]:
        return "not told apart"
    low, high = sorted((abs(d["low"]), abs(d["high"])))
    return f"{share_range(low, high)} {'more' if d['share'] > 0.0 else 'fewer'}"


def seat_rows(p: dict[str, Any]) -> list[list[str]]:
    """Either seat of every alternative, headings first."""
    rows = [["", "seat", *(MODE_WORDS[m] for m in ("creak", "tight"))]]
    for a in p["alternatives"]:
        for k, seat in enumerate(a["seats"], 1):
            cells = [
                share(seat[m]["share"], seat[m]["low"], seat[m]["high"]) if m in seat else "-"
                for m in ("creak", "tight")
            ]
            rows.append([clean(a["name"]) if k == 1 else "", f"{k}", *cells])
    return rows


def basis_sentences(p: dict[str, Any]) -> list[str]:
    """What each part rests on, what is not told of its lots, and last the run."""
    seen: dict[str, str] = {}
    unnamed: dict[str, int] = {}
    for a in p["alternatives"]:
        for b in a["basis"]:
            n = f", {b['readings']} readings" if b["readings"] else ""
            text = f"{b['part']} ({b['basis']}{n}): {clean(b['title'])}"
            if b["drawn"] is not None:
                text += f"; {_DRAWN[b['drawn']]}"
            seen[b["part"]] = text
            if b["lots_unnamed"]:
                unnamed[b["part"]] = b["readings"]
    out = list(seen.values())
    if unnamed:
        names = ", ".join(f"{clean(n)} ({k} readings)" for n, k in unnamed.items())
        out.append(
            f"No lot is named in the readings of {names}: they count as one lot, and how much the "
            "next lot differs is in none of these numbers. A column of lots would tell."
        )
    turn = sorted({n for a in p["alternatives"] for n in a["could_turn"]})
    if turn:
        out.append(
            "Remembered constants that could turn a verdict within their ranges: "
            f"{', '.join(turn)}."
        )
    out.append(
        f"{p['draws']:,} units drawn once and built in every way, seed {p['seed']}, tolsim "
        f"{p['provenance']['tolsim']}. {CAUTION}"
    )
    return out


_DRAWN = {
    "per-unit": "both bearings of a unit are alike, drawn per unit",
    "per-seat": "each seat gets a bearing of its own, drawn per seat",
}


def warning_sentences(p: dict[str, Any]) -> list[str]:
    """What is to be minded, of all alternatives, each once."""
    found = dict.fromkeys(p["warnings"])
    for a in p["alternatives"]:
        found.update(dict.fromkeys((*a["warnings"], *provable_sentences(a))))
    return [clean(w) for w in found]
