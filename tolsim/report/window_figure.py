"""The picture of a window: where all targets are met, each rate's contours, suppliers as points."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from tolsim.report.figures_style import (
    BLUE,
    FAINT,
    INK,
    PALE,
    PURPLE,
    RED,
    SLATE,
    SMALL,
    Sheet,
    drawing,
    shorten,
)
from tolsim.report.numbers import clean, target
from tolsim.report.text import MODE_WORDS
from tolsim.report.window import axis_words, demand_sentence, from_nominal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["window_figure"]

# Narrow enough for a telephone at its own size; a wide screen shows it larger.
_WIDTH, _LEFT, _RIGHT, _BELOW, _HEIGHT = 3.85, 0.62, 0.12, 0.52, 3.1  # inches
_LINE, _COLUMN = 0.17, 1.93  # of the key [in]
_SHOWN = "width:100%;max-width:600px;height:auto"
#: Left, bottom, width and height [pt].
Place = tuple[float, float, float, float]
_STYLES: dict[str, Any] = {
    "creak": (RED, "-"),
    "tight": (BLUE, (0, (5, 1.5))),
    "loose": (PURPLE, (0, (1, 1))),
    "misaligned": (SLATE, (0, (4, 1, 1, 1))),
    "bond": (INK, (0, (7, 2))),
}
_READING = (
    "How to read it: a process whose point lies in the hatched region meets all targets. A bold "
    "line is where one rate just meets its target, the fine lines beside it where the rate is ten "
    "times and a tenth of that; numbers on the lines are the rates."
)


def window_figure(p: dict[str, Any]) -> str:
    """The figure of a payload ``tolsim/window/1`` as SVG; same payload, same bytes."""
    title = "Where all targets are met"
    source = (
        f"{clean(p['study']['title'])} — {p['units']:,} units drawn of each combination of parts, "
        f"seed {p['seed']}, tolsim {p['provenance']['tolsim']}."
    )
    items = _items(p)
    key = _LINE * sum(max(len(i[1]) for i in pair) + 0.6 for pair in _pairs(items))
    with drawing():
        sheet = Sheet(
            key + _HEIGHT + _BELOW + 0.1,
            title=title,
            notes=(demand_sentence(p),),
            reading=_READING,
            source=source,
            alone=True,
            width=_WIDTH,
        )
        ax = sheet.axes(_LEFT, key + _BELOW, _WIDTH - _LEFT - _RIGHT, _HEIGHT)
        _region(ax, p)
        for mode in p["targets"]:
            _contours(ax, p, mode)
        _box(ax, p)
        _suppliers(sheet, ax, p)
        for axis, of in ((ax.xaxis, p["x"]), (ax.yaxis, p["y"])):
            unit = f" [{of['unit']}{from_nominal(of)}]" if of["unit"] else ""
            axis.set_label_text(f"{axis_words(of)}{unit}", fontsize=SMALL)
        ax.set_xlim(p["x"]["values"][0], p["x"]["values"][-1])
        ax.set_ylim(p["y"]["values"][0], p["y"]["values"][-1])
        ax.locator_params(axis="x", nbins=6)
        _key(sheet, items, key)
        svg = sheet.svg(title=title, alt=_alt(p))
    return svg.replace("<svg ", f'<svg style="{_SHOWN}" ', 1)


def _score(p: dict[str, Any], mode: str) -> Any:
    return np.log10(np.maximum(np.array(p["rates"][mode]["value"]), 1e-12))


def _region(ax: Axes, p: dict[str, Any]) -> None:
    worst = np.maximum.reduce([_score(p, m) - math.log10(t) for m, t in p["targets"].items()])
    if worst.min() < 0.0:
        x, y = p["x"]["values"], p["y"]["values"]
        ax.contourf(x, y, worst, levels=[-99.0, 0.0], colors=[PALE], alpha=0.6)
        hatched = ax.contourf(x, y, worst, levels=[-99.0, 0.0], colors="none", hatches=["///"])
        hatched.set_edgecolor(FAINT)
        hatched.set_linewidth(0.0)


def _contours(ax: Axes, p: dict[str, Any], mode: str) -> None:
    colour, dashes = _STYLES[mode]
    score, goal = _score(p, mode), math.log10(p["targets"][mode])
    for off in (0.0, -1.0, 1.0):
        level = goal + off
        if not (score.min() < level < score.max()) or level > math.log10(0.9):
            continue
        lines = ax.contour(
            p["x"]["values"],
            p["y"]["values"],
            score,
            levels=[level],
            colors=[colour],
            linestyles=[dashes],
            linewidths=[2.0 if off == 0.0 else 0.8],
        )
        text = f"{100.0 * 10.0**level:.3g} %" if level > -4.5 else target(10.0**level)
        labels = ax.clabel(lines, fmt=lambda _, text=text: text, fontsize=SMALL, inline_spacing=3)
        for label in labels:
            label.set_color(colour)


def _box(ax: Axes, p: dict[str, Any]) -> None:
    from matplotlib.patches import Rectangle

    if p["demand"] is None:
        return
    (a, b), (c, d) = p["demand"]["x"], p["demand"]["y"]
    c = max(c, p["y"]["values"][0])
    ax.add_patch(
        Rectangle((a, c), b - a, d - c, fill=False, edgecolor=INK, linewidth=1.6, zorder=4)
    )


def _suppliers(sheet: Sheet, ax: Axes, p: dict[str, Any]) -> None:
    from matplotlib.patheffects import withStroke

    shown = [
        t
        for t in p["today"]
        if p["x"]["values"][0] <= t["x"][0] <= p["x"]["values"][-1]
        and p["y"]["values"][0] <= t["y"][0] <= p["y"]["values"][-1]
    ]
    for t in shown:
        (x, x0, x1), (y, y0, y1) = t["x"], t["y"]
        measured = t["readings"] > 0
        if measured:
            ax.plot([x0, x1], [y, y], color=INK, linewidth=1.3, zorder=5, marker="|", ms=5)
            ax.plot([x, x], [y0, y1], color=INK, linewidth=1.3, zorder=5, marker="_", ms=5)
        face = INK if measured else "white"
        ax.plot([x], [y], "o" if measured else "s", ms=6, mfc=face, mec=INK, zorder=6)
    for t, (right, up) in zip(shown, _sides(sheet, ax, p, shown), strict=True):
        named = ax.annotate(
            shorten(t["name"], 24),
            (t["x"][0], t["y"][0]),
            xytext=(8 if right else -8, 6 if up else -6),
            textcoords="offset points",
            ha="left" if right else "right",
            va="bottom" if up else "top",
            zorder=7,
        )
        named.set_path_effects([withStroke(linewidth=3.0, foreground="white")])


def _sides(
    sheet: Sheet, ax: Axes, p: dict[str, Any], shown: list[dict[str, Any]]
) -> list[tuple[bool, bool]]:
    """On which side of its point each name stands, away from other points and names."""
    box = ax.get_position()
    width, height = (
        72.0 * box.width * sheet.width,
        72.0 * box.height * sheet.height,
    )
    spans = [(a["values"][0], a["values"][-1] - a["values"][0]) for a in (p["x"], p["y"])]
    at = [
        (
            (t["x"][0] - spans[0][0]) / spans[0][1] * width,
            (t["y"][0] - spans[1][0]) / spans[1][1] * height,
        )
        for t in shown
    ]
    taken: list[Place] = [(x - 4, y - 4, 8, 8) for x, y in at]
    out = []
    for t, (x, y) in zip(shown, at, strict=True):
        w = 6.0 * min(24, len(t["name"]))
        best = min(
            ((r, u) for r in (True, False) for u in (True, False)),
            key=lambda side: _clash(x, y, w, side, taken, width),
        )
        taken.append(_place(x, y, w, best))
        out.append(best)
    return out


def _place(x: float, y: float, w: float, side: tuple[bool, bool]) -> Place:
    return (x + 8 if side[0] else x - 8 - w, y + 6 if side[1] else y - 18, w, 12)


def _clash(
    x: float, y: float, w: float, side: tuple[bool, bool], taken: list[Place], width: float
) -> float:
    """Area [pt2] that a name there shares with what is drawn already, or hangs out of the plot."""
    a, b, w, h = _place(x, y, w, side)
    total = h * (max(0.0, -a) + max(0.0, a + w - width))
    for c, d, u, v in taken:
        total += max(0.0, min(a + w, c + u) - max(a, c)) * max(0.0, min(b + h, d + v) - max(b, d))
    return total


#: What draws a mark at a height [in], and the lines of text beside it.
Item = tuple[Callable[["Axes", float, float], object], tuple[str, ...]]


def _items(p: dict[str, Any]) -> list[Item]:
    """Marks and what they stand for."""
    out: list[Item] = [
        (_patch(facecolor=PALE, edgecolor=FAINT, hatch="///", lw=0), ("all targets met",))
    ]
    if p["demand"] is not None:
        out.append((_patch(fill=False, ec=INK, lw=1.6), ("the demand",)))
    for mode, goal in p["targets"].items():
        colour, dashes = _STYLES[mode]
        mark = _line(color=colour, linestyle=dashes, linewidth=2.0)
        out.append((mark, (MODE_WORDS[mode], f"target {target(goal)}")))
    kinds = {t["readings"] > 0 for t in p["today"]}
    if True in kinds:
        mark = _line(color=INK, linewidth=1.3, marker="o", markevery=[1], mfc=INK, mec=INK)
        out.append((mark, ("supplier today with", "its 95 % interval")))
    if False in kinds:
        mark = _line(color="none", marker="s", markevery=[1], mfc="white", mec=INK)
        out.append((mark, ("supplier today,", "assumed")))
    return out


def _patch(**how: Any) -> Callable[[Axes, float, float], object]:
    from matplotlib.patches import Rectangle

    return lambda ax, x, y: ax.add_patch(Rectangle((x, y - 0.07), 0.3, 0.14, **how))


def _line(**how: Any) -> Callable[[Axes, float, float], object]:
    return lambda ax, x, y: ax.plot([x, x + 0.15, x + 0.3], [y, y, y], ms=6, **how)


def _pairs(items: list[Item]) -> list[list[Item]]:
    return [items[k : k + 2] for k in range(0, len(items), 2)]


def _key(sheet: Sheet, items: list[Item], height: float) -> None:
    """Marks and what they stand for, below the plot in two columns."""
    ax = sheet.axes(0.0, 0.0, _WIDTH, height)
    ax.set_xlim(0.0, _WIDTH)
    ax.set_ylim(0.0, height)
    ax.axis("off")
    y = height - 0.1
    for pair in _pairs(items):
        for k, (mark, lines) in enumerate(pair):
            mark(ax, _COLUMN * k + 0.02, y)
            for i, line in enumerate(lines):
                ax.text(_COLUMN * k + 0.4, y - i * _LINE, line, fontsize=SMALL, va="center")
        y -= _LINE * (max(len(lines) for _, lines in pair) + 0.6)


def _alt(p: dict[str, Any]) -> str:
    x, y = p["x"], p["y"]
    names = ", ".join(t["name"] for t in p["today"])
    return (
        f"Contours of {', '.join(MODE_WORDS[m] for m in p['targets'])} over the {axis_words(x)} "
        f"from {x['values'][0]:.4g} to {x['values'][-1]:.4g} {x['unit']} and the {axis_words(y)} "
        f"from {y['values'][0]:.4g} to {y['values'][-1]:.4g} {y['unit']}. {demand_sentence(p)} "
        f"Points: {names}."
    )
