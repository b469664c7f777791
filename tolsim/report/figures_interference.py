"""Interference of both seats, with the seats that failed as loose or as overly tight."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from tolsim.report.figures_style import (
    BLUE,
    BROWN,
    INK,
    ORANGE,
    PALE,
    PURPLE,
    RED,
    SMALL,
    WIDTH,
    Picture,
    Sheet,
    Table,
    shorten,
    wrapped,
)
from tolsim.report.numbers import clean, micrometres, minus, share, share_range
from tolsim.report.text import MODE_WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["picture"]

_PANEL, _GAP, _LEFT, _KEY = 1.8, 0.36, 1.25, 1.7  # inches
_FAILS = {"loose": (BLUE, "////"), "tight": (RED, "\\\\\\\\")}
_LINES = (
    (PURPLE, "-", "o"),
    (ORANGE, (0, (5, 1.5)), "s"),
    (BROWN, (0, (1, 1)), "^"),
    (INK, (0, (4, 1, 1, 1)), "D"),
)
_ROWS = 24  # rows of a table, at most
_TITLE = "Interference of both seats, with its loose and its overly tight end"
_READING = (
    "How to read it: each line of the scale is ten times the one below, so the rare seats at the "
    "ends show; a hatched end shrinks when bore and ring move away from it on the drawing, or when "
    "the parts spread less."
)


def picture(p: dict[str, Any], *, source: str, alone: bool) -> Picture:
    """The figure."""
    q = p["pictures"]["interference"]
    notes = [_limits(p, mode) for mode in _FAILS]
    lines = _lines(q)
    if lines and len(q["seats"][0]["builds"]) > len(lines):
        notes.append(f"Lines: the {len(lines)} supplies with most units; the grey holds all.")
    alt = _alt(p)
    below, floor = 0.5, _floor(p)
    height = 2 * (_PANEL + _GAP) + below
    sheet = Sheet(height, title=_TITLE, notes=notes, reading=_READING, source=source, alone=alone)
    width = WIDTH - _LEFT - (_KEY if lines else 0.15)
    for k, s in enumerate(q["seats"]):
        bottom = below + (1 - k) * (_PANEL + _GAP)
        ax = sheet.axes(_LEFT, bottom, width, _PANEL)
        _scale(ax, q, floor, bottom=k == 1)
        _heading(sheet, p, s, bottom + _PANEL + 0.09)
        _draw(ax, q, s, floor)
        for (name, of), (colour, dashes, marker) in zip(lines, _LINES, strict=False):
            del name
            _line(ax, q, s["builds"][of]["all"], floor, colour, dashes, marker)
    if lines:
        _key(sheet, lines, 2 * (_PANEL + _GAP) + below - _GAP)
    return Picture(
        name="interference",
        title=_TITLE,
        svg=sheet.svg(title=_TITLE, alt=alt),
        alt=alt,
        reading=_READING,
        tables=tuple(_table(p, q, s) for s in q["seats"]),
    )


def _lines(q: dict[str, Any]) -> list[tuple[str, int]]:
    """Name and place of the builds that get a line of their own: those with most units."""
    builds = q["seats"][0]["builds"]
    if len(builds) < 2:
        return []
    most = sorted(range(len(builds)), key=lambda i: (-builds[i]["share"], i))[: len(_LINES)]
    return [(builds[i]["build"], i) for i in sorted(most)]


def _floor(p: dict[str, Any]) -> float:
    """Lowest decade of the scale [seats in a million a µm]: half a drawn unit still shows."""
    edges = p["pictures"]["interference"]["edges_um"]
    one = 1e6 / p["draws"] / (edges[1] - edges[0])
    return float(10.0 ** math.floor(math.log10(0.5 * one)))


def _million(shares: list[float], edges: list[float]) -> list[float]:
    """Seats in a million for each micrometre."""
    return [1e6 * v / (b - a) for v, (a, b) in zip(shares, pairwise(edges), strict=True)]


def _scale(ax: Axes, q: dict[str, Any], floor: float, *, bottom: bool) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    edges = q["edges_um"]
    shown = [edges[0], edges[-1], 0.0 if q["limit_um"] is None else q["limit_um"]]
    pad = 0.02 * (max(shown) - min(shown))
    ax.set_xlim(min(shown) - pad, max(shown) + pad)
    ax.set_yscale("log")
    ax.set_ylim(floor, 2e6)
    decades = [10.0**k for k in range(round(math.log10(floor)), 7)]
    labelled = set(decades[::-1][:: -(-len(decades) // 10)])
    ax.yaxis.set_major_locator(FixedLocator(decades))
    ax.yaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_major_formatter(
        FuncFormatter(lambda v, i: f"{v:,.12g}" if decades[i] in labelled else "")
    )
    ax.grid(axis="y", color=PALE, linewidth=0.6)
    ax.set_axisbelow(True)
    ax.set_ylabel("seats in a million\nfor each µm", fontsize=SMALL)
    ax.tick_params(axis="x", labelbottom=bottom)
    if bottom:
        ax.set_xlabel(f"interference at {q['at_C']:g} °C, ring minus seat after smoothing [µm]")


def _draw(ax: Axes, q: dict[str, Any], s: dict[str, Any], floor: float) -> None:
    edges = q["edges_um"]
    everything = _million(s["all"], edges)
    ax.stairs(everything, edges, baseline=floor, fill=True, facecolor=PALE, edgecolor="none")
    for mode, (colour, hatch) in _FAILS.items():
        if not any(s[mode]):
            continue
        failed = [max(v, floor) if v > 0.0 else math.nan for v in _million(s[mode], edges)]
        ax.stairs(
            failed,
            edges,
            baseline=floor,
            fill=True,
            facecolor="none",
            edgecolor=colour,
            hatch=hatch,
            linewidth=0.0,
        )
        ax.stairs(failed, edges, baseline=floor, color=colour, linewidth=1.4)
    ax.stairs(
        [v if v > 0.0 else math.nan for v in everything],
        edges,
        baseline=floor,
        color=INK,
        linewidth=1.2,
    )
    low, high = ax.get_xlim()
    limit = q["limit_um"]
    marks = [] if limit is None else [(limit, "limit on interference")]
    if limit != 0.0 and low <= 0.0 <= high:
        marks.append((0.0, "contact ends"))
    for k, (x, words) in enumerate(marks):
        ax.axvline(x, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
        right = x < 0.5 * (low + high)
        ax.annotate(
            f"{words} {micrometres(x)} µm",
            (x, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(4 if right else -4, -2 - 13 * k),
            textcoords="offset points",
            ha="left" if right else "right",
            va="top",
            fontsize=SMALL,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )


def _line(
    ax: Axes,
    q: dict[str, Any],
    shares: list[float],
    floor: float,
    colour: str,
    dashes: Any,
    marker: str,
) -> None:
    edges = q["edges_um"]
    values = _million(shares, edges)
    middles = [0.5 * (a + b) for a, b in pairwise(edges)]
    ax.plot(
        middles,
        [v if v >= floor else math.nan for v in values],
        color=colour,
        linestyle=dashes,
        linewidth=1.4,
        marker=marker,
        markersize=4,
        markevery=max(1, len(values) // 12),
    )


def _heading(sheet: Sheet, p: dict[str, Any], s: dict[str, Any], y: float) -> None:
    """Name of the seat, and the share that failed at each end beside its hatch."""
    sheet.write(0.0, y, shorten(f"Seat {s['name']}", 14), weight="bold")
    modes = p["seats"][s["seat"] - 1]["modes"]
    for mode, x in (("loose", _LEFT - 0.1), ("tight", _LEFT + 2.5)):
        colour, hatch = _FAILS[mode]
        ax = sheet.axes(x, y - 0.02, 0.28, 0.14)
        ax.set_axis_off()
        ax.set_xlim(0.0, 1.0)
        ax.set_ylim(0.0, 1.0)
        ax.fill_between([0.0, 1.0], 1.0, facecolor="none", edgecolor=colour, hatch=hatch, lw=1.2)
        sheet.write(x + 0.36, y, f"{MODE_WORDS[mode]}: {_short(modes.get(mode))}", size=SMALL)


def _short(m: dict[str, Any] | None) -> str:
    if m is None:
        return "not judged"
    of = "" if m["share"] == 0.0 else " of seats"
    return share(m["share"], m["low"], m["high"]) + of


def _key(sheet: Sheet, lines: list[tuple[str, int]], top: float) -> None:
    """Names of the lines, beside them."""
    left = WIDTH - _KEY + 0.12
    sheet.write(left, top - 0.14, "of these units,", size=SMALL)
    sheet.write(left, top - 0.30, "delivered by", size=SMALL)
    y = top - 0.56
    for (name, _), (colour, dashes, marker) in zip(lines, _LINES, strict=False):
        ax = sheet.axes(left, y - 0.02, 0.36, 0.14)
        ax.set_axis_off()
        ax.set_xlim(0.0, 1.0)
        ax.plot([0.0, 0.5, 1.0], [0.5] * 3, color=colour, linestyle=dashes, linewidth=1.4)
        ax.plot([0.5], [0.5], color=colour, marker=marker, markersize=4)
        ax.set_ylim(0.0, 1.0)
        told = _two_lines(name)
        for k, line in enumerate(told):
            sheet.write(left + 0.42, y - 0.15 * k, line, size=SMALL)
        y -= 0.07 + 0.15 * len(told)


def _two_lines(name: str) -> list[str]:
    """A name in at most two lines beside the picture."""
    first, *rest = wrapped(name, 17) or [""]
    return [first, shorten(" ".join(rest), 17)] if rest else [first]


def _limits(p: dict[str, Any], mode: str) -> str:
    """What counts as failed at this end, and that none did where none did."""
    causes = [c for c in p["causes"] if c["mode"] == mode]
    if not causes:
        return f"{MODE_WORDS[mode].capitalize()}: not judged in this study."
    named = list(dict.fromkeys(f"{c['cause']} ({minus(c['limit'])})" for c in causes))
    text = f"{MODE_WORDS[mode].capitalize()} = fails at {', or '.join(named)}"
    temperatures = sorted({c["temperature_C"] for c in causes if c["temperature_C"] is not None})
    if temperatures:
        text += minus(f"; judged at {', '.join(f'{t:g}' for t in temperatures)} °C")
    if not any(v for s in p["pictures"]["interference"]["seats"] for v in s[mode]):
        text += f"; none failed among {p['draws']:,} units drawn"
    return text + "."


def _told(p: dict[str, Any], m: dict[str, Any] | None, mode: str, *, drawn: bool) -> str:
    word = MODE_WORDS[mode]
    if m is None:
        return f"{word} not judged"
    ends = share_range(m["low"], m["high"])
    if m["share"] == 0.0:
        return f"{word} none in {p['draws']:,} drawn ({ends})"
    rare = "" if drawn else f", none in {p['draws']:,} drawn"
    return f"{word} {share(m['share'], m['low'], m['high'])} ({ends}{rare})"


def _alt(p: dict[str, Any]) -> str:
    at = p["pictures"]["interference"]["at_C"]
    told = [f"Histogram of the interference of both seats at {at:g} °C on a scale of decades."]
    for s in p["seats"]:
        drawn = p["pictures"]["interference"]["seats"][s["seat"] - 1]
        shares = ", ".join(
            _told(p, s["modes"].get(mode), mode, drawn=any(drawn[mode])) for mode in _FAILS
        )
        told.append(f"Seat {clean(s['name'])}: {shares}.")
        for r in s["interference"]:
            who = f"{clean(r['build'])}: " if len(s["interference"]) > 1 else ""
            low, high = r["simulated_um"]
            told.append(
                f"{who}99.73 % of the seats between {micrometres(low)} and "
                f"{micrometres(high)} µm, mean {micrometres(r['mean_um'])} µm."
            )
    return " ".join(told)


def _table(p: dict[str, Any], q: dict[str, Any], s: dict[str, Any]) -> Table:
    edges = q["edges_um"]
    together = -(-(len(edges) - 1) // _ROWS)
    columns = [s["all"], s["loose"], s["tight"]]
    heads = ["all", MODE_WORDS["loose"], MODE_WORDS["tight"]]
    for name, i in _lines(q):
        columns.append(s["builds"][i]["all"])
        heads.append(clean(name))
    rows = []
    for i in range(0, len(edges) - 1, together):
        j = min(i + together, len(edges) - 1)
        rows.append(
            (
                f"{micrometres(edges[i])} to {micrometres(edges[j])}",
                *(_parts_per_million(sum(c[i:j])) for c in columns),
            )
        )
    return Table(
        caption=f"Seat {clean(s['name'])}: seats in a million, by interference at {q['at_C']:g} °C",
        head=("interference [µm]", *(f"{h} [per million]" for h in heads)),
        rows=tuple(rows),
    )


def _parts_per_million(value: float) -> str:
    return "0" if value == 0.0 else f"{1e6 * value:,.2g}" if value < 1e-4 else f"{1e6 * value:,.0f}"
