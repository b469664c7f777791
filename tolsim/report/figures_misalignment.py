"""Misalignment of both seats: the share of units beyond any multiple of each limit."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from tolsim.report.figures_style import (
    BLUE,
    BROWN,
    FAINT,
    INK,
    ORANGE,
    PALE,
    PURPLE,
    RED,
    SLATE,
    SMALL,
    WIDTH,
    Picture,
    Sheet,
    Table,
    shorten,
)
from tolsim.report.numbers import share, share_range, target
from tolsim.report.text import cause_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["picture"]

_LEFT, _KEY, _HEIGHT = 1.3, 2.2, 3.5  # inches
_LABEL = 0.4  # inches from one label to the next, at least
_LINES = (
    (BLUE, "-", "o"),
    (RED, (0, (5, 1.5)), "s"),
    (PURPLE, (0, (1, 1)), "^"),
    (BROWN, (0, (4, 1, 1, 1)), "D"),
    (ORANGE, (0, (7, 2)), "v"),
    (SLATE, (0, (2, 1, 1, 1)), "P"),
)
_TITLE = "Misalignment of both seats, in multiples of its limits"
_READING = (
    "How to read it: the height at which a curve crosses the line of the limit is the share of "
    "units beyond that limit; less offset and tilt of the bores moves a curve to the left in "
    "proportion, and so does a wider limit."
)


def picture(p: dict[str, Any], *, source: str, alone: bool) -> Picture | None:
    """The figure, or None where no limit of alignment is a fixed number."""
    q = p["pictures"]["misalignment"]
    curves = q["quantities"][: len(_LINES)]
    if not curves:
        return None
    floor = 10.0 ** math.floor(math.log10(0.5 / p["draws"]))
    alt = _alt(p, curves)
    sheet = Sheet(
        _HEIGHT + 0.5 + 0.16,
        title=_TITLE,
        notes=_notes(p),
        reading=_READING,
        source=source,
        alone=alone,
    )
    width = WIDTH - _LEFT - _KEY
    ax = sheet.axes(_LEFT, 0.5, width, _HEIGHT)
    reach = _scale(ax, q, curves, floor)
    drawn = [_points(q["step"], c["beyond"], floor) for c in curves]
    # labels leave their curves at heights that all curves pass
    common = math.log(max([points[-1][1] for points in drawn if points], default=floor))
    up = _HEIGHT
    for k, (c, points) in enumerate(zip(curves, drawn, strict=True)):
        colour, dashes, marker = _LINES[k]
        ax.plot(
            [x for x, _ in points],
            [v for _, v in points],
            color=colour,
            linestyle=dashes,
            linewidth=1.8,
        )
        height = math.exp(common * (k + 0.75) / (len(curves) + 0.25))
        up = min(up - _LABEL, _HEIGHT * (1.0 - math.log(height) / math.log(floor)))
        left = _LEFT + width + 0.14
        sheet.write(left, 0.5 + up + 0.02, shorten(_name(p, c), 30), size=SMALL)
        sheet.write(left, 0.5 + up - 0.15, _share_beyond(p, c), size=SMALL)
        if points:
            x, v = _at(points, height)
            to = (reach * (1.0 + 0.1 / width), floor ** (1.0 - up / _HEIGHT))
            ax.plot([x, to[0]], [v, to[1]], color=FAINT, linewidth=0.7, clip_on=False)
            ax.plot([x], [v], marker=marker, ms=6, color=colour, clip_on=False, zorder=5)
    return Picture(
        name="misalignment",
        title=_TITLE,
        svg=sheet.svg(title=_TITLE, alt=alt),
        alt=alt,
        reading=_READING,
        tables=(_table(p, q),),
    )


def _points(step: float, beyond: list[float], floor: float) -> list[tuple[float, float]]:
    """A curve down to the last unit drawn; from there it drops to the foot of the scale."""
    points = [(i * step, v) for i, v in enumerate(beyond) if v > 0.0]
    if points and len(points) < len(beyond):
        points.append((points[-1][0] + step, floor))
    return points


def _scale(ax: Axes, q: dict[str, Any], curves: list[dict[str, Any]], floor: float) -> float:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    longest = max(len(c["beyond"]) for c in curves) - 1
    reach = float(min(5.0, max(1.25, q["step"] * longest)))
    ax.set_xlim(0.0, reach)
    ax.set_yscale("log")
    ax.set_ylim(floor, 1.0)
    decades = [10.0**k for k in range(round(math.log10(floor)), 1)]
    every = -(-len(decades) // 9)
    ax.yaxis.set_major_locator(FixedLocator(decades[::-1][::every]))
    ax.yaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: target(v)))
    ax.grid(axis="y", color=PALE, linewidth=0.6)
    ax.set_axisbelow(True)
    ax.set_ylabel("share of units beyond")
    ax.set_xlabel("misalignment, as a multiple of its limit")
    ax.fill_between([1.0, reach], floor, 1.0, color=PALE, alpha=0.55, linewidth=0)
    ax.axvline(1.0, color=INK, linewidth=1.4)
    ax.annotate(
        "limit: beyond it a unit has failed",
        (1.0, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center" if reach > 2.0 else "right",
        va="bottom",
        fontsize=SMALL,
    )
    return reach


def _at(points: list[tuple[float, float]], height: float) -> tuple[float, float]:
    """Where a falling curve passes a height, straight between its points on the log scale."""
    for (x0, y0), (x1, y1) in pairwise(points):
        if y0 >= height >= y1 and y0 > y1:
            t = (math.log(y0) - math.log(height)) / (math.log(y0) - math.log(y1))
            return x0 + t * (x1 - x0), height
    return points[0] if points[0][1] < height else points[-1]


def _cause(p: dict[str, Any], c: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = next(
        o for o in p["causes"] if o["cause"] == c["cause"] and o["seat"] == c["seat"]
    )
    return found


def _name(p: dict[str, Any], c: dict[str, Any]) -> str:
    return cause_name(c | {"temperature_C": None}, p)


def _share_beyond(p: dict[str, Any], c: dict[str, Any]) -> str:
    o = _cause(p, c)
    return f"{share(o['share'], o['low'], o['high'])} beyond {_amount(c, 1.0)}"


def _amount(c: dict[str, Any], times: float) -> str:
    between = "" if c["unit"] == "°" else " "
    return f"{c['bound'] * times:g}{between}{c['unit']}"


def _notes(p: dict[str, Any]) -> list[str]:
    """Limits of alignment that no curve can show."""
    shown = {c["cause"] for c in p["pictures"]["misalignment"]["quantities"]}
    rest = [
        c
        for c in p["causes"]
        if c["mode"] == "misaligned" and c["cause"] not in shown and c["share"] > 0.0
    ]
    notes = []
    if any(c["beyond"][-1] > 0.0 for c in p["pictures"]["misalignment"]["quantities"]):
        notes.append("The curves go on beyond 5 times the limit, where the picture ends.")
    if not rest:
        return notes
    worst = max(rest, key=lambda c: c["share"])
    told = f"{cause_name(worst, p)}, {share(worst['share'], worst['low'], worst['high'])} of units"
    more = " (the most frequent of its kind)" if len(rest) > 1 else ""
    return [*notes, f"Not drawn, because its limit moves from unit to unit: {told}{more}."]


def _alt(p: dict[str, Any], curves: list[dict[str, Any]]) -> str:
    told = ["Falling curves on a scale of decades: share of units beyond multiples of a limit."]
    for c in curves:
        o = _cause(p, c)
        name = _name(p, c)
        ends = share_range(o["low"], o["high"])
        if o["share"] == 0.0:
            told.append(f"{name}: none beyond {_amount(c, 1.0)} ({ends}).")
        else:
            amount = share(o["share"], o["low"], o["high"])
            told.append(f"{name}: {amount} beyond {_amount(c, 1.0)} ({ends}).")
    return " ".join(told)


def _table(p: dict[str, Any], q: dict[str, Any]) -> Table:
    curves = q["quantities"]
    most = max(len(c["beyond"]) for c in curves)
    stride = max(1, -(-(most - 1) // 16))
    while round(1.0 / q["step"]) % stride and stride < most:  # the limit itself gets a row
        stride += 1
    rows = []
    for i in sorted({*range(0, most, stride), round(1.0 / q["step"])}):
        cells = [c["beyond"][i] if i < len(c["beyond"]) else 0.0 for c in curves]
        rows.append((f"{i * q['step']:g}", *(share(v, v * 0.95, v * 1.05) for v in cells)))
    return Table(
        caption="Share of units beyond multiples of each limit",
        head=(
            "times the limit",
            *(f"{_name(p, c)}, limit {_amount(c, 1.0)}" for c in curves),
        ),
        rows=tuple(rows),
    )
