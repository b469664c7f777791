"""Where the joint holds: rates over two quantities, and the demand on a supplier read backwards."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_model import RateModel, rate_model
from tolsim.answers.design_problem import Freedom, Problem
from tolsim.errors import UsageError
from tolsim.intervals import mean_interval, sd_interval
from tolsim.joint.routes import start_process
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.study import Choose

__all__ = ["Demand", "Today", "Window", "window"]

FloatArray = NDArray[np.float64]
_REACH = 0.12  # effective share of a sample below which another one is drawn
_MOST_ERROR = 0.15  # relative error of a rate above which another sample is drawn
_MOST_MODELS = 80


@dataclass(frozen=True, kw_only=True, slots=True)
class Today:
    """A supplier as it is [mm]: its mean and spread, with intervals where it was measured."""

    name: str
    x: tuple[float, float, float]
    y: tuple[float, float, float]
    measured: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Demand:
    """The largest box inside the good region: x within its middle and half, y up to `y_most`."""

    middle: float
    half: float
    y_most: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """Rates on a grid; `rates[mode]` has shape (len(y), len(x)); axes in mm."""

    study: Study
    seed: int
    supply: str | None
    x_name: str
    y_name: str
    x: FloatArray
    y: FloatArray
    rates: dict[str, FloatArray]
    targets: dict[str, float]
    good: NDArray[np.bool_]
    today: tuple[Today, ...]
    demand: Demand | None
    samples: int


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
    tell: Callable[[int, int], None] | None = None,
) -> Window:
    """Rates of every target over two quantities of the study.

    Parameters
    ----------
    study : Study
        With targets.
    x, y : str
        ``FEATURE.mean`` and ``FEATURE.sd`` of one size, ``FEATURE.centre`` and ``FEATURE.width``
        of its band at a capability of 1, or the means of two sizes.
    x_range, y_range : (float, float), optional
        Ends of the axes [mm]; by default around what the study holds.
    points : int
        Grid points an axis.
    supply : str, optional
        Judge the parts of this supply alone.
    seed : int
        Of the draws that all points share.

    Notes
    -----
    Rates come from a few samples of failed units, each reweighted as far as it reaches; a point
    equals `predict` there within both intervals.
    """
    if supply is not None:
        strata = tuple(replace(s, share=1.0) for s in study.strata if s.name == supply)
        if not strata:
            names = ", ".join(s.name for s in study.strata)
            raise UsageError(f"no supply {supply}; there are {names}")
        study = replace(study, strata=strata)
    targets = {
        m: t
        for m in ("loose", "tight", "misaligned", "bond", "creak")
        if (t := getattr(study.spec.targets, m)) is not None
    }
    if not targets:
        raise UsageError("a window needs a target: [targets] with creak, tight or others")
    axes = _Axes(study, x, y)
    xs = np.linspace(*(x_range or axes.default(0)), points)
    ys = np.linspace(*(y_range or axes.default(1)), points)
    if (axes.is_spread and ys[0] <= 0.0) or not (xs[0] < xs[-1] and ys[0] < ys[-1]):
        raise UsageError("the ends of an axis must rise, and a spread or width be above 0")
    problem = axes.problem(xs, ys)
    models: list[RateModel] = []
    rates = {m: np.zeros((points, points)) for m in targets}
    for row in range(points):
        # widest first: failed units of a wide process reach narrower ones, never the other way
        j = points - 1 - row
        b = float(ys[j])
        order = range(points) if row % 2 == 0 else range(points - 1, -1, -1)
        for i in order:
            theta = axes.theta(float(xs[i]), b)
            model = _model_for(problem, study, targets, theta, models, seed)
            for m in targets:
                rates[m][j, i] = model.rate(m, theta)[0]
        if tell is not None:
            tell(row + 1, points)
    good = np.logical_and.reduce([rates[m] <= t for m, t in targets.items()])
    return Window(
        study=study,
        seed=seed,
        supply=supply,
        x_name=x,
        y_name=y,
        x=xs,
        y=ys,
        rates=rates,
        targets=targets,
        good=good,
        today=axes.today(),
        demand=_demand(xs, ys, good) if axes.is_spread else None,
        samples=len(models),
    )


def _model_for(
    problem: Problem,
    study: Study,
    targets: dict[str, float],
    theta: FloatArray,
    models: list[RateModel],
    seed: int,
) -> RateModel:
    """The sample that reaches furthest at a point, or a new one drawn there."""
    best: tuple[float, RateModel] | None = None
    able = [m for m in models if m.covers(theta)]
    for model in sorted(able, key=lambda m: _distance(m.theta, theta))[:3]:
        reach = 1.0
        for mode in targets:
            p, error, effective = model.rate(mode, theta)
            if p > 0.0:
                reach = min(reach, effective if error <= _MOST_ERROR else 0.0)
            elif _distance(model.theta, theta) > 1.0:
                reach = 0.0
        if best is None or reach > best[0]:
            best = (reach, model)
    if best is not None and (best[0] >= _REACH or len(models) >= _MOST_MODELS):
        return best[1]
    models.append(rate_model(problem, study, theta, targets, seed=seed, thorough=True))
    return models[-1]


def _distance(a: FloatArray, b: FloatArray) -> float:
    """Between two points, in spreads of the first: centres by sd, widths by their logarithm."""
    total = 0.0
    for k in range(0, len(a), 2):
        total += abs(a[k] - b[k]) / max(a[k + 1] / 6.0, 1e-9)
        total += 3.0 * abs(math.log(max(a[k + 1], 1e-9) / max(b[k + 1], 1e-9)))
    return total


class _Axes:
    """What the two axes stand for, and how a grid point becomes a set of bands."""

    def __init__(self, study: Study, x: str, y: str) -> None:
        self.study = study
        (self.x_path, x_kind), (self.y_path, y_kind) = _split(x), _split(y)
        self.kinds = (x_kind, y_kind)
        self.is_spread = self.x_path == self.y_path
        pairs = {("mean", "sd"), ("centre", "width")}
        if self.is_spread and self.kinds not in pairs:
            raise UsageError("of one size an axis pair is mean and sd, or centre and width")
        if not self.is_spread and self.kinds not in {("mean", "mean"), ("centre", "centre")}:
            raise UsageError("of two sizes the axes are their means, or their centres")
        self.features = [_feature(study, p) for p in dict.fromkeys((self.x_path, self.y_path))]

    def problem(self, xs: FloatArray, ys: FloatArray) -> Problem:
        """Free bands for the paths of both axes."""
        freedoms = []
        for k, path in enumerate(dict.fromkeys((self.x_path, self.y_path))):
            ends = (float(xs[0]), float(xs[-1])) if k == 0 else (float(ys[0]), float(ys[-1]))
            freedoms.append(
                Freedom(
                    path=path,
                    spec=Choose.model_construct(
                        feature=path,
                        follows="process",
                        capability=1.0,
                        capability_basis="axis of a window",
                        cost=None,
                    ),
                    centre=ends,
                    width=(1e-6, 1.0),
                    grid=1e-3,
                    unit="µm",
                    scale=1e3,
                )
            )
        return Problem(study=self.study, freedoms=tuple(freedoms), roles=(), options=())

    def theta(self, a: float, b: float) -> FloatArray:
        """Bands of a grid point."""
        if self.is_spread:
            return np.array([a, 6.0 * b if self.kinds[1] == "sd" else b])
        widths = [6.0 * sd for _, sd in (_now(self.study, p) for p in (self.x_path, self.y_path))]
        return np.array([a, widths[0], b, widths[1]])

    def default(self, axis: int) -> tuple[float, float]:
        """Ends of an axis around what the study holds."""
        path = self.x_path if axis == 0 else self.y_path
        mean, sd = _now(self.study, path)
        if axis == 1 and self.is_spread:
            scale = 6.0 if self.kinds[1] == "width" else 1.0
            return 0.2 * sd * scale, 2.0 * sd * scale
        return mean - 6.0 * sd, mean + 6.0 * sd

    def today(self) -> tuple[Today, ...]:
        """Every supply as it is."""
        out: dict[str, Today] = {}
        for s in self.study.strata:
            ends = []
            measured = False
            for path in (self.x_path, self.y_path):
                role, _, rest = path.partition(".")
                readings = s.readings.get(path)
                if readings is not None:
                    measured = True
                    mean, sd = readings.mean_sd()
                    a = mean_interval(mean, sd, len(readings))
                    b = sd_interval(sd, len(readings))
                    ends.append(((a.value, a.low, a.high), (b.value, b.low, b.high)))
                else:
                    process, _ = start_process(getattr(s.parts[role], rest))
                    ends.append(((process.mean,) * 3, (process.sd,) * 3))
            x = ends[0][0]
            y = ends[1][1] if self.is_spread else ends[1][0]
            if self.is_spread and self.kinds[1] == "width":
                y = (6.0 * y[0], 6.0 * y[1], 6.0 * y[2])
            out[s.name] = Today(name=s.name, x=x, y=y, measured=measured)
        return tuple(out.values())


def _split(axis: str) -> tuple[str, str]:
    path, _, kind = axis.rpartition(".")
    if kind not in ("mean", "sd", "centre", "width") or not path:
        raise UsageError(f"{axis}: an axis is FEATURE.mean, .sd, .centre or .width")
    return path, kind


def _feature(study: Study, path: str) -> Feature:
    role, _, rest = path.partition(".")
    for s in study.strata:
        value = getattr(s.parts.get(role), rest, None)
        if isinstance(value, Feature):
            return value
    raise UsageError(f"{path}: no such size in this study, such as bore.diameter")


def _now(study: Study, path: str) -> tuple[float, float]:
    """Mean and spread of a size today, over all supplies [mm]."""
    role, _, rest = path.partition(".")
    means, sds = [], []
    for s in study.strata:
        readings = s.readings.get(path)
        if readings is not None:
            mean, sd = readings.mean_sd()
        else:
            process, _ = start_process(getattr(s.parts[role], rest))
            mean, sd = process.mean, process.sd
        means.append(mean)
        sds.append(sd)
    return float(np.mean(means)), float(max(np.max(sds), 1e-4))


def _demand(xs: FloatArray, ys: FloatArray, good: NDArray[np.bool_]) -> Demand | None:
    """The box of most area that the good region holds down to the smallest spread."""
    best: tuple[float, Demand] | None = None
    held = np.ones(len(xs), dtype=np.bool_)
    for j, b in enumerate(ys):
        held &= good[j]
        start = None
        for i in range(len(xs) + 1):
            inside = i < len(xs) and held[i]
            if inside and start is None:
                start = i
            if not inside and start is not None:
                a, c = float(xs[start]), float(xs[i - 1])
                area = (c - a) * float(b)
                if c > a and (best is None or area > best[0]):
                    found = Demand(middle=0.5 * (a + c), half=0.5 * (c - a), y_most=float(b))
                    best = (area, found)
                start = None
    return best[1] if best is not None else None
