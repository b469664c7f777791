"""Where the joint holds: rates over two quantities, and the demand on a supplier read backwards."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.lots_taken import over_any_lot
from tolsim.answers.window_axes import Axis, Today, axes_of
from tolsim.answers.window_check import SPARE, Contradicted, demand_of
from tolsim.answers.window_demand import (
    Demand,
    Range,
    meets,
    ranges,
)
from tolsim.answers.window_mesh import Shares
from tolsim.answers.window_ways import Finer, Rates, rates_of
from tolsim.answers.window_zoom import about, closer
from tolsim.errors import InternalError, Problem, SpecError, UsageError, closest
from tolsim.spec.load import Study

__all__ = ["Window", "window"]

FloatArray = NDArray[np.float64]
Tell = Callable[[int, int], None]
MODES = ("creak", "tight", "loose", "misaligned", "bond")
#: Points of an axis between which rates are drawn out, of two contributors and of one size.
_LEAST = {False: 10, True: 20}


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """Rates on a grid in inner units; arrays of `rates[mode]` have shape (len(y), len(x)).

    `method` says in words how the rates were found, on `units` drawn units of each combination
    of parts.
    """

    study: Study
    seed: int
    supply: str | None
    x_axis: Axis
    y_axis: Axis
    x: FloatArray
    y: FloatArray
    rates: dict[str, Shares]
    targets: dict[str, float]
    today: tuple[Today, ...]
    demand: Demand | None
    #: With a spread along y: how far x may go at other limits of it.
    ranges: tuple[Range, ...]
    units: int
    method: str

    @property
    def good(self) -> NDArray[np.bool_]:
        """Where every rate is at or below its target."""
        met = [self.rates[m].value <= t for m, t in self.targets.items()]
        return np.asarray(np.logical_and.reduce(met))


def window(
    study: Study,
    x: str,
    y: str,
    *,
    x_range: tuple[float, float] | None = None,
    y_range: tuple[float, float] | None = None,
    points: int = 40,
    supply: str | None = None,
    seed: int = 1,
    workers: int = 2,
    tell: Tell | None = None,
) -> Window:
    """Rates of every target over two quantities of the study.

    Parameters
    ----------
    study : Study
        With targets.
    x, y : str
        ``FEATURE.mean`` and ``FEATURE.sd`` of one size, ``FEATURE.centre`` and ``FEATURE.width``
        of its band at the capability that the part states, or means and spreads of two
        contributors.
    x_range, y_range : (float, float), optional
        Ends of the axes in the units of people (µm, degrees); around what the study holds by
        default.
    points : int
        Grid points an axis.
    supply : str, optional
        Judge the parts of this supply alone.
    seed, workers : int
        Of the draws that all points share; threads, on which nothing depends.
    tell : callable, optional
        Told (steps done, steps in all).

    Raises
    ------
    SpecError
        If the study has no such supply or quantity; names the closest.
    UsageError
        If the study has no targets or the axes make no pair.
    InternalError
        If a rerun at a corner of the demand contradicts the window.

    Notes
    -----
    A point is the study with the process of its axes put in; its rates equal those of `predict`
    there within both intervals.
    """
    study = over_any_lot(study)
    if supply is not None:
        study = _alone(study, supply)
    targets = {m: t for m in MODES if (t := getattr(study.spec.targets, m)) is not None}
    if not targets:
        raise UsageError("a window needs a target: [targets] with creak, tight or others")
    axes = axes_of(study, x, y)
    today = axes.today()
    xs = _grid(axes.x, x_range, [t.x for t in today], points)
    ys = _grid(axes.y, y_range, [t.y for t in today], points)

    def look(x: FloatArray, y: FloatArray) -> tuple[Rates, Finer, int, str]:
        return rates_of(axes, x, y, targets, seed, workers, tell)

    # however few points are shown, rates are worked out at enough of them to draw lines between
    every = max(1, math.ceil((_LEAST[axes.together] - 1) / (points - 1)))
    x_points, y_points = (np.linspace(v[0], v[-1], every * (points - 1) + 1) for v in (xs, ys))
    found, finer, units, method = look(x_points, y_points)
    rates = {m: s.every(every) for m, s in found.items()}
    finer = closer(axes, x_points, y_points, found, finer, targets, look)
    try:
        demand = demand_of(axes, finer, targets, seed, workers)
    except Contradicted as e:
        # a narrow region between the points: it is looked at more closely, once
        finer = about(axes, e.box, finer, look)
        try:
            demand = demand_of(axes, finer, targets, seed, workers)
        except Contradicted as again:
            raise InternalError(str(again)) from None
    fx, fy, fine = finer
    good = meets(fine, targets, SPARE)
    return Window(
        study=study,
        seed=seed,
        supply=supply,
        x_axis=axes.x,
        y_axis=axes.y,
        x=xs,
        y=ys,
        rates=rates,
        targets=targets,
        today=today,
        demand=demand,
        ranges=ranges(fx, fy, good, axes.x, axes.y) if axes.y.spread else (),
        units=units,
        method=method,
    )


def _alone(study: Study, supply: str) -> Study:
    strata = tuple(replace(s, share=1.0) for s in study.strata if s.name == supply)
    if not strata:
        names = [s.name for s in study.strata]
        raise SpecError(
            [
                Problem(
                    file=study.name,
                    key="supply",
                    message="no supply of this name",
                    found=supply,
                    allowed=", ".join(names),
                    closest=closest(supply, names),
                )
            ]
        )
    return replace(study, strata=strata)


def _grid(
    axis: Axis,
    given: tuple[float, float] | None,
    today: Sequence[tuple[float, float, float]],
    points: int,
) -> FloatArray:
    """Points of an axis: as given, else around what the suppliers are today."""
    if given is not None:
        low, high = given[0] / axis.scale, given[1] / axis.scale
    else:
        low, high = min(t[1] for t in today), max(t[2] for t in today)
        middle = max(abs(t[0]) for t in today)
        if axis.spread:
            low, high = 0.25 * min(t[0] for t in today), 1.4 * high
        elif axis.unit == "µm":
            low, high = low - 0.012, high + 0.012
        else:
            low, high = low - 0.3 * middle, high + 0.3 * middle
        if not low < high:
            low, high = low - 1.0, high + 1.0
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise UsageError(f"the ends of {axis.name} must rise")
    if axis.spread and low <= 0.0:
        raise UsageError(f"{axis.name} is a spread: its range starts above 0")
    return np.linspace(low, high, points)
