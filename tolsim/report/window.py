"""A window as a payload and as text: the demand, the suppliers of today, a table of each rate."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.provable import provable
from tolsim.answers.window import Window
from tolsim.answers.window_axes import Axis, Today
from tolsim.answers.window_demand import Demand
from tolsim.report.contributors import contributor_words
from tolsim.report.numbers import clean, held, share, share_range, target
from tolsim.report.payload import provenance
from tolsim.report.provable import provable_payload, provable_sentences
from tolsim.report.text import MODE_WORDS
from tolsim.report.window_toml import demand_files

__all__ = [
    "axis_words",
    "demand_sentence",
    "from_nominal",
    "window_payload",
    "window_text",
]

SCHEMA = "tolsim/window/1"
WIDTH = 92
_SPREADS = ("sd", "width")
_NIL = 1e-7  # a share below this is told as a bound: too few draws reach so far
_KIND_WORDS = {
    "mean": "mean",
    "centre": "centre",
    "sd": "standard deviation",
    "width": "width",
}


def window_payload(w: Window) -> dict[str, Any]:
    """Payload ``tolsim/window/1``: axes in the units of people, rates as fractions, rows by y."""
    sx, sy = w.x_axis.scale, w.y_axis.scale
    return {
        "schema": SCHEMA,
        "study": {"title": w.study.spec.title, "file": w.study.name},
        "seed": w.seed,
        "supply": w.supply,
        "supplies": [s.name for s in w.study.strata],
        "x": _axis(w.x_axis, w.x),
        "y": _axis(w.y_axis, w.y),
        "one_size": w.x_axis.path == w.y_axis.path,
        "targets": w.targets,
        "rates": {
            m: {"value": r.value.tolist(), "low": r.low.tolist(), "high": r.high.tolist()}
            for m, r in w.rates.items()
        },
        "good": w.good.tolist(),
        "today": [_today(w, t) for t in w.today],
        "demand": None
        if w.demand is None
        else {**_demand(w.demand, sx, sy), "files": demand_files(w)},
        "ranges": [{"y": r.y * sy, "x": [v * sx for v in r.x]} for r in w.ranges],
        "provable": provable_payload(provable(w.study)),
        "units": w.units,
        "method": w.method,
        "provenance": provenance(w.study.sources, seed=w.seed, draws=w.units),
    }


def _axis(axis: Axis, values: NDArray[np.float64]) -> dict[str, Any]:
    return {
        "name": axis.name,
        "path": axis.path,
        "kind": axis.kind,
        "unit": axis.unit,
        "capability": axis.capability if axis.kind == "width" else None,
        "values": (values * axis.scale).tolist(),
    }


def _today(w: Window, t: Today) -> dict[str, Any]:
    return {
        "name": t.name,
        "readings": t.readings,
        "normal": t.normal,
        "x": [v * w.x_axis.scale for v in t.x],
        "y": [v * w.y_axis.scale for v in t.y],
        "within": _within(w, t),
    }


def _within(w: Window, t: Today) -> bool | None:
    """Whether all, or none, of what the readings allow meets the targets; else None."""
    found: list[bool | None] = []
    good = w.good
    for a in t.x:
        for b in t.y:
            if not (w.x[0] <= a <= w.x[-1] and w.y[0] <= b <= w.y[-1]):
                found.append(None)
            else:
                found.append(bool(good[np.abs(w.y - b).argmin(), np.abs(w.x - a).argmin()]))
    return found[0] if len(set(found)) == 1 else None


def _demand(d: Demand, sx: float, sy: float) -> dict[str, Any]:
    return {
        "x": [v * sx for v in d.box.x],
        "y": [v * sy for v in d.box.y],
        "corners": [
            {
                "x": c.x * sx,
                "y": c.y * sy,
                "rates": {
                    m: {"value": v, "low": low, "high": high}
                    for m, (v, low, high) in c.rates.items()
                },
            }
            for c in d.corners
        ],
    }


def number(value: float, unit: str) -> str:
    """A number of an axis with a real minus sign: a tenth of a µm, else three digits."""
    text = f"{value:.1f}" if unit == "µm" else f"{value:.3g}"
    return (text if float(text) != 0.0 else "0").replace("-", "−")


def _unit(axis: dict[str, Any]) -> str:
    return f" {axis['unit']}" if axis["unit"] else ""


def axis_words(axis: dict[str, Any]) -> str:
    """Such as "mean of the bore diameter"."""
    of = "the band of " if axis["kind"] in ("centre", "width") else ""
    return f"{_KIND_WORDS[axis['kind']]} of {of}{contributor_words(axis['path'])}"


def from_nominal(axis: dict[str, Any]) -> str:
    """ " from nominal" where the numbers of an axis are deviations from a drawing's size."""
    sized = axis["unit"] == "µm" and axis["kind"] in ("mean", "centre")
    return " from nominal" if sized and axis["path"] != "bearing.clearance" else ""


