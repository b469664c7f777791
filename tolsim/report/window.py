"""A window as a payload, as text and as a picture."""

from __future__ import annotations

import io
import textwrap
from typing import Any

import numpy as np

from tolsim.answers.window import Window
from tolsim.report.numbers import clean, micrometres, share, target
from tolsim.report.payload import provenance
from tolsim.report.text import MODE_WORDS

__all__ = ["demand_step", "window_figure", "window_payload", "window_text"]

SCHEMA = "tolsim/window/1"
WIDTH = 92


def window_payload(w: Window) -> dict[str, Any]:
    """Payload ``tolsim/window/1``; axes in µm, rates as fractions, rows by y."""
    return {
        "schema": SCHEMA,
        "study": {"title": w.study.spec.title, "file": w.study.name},
        "seed": w.seed,
        "supply": w.supply,
        "x": {"name": w.x_name, "um": [1e3 * v for v in w.x.tolist()]},
        "y": {"name": w.y_name, "um": [1e3 * v for v in w.y.tolist()]},
        "targets": w.targets,
        "rates": {m: r.tolist() for m, r in w.rates.items()},
        "good": w.good.tolist(),
        "today": [
            {
                "name": t.name,
                "measured": t.measured,
                "x_um": [1e3 * v for v in t.x],
                "y_um": [1e3 * v for v in t.y],
            }
            for t in w.today
        ],
        "demand": None
        if w.demand is None
        else {
            "middle_um": 1e3 * w.demand.middle,
            "half_um": 1e3 * w.demand.half,
            "y_most_um": 1e3 * w.demand.y_most,
        },
        "samples": w.samples,
        "provenance": provenance(w.study.sources, seed=w.seed, draws=0),
    }


def _demand_sentence(p: dict[str, Any]) -> str:
    d = p["demand"]
    if d is None:
        return "No demand on mean and spread within these axes meets all targets."
    kind = p["y"]["name"].rpartition(".")[2]
    what = "at a standard deviation up to" if kind == "sd" else "in a band no wider than"
    return (
        f"Hold the {p['x']['name'].rpartition('.')[2]} of {p['x']['name'].rpartition('.')[0]} "
        f"within {micrometres(d['middle_um'])} ± {micrometres(d['half_um'])} µm {what} "
        f"{micrometres(d['y_most_um'])} µm."
    )


