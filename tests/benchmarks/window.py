"""A window of 40 x 40 points at targets of 1e-3, wall time and how far its points may be off."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.benchmarks.row import Row
from tolsim.answers.window import window
from tolsim.answers.window_axes import axes_of
from tolsim.answers.window_mesh import counted
from tolsim.spec.load import Study, load_study

__all__ = ["rows"]

STUDIES = Path(__file__).parents[2] / "studies"
PAIR = ("bore.diameter.mean", "bore.diameter.sd")
_GOAL = 10.0  # seconds
_CHECKED = 24  # points that are counted besides


def _study(name: str) -> Study:
    """A study with creak and overly tight at 1e-3 each."""
    study = load_study(STUDIES / name)
    targets = study.spec.targets.model_copy(update={"creak": 1e-3, "tight": 1e-3})
    return replace(study, spec=study.spec.model_copy(update={"targets": targets}))


def rows() -> list[Row]:
    """One size of three studies: time, and points outside both intervals widened by half."""
    out = []
    for name in ("north-seat", "three-shops", "sleeved-alloy"):
        study = _study(name)
        began = time.perf_counter()
        w = window(study, *PAIR, points=40, seed=11, workers=2)
        seconds = time.perf_counter() - began
        note = f"{w.method}, {w.units:,} units, 2 threads"
        out.append(Row.at_most(f"window 40 x 40 at 1e-3 on {name}, seconds", _GOAL, seconds, note))
        axes = axes_of(study, *PAIR)
        rng = np.random.default_rng(3)
        missed = pairs = 0
        for i, j in rng.integers(0, 40, (_CHECKED, 2)):
            at = axes.at(float(w.x[i]), float(w.y[j]))
            found = counted(at, tuple(w.targets), seed=12, blocks=64, workers=2)
            for mode, (value, low, high) in found.items():
                if value < 2e-5:
                    continue
                pairs += 1
                r = w.rates[mode]
                here, least, most = (float(v[j, i]) for v in (r.value, r.low, r.high))
                apart = value + 1.5 * (high - value) < here - 1.5 * (here - least)
                apart |= value - 1.5 * (value - low) > here + 1.5 * (most - here)
                missed += int(apart)
        out.append(
            Row(
                what=f"points of that window apart from counts there, of {pairs}",
                goal="0",
                measured=float(missed),
                met=missed == 0,
            )
        )
    return out
