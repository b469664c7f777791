"""A ranking as a payload and as text: what to do first, in sentences that were rerun."""

from __future__ import annotations

import textwrap
from typing import Any

from tolsim.answers.common_draws import Difference
from tolsim.answers.rank import Move, Ranking
from tolsim.report.contributors import contributor_words
from tolsim.report.evidence_words import assumed_ranges, left_open
from tolsim.report.numbers import clean, held, share, share_range
from tolsim.report.payload import provenance
from tolsim.report.text import MODE_WORDS

__all__ = ["rank_payload", "rank_text"]

SCHEMA = "tolsim/rank/1"
WIDTH = 92


def rank_payload(r: Ranking) -> dict[str, Any]:
    """Payload ``tolsim/rank/1``; rates are fractions of units."""
    return {
        "schema": SCHEMA,
        "study": {"title": r.study.spec.title, "file": r.study.name},
        "seed": r.seed,
        "draws": r.draws,
        "main": r.main,
        "before": r.before,
        "moves": [_move(m) for m in r.moves],
        "effects": [
            {
                "contributor": e.path,
                "supply": e.supply,
                "unit": e.unit,
                "step": e.step,
                "mean": {m: _difference(d) for m, d in e.mean.items()},
                "spread_10_percent_less": {m: _difference(d) for m, d in e.spread.items()},
            }
            for e in r.effects
        ],
        "failed_units_sat": [
            {
                "row": s.row,
                "mode": s.mode,
                "supply": s.supply,
                "mean_sd": s.mean,
                "spread": s.spread,
                "failed": s.failed,
            }
            for s in r.sat
        ],
        "variance": r.variance,
        "assumed_ranges": assumed_ranges(r.study),
        "provenance": provenance(r.study.sources, seed=r.seed, draws=r.draws),
    }


def _difference(d: Difference) -> dict[str, Any]:
    return {
        "before": d.before,
        "after": d.after,
        "change": d.change,
        "low": d.low,
        "high": d.high,
        "method": d.method,
    }


def _move(m: Move) -> dict[str, Any]:
    return {
        "contributor": m.path,
        "supply": m.supply,
        "kind": m.kind,
        "amount": m.amount,
        "unit": m.unit,
        "rates": {k: _difference(d) for k, d in m.rates.items()},
    }


def _who(m: dict[str, Any]) -> str:
    return contributor_words(str(m["contributor"]), m["supply"])


def _sentence(m: dict[str, Any], main: str) -> str:
    d = m["rates"][main]
    if m["kind"] == "recentre":
        amount = f"{m['amount']:+g}".replace("-", "−")
        head = f"Moving {_who(m)} by {amount} {m['unit']}"
    else:
        head = f"Halving the spread of {_who(m)}"
    fall = share_range(max(0.0, -d["high"]), -d["low"])
    return (
        f"{head} takes {MODE_WORDS[main]} from {share(d['before'])} to {share(d['after'])} of "
        f"units (a fall of {fall})"
    )


def rank_text(p: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/rank/1``."""
    lines: list[str] = []

    def say(text: str = "", indent: str = "") -> None:
        lines.extend(
            line.replace("\u00a0", " ")
            for line in textwrap.wrap(
                held(clean(text)),
                WIDTH,
                initial_indent=indent,
                subsequent_indent=indent,
                break_on_hyphens=False,
            )
            or [""]
        )

    main = p["main"]
    say(p["study"]["title"])
    say()
    helping = [m for m in p["moves"] if m["rates"][main]["high"] < 0.0]
    if not helping:
        say(f"No single move lowers {MODE_WORDS[main]} beyond what the draws can tell.")
    for i, m in enumerate(helping[:5]):
        text = _sentence(m, main)
        if i == 0 and len(helping) > 1:
            first = -m["rates"][main]["change"]
            second = -helping[1]["rates"][main]["change"]
            text += "; nothing else comes near" if second < 0.5 * first else ""
        say(text + ".", "" if i == 0 else "  ")
    say()
    say(
        f"What small moves do to {MODE_WORDS[main]} ({share(p['before'][main])} of units now), "
        "in units per million, 95 % intervals:"
    )
    rows = sorted(
        p["effects"],
        key=lambda e: (
            -max(abs(e["mean"][main]["change"]), abs(e["spread_10_percent_less"][main]["change"]))
        ),
    )
    for e in rows:
        step = f"mean +{e['step']:g} {e['unit'] or 'of 1'}:"
        lines.append(f"  {_who(e)}")
        lines.append(
            f"    {step:<14} {_ppm(e['mean'][main]):<24} "
            f"spread −10 %: {_ppm(e['spread_10_percent_less'][main])}"
        )
    say()
    _told_sat(p, say)
    _told_variance(p, say)
    say(
        "The falls are 95 % intervals of the draws. "
        f"Every sentence was rerun with the move applied, on {p['draws']:,} common units, seed "
        f"{p['seed']}."
    )
    return "\n".join(lines).rstrip() + "\n"


def _ppm(d: dict[str, Any]) -> str:
    if d["low"] <= 0.0 <= d["high"]:
        most = float(f"{1e6 * max(abs(d['low']), abs(d['high'])):.2g}")
        return f"within ±{most:g}"
    low, high = (f"{float(f'{1e6 * d[k]:.3g}'):+g}".replace("-", "−") for k in ("low", "high"))
    return f"{low} to {high}"


def _told_sat(p: dict[str, Any], say: Any) -> None:
    sat = [s for s in p["failed_units_sat"] if s["mode"] == p["main"]]
    if not sat:
        return
    say(f"Where {MODE_WORDS[p['main']]} units sat, against all units:")
    for s in sat:
        name = _row(s["row"], p)
        side = "above" if s["mean_sd"] > 0 else "below"
        say(
            f"{s['supply']}: {name} {abs(s['mean_sd']):.1f} standard deviations {side} its mean, "
            f"{s['spread']:.1f} times as spread ({s['failed']} failed units).",
            "  ",
        )
    say()


def _row(name: str, p: dict[str, Any]) -> str:
    """A row of normals in words."""
    name = name.replace("@", ", seat ")
    if name.startswith("evidence "):
        return left_open(name.removeprefix("evidence "), p["assumed_ranges"])
    return name


def _told_variance(p: dict[str, Any], say: Any) -> None:
    """Margins whose variance one contributor makes most of, by what counts in it."""
    found = [(margin, parts) for margin, parts in p["variance"].items() if parts]
    if not found:
        return
    say(
        "Parts in the variance of each margin, squared correlations over the draws; a margin that "
        "does not rise or fall with any one input is left out:"
    )
    for margin, parts in found:
        told = ", ".join(f"{_row(row, p)} {100.0 * part:.0f} %" for row, part in parts.items())
        say(f"{margin}: {told}.", "  ")
    say()
