"""A closer look where the region that meets all targets is small beside the points of a window.

Between points rates are drawn out straight on the logarithm; that holds for regions of several
cells only. So axes that reach far are looked at again around the region, or where none of their
points meets the targets around the point that comes nearest.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.window_axes import Axes
from tolsim.answers.window_demand import Box
from tolsim.answers.window_ways import Finer, Rates

__all__ = ["about", "closer"]

FloatArray = NDArray[np.float64]
#: `rates_of` at points of both axes, all else settled.
Look = Callable[[FloatArray, FloatArray], tuple[Rates, Finer, int, str]]
_CELLS = 3  # of a region, either way, that rates may be drawn out between
_POINTS = 24
_LOOKS = 3
_STEEP = 2.0  # times the lowest rate, beside it, from which points are far apart
_MANY = 0.2  # of the units: rates that do not get much worse
_ROOM = 0.5  # of a box that is looked at around it, either side


def closer(
    axes: Axes,
    xs: FloatArray,
    ys: FloatArray,
    rates: Rates,
    finer: Finer,
    targets: dict[str, float],
    look: Look,
) -> Finer:
    """Rates on the finer points of axes that are close enough to the region of all targets.

    Of two contributors, each look of which takes long, one look is taken at a region that is seen.
    """
    for _ in range(_LOOKS if axes.together else 1):
        found = _around(axes, xs, ys, rates, targets)
        if found is None:
            break
        x, y, small = found
        if not small:
            break
        xs, ys = np.linspace(*x, _POINTS), np.linspace(*y, _POINTS)
        rates, finer, _, _ = look(xs, ys)
    return finer


def _around(
    axes: Axes,
    xs: FloatArray,
    ys: FloatArray,
    rates: Rates,
    targets: dict[str, float],
) -> tuple[tuple[float, float], tuple[float, float], bool] | None:
    """Ends of the axes a cell around the region, and whether it has few cells here."""
    worst = np.max([rates[m].value / t for m, t in targets.items()], axis=0)
    good = worst <= 1.0
    if not good.any():
        if not axes.together:
            return None
        good = worst == worst.min()
        if not _steep(worst, np.max([r.value for r in rates.values()], axis=0)):
            return None  # nothing lies hidden between these points
    if axes.y.spread and good[0].any():
        # only what reaches down to the smallest spread is a demand
        good = good & good[0]
    j, i = np.nonzero(good)
    x, few_x = _ends(xs, int(i.min()), int(i.max()))
    y, few_y = _ends(ys, int(j.min()), int(j.max()))
    if axes.y.spread:
        y = (float(ys[0]), y[1])
    return x, y, few_x or few_y


def _steep(worst: FloatArray, rate: FloatArray) -> bool:
    """Whether points beside the best one are so much worse, or all units fail at it as well, that
    better ones may lie between them."""
    row, best = (int(k) for k in np.unravel_index(worst.argmin(), worst.shape))
    beside = worst[row, max(best - 1, 0) : best + 2]
    return bool((beside > _STEEP * worst.min()).any() or rate[row, best] > _MANY)


def _ends(v: FloatArray, first: int, last: int) -> tuple[tuple[float, float], bool]:
    low, high = max(first - 1, 0), min(last + 1, len(v) - 1)
    # a region that fills the axis is as large as the window shows
    few = last - first < _CELLS and high - low < len(v) - 1
    return (float(v[low]), float(v[high])), few


def about(axes: Axes, box: Box, finer: Finer, look: Look) -> Finer:
    """Rates on finer points about a box, within what was looked at before."""
    ends = []
    for (low, high), v in ((box.x, finer[0]), (box.y, finer[1])):
        cell = float(v[1] - v[0])
        room = max(_ROOM * (high - low), 3.0 * cell)
        ends.append((max(low - room, float(v[0])), min(high + room, float(v[-1]))))
    x, y = ends
    if axes.y.spread:
        y = (float(finer[1][0]), y[1])
    xs, ys = np.linspace(*x, _POINTS), np.linspace(*y, _POINTS)
    return look(xs, ys)[1]
