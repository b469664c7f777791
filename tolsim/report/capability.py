"""Capability as a payload and as a page of text: makers and sentences first, indices last."""

from __future__ import annotations

import json
import textwrap
from typing import Any

from tolsim import __version__
from tolsim.answers.capability import Capability, Maker
from tolsim.intervals import Interval
from tolsim.process.gauge_study import GaugeStudy
from tolsim.report.numbers import clean, micrometres, share, share_range

__all__ = [
    "capability_payload",
    "capability_text",
    "gauge_study_payload",
    "makers_figure",
    "route_step",
]

SCHEMA = "tolsim/capability/1"
WIDTH = 92
_WORDS = {"met": "MET", "missed": "MISSED", "undecided": "UNDECIDED"}


def _interval(i: Interval | None, scale: float = 1.0) -> dict[str, Any] | None:
    if i is None:
        return None
    return {
        "value": i.value * scale,
        "low": i.low * scale,
        "high": i.high * scale,
        "confidence": i.confidence,
        "method": i.method,
    }


def capability_payload(
    c: Capability, study: GaugeStudy | None = None, *, gauge_sd_um: float = 0.0
) -> dict[str, Any]:
    """Payload ``tolsim/capability/1``; lengths in µm from nominal.

    `gauge_sd_um` is the repeatability that was taken out of the spread.
    """
    return {
        "schema": SCHEMA,
        "confidence": c.confidence,
        "band_um": None if c.band is None else [1e3 * v for v in c.band],
        "target_index": c.target_index,
        "target_share": c.target_share,
        "verdict": c.verdict,
        "makers": [_maker(m) for m in c.makers],
        "pairs": [
            {
                "first": p.first,
                "second": p.second,
                "mean_um": _interval(p.mean, 1e3),
                "spread_ratio": _interval(p.ratio),
                "told_apart": list(p.told_apart),
            }
            for p in c.pairs
        ],
        "alike": [list(g) for g in c.groups],
        "gauge_sd_um": gauge_sd_um,
        "gauge_study": None if study is None else gauge_study_payload(study),
        "provenance": {
            "tolsim": __version__,
            "inputs": [
                {"name": m.readings.shown.rpartition("/")[2], "sha256": m.readings.sha256}
                for m in c.makers
            ],
        },
    }


def _maker(m: Maker) -> dict[str, Any]:
    t = m.tolerance
    return {
        "name": m.name,
        "file": m.readings.shown.rpartition("/")[2],
        "nominal_mm": m.readings.nominal_mm,
        "n": m.n,
        "places": m.readings.gains is not None,
        "rows_in": m.readings.rows_in,
        "excluded": [
            {"row": e.row, "column": e.column, "found": e.found, "reason": e.reason}
            for e in m.readings.excluded
        ],
        "understood": list(m.readings.understood),
        "mean_um": _interval(m.mean, 1e3),
        "sd_um": _interval(m.sd, 1e3),
        "process_sd_um": 1e3 * m.process_sd,
        "tolerance_interval_um": {
            "low": 1e3 * t.low,
            "high": 1e3 * t.high,
            "content": t.content,
            "confidence": t.confidence,
            "factor": t.factor,
            "method": t.method,
        },
        "share_outside": _interval(m.outside),
        "index": m.index,
        "index_range": _interval(m.index_range),
        "spread_index": m.spread_index,
        "percentile_index": m.percentile_index,
        "parts_needed": m.needed,
        "provable_share": m.provable,
        "findings": [
            {"kind": f.kind, "verdict": f.verdict, "text": f.text, "ratio": f.ratio}
            for f in m.findings
        ],
        "boxes": [
            {
                "seat": b.seat,
                "n": b.n,
                "low_um": 1e3 * b.low,
                "q1_um": 1e3 * b.q1,
                "median_um": 1e3 * b.median,
                "q3_um": 1e3 * b.q3,
                "high_um": 1e3 * b.high,
                "beyond_um": [1e3 * v for v in b.beyond],
            }
            for b in m.boxes
        ],
        "notes": list(m.notes),
    }


def gauge_study_payload(g: GaugeStudy) -> dict[str, Any]:
    """Repeatability and reproducibility with their intervals [µm]."""
    return {
        "parts": g.parts,
        "appraisers": g.appraisers,
        "trials": g.trials,
        "repeatability_um": _interval(g.repeatability, 1e3),
        "reproducibility_um": _interval(g.reproducibility, 1e3),
        "both_um": _interval(g.both, 1e3),
        "part_um": _interval(g.part, 1e3),
        "share_of_spread": g.share_of_spread,
        "notes": list(g.notes),
    }


