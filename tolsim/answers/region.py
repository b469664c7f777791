"""All bands of one size that meet the targets: the drawing grid enumerated outright."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_model import RateModel, rate_model
from tolsim.answers.design_problem import Problem
from tolsim.spec.load import Study

__all__ = ["Region", "feasible_region"]

FloatArray = NDArray[np.float64]
_REACH = 0.15  # effective share of a sample below which another one is drawn


@dataclass(frozen=True, kw_only=True, slots=True)
class Region:
    """Widest good band about every centre on the grid [mm]; None where no band is good."""

    path: str
    centres: tuple[float, ...]
    widest: tuple[float | None, ...]

    @property
    def good(self) -> tuple[float, float] | None:
        """Smallest and largest centre that some band is good about."""
        found = [c for c, w in zip(self.centres, self.widest, strict=True) if w is not None]
        return (found[0], found[-1]) if found else None


def feasible_region(
    problem: Problem, base: Study, targets: dict[str, float], theta: FloatArray, *, seed: int
) -> Region:
    """Enumerate centres and widths of the one free band on its grid.

    Rates come from samples of failed units at a few points, each used as far as it reaches.
    """
    (f,) = problem.freedoms
    assert f.centre is not None
    g = f.grid
    step = max(g, (f.centre[1] - f.centre[0]) / 40.0)
    step = g * round(step / g)
    count = math.floor((f.centre[1] - f.centre[0]) / step + 1e-9) + 1
    centres = [f.centre[0] + k * step for k in range(count)]
    widths = np.arange(math.ceil(f.width[0] / g - 1e-9), math.floor(f.width[1] / g + 1e-9) + 1) * g
    models: list[RateModel] = []
    widest: list[float | None] = []
    for centre in centres:
        best: float | None = None
        for width in widths:
            point = np.array([centre, float(width)])
            if not _good(problem, base, targets, point, models, seed):
                break
            best = float(width)
        widest.append(best)
    return Region(path=f.path, centres=tuple(centres), widest=tuple(widest))


def _good(
    problem: Problem,
    base: Study,
    targets: dict[str, float],
    point: FloatArray,
    models: list[RateModel],
    seed: int,
) -> bool:
    for mode, target in targets.items():
        if _rate(problem, base, targets, mode, point, models, seed) > target:
            return False
    return True


def _rate(
    problem: Problem,
    base: Study,
    targets: dict[str, float],
    mode: str,
    point: FloatArray,
    models: list[RateModel],
    seed: int,
) -> float:
    near = sorted(
        (m for m in models if m.covers(point)), key=lambda m: float(np.abs(m.theta - point).sum())
    )[:2]
    for model in near:
        p, error, effective = model.rate(mode, point)
        sure = error <= 0.2 or p * (1.0 + 3.0 * error) <= targets[mode]
        if effective >= _REACH and p > 0.0 and sure:
            return p
        if p == 0.0 and np.allclose(model.theta, point, atol=2e-3):
            return 0.0
    models.append(rate_model(problem, base, point, targets, seed=seed))
    return models[-1].rate(mode, point)[0]
