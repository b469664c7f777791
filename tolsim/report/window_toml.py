"""The demand of a window as a part file that a study can take in the place of its part."""

from __future__ import annotations

import textwrap
from typing import Any

from tolsim.answers.window import Window
from tolsim.answers.window_axes import Axes, Axis, axes_of
from tolsim.report.numbers import clean
from tolsim.spec.emit import emit
from tolsim.spec.load import Stratum
from tolsim.spec.parts import Part

__all__ = ["demand_files", "demand_toml"]

WIDTH = 90


def demand_files(w: Window) -> list[dict[str, Any]]:
    """Every part that the demand is made on: its role, whose it otherwise is, and its TOML.

    Means stand in the middle of what is allowed, spreads at the most that is.
    """
    if w.demand is None:
        return []
    axes = axes_of(w.study, w.x_axis.name, w.y_axis.name)
    box = w.demand.box
    study = axes.at(_taken(w.x_axis, box.x), _taken(w.y_axis, box.y))
    out: list[dict[str, Any]] = []
    for role in dict.fromkeys(a.path.partition(".")[0] for a in (axes.x, axes.y)):
        stratum = next((s for s in study.strata if role in s.parts), None)
        if stratum is not None:
            out.append(_file(axes, stratum, role))
    return out


def _taken(axis: Axis, ends: tuple[float, float]) -> float:
    return ends[1] if axis.spread else 0.5 * (ends[0] + ends[1])


def _file(axes: Axes, stratum: Stratum, role: str) -> dict[str, Any]:
    part: Part = stratum.parts[role]
    title = f"Demand on the {role}, otherwise as {stratum.names[role]}: {part.title}"
    told = part.model_copy(update={"title": title, "basis": "assumed"})
    return {"role": role, "otherwise": stratum.names[role], "toml": emit(told)}


def demand_toml(p: dict[str, Any], sentence: str) -> str:
    """The demand of a payload ``tolsim/window/1`` as a part file; a second part as comment.

    The head says what is demanded and what it rests on: study, inputs by digest, seed, version.
    """
    lines = [f"# {line}" for line in textwrap.wrap(clean(sentence), WIDTH - 2)]
    d = p["demand"]
    if d is None:
        return "\n".join(lines) + "\n"
    for axis, ends in ((p["x"], d["x"]), (p["y"], d["y"])):
        lines.append(f"# {axis['name']}: {ends[0]:.4g} to {ends[1]:.4g} {axis['unit']}".rstrip())
    made = p["provenance"]
    targets = ", ".join(f"{m} {t:g}" for m, t in p["targets"].items())
    lines += [
        f"# Met there: {targets} of units. Basis: tolsim window of {clean(p['study']['file'])}, "
        f"seed {p['seed']},",
        f"# tolsim {made['tolsim']}; inputs:",
        *(f"#   {clean(i['name'])} sha256 {i['sha256']}" for i in made["inputs"]),
    ]
    files = d["files"]
    if not files:
        return "\n".join(lines) + "\n"
    lines += ["", files[0]["toml"].rstrip()]
    for more in files[1:]:
        lines += ["", f"# a second file, the {more['role']}:"]
        lines += [f"# {line}".rstrip() for line in more["toml"].rstrip().splitlines()]
    return "\n".join(lines) + "\n"