def _span(axis: dict[str, Any], low: float, high: float) -> str:
    """Middle and half of a range, as a demand is told."""
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    unit = axis["unit"]
    return f"{number(middle, unit)} ± {number(half, unit)}{_unit(axis)}{from_nominal(axis)}"


def demand_sentence(p: dict[str, Any]) -> str:
    """What is demanded, without the rates."""
    x, y, d = p["x"], p["y"], p["demand"]
    goals = " and ".join(f"{MODE_WORDS[m]} {target(t)}" for m, t in p["targets"].items())
    if d is None:
        if not any(any(row) for row in p["good"]):
            return f"Nowhere within these axes are all targets met ({goals})."
        return f"The region that meets all targets ({goals}) is too small here to demand a box of."
    head = f"Hold the {axis_words(x)} within {_span(x, *d['x'])}"
    if y["kind"] in _SPREADS:
        top = f"{number(d['y'][1], y['unit'])}{_unit(y)}"
        other = "its standard deviation" if p["one_size"] else f"the {axis_words(y)}"
        if y["kind"] == "width":
            other = "the band's width" if p["one_size"] else f"the {axis_words(y)}"
        tail = f"and {other} at or below {top}"
    else:
        tail = f"and the {axis_words(y)} within {_span(y, *d['y'])}"
    return f"{head} {tail}."


def _reaches(p: dict[str, Any]) -> list[str]:
    """Sides on which the demand ends with the axes, not with the targets."""
    d, out = p["demand"], []
    for axis, ends in ((p["x"], d["x"]), (p["y"], d["y"])):
        step = axis["values"][1] - axis["values"][0]
        low = axis["kind"] not in _SPREADS and ends[0] < axis["values"][0] + 0.5 * step
        if low or ends[1] > axis["values"][-1] - 0.5 * step:
            out.append(axis["name"])
    return out


