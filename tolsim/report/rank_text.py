"""A ranking as a page of text: what to do first, in sentences that were rerun."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import Any

from tolsim.report.contributors import contributor_words
from tolsim.report.numbers import clean, held, share, share_range, target
from tolsim.report.provable import provable_sentences
from tolsim.report.rank_parts import told_variance
from tolsim.report.text import MODE_WORDS, VERDICT_WORDS

__all__ = ["rank_text"]

WIDTH = 92
_MOST_SAT = 4  # contributors of a build that are told
_NIL = 1e-9  # change of a rate below which it is none, as rates below it are

Say = Callable[..., None]


def rank_text(p: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/rank/2``."""
    lines: list[str] = []

    def say(text: str = "", indent: str = "", hang: str = "") -> None:
        lines.extend(
            line.replace("\u00a0", " ")
            for line in textwrap.wrap(
                held(clean(text)),
                WIDTH,
                initial_indent=indent,
                subsequent_indent=indent + hang,
                break_on_hyphens=False,
            )
            or [""]
        )

    say(p["study"]["title"])
    say()
    _told_moves(p, say)
    for mode in _order(p):
        _told_effects(p, mode, say)
    for mode in _order(p):
        _told_sat(p, mode, say)
    told_variance(p, say)
    for sentence in (*_today(p), *provable_sentences(p)):
        say(sentence)
    say(
        f"Intervals are 95 % ones of the draws, seed {p['seed']}. Moves were recounted on "
        "common units; where too few fail by themselves these were drawn from where failures lie, "
        "each with its weight."
        + (
            " Every sentence was rerun with the move applied, on draws that nothing else here used."
            if any(m["rerun"] is not None for m in p["moves"])
            else ""
        )
    )
    return "\n".join(lines).rstrip() + "\n"


def _order(p: dict[str, Any]) -> list[str]:
    """The main mode, then the others with targets, then the rest but what is one of these."""
    order = sorted(p["before"], key=lambda m: (m != p["main"], m not in p["targets"]))
    out: list[str] = []
    for mode in order:
        if mode in p["targets"] or not any(_same(p, mode, m) for m in out):
            out.append(mode)
    return out


def _same(p: dict[str, Any], a: str, b: str) -> bool:
    """Whether two modes are one failure, as where a unit creaks in one way only."""
    return p["before"][a] == p["before"][b] and all(
        e[k][a] == e[k][b] for e in p["effects"] for k in ("mean", "spread_10_percent_less")
    )


def _who(m: dict[str, Any]) -> str:
    return contributor_words(str(m["contributor"]), m["supply"])


def _told_moves(p: dict[str, Any], say: Say) -> None:
    main = p["main"]
    now = p["before"][main]
    told = [m for m in p["moves"] if m["rerun"] is not None]
    if not told:
        say(
            f"No single move lowers {MODE_WORDS[main]} ({_rate(now)} of units) beyond what the "
            "draws can tell."
        )
    for i, m in enumerate(told):
        text = _sentence(m, main)
        if i == 0 and len(told) > 1:
            first, second = (-x["rates"][main]["change"] for x in told[:2])
            text += "; nothing else comes near" if second < 0.5 * first else ""
        say(text + ".", "" if i == 0 else "  ")
    say()


def _sentence(m: dict[str, Any], main: str) -> str:
    d, again = m["rates"][main], m["rerun"]["rates"]
    if m["kind"] == "recentre":
        amount = f"{m['amount']:+g}".replace("-", "−")
        head = f"Moving {_who(m)} by {amount} {m['unit']}"
    else:
        head = f"Halving the spread of {_who(m)}"
    fall = share_range(max(0.0, -d["high"]), -d["low"])
    text = (
        f"{head} takes {MODE_WORDS[main]} from {share(d['before'])} to "
        f"{share(again[main]['value'])} of units (a fall of {fall}; rerun "
        f"{share_range(again[main]['low'], again[main]['high'])})"
    )
    for mode in m["past_target"]:
        if mode != main and mode in again:
            text += (
                f", but {MODE_WORDS[mode]} past its target, from "
                f"{share(m['rates'][mode]['before'])} to {share(again[mode]['value'])}"
            )
    return text


def _today(p: dict[str, Any]) -> list[str]:
    """Where the rate stands with all that the readings leave open: moves start in the middle."""
    m = p["today"].get(p["main"])
    if m is None:
        return []
    against = ""
    if m["target"] is not None:
        against = f", against {target(m['target'])} {VERDICT_WORDS[m['verdict']]}"
    return [
        f"What the readings leave open: {MODE_WORDS[p['main']]} stands at "
        f"{share_range(m['low'], m['high'])} of units today, at {100 * m['confidence']:g} % "
        f"confidence{against}; the moves are told for the middle of it."
    ]


