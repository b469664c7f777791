"""The parts of every shop as boxes and whiskers against the drawing band."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from tolsim.report.figures_style import (
    BLUE,
    FAINT,
    INK,
    NORMAL,
    PALE,
    SMALL,
    WIDTH,
    Picture,
    Sheet,
    Table,
    shorten,
)
from tolsim.report.numbers import clean, micrometres

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["picture"]

_ROW, _HEAD, _BAND = 0.44, 0.24, 0.2  # inches: a row, a heading, the numbers of a band
_LEFT = 2.05  # inches for the labels
_MOST = 14  # rows drawn, so that the figure fits a page; the table has all
_WORDS = {
    "bore.diameter": "Bores",
    "bearing.outside": "Bearing rings, outside",
    "sleeve.outside": "Sleeves, outside",
    "sleeve.inside": "Sleeves, inside",
}
_NO_SIZE = (".clearance", ".gap")  # features that are no deviation from a nominal size
_TITLE = "Parts as they come from the shops, against the drawing band"
_READING = (
    "How to read it: compare each box with the grey band behind it; a box beside the middle of "
    "its band calls for re-centring the shop, whiskers beyond the band for a steadier process or "
    "a wider band, and readings in place of an assumption would change the box itself."
)
_KEY = (
    (
        True,
        "readings: box = middle half, thick line = median, whiskers = furthest reading within",
        "1.5 box lengths of the box, circles = readings beyond",
    ),
    (
        False,
        "assumed, nothing measured: box = middle half, thick line = median,",
        "whiskers = the points that 0.135 % of the parts lie below and above",
    ),
)


def picture(p: dict[str, Any], *, source: str, alone: bool) -> Picture | None:
    """The figure, or None where no part has a diameter."""
    parts = [q for q in p["pictures"]["parts"] if not q["feature"].endswith(_NO_SIZE)]
    if not parts:
        return None
    drawn = _chosen(p, parts)
    notes = []
    if len(parts) > len(drawn):
        notes.append(f"{len(parts) - len(drawn)} more rows stand in the table only.")
    features = [
        (feature, [(band, list(of)) for band, of in groupby(rows, key=lambda q: q["band_um"])])
        for feature, rows in groupby(drawn, key=lambda q: q["feature"])
    ]
    bands = sum(len(groups) for _, groups in features)
    rows_height = _ROW * len(drawn) + _HEAD * len(features) + _BAND * bands
    alt = _alt(p, parts)
    kinds = [k for k in _KEY if any((q["readings"] is not None) == k[0] for q in drawn)]
    below = 0.5 + 0.42 * len(kinds) + 0.3
    sheet = Sheet(
        rows_height + below,
        title=_TITLE,
        notes=notes,
        reading=_READING,
        source=source,
        alone=alone,
    )
    ax = sheet.axes(_LEFT, below, WIDTH - _LEFT - 0.1, rows_height)
    _frame(ax, drawn, rows_height)
    y = rows_height
    for feature, groups in features:
        y -= _HEAD
        sheet.write(0.0, below + y, _words(feature), weight="bold", size=NORMAL)
        for band, of in groups:
            y -= _BAND
            if band is not None:
                _band(ax, band, y, y - _ROW * len(of))
            for q in of:
                first, second = _label(p, q)
                middle = y - 0.5 * _ROW
                sheet.write(0.08, below + middle + 0.03, first, size=SMALL)
                sheet.write(0.08, below + middle - 0.13, second, size=SMALL, color=FAINT)
                _box(ax, q, middle)
                y -= _ROW
    _key(sheet, kinds, below - 0.5)
    return Picture(
        name="parts",
        title=_TITLE,
        svg=sheet.svg(title=_TITLE, alt=alt),
        alt=alt,
        reading=_READING,
        tables=(_table(p, parts),),
    )


def _chosen(p: dict[str, Any], parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """As many rows as fit, of every feature, those that most units are made from."""
    units = {s["name"]: s["share"] for s in p["supply"]}
    of: dict[str, list[int]] = {}
    for i, q in enumerate(parts):
        of.setdefault(q["feature"], []).append(i)
    room, kept = _MOST, set[int]()
    for k, rows in enumerate(sorted(of.values(), key=len)):  # what few need is left to the others
        rows.sort(key=lambda i: -sum(units.get(s, 0.0) for s in parts[i]["supplies"]))
        chosen = rows[: room // (len(of) - k)]
        room -= len(chosen)
        kept.update(chosen)
    return [parts[i] for i in sorted(kept)]


def _words(feature: str) -> str:
    return _WORDS.get(feature, clean(feature).replace(".", ", ").capitalize())


def _name(p: dict[str, Any], q: dict[str, Any]) -> str:
    """The part's name, with its supplies where these are not all the same."""
    name = clean(q["part"].rsplit("/", 1)[-1])
    several = len(p["supply"]) > 1
    if several and len(q["supplies"]) < len(p["supply"]):
        return f"{', '.join(clean(s) for s in q['supplies'])}: {name}"
    return name


