"""The demand on a supplier: the largest box inside the region that meets all targets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.window_axes import Axis
from tolsim.answers.window_mesh import Shares

__all__ = ["Box", "Corner", "Demand", "Range", "largest_box", "meets", "ranges", "rounded"]

FloatArray = NDArray[np.float64]
_WORTH = 0.1  # share of the largest area from which a box around today is taken
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, slots=True)
class Box:
    """Ends of both quantities, in inner units; a spread starts at 0."""

    x: tuple[float, float]
    y: tuple[float, float]

    def corners(self, *, spread: bool) -> list[tuple[float, float]]:
        """Where it is hardest to keep the targets: all corners, of a spread the widest."""
        ys = (self.y[1],) if spread else self.y
        return [(a, b) for b in ys for a in self.x]


@dataclass(frozen=True, kw_only=True, slots=True)
class Corner:
    """Rates (value, low, high) at one corner of a demand, by a run of its own."""

    x: float
    y: float
    rates: dict[str, tuple[float, float, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Range:
    """Ends of x between which all targets are met at every spread up to y, in inner units."""

    y: float
    x: tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Demand:
    """A box that was rerun at its corners."""

    box: Box
    corners: tuple[Corner, ...]


def largest_box(
    x: FloatArray,
    y: FloatArray,
    good: BoolArray,
    *,
    spread: bool,
    today: tuple[float, float] | None = None,
) -> Box | None:
    """The box of most area whose points (len(y), len(x)) are all good.

    With `spread` it reaches down to the smallest y, as a limit on a spread does, and its height
    counts from 0. Where a box around `today` has a tenth of the largest area, the largest of these
    is taken: what a supplier makes already is easier to hold than what is furthest from any limit.

    Examples
    --------
    >>> good = np.array([[1, 1, 1, 1], [0, 1, 1, 1], [0, 0, 1, 0]], dtype=bool)
    >>> b = largest_box(np.arange(4.0), np.array([1.0, 2.0, 3.0]), good, spread=True)
    >>> b.x, b.y
    ((1.0, 3.0), (0.0, 2.0))
    """
    best: tuple[float, Box] | None = None
    around: tuple[float, Box] | None = None
    starts = [0] if spread else range(len(y))
    for j0 in starts:
        held = np.ones(len(x), dtype=np.bool_)
        for j in range(j0, len(y)):
            held &= good[j]
            if not held.any():
                break
            low = 0.0 if spread else float(y[j0])
            for a, b in _runs(held):
                area = (float(x[b]) - float(x[a])) * (float(y[j]) - low)
                if not (b > a and area > 0.0):
                    continue
                box = Box(x=(float(x[a]), float(x[b])), y=(low, float(y[j])))
                if best is None or area > best[0]:
                    best = area, box
                if today is not None and _holds(box, today):
                    around = (area, box) if around is None or area > around[0] else around
    if best is None:
        return None
    return around[1] if around is not None and around[0] >= _WORTH * best[0] else best[1]


def _holds(box: Box, point: tuple[float, float]) -> bool:
    return box.x[0] <= point[0] <= box.x[1] and box.y[0] <= point[1] <= box.y[1]


def _runs(held: BoolArray) -> list[tuple[int, int]]:
    """First and last index of every unbroken stretch."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], held.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def rounded(box: Box, x: Axis, y: Axis) -> Box | None:
    """The box on the grid that it is told on, a tenth of a µm or as fine, shrunk to it.

    Its middle falls on the grid too; None where nothing is left.
    """
    ends_x = _inward(box.x, x)
    if ends_x is None:
        return None
    if y.spread:
        g = step_of(y, box.y[1])
        top = math.floor(box.y[1] / g + 1e-6) * g
        return Box(x=ends_x, y=(0.0, top)) if top > 0.0 else None
    ends_y = _inward(box.y, y)
    return None if ends_y is None else Box(x=ends_x, y=ends_y)


def ranges(
    x: FloatArray, y: FloatArray, good: BoolArray, x_axis: Axis, y_axis: Axis, *, most: int = 6
) -> tuple[Range, ...]:
    """The longest range of x at several limits of a spread y, down to where none is left."""
    runs: list[tuple[float, tuple[float, float]]] = []
    held = np.ones(len(x), dtype=np.bool_)
    for j, top in enumerate(y):
        held &= good[j]
        found = [(float(x[a]), float(x[b])) for a, b in _runs(held) if b > a]
        if not found:
            break
        runs.append((float(top), max(found, key=lambda r: r[1] - r[0])))
    picked = sorted({round(float(k)) for k in np.linspace(0, len(runs) - 1, min(most, len(runs)))})
    out = []
    for k in picked:
        box = rounded(Box(x=runs[k][1], y=(0.0, runs[k][0])), x_axis, y_axis)
        if box is not None:
            out.append(Range(y=box.y[1], x=box.x))
    return tuple(out)


def step_of(axis: Axis, value: float) -> float:
    """Grid of an axis in inner units: 0.1 µm; of other units two digits of the value."""
    if axis.unit == "µm":
        return 1e-4
    size = abs(value) * axis.scale
    return 10.0 ** (math.floor(math.log10(size)) - 1) / axis.scale if size > 0.0 else 1e-3


def _inward(ends: tuple[float, float], axis: Axis) -> tuple[float, float] | None:
    g = step_of(axis, 0.5 * (ends[1] - ends[0]))
    low, high = math.ceil(ends[0] / g - 1e-6), math.floor(ends[1] / g + 1e-6)
    if (high - low) % 2:
        high -= 1
    return (low * g, high * g) if high > low else None


def meets(rates: dict[str, Shares], targets: dict[str, float], spare: float) -> BoolArray:
    """Where every rate keeps its target with `spare` of it left, at the upper end too."""
    return np.asarray(
        np.logical_and.reduce(
            [
                (rates[m].high <= t) & (rates[m].value * (1.0 + spare) <= t)
                for m, t in targets.items()
            ]
        )
    )