def _told_effects(p: dict[str, Any], mode: str, say: Say) -> None:
    now = p["before"][mode]
    wanted = f", target {target(p['targets'][mode])}" if mode in p["targets"] else ""
    heading = (
        f"What small moves do to {MODE_WORDS[mode]} (now {_rate(now)} of units{wanted}), "
        "per million units:"
    )
    rows = [(e, e["mean"][mode], e["spread_10_percent_less"][mode]) for e in p["effects"]]
    rows = [r for r in rows if _known(r[1], now) or _known(r[2], now)]
    rows.sort(key=lambda r: -max(abs(r[1]["change"]), abs(r[2]["change"])))
    if not rows:
        if mode == p["main"]:
            say(f"No small move changes {MODE_WORDS[mode]} ({_rate(now)} of units) noticeably.")
            say()
        return
    say(heading)
    for e, mean, spread in rows:
        step = f"mean +{e['step']:g} {e['unit'] or 'of 1'}:"
        say(f"{_who(e)}", "  ")
        say(
            f"{step:<14} {_ppm(mean):<24} spread −10 %: {_ppm(spread)}".replace(" ", "\u00a0"),
            "    ",
        )
    left = len(p["effects"]) - len(rows)
    if left:
        what = "The other contributor changes" if left == 1 else f"The other {left} change"
        say(f"{what} it by nothing that these draws can tell.", "  ")
    say()


def _rate(now: dict[str, Any]) -> str:
    if now["value"] == 0.0:
        return share_range(0.0, now["high"])
    return f"{share(now['value'])}, {share_range(now['low'], now['high'])}"


def _known(d: dict[str, Any], now: dict[str, Any]) -> bool:
    """Whether a change is told apart from none, and is one that matters to anybody."""
    return not d["low"] <= 0.0 <= d["high"] and max(abs(d["low"]), abs(d["high"])) > max(
        _NIL, 1e-3 * now["value"]
    )


def _ppm(d: dict[str, Any]) -> str:
    if d["method"] == "not read":
        return "nothing"
    if d["low"] <= 0.0 <= d["high"]:
        most = float(f"{1e6 * max(abs(d['low']), abs(d['high'])):.2g}")
        return f"within ±{_plain(most)}"
    low, high = (_signed(1e6 * d[k]) for k in ("low", "high"))
    return f"{low} to {high}"


def _signed(x: float) -> str:
    return ("+" if x > 0.0 else "−") + _plain(abs(float(f"{x:.3g}")))


def _plain(x: float) -> str:
    """Digits without an exponent."""
    if x >= 1e-3:
        return f"{x:.10g}" if x < 1e10 else f"{x:.0f}"
    return f"{x:.12f}".rstrip("0").rstrip(".") if x >= 1e-9 else "0.000000001"


def _told_sat(p: dict[str, Any], mode: str, say: Say) -> None:
    found = [s for s in p["failed_units_sat"] if s["mode"] == mode]
    by_build: dict[str, list[dict[str, Any]]] = {}
    for s in found:
        clear = s["mean_sd_low"] > 0.0 or s["mean_sd_high"] < 0.0
        if (clear and abs(s["mean_sd"]) >= 0.25) or abs(s["spread"] - 1.0) >= 0.25:
            by_build.setdefault(s["supply"], []).append(s)
    if not by_build:
        return
    say(f"Where the {MODE_WORDS[mode]} seats sat, against all:")
    for supply, rows in by_build.items():
        for s in rows[:_MOST_SAT]:
            say(f"{supply}: {_position(s)}.", "  ", "  ")
    say()


def _position(s: dict[str, Any]) -> str:
    name = contributor_words(str(s["contributor"])).removeprefix("the ")
    digits = 3 if s["unit"] == "°" else 1
    amount = f"{abs(s['mean']):.{digits}f} {s['unit'] or 'of 1'}"
    half = max(s["mean_sd_high"] - s["mean_sd"], 0.01)
    off = f"{abs(s['mean_sd']):.2f} ± {half:.2f} standard deviations ({amount})"
    if s["magnitude"]:
        side = "larger" if s["mean_sd"] > 0.0 else "smaller"
        text = f"{name} {off} {side} than on average"
    else:
        side = "above" if s["mean_sd"] > 0.0 else "below"
        text = f"{name} {off} {side} its mean"
    return f"{text}, spread {s['spread']:.2f} times"
