"""A design as text: callouts first, then what they promise and what they cost."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import Any

from tolsim.report.design import signed
from tolsim.report.numbers import clean, share, share_range, target
from tolsim.report.provable import provable_sentences
from tolsim.report.text import MODE_WORDS

__all__ = ["design_text"]

WIDTH = 92
_NOTHING = 0.005  # of the currency: below this a constraint costs nothing
_MOST_TOLD = 12  # lines of a list that are printed; the payload holds all
Say = Callable[..., None]


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
        _bands(p, say)
        _promise(p, say)
        _cost(p, say)
        _constraints(p, say)
        _region(p, say)
        _classes(p, say)
        _rules(p, say)
    else:
        _missed(p, say)
    _choices(p, say)
    for sentence in provable_sentences(p):
        say(sentence)
    v = p["provenance"]
    say(
        f"Search with seed {p['seed']}, tolsim {v['tolsim']}. Estimates for a decision, not a "
        "proof: bearing makers' data, standards and a licensed engineer's judgement come first."
    )
    return "\n".join(lines).rstrip() + "\n"


def _money(p: dict[str, Any], value: float) -> str:
    return f"{_sum(value)} {p['currency']}"


def _sum(value: float) -> str:
    """A sum to the hundredth, thousands apart.

    >>> _sum(5.916), _sum(1234567.8)
    ('5.92', '1 234 567.80')
    """
    return f"{value:,.2f}".replace(",", " ")


def _bands(p: dict[str, Any], say: Say) -> None:
    say("For the drawing:")
    for b in p["bands"]:
        text = f"{b['feature']}: {b['callout']}"
        if b["state"]:
            text += f", {b['state']}"
        if b["follows"] == "gauge" and b["scrap_share"] is not None:
            some = b["scrap_share"] >= 1e-9
            text += "; parts outside are sorted out, "
            text += f"{share(b['scrap_share'])} of them" if some else "next to none of them"
        elif b["follows"] == "process":
            by = f" by {b['process']}" if b["process"] else ""
            text += f"; made{by} at a capability of {b['capability']:g}"
            text += f" ({b['capability_basis'] or 'basis not stated'})"
        say(text + ".", "  ")
    for what, name in p["chosen"].items():
        if what not in {b["feature"] for b in p["bands"]}:
            say(f"{what}: {name}.", "  ")
    say()


def _promise(p: dict[str, Any], say: Say) -> None:
    v = p["verified"]
    say(
        f"Verified on {v['draws']:,} fresh units of each combination of parts, limits rounded to "
        "the drawing grid:"
    )
    for name, goal in p["targets"].items():
        m = v["modes"].get(name)
        if m is None:
            say(f"{MODE_WORDS[name]}: no limit judges it in this joint.", "  ")
            continue
        say(
            f"{MODE_WORDS[name]} {share(m['share'], m['low'], m['high'])} "
            f"({share_range(m['low'], m['high'])}) against a target of {target(goal)}.",
            "  ",
        )
    for name, m in v["modes"].items():
        if name not in p["targets"]:
            say(
                f"{MODE_WORDS[name]} {share(m['share'], m['low'], m['high'])} "
                f"({share_range(m['low'], m['high'])}), without a target: it counts by its claims.",
                "  ",
            )
    say()


def _cost(p: dict[str, Any], say: Say) -> None:
    c = p["cost_of"]
    pieces = [
        ("parts", c["parts"]),
        ("assembly", c["assembly"]),
        ("bands", sum(c["bands"].values())),
        ("scrap", sum(c["scrap"].values())),
        ("claims", c["claims"]),
    ]
    told = ", ".join(f"{n} {_sum(v)}" for n, v in pieces if v >= _NOTHING)
    say(f"Cost: {_money(p, p['cost'])} a unit" + (f": {told}." if told else "."))
    r = p["runner_up"]
    if r is not None:
        name = " + ".join(r["chosen"].values())
        more = r["cost"] - p["cost"]
        dearer = f"{_money(p, more)} a unit more"
        if more < _NOTHING:
            dearer = f"less than 0.01 {p['currency']} a unit more"
        say(f"Runner-up: {name}, {dearer}, by the units of the search.", "  ")
        bands = "; ".join(f"{b['feature']} {b['callout']}" for b in r["bands"])
        if bands:
            say(f"Its bands: {bands}.", "  ")
    say()


def _constraints(p: dict[str, Any], say: Say) -> None:
    if p["constraints"]:
        say("What each constraint costs:")
    for c in p["constraints"]:
        name = MODE_WORDS.get(c["name"], c["name"]) if c["kind"] == "target" else c["name"]
        if c["saved"] < _NOTHING:
            say(
                f"{name}: nothing; {c['change']} would save less than 0.01 {p['currency']} a unit.",
                "  ",
            )
        else:
            say(f"{name}: {c['change']} would save {_money(p, c['saved'])} a unit.", "  ")
    curve = p["cost_against_target"]
    if curve is not None:
        points = ", ".join(
            f"{target(c['target'])}: "
            + ("out of reach" if c["cost"] is None else _money(p, c["cost"]))
            for c in curve["points"]
        )
        say(f"Cost a unit against the target for {MODE_WORDS[curve['mode']]}: {points}.", "  ")
        say("(Before rounding to the grid, by the units of the search.)", "  ")
    if p["constraints"] or curve is not None:
        say()


def _region(p: dict[str, Any], say: Say) -> None:
    r = p["region"]
    if r is None or not r["good"]:
        return
    say(
        f"All bands that meet the targets: {r['good']:,} of {r['looked_at']:,} that were looked at."
    )
    for f in r["features"]:
        pairs = [(c, w) for c, w in zip(f["middle"], f["widest"], strict=True) if w is not None]
        if not pairs:
            continue
        step = max(1, -(-len(pairs) // _MOST_TOLD))
        best = max(range(len(pairs)), key=lambda k: pairs[k][1])
        shown = sorted({*range(0, len(pairs), step), best, len(pairs) - 1})
        told = ", ".join(f"{signed(pairs[k][0])}: {pairs[k][1]:.4g}" for k in shown)
        if len(pairs) == 1 and pairs[0][0] == 0.0:
            say(f"{f['feature']}: zones up to {pairs[0][1]:.4g} {f['unit']}.", "  ")
            continue
        say(
            f"{f['feature']}, by the middle, up to this wide [{f['unit']}], in steps of "
            f"{f['step']:.3g}: {told}.",
            "  ",
        )
    say()


def _classes(p: dict[str, Any], say: Say) -> None:
    if not p["classes"]:
        return
    say("Classes of ISO 286-2 nearest to each band, the other bands as above:")
    words = {"met": "meets the targets", "missed": "does not", "undecided": "too close to tell"}
    for c in p["classes"]:
        rates = ", ".join(
            f"{MODE_WORDS[n]} {share(m['share'], m['low'], m['high'])} "
            f"({share_range(m['low'], m['high'])})"
            for n, m in c["modes"].items()
        )
        low, high = c["band_um"]
        text = f"{c['feature']} {c['class']} ({signed(high)}/{signed(low)} µm)"
        say(f"{text}: {words[c['verdict']]}; {rates}; {_money(p, c['cost'])}.", "  ")
    say()


def _rules(p: dict[str, Any], say: Say) -> None:
    if not p["allocations"]:
        return
    low, high = p["allocations"][0]["window_um"]
    first = next(b["feature"] for b in p["bands"] if b["low"] is not None)
    say(
        f"By the older rules, on a nominal unit that holds while {first} moves from "
        f"{signed(round(low, 2))} to {signed(round(high, 2))} µm:"
    )
    for a in p["allocations"]:
        if a["widths_um"] is None:
            taken = 100.0 * a["taken_by_other_bands"]
            say(
                f"{a['rule']} asks the impossible: bands that are not free take {taken:.0f} % of "
                "the window, and the least widths do not fit in the rest.",
                "  ",
            )
        else:
            widths = ", ".join(f"{k} {v:.3g} µm wide" for k, v in a["widths_um"].items())
            say(f"{a['rule']} would ask {widths}, for {_money(p, a['cost'])} of bands.", "  ")
    say("They see neither loads nor clearance nor alignment scatter, and promise no rate.", "  ")
    say()


def _missed(p: dict[str, Any], say: Say) -> None:
    if p["verdict"] == "undecided":
        say(
            "Undecided: choices that are free here keep the targets, but not with all that the "
            "readings of the other parts leave open. More measured parts would tell."
        )
    else:
        say("No choice that is free here meets the targets.")
    for u in p["unreachable"]:
        word = MODE_WORDS[u["mode"]]
        text = f"{word}: the best attainable is {share(u['best'])} against {target(u['target'])}"
        if u["whatever_the_others"]:
            text += ", whatever becomes of the other targets" if len(p["targets"]) > 1 else ""
        else:
            text += " while the other targets are met"
        if u["mostly"]:
            text += f"; most of it fails by {u['mostly']}"
        say(text + ".", "  ")
    if not p["unreachable"]:
        rates = p["nearest_rates"]
        told = ", ".join(f"{MODE_WORDS[n]} {share(v)}" for n, v in rates.items())
        if all(v <= p["targets"][n] for n, v in rates.items()):
            say(f"Rates come within their targets ({told}), but not surely enough.", "  ")
        else:
            say(f"The bands that come nearest have {told}.", "  ")
    for r in p["remedies"]:
        say(_remedy(r), "  ")
    if p["bands"]:
        told = "; ".join(f"{b['feature']}: {b['callout']}" for b in p["bands"])
        say(f"Nearest bands: {told}.", "  ")
    say()


def _remedy(r: dict[str, Any]) -> str:
    if r["kind"] == "capability":
        if r["enough"]:
            told = f"A capability of {r['after']:.3g} instead of {r['before']:g}"
            return f"{told} for {r['what']} would do."
        return f"Not even {r['factor']:g} times the capability of {r['what']} would do."
    text = f"{r['what']}"
    if r["enough"]:
        text += f": {r['factor']:.2f} times its scatter would do"
        if r["before"] is not None:
            text += f" (standard deviation {r['after']:.3g} instead of {r['before']:.3g}"
            text += f" {r['unit']})"
        return text.rstrip() + "."
    return f"{text}: not even {r['factor']:.2g} times its scatter would do."


def _choices(p: dict[str, Any], say: Say) -> None:
    if len(p["choices"]) < 2:
        return
    say("Combinations, cheapest first:")
    for c in p["choices"][:_MOST_TOLD]:
        name = " + ".join(c["chosen"].values())
        if c["status"] == "out of reach":
            say(f"{name}: cannot meet the targets.", "  ")
        elif c["status"] == "dearer":
            say(f"{name}: dearer than two others, at least {_money(p, c['cost'])}.", "  ")
        else:
            say(f"{name}: {_money(p, c['cost'])}.", "  ")
    if len(p["choices"]) > _MOST_TOLD:
        say(f"and {len(p['choices']) - _MOST_TOLD} more.", "  ")
    say()