def _told(q: dict[str, Any]) -> str:
    return "assumed" if q["readings"] is None else f"{q['readings']} readings"


def _label(p: dict[str, Any], q: dict[str, Any]) -> tuple[str, str]:
    seat = "" if q["seat"] is None else f"seat {clean(q['seat'])}, "
    return shorten(_name(p, q), 27), shorten(seat + _told(q), 27)


def _frame(ax: Axes, parts: list[dict[str, Any]], height: float) -> None:
    values = [
        v
        for q in parts
        for v in (q["low_um"], q["high_um"], *q["beyond_um"], *(q["band_um"] or ()))
    ]
    pad = max(0.12 * (max(values) - min(values)), 1.0)  # room for the ends of the bands
    ax.set_xlim(min(values) - pad, max(values) + pad)
    ax.set_ylim(0.0, height)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x", color=PALE, linewidth=0.6)
    ax.set_axisbelow(True)
    ax.set_xlabel("deviation from the nominal size [µm]")


def _band(ax: Axes, band: list[float], top: float, bottom: float) -> None:
    low, high = band
    ax.fill_betweenx([bottom + 0.03, top - 0.03], low, high, color=PALE, linewidth=0)
    for x, side in ((low, "right"), (high, "left")):
        ax.plot([x, x], [bottom + 0.03, top - 0.03], color=FAINT, linewidth=1.2)
        ax.annotate(
            f"{micrometres(x)} µm",
            (x, top),
            xytext=(0, 1),
            textcoords="offset points",
            ha=side,
            va="bottom",
            fontsize=SMALL,
            color=FAINT,
        )


def _box(ax: Axes, q: dict[str, Any], y: float, half: float = 0.1) -> None:
    from matplotlib.patches import Rectangle

    measured = q["readings"] is not None
    style = "-" if measured else (0, (3, 1.5))
    for a, b in ((q["low_um"], q["q1_um"]), (q["q3_um"], q["high_um"])):
        ax.plot([a, b], [y, y], color=INK, linewidth=1.2, linestyle=style)
    for x in (q["low_um"], q["high_um"]):
        ax.plot([x, x], [y - 0.6 * half, y + 0.6 * half], color=INK, linewidth=1.2)
    ax.add_patch(
        Rectangle(
            (q["q1_um"], y - half),
            q["q3_um"] - q["q1_um"],
            2.0 * half,
            facecolor=BLUE if measured else "white",
            edgecolor=INK if measured else FAINT,
            hatch=None if measured else "////",
            linewidth=1.0,
            zorder=3,
        )
    )
    median = q["median_um"]
    ax.plot([median, median], [y - half, y + half], color=INK, linewidth=2.6, zorder=4)
    beyond = q["beyond_um"]
    ax.plot(
        beyond,
        [y] * len(beyond),
        linestyle="none",
        marker="o",
        markersize=4,
        markerfacecolor="white",
        markeredgecolor=INK,
        zorder=3,
    )