def window_text(p: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/window/1``: the demand, the suppliers, a coarse table."""
    lines: list[str] = []

    def say(text: str = "", indent: str = "") -> None:
        lines.extend(
            textwrap.wrap(clean(text), WIDTH, initial_indent=indent, subsequent_indent=indent)
            or [""]
        )

    say(p["study"]["title"])
    say()
    if p["x"]["name"].rpartition(".")[0] == p["y"]["name"].rpartition(".")[0]:
        say(_demand_sentence(p))
    goals = ", ".join(f"{MODE_WORDS[m]} {target(t)}" for m, t in p["targets"].items())
    if p["demand"] is not None:
        say(f"All targets ({goals}) are met there.")
    say()
    for t in p["today"]:
        inside = _at(p, t["x_um"][0], t["y_um"][0])
        state = "measured" if t["measured"] else "assumed"
        where = {True: "inside", False: "outside", None: "beyond the axes"}[inside]
        say(
            f"{t['name']} today ({state}): {p['x']['name'].rpartition('.')[2]} "
            f"{_ends(t['x_um'])}, {p['y']['name'].rpartition('.')[2]} {_ends(t['y_um'])}: {where}.",
            "  ",
        )
    say()
    for mode, goal in p["targets"].items():
        say(f"{MODE_WORDS[mode]}, target {target(goal)} (* met):")
        lines.extend(_table(p, mode, goal))
        say()
    return "\n".join(lines).rstrip() + "\n"


def _ends(v: list[float]) -> str:
    if v[1] == v[2]:
        return f"{micrometres(v[0])} µm"
    return f"{micrometres(v[1])} to {micrometres(v[2])} µm"


def _at(p: dict[str, Any], x: float, y: float) -> bool | None:
    xs, ys = np.array(p["x"]["um"]), np.array(p["y"]["um"])
    if not (xs[0] <= x <= xs[-1] and ys[0] <= y <= ys[-1]):
        return None
    return bool(p["good"][int(np.abs(ys - y).argmin())][int(np.abs(xs - x).argmin())])


def _table(p: dict[str, Any], mode: str, goal: float) -> list[str]:
    xs, ys = p["x"]["um"], p["y"]["um"]
    columns = sorted({round(k) for k in np.linspace(0, len(xs) - 1, 7)})
    rows = sorted({round(k) for k in np.linspace(0, len(ys) - 1, 7)})
    kind = p["y"]["name"].rpartition(".")[2]
    head = f"  {kind + ' µm':>9}  " + "".join(f"{micrometres(xs[i]):>13}" for i in columns)
    out = [head + "  µm " + p["x"]["name"].rpartition(".")[2]]
    for j in rows:
        cells = ""
        for i in columns:
            value = p["rates"][mode][j][i]
            text = (
                "none"
                if value <= 0.0
                else share(value).replace(" per million", " ppm").replace("below ", "<")
            )
            cells += f"{text + ('*' if value <= goal else ' '):>13}"
        out.append(f"  {micrometres(ys[j]):>9}  {cells}")
    return out


def demand_step(p: dict[str, Any]) -> str:
    """The demand as a machine step: the worst corner that still holds, as TOML."""
    d = p["demand"]
    if d is None:
        return "# no mean and spread within the axes meets all targets\n"
    sd = d["y_most_um"] / (1.0 if p["y"]["name"].endswith(".sd") else 6.0)
    return (
        f"# {_demand_sentence(p)}\n"
        "[[diameter.route]]\n"
        'step    = "machine"\n'
        f"mean_um = {d['middle_um']:.4g}\n"
        f"sd_um   = {sd:.4g}\n"
    )


def window_figure(p: dict[str, Any]) -> str:
    """Contours of each rate at its target, the good region, suppliers as points, as SVG."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    from tolsim.report.figures_style import drawing

    styles = ("solid", "dashed", "dotted", "dashdot")
    with drawing():
        figure = Figure(figsize=(7.2, 5.4))
        FigureCanvasSVG(figure)
        ax = figure.add_axes((0.11, 0.2, 0.86, 0.7))
        xs, ys = np.array(p["x"]["um"]), np.array(p["y"]["um"])
        over = [
            np.log10(np.maximum(np.array(p["rates"][m]), 1e-12) / goal)
            for m, goal in p["targets"].items()
        ]
        worst = np.maximum.reduce(over)
        ax.contourf(xs, ys, worst, levels=[-99.0, 0.0], colors=["#d9e6d9"], hatches=["/"])
        for k, (mode, goal) in enumerate(p["targets"].items()):
            rate = np.maximum(np.array(p["rates"][mode]), 1e-12)
            if rate.min() < goal < rate.max():
                lines = ax.contour(
                    xs,
                    ys,
                    np.log10(rate),
                    levels=[float(np.log10(goal))],
                    colors=["#222222"],
                    linestyles=[styles[k % 4]],
                )
                label = f"{MODE_WORDS[mode]} {target(goal)}"
                ax.clabel(lines, fmt=lambda _, text=label: text, fontsize=8)
        for t in p["today"]:
            x, y = t["x_um"], t["y_um"]
            ax.errorbar(
                x[0],
                y[0],
                xerr=[[x[0] - x[1]], [x[2] - x[0]]],
                yerr=[[y[0] - y[1]], [y[2] - y[0]]],
                fmt="o" if t["measured"] else "s",
                color="#1f4e79",
                capsize=3,
            )
            ax.annotate(_plain(t["name"]), (x[0], y[0]), xytext=(6, 5), textcoords="offset points")
        ax.set_xlim(xs[0], xs[-1])
        ax.set_ylim(ys[0], ys[-1])
        ax.set_xlabel(f"{p['x']['name']} [µm from nominal]")
        ax.set_ylabel(f"{p['y']['name']} [µm]")
        figure.text(0.02, 0.95, _plain(f"Where all targets are met: {p['study']['title']}"))
        figure.text(
            0.02,
            0.03,
            "How to read it: hatched = all targets met; a line is where one rate just meets its "
            "target.\nDots are measured suppliers with the intervals of their readings, squares "
            "assumed ones.",
            fontsize=8,
        )
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None})
    return out.getvalue()


def _plain(text: str) -> str:
    return clean(text).replace("\\", "\\\\").replace("$", r"\$")
