"""The demand that a window makes, rerun at its corners before it is told."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import events_of
from tolsim.answers.window_axes import Axes
from tolsim.answers.window_demand import Box, Corner, Demand, largest_box, meets, rounded
from tolsim.answers.window_mesh import counted
from tolsim.answers.window_ways import Finer
from tolsim.chance.estimate import estimate
from tolsim.chance.event import event_of
from tolsim.chance.streams import BLOCK
from tolsim.joint.assemble import assemble

__all__ = ["SPARE", "Contradicted", "demand_of"]

FloatArray = NDArray[np.float64]
SPARE = 0.08  # of a target that a demand leaves: what a rerun can still tell apart
_SHRINKS = 4
_MOST_RERUN = 2**21


class Contradicted(Exception):
    """A rerun at a corner of this box speaks of another rate than the window."""

    def __init__(self, message: str, box: Box) -> None:
        super().__init__(message)
        self.box = box


def demand_of(
    axes: Axes, finer: Finer, targets: dict[str, float], seed: int, workers: int
) -> Demand | None:
    """The largest box that meets all targets, rerun at its corners and shrunk until it holds.

    Raises
    ------
    Contradicted
        If a rerun does not agree.
    """
    fx, fy, rates = finer
    spare = SPARE
    points = () if axes.y.spread else axes.today()
    middle = np.mean([(t.x[0], t.y[0]) for t in points], axis=0) if points else None
    today = None if middle is None else (float(middle[0]), float(middle[1]))
    for _ in range(_SHRINKS):
        good = meets(rates, targets, spare)
        box = largest_box(fx, fy, good, spread=axes.y.spread, today=today)
        box = None if box is None else rounded(box, axes.x, axes.y)
        if box is None:
            return None
        corners = tuple(
            _rerun(axes, a, b, targets, seed, workers) for a, b in box.corners(spread=axes.y.spread)
        )
        _agree(axes, finer, corners, box)
        if all(c.rates[m][2] <= t for c in corners for m, t in targets.items()):
            return Demand(box=box, corners=corners)
        spare = 1.5 * spare + 0.04
    return None


def _rerun(
    axes: Axes, a: float, b: float, targets: dict[str, float], seed: int, workers: int
) -> Corner:
    """Rates at one point by a run on streams of its own."""
    study = axes.at(a, b)
    joint = assemble(study)
    least = min(targets.values())
    n = int(np.clip(1000.0 / least, 2**18, _MOST_RERUN))
    blocks = -(-n // BLOCK)
    modes = tuple(targets)
    rates = counted(study, modes, seed=seed + 1, blocks=blocks, workers=workers, joint=joint)
    for m, target in targets.items():
        value, _, high = rates[m]
        # too few were counted, and what they leave open matters
        if value * blocks * BLOCK < 300 and high > 0.5 * target:
            total = variance = 0.0
            for build in joint.builds:
                rows = events_of(build).get((m, 0))
                if rows:
                    found = estimate(
                        event_of(joint.recording, rows), seed=seed + 1, plain_draws=2**19
                    )
                    total += build.share * found.value
                    half = (found.high - found.low) / 3.92
                    variance += (build.share * half) ** 2
            half = 1.96 * math.sqrt(variance)
            rates[m] = (total, max(0.0, total - half), total + half)
    told = {m: (float(v), float(lo), float(hi)) for m, (v, lo, hi) in rates.items()}
    return Corner(x=a, y=b, rates=told)


def _agree(axes: Axes, finer: Finer, corners: Sequence[Corner], box: Box) -> None:
    """The window and the rerun speak of one rate.

    Both 95 % intervals are widened by half and by 2 % of the rate: a dozen corners must not fail
    by chance in a run of thousands.
    """
    fx, fy, rates = finer
    for c in corners:
        for mode, (value, low, high) in c.rates.items():
            w = rates[mode]
            here, least, most = (_read(fx, fy, v, c.x, c.y) for v in (w.value, w.low, w.high))
            room = 0.02 * max(here, value)
            below = value + 1.5 * (high - value) + room < here - 1.5 * (here - least)
            above = value - 1.5 * (value - low) - room > here + 1.5 * (most - here)
            if below or above:
                raise Contradicted(
                    f"{mode} at {axes.x.name} = {c.x * axes.x.scale:.4g}, {axes.y.name} = "
                    f"{c.y * axes.y.scale:.4g}: {here:.3g} ({least:.3g} to {most:.3g}) in the "
                    f"window, {value:.3g} ({low:.3g} to {high:.3g}) when rerun; one of them is "
                    "wrong",
                    box,
                )


def _read(fx: FloatArray, fy: FloatArray, values: FloatArray, a: float, b: float) -> float:
    """Value at a point, between the four around it, linear on the logarithm."""
    i = int(np.clip(np.searchsorted(fx, a) - 1, 0, len(fx) - 2))
    j = int(np.clip(np.searchsorted(fy, b) - 1, 0, len(fy) - 2))
    t = float(np.clip((a - fx[i]) / (fx[i + 1] - fx[i]), 0.0, 1.0))
    u = float(np.clip((b - fy[j]) / (fy[j + 1] - fy[j]), 0.0, 1.0))
    log = np.log(np.maximum(values[j : j + 2, i : i + 2], 1e-300))
    return float(np.exp(np.array([1.0 - u, u]) @ log @ np.array([1.0 - t, t])))