def _key(sheet: Sheet, kinds: list[tuple[bool, str, str]], top: float) -> None:
    """What box, line and whiskers mean, beside a box of each kind."""
    sample = {"low_um": 0.0, "q1_um": 0.28, "median_um": 0.5, "q3_um": 0.68, "high_um": 1.0}
    y = top
    for measured, first, second in kinds:
        ax = sheet.axes(0.08, y - 0.36, 0.72, 0.36)
        ax.set_axis_off()
        ax.set_xlim(-0.05, 1.25)
        ax.set_ylim(0.0, 0.36)
        _box(
            ax,
            {
                **sample,
                "readings": 1 if measured else None,
                "beyond_um": [1.15] if measured else [],
            },
            0.18,
        )
        sheet.write(0.95, y - 0.15, first, size=SMALL)
        sheet.write(0.95, y - 0.31, second, size=SMALL)
        y -= 0.42
    ax = sheet.axes(0.08, y - 0.2, 0.72, 0.2)
    ax.set_axis_off()
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(0.0, 0.2)
    ax.fill_betweenx([0.0, 0.2], 0.1, 0.9, color=PALE, linewidth=0)
    for x in (0.1, 0.9):
        ax.plot([x, x], [0.0, 0.2], color=FAINT, linewidth=1.2)
    sheet.write(0.95, y - 0.16, "drawing band, from its lower to its upper limit", size=SMALL)


def _against(q: dict[str, Any]) -> str:
    """Where box and whiskers lie against the band."""
    if q["band_um"] is None:
        return "no drawing band"
    low, high = q["band_um"]
    values = (q["low_um"], q["high_um"], *q["beyond_um"])
    sides = [w for w, out in (("below", min(values) < low), ("above", max(values) > high)) if out]
    where = f"reaches {' and '.join(sides)} it" if sides else "stays inside it"
    return f"band {micrometres(low)} to {micrometres(high)} µm, {where}"


def _full(p: dict[str, Any], q: dict[str, Any]) -> str:
    seat = "" if q["seat"] is None else f", seat {clean(q['seat'])}"
    return f"{_name(p, q)}{seat}"


def _alt(p: dict[str, Any], parts: list[dict[str, Any]]) -> str:
    told = [f"Box plot of {len(parts)} groups of parts, deviations from nominal."]
    for q in parts:
        told.append(
            f"{_words(q['feature'])}, {_full(p, q)} ({_told(q)}): median "
            f"{micrometres(q['median_um'])} µm, middle half {micrometres(q['q1_um'])} to "
            f"{micrometres(q['q3_um'])} µm, whiskers {micrometres(q['low_um'])} to "
            f"{micrometres(q['high_um'])} µm; {_against(q)}."
        )
    return " ".join(told)


def _table(p: dict[str, Any], parts: list[dict[str, Any]]) -> Table:
    def row(q: dict[str, Any]) -> tuple[str, ...]:
        limits = q["band_um"]
        five = (q[k] for k in ("low_um", "q1_um", "median_um", "q3_um", "high_um"))
        return (
            f"{_words(q['feature'])}: {_full(p, q)}",
            _told(q),
            *(("none", "none") if limits is None else map(micrometres, limits)),
            *(micrometres(v) for v in five),
            "none" if q["readings"] is None else str(q["beyond"]),
        )

    return Table(
        caption="Deviations from the nominal size",
        head=(
            "parts",
            "basis",
            "lower limit [µm]",
            "upper limit [µm]",
            "lower whisker [µm]",
            "lower quartile [µm]",
            "median [µm]",
            "upper quartile [µm]",
            "upper whisker [µm]",
            "beyond whiskers [readings]",
        ),
        rows=tuple(row(q) for q in parts),
    )
