"""Least cost over free bands: approximate, solve, move there, draw again, until it stands.

Each outer step draws failed units at the present point, turns them into smooth rates (see
`design_model`), and solves the small problem within the region that those units speak for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_model import RateModel, rate_model
from tolsim.answers.design_problem import Problem
from tolsim.answers.tally import tally
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study

__all__ = ["Found", "band_cost", "search"]

FloatArray = NDArray[np.float64]
_STEPS = 9
_RATIO = 1.45  # a width may change by this factor in one step
_LEAST_EFFECTIVE = 0.05
_GLANCE = 2**13


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """Where a search ended: the point, its cost, rates of the last sample, whether all are met."""

    theta: FloatArray
    cost: float
    rates: dict[str, float]
    feasible: bool
    excess: float
    model: RateModel
    steps: int


def band_cost(problem: Problem, base: Study, theta: FloatArray, rates: dict[str, float]) -> float:
    """Cost a unit [currency]: bands, parts, scrap of sorting, claims of creaking units."""
    total = 0.0
    for f, (centre, width) in zip(problem.freedoms, problem.bands(theta), strict=True):
        total += f.cost(width)
        if f.spec.follows == "gauge" and centre is not None:
            total += _scrap_cost(problem, base, f.path, centre, width)
    costs = problem.study.spec.costs
    for role in problem.roles:
        price = base.strata[0].parts[role].price_each or 0.0
        total += price * (1.0 if role in ("bore", "adhesive") else 2.0)
    if costs is not None and costs.creak_claim_cost is not None:
        share = costs.creak_claim_share if costs.creak_claim_share is not None else 1.0
        total += rates.get("creak", 0.0) * share * costs.creak_claim_cost
    return total


def _scrap_cost(problem: Problem, base: Study, path: str, centre: float, width: float) -> float:
    costs = problem.study.spec.costs
    if costs is None or costs.scrap_cost is None:
        return 0.0
    share = scrap_share(base, path, centre, width)
    return 2.0 * share / max(1.0 - share, 1e-6) * costs.scrap_cost


def scrap_share(base: Study, path: str, centre: float, width: float) -> float:
    """Share of the parts that a sorting band rejects, over all supplies."""
    from scipy.special import ndtr

    from tolsim.joint.routes import start_process

    role, _, rest = path.partition(".")
    lost = 0.0
    for s in base.strata:
        readings = s.readings.get(path)
        if readings is not None:
            mean, sd = readings.mean_sd()
            low, high = centre - 0.5 * width - mean, centre + 0.5 * width - mean
            lost += s.share * float(1.0 - (ndtr(high / sd) - ndtr(low / sd)))
            continue
        process, _ = start_process(getattr(s.parts[role], rest))
        ends = process.cdf([centre - 0.5 * width, centre + 0.5 * width])
        lost += s.share * float(1.0 - (ends[1] - ends[0]))
    return lost


def search(
    problem: Problem,
    base: Study,
    targets: dict[str, float],
    *,
    seed: int,
    start: FloatArray | None = None,
    margin: float = 1.0,
    tell: Callable[[str], None] | None = None,
) -> Found:
    """Cheapest bands whose rates meet the targets, on samples; not yet on the drawing grid.

    Parameters
    ----------
    problem : Problem
        What is free.
    base : Study
        The study with its parts chosen.
    targets : dict
        Largest rate by mode.
    seed : int
        Of every stream; all points see the same draws.
    start : ndarray, optional
        Where to begin; by default the best of a coarse look.
    margin : float
        Standard errors of each rate that are kept from its target.
    tell : callable, optional
        Told what is being done.
    """
    modes = tuple(targets)
    bounds = problem.bounds()
    theta = start if start is not None else _first_look(problem, base, targets, seed)
    best: Found | None = None
    shrink = 1.0
    for step in range(1, _STEPS + 1):
        model = rate_model(problem, base, theta, targets, seed=seed)
        here = {m: model.rate(m, theta) for m in modes}
        rates = {m: v[0] for m, v in here.items()}
        excess = max(
            math.log(max(v[0], 1e-30) / targets[m]) + margin * min(v[1], 0.5)
            for m, v in here.items()
        )
        found = Found(
            theta=theta,
            cost=band_cost(problem, base, theta, rates),
            rates=rates,
            feasible=excess <= 0.02,
            excess=excess,
            model=model,
            steps=step,
        )
        if best is None or _better(found, best):
            settled = best is not None and _close(found, best)
            best = found
            if settled:
                break
        else:
            shrink *= 0.5
        if tell is not None:
            told = ", ".join(f"{m} {r:.2g}" for m, r in rates.items())
            tell(f"step {step}: cost {found.cost:.4g}, {told}")
        if not problem.freedoms:
            break
        following = _solve(problem, base, best.model, best.theta, targets, bounds, margin, shrink)
        if np.allclose(following, theta, rtol=0.0, atol=2e-5):
            break
        theta = following
        if shrink < 0.2:
            break
    assert best is not None
    return best


def _better(a: Found, b: Found) -> bool:
    if a.feasible != b.feasible:
        return a.feasible
    return a.cost < b.cost if a.feasible else a.excess < b.excess


def _close(a: Found, b: Found) -> bool:
    return a.feasible and b.feasible and abs(a.cost - b.cost) <= 1e-3 * abs(b.cost)


def _first_look(problem: Problem, base: Study, targets: dict[str, float], seed: int) -> FloatArray:
    """Among points spread over all centres, widths narrow, the one nearest to its targets."""
    bounds = problem.bounds()
    if not bounds:
        return np.zeros(0)
    rng = np.random.default_rng(seed)
    d = len(bounds)
    wide = _is_width(problem)
    count = 24 * max(1, sum(not w for w in wide)) + 1
    u = (rng.random((1, d)) + np.arange(count)[:, None] * _golden(d)) % 1.0
    best: tuple[float, FloatArray] | None = None
    for row in u:
        theta = np.array(
            [
                low + (0.15 * v if w else v) * (high - low)
                for v, (low, high), w in zip(row, bounds, wide, strict=True)
            ]
        )
        worst = _glance(problem, base, theta, targets, seed)
        if best is None or worst < best[0]:
            best = (worst, theta)
    assert best is not None
    return best[1]


def _golden(d: int) -> FloatArray:
    root = 2.0
    for _ in range(50):
        root = (1.0 + root) ** (1.0 / (d + 1))
    return np.asarray(root ** -np.arange(1.0, d + 1.0))


def _is_width(problem: Problem) -> list[bool]:
    out: list[bool] = []
    for f in problem.freedoms:
        out += [False, True] if f.centre is not None else [True]
    return out


def _glance(
    problem: Problem, base: Study, theta: FloatArray, targets: dict[str, float], seed: int
) -> float:
    """Worst logarithm of rate over target, by counting a few thousand units."""
    try:
        joint = assemble(problem.variant(base, theta))
    except SpecError:  # a sorting band that lets nothing pass
        return math.inf
    counted = tally(joint, seed=seed, n=_GLANCE, workers=1)
    worst = -math.inf
    for mode, target in targets.items():
        share = math.fsum(
            b.share * counted.events.get((i, (mode, 0)), 0) for i, b in enumerate(joint.builds)
        )
        worst = max(worst, math.log((share + 0.3) / _GLANCE / target))
    return worst


def _solve(
    problem: Problem,
    base: Study,
    model: RateModel,
    theta: FloatArray,
    targets: dict[str, float],
    bounds: Sequence[tuple[float, float]],
    margin: float,
    shrink: float,
) -> FloatArray:
    """Cheapest point within the region that the model's units speak for."""
    from scipy.optimize import minimize

    low, high = _region(problem, base, theta, bounds, shrink)
    span = np.maximum(high - low, 1e-12)

    def at(u: FloatArray) -> FloatArray:
        return np.asarray(low + np.clip(u, 0.0, 1.0) * span)

    def rates(u: FloatArray) -> dict[str, tuple[float, float, float]]:
        key = u.tobytes()
        if key not in memory:
            memory[key] = {m: model.rate(m, at(u)) for m in targets}
        return memory[key]

    memory: dict[bytes, dict[str, tuple[float, float, float]]] = {}

    def slack(u: FloatArray) -> FloatArray:
        out = []
        for m, (p, error, effective) in rates(u).items():
            penalty = 20.0 * max(0.0, _LEAST_EFFECTIVE - effective)
            out.append(
                math.log(targets[m]) - math.log(max(p, 1e-30)) - margin * min(error, 1.0) - penalty
            )
        return np.array(out)

    def cost(u: FloatArray) -> float:
        return band_cost(problem, base, at(u), {m: v[0] for m, v in rates(u).items()})

    scale = max(abs(cost((theta - low) / span)), 1e-9)
    start = np.clip((theta - low) / span, 0.0, 1.0)
    options = {"maxiter": 60, "ftol": 1e-7}
    # first inside the targets, as near as the region allows; then cheaper
    if float(slack(start).min()) < 0.0:
        d = len(start)

        def phase_one(v: FloatArray) -> float:
            return float(-v[d])

        inner = minimize(
            phase_one,
            np.append(start, min(float(slack(start).min()), 0.0)),
            method="SLSQP",
            bounds=[(0.0, 1.0)] * d + [(None, 0.05)],
            constraints=[{"type": "ineq", "fun": lambda v: slack(v[:d]) - v[d]}],
            options=options,
        )
        start = np.clip(inner.x[:d], 0.0, 1.0)
        if float(slack(start).min()) < -1e-3:
            return at(start)
    done = minimize(
        lambda u: cost(u) / scale,
        start,
        method="SLSQP",
        bounds=[(0.0, 1.0)] * len(start),
        constraints=[{"type": "ineq", "fun": slack}],
        options=options,
    )
    u = np.clip(done.x, 0.0, 1.0)
    if float(slack(u).min()) < -0.02 and float(slack(start).min()) >= -1e-3:
        u = start
    return at(u)


def _region(
    problem: Problem,
    base: Study,
    theta: FloatArray,
    bounds: Sequence[tuple[float, float]],
    shrink: float,
) -> tuple[FloatArray, FloatArray]:
    low, high = theta.copy(), theta.copy()
    i = 0
    ratio = 1.0 + (_RATIO - 1.0) * shrink
    for f, (_, width) in zip(problem.freedoms, problem.bands(theta), strict=True):
        sorts = f.spec.follows == "gauge" and f.centre is not None
        if f.centre is not None:
            reach = (0.35 * width if sorts else 1.2 * f.sd(width)) * shrink
            low[i], high[i] = theta[i] - reach, theta[i] + reach
            i += 1
        wider = 2.0 if sorts else ratio
        low[i], high[i] = width / wider, width * wider
        i += 1
    ends = np.array(bounds)
    return np.maximum(low, ends[:, 0]), np.minimum(high, ends[:, 1])