def _um(i: dict[str, Any]) -> str:
    return f"{micrometres(i['low'])} to {micrometres(i['high'])} µm"


def _and(i: dict[str, Any]) -> str:
    return f"{micrometres(i['low'])} and {micrometres(i['high'])} µm"


def capability_text(p: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/capability/1``."""
    lines: list[str] = []

    def say(text: str, indent: str = "") -> None:
        lines.extend(
            textwrap.wrap(
                clean(text),
                WIDTH,
                initial_indent=indent,
                subsequent_indent=indent,
                break_on_hyphens=False,
            )
        )

    if p["verdict"] is not None:
        say(f"{_WORDS[p['verdict']]}: {_target(p)}.")
        lines.append("")
    for m in p["makers"]:
        _tell_maker(m, p, say)
        lines.append("")
    _tell_pairs(p, say)
    if p["gauge_study"] is not None:
        _tell_gauge(p["gauge_study"], p, say)
    _tell_indices(p, say)
    return "\n".join(lines).rstrip() + "\n"


_NORMAL = "share outside, the tolerance interval and the index"


def _target(p: dict[str, Any]) -> str:
    wanted = []
    if p["target_index"] is not None:
        wanted.append(f"a worst index of at least {p['target_index']:g}")
    if p["target_share"] is not None:
        wanted.append(f"at most {share(p['target_share'])} outside the band")
    made = {
        "met": "every maker shows",
        "missed": "some maker cannot have",
        "undecided": "the parts measured cannot decide",
    }[p["verdict"]]
    return f"{made} {' and '.join(wanted)}, at {100 * p['confidence']:g} % confidence"


def _tell_maker(m: dict[str, Any], p: dict[str, Any], say: Any) -> None:
    band = p["band_um"]
    out = m["share_outside"]
    head = f"{m['name']}: {m['n']} parts of {m['rows_in']} rows"
    if out is not None and band is not None:
        head += (
            f"; between {share(max(out['low'], 1e-12))} and {share(out['high'])} lie outside "
            f"{micrometres(band[0])} to {micrometres(band[1])} µm"
            if out["low"] > 1e-9
            else f"; {share_range(0.0, out['high'])} lie outside "
            f"{micrometres(band[0])} to {micrometres(band[1])} µm"
        )
    say(head + ".")
    t = m["tolerance_interval_um"]
    say(
        f"Mean between {_and(m['mean_um'])}, standard deviation between "
        f"{m['sd_um']['low']:.2g} and {m['sd_um']['high']:.2g} µm. "
        f"{100 * t['content']:g} % of all parts lie between "
        f"{_and(t)} (statistical tolerance interval, {100 * t['confidence']:g} % confidence). "
        f"{m['n']} good parts alone, whatever the shape, would still allow "
        f"{share(m['provable_share'])} bad ones.",
        "  ",
    )
    seen = [f for f in m["findings"] if f["verdict"] == "seen"]
    blind = [f for f in m["findings"] if f["verdict"] == "cannot tell"]
    for f in seen:
        say(f"{f['text'][0].upper()}{f['text'][1:]}.", "  ")
    odd = [f["kind"] for f in seen if f["kind"] != "rounding"]
    if odd:
        figures = "tolerance interval and spread" if out is None else _NORMAL
        say(
            f"The {figures} are those of a plain normal lot with this mean and spread. These parts "
            f"are none ({', '.join(dict.fromkeys(odd))}): the intervals may miss the truth. "
            "predict takes readings by the shape that they show.",
            "  ",
        )
    if not seen:
        told = "Nothing speaks against a plain normal lot"
        say(told + ("; but see what cannot be told." if blind else "."), "  ")
    if blind:
        kinds = ", ".join(dict.fromkeys(f["kind"] for f in blind))
        say(f"Cannot tell from {m['n']} parts: {kinds}.", "  ")
    for e in m["excluded"]:
        say(f"Row {e['row']} is not used: {e['reason']} ({e['found']!r}).", "  ")
    for note in m["notes"]:
        say(f"{note[0].upper()}{note[1:]}.".replace("..", "."), "  ")
    if m["understood"]:
        say("Understood: " + "; ".join(m["understood"]) + ".", "  ")


def _tell_pairs(p: dict[str, Any], say: Any) -> None:
    if not p["pairs"]:
        return
    for pair in p["pairs"]:
        if "mean" in pair["told_apart"]:
            d = pair["mean_um"]
            say(f"{pair['first']} and {pair['second']} differ in the mean by {_um(d)}.")
        if "spread" in pair["told_apart"]:
            r = pair["spread_ratio"]
            say(
                f"{pair['first']} spreads {r['low']:.2f} to {r['high']:.2f} times as wide as "
                f"{pair['second']}."
            )
    for group in p["alike"]:
        say(f"These parts cannot tell {' and '.join(group)} apart.")
    say("(intervals hold together: Games and Howell for means, F with Bonferroni for spreads)")
    say("")


def _tell_gauge(g: dict[str, Any], p: dict[str, Any], say: Any) -> None:
    told = f"The gauge repeats within a standard deviation of {_range(g['repeatability_um'])}"
    if g["reproducibility_um"] is not None:
        told += f"; appraisers add {_range(g['reproducibility_um'])}"
    told += f"; together {_range(g['both_um'])}"
    if p["band_um"] is not None:
        width = p["band_um"][1] - p["band_um"][0]
        told += f", six of which take {600 * g['both_um']['value'] / width:.0f} % of the band"
    say(told + f" ({g['parts']} parts, {g['appraisers']} appraisers, {g['trials']} trials).")
    for note in g["notes"]:
        say(note, "  ")
    if p["gauge_sd_um"] > 0.0:
        what = " a reading" if any(m["places"] for m in p["makers"]) else ""
        say(
            f"A repeatability of {p['gauge_sd_um']:.3g} µm{what} is taken out of every spread.",
            "  ",
        )


def _range(i: dict[str, Any]) -> str:
    return f"{i['low']:.2g} to {i['high']:.2g} µm"


def _tell_indices(p: dict[str, Any], say: Any) -> None:
    rows = [m for m in p["makers"] if m["index_range"] is not None]
    if not rows:
        return
    goal = p["target_index"] or 1.33
    say("Index values, last and least: worst one-sided index of a normal process")
    for m in rows:
        r = m["index_range"]
        text = f"{m['name']}: {r['low']:.2f} to {r['high']:.2f}"
        if m["index"] is None:
            text += f"; no single figure from fewer than 30 parts ({m['n']})"
        else:
            text += f", best {m['index']:.2f}; by percentiles {m['percentile_index']:.2f}"
        if m["parts_needed"] is not None and m["parts_needed"] > m["n"]:
            more = m["parts_needed"] - m["n"]
            text += f"; if it stays so, {more} more part{'s' * (more > 1)} would show {goal:g}"
        elif m["parts_needed"] is None:
            text += f"; no number of parts would show {goal:g} while it stays so"
        say(text + ".", "  ")


def makers_figure(p: dict[str, Any]) -> str:
    """Box and whisker of every maker and seat against the band, as SVG."""
    from tolsim.report import figures_parts
    from tolsim.report.figures_style import drawing

    parts = [
        {
            "feature": "measured sizes",
            "part": m["name"],
            "supplies": [m["name"]],
            "seat": b["seat"],
            "band_um": p["band_um"],
            "readings": b["n"],
            **{k: b[k] for k in ("low_um", "q1_um", "median_um", "q3_um", "high_um", "beyond_um")},
            "beyond": len(b["beyond_um"]),
        }
        for m in p["makers"]
        for b in m["boxes"]
    ]
    told = ", ".join(f"{m['name']} ({m['n']})" for m in p["makers"])
    payload = {"pictures": {"parts": parts}, "supply": []}
    with drawing():
        picture = figures_parts.picture(payload, source=f"Readings: {told}", alone=True)
    assert picture is not None
    return picture.svg


def route_step(
    m: dict[str, Any],
    *,
    file: str,
    columns: dict[str, str | bool | None],
    gauge_sd_um: float = 0.0,
) -> str:
    """The route step that stands for a maker's readings, as TOML; `columns` by their role."""
    lines = [
        f"# {_quoted(m['name'])[1:-1]}: {m['n']} parts, nominal {m['nominal_mm']:g} mm",
        "[[diameter.route]]",
        'step   = "readings"',
        f"file   = {_quoted(file)}",
    ]
    lines += [
        f"{role:<6} = {'true' if name is True else _quoted(str(name))}"
        for role, name in columns.items()
        if name is not None
    ]
    if gauge_sd_um > 0.0:
        lines.append(f"gauge_sd_um = {gauge_sd_um:.12g}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Text as a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