def window_text(p: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/window/1``."""
    lines: list[str] = []

    def say(text: str = "", indent: str = "") -> None:
        wrapped = textwrap.wrap(
            held(clean(text)),
            WIDTH,
            initial_indent=indent,
            subsequent_indent=indent,
            break_on_hyphens=False,
        )
        lines.extend(line.replace("\u00a0", " ") for line in wrapped or [""])

    say(p["study"]["title"])
    say()
    say(demand_sentence(p))
    if p["demand"] is not None:
        goals = " and ".join(f"{MODE_WORDS[m]} {target(t)}" for m, t in p["targets"].items())
        say(f"All targets ({goals}) are met there. Rerun at its corners:")
        for c in p["demand"]["corners"]:
            say(_corner(p, c), "  ")
        if p["ranges"]:
            say(_ranges_head(p))
            lines.extend(_ranges(p))
        for name in _reaches(p):
            say(f"{name} may go further than this window shows: its range ends first.")
    if _about(p):
        say(_about(p))
    say()
    if p["today"]:
        say("Suppliers today:")
        for t in p["today"]:
            say(_supplier(p, t), "  ")
        for sentence in provable_sentences(p):
            say(sentence, "  ")
        say()
    for mode, goal in p["targets"].items():
        say(
            f"{MODE_WORDS[mode].capitalize()}, target {target(goal)} of units, * where met; "
            f"{p['y']['kind']} of {p['y']['path']} down, {p['x']['kind']} of {p['x']['path']} "
            "across:"
        )
        lines.extend(_table(p, mode, goal))
        say()
    say(_basis(p))
    return "\n".join(lines).rstrip() + "\n"


def _corner(p: dict[str, Any], c: dict[str, Any]) -> str:
    x, y = p["x"], p["y"]
    told = ", ".join(f"{MODE_WORDS[m]} {_rate(r, p['targets'][m])}" for m, r in c["rates"].items())
    a = f"{x['kind']} {number(c['x'], x['unit'])}{_unit(x)}"
    b = f"{y['kind']} {number(c['y'], y['unit'])}{_unit(y)}"
    if not p["one_size"]:
        a, b = f"{x['path']} {a}", f"{y['path']} {b}"
    return f"{a}, {b}: {told}"


def _ranges_head(p: dict[str, Any]) -> str:
    x, y = p["x"], p["y"]
    return f"At another {_KIND_WORDS[y['kind']]} the {x['kind']} may lie between:"


def _ranges(p: dict[str, Any]) -> list[str]:
    x, y = p["x"], p["y"]
    return [
        f"  {y['kind']} up to {number(r['y'], y['unit']):>6}{_unit(y)}   {x['kind']} "
        f"{number(r['x'][0], x['unit']):>6} to {number(r['x'][1], x['unit']):>6}{_unit(x)}"
        for r in p["ranges"]
    ]


def _rate(r: dict[str, float], goal: float) -> str:
    """A rate with its interval; where that is far below the target, its upper end."""
    if r["high"] < 0.05 * goal:
        return share_range(0.0, r["high"])
    return f"{share(r['value'], r['low'], r['high'])} ({share_range(r['low'], r['high'])})"


def _about(p: dict[str, Any]) -> str:
    """Whose parts were judged, and what a point is."""
    who = p["supplies"]
    if p["supply"] is not None:
        text = f"Judged with {p['supply']}'s other parts."
    elif len(who) > 1:
        text = (
            f"The rates are those of the mix of {', '.join(who[:-1])} and {who[-1]}, all making "
            "what a point says; --supply judges one alone."
        )
    else:
        text = ""
    width = p["y"]["capability"]
    if width is not None:
        text += f" The band is {6 * width:g} standard deviations wide (capability {width:g})."
    return text.strip()


def _supplier(p: dict[str, Any], t: dict[str, Any]) -> str:
    x, y = p["x"], p["y"]
    where = {
        True: "inside the region that meets all targets",
        False: "outside it",
        None: "inside or outside, or beyond the axes: the readings do not tell",
    }[t["within"]]
    if t["within"] is None and not t["readings"]:
        where = "beyond the axes"
    basis = f"{t['readings']} readings" if t["readings"] else "assumed"
    ends = [_ends(x, t["x"]), _ends(y, t["y"])]
    if not p["one_size"]:
        ends = [f"{a['path']} {e}" for a, e in zip((x, y), ends, strict=True)]
    text = f"{t['name']} ({basis}): {ends[0]}, {ends[1]}: {where}."
    if not t["normal"]:
        text += " Its parts are no single normal population, as the points of this window are."
    return text


def _ends(axis: dict[str, Any], v: list[float]) -> str:
    unit = axis["unit"]
    if number(v[1], unit) == number(v[2], unit):
        return f"{axis['kind']} {number(v[0], unit)}{_unit(axis)}"
    low, high = number(v[1], unit), number(v[2], unit)
    return f"{axis['kind']} {number(v[0], unit)} ({low} to {high}){_unit(axis)}"


def _table(p: dict[str, Any], mode: str, goal: float) -> list[str]:
    x, y = p["x"], p["y"]
    columns = _some(len(x["values"]))
    rows = _some(len(y["values"]))
    units = f"{y['unit'] or '-'} \\ {x['unit'] or '-'}"
    head = "".join(f"{number(x['values'][i], x['unit']):>11} " for i in columns)
    out = [f"  {units:>8}{head}"]
    for j in reversed(rows):
        cells = ""
        for i in columns:
            value, high = (p["rates"][mode][k][j][i] for k in ("value", "high"))
            cells += f"{_cell(value, high):>11}{'*' if value <= goal else ' '}"
        out.append(f"  {number(y['values'][j], y['unit']):>8}{cells}")
    return [line.rstrip() for line in out]


def _some(n: int) -> list[int]:
    """At most seven indices, evenly spaced where that can be."""
    return sorted({round(float(k)) for k in np.linspace(0, n - 1, min(n, 7))})


def _cell(value: float, high: float) -> str:
    """A rate; its upper end where its interval is too wide for it to say anything."""
    if value < _NIL and high < 2.0 * _NIL:
        return "< 0.1 ppm"
    if high > 3.0 * value:
        return f"< {share(high)}".replace(" per million", " ppm")
    return share(value).replace(" per million", " ppm")


def _basis(p: dict[str, Any]) -> str:
    """Intervals of what stands in the tables, and what it rests on."""
    widths = []
    for m, goal in p["targets"].items():
        v, low, high = (np.array(p["rates"][m][k]) for k in ("value", "low", "high"))
        near = (v > goal / 3.0) & (v < 3.0 * goal)
        if near.any():
            widths.append(float(np.median(0.5 * (high - low)[near] / v[near])))
    sure = f", ± {100 * max(widths):.0f} % where a rate is near its target" if widths else ""
    return (
        f"95 % intervals of the draws stand in --json{sure}. {p['method'].capitalize()}; "
        f"{p['units']:,} units drawn of each combination of parts, seed {p['seed']}. < stands "
        "where only the upper end of the interval is known. "
        "ppm: units per million."
    )
