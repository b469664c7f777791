"""Beyond the bands: what each constraint costs, cost against target, classes, older rules."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.allocation import allocations
from tolsim.answers.costs import cost_model
from tolsim.answers.design_bands import nominal_of
from tolsim.answers.design_cases import Case, Problem
from tolsim.answers.design_outer import ANY_RATE, Found, Search
from tolsim.answers.design_results import ClassResult, Constraint, CurvePoint
from tolsim.answers.design_verify import Verified, rates_of
from tolsim.answers.region import feasible_region
from tolsim.standards.sizes import nearest
from tolsim.standards.tables import TableError

__all__ = ["depth_of"]

FloatArray = NDArray[np.float64]
Tell = Callable[[str], None]
_CURVE = (0.25, 0.5, 1.0, 2.0, 4.0)
_CLASS_SEED, _CLASS_DRAWS = 104_729, 2**18
_AT = 1e-3  # of a range: this near its end a number is held by it
_STEPS = 6


def depth_of(
    problem: Problem,
    case: Case,
    search: Search,
    found: Found,
    verified: Verified,
    workers: int,
    tell: Tell | None,
) -> dict[str, Any]:
    """Everything that `Design` holds beside its bands, by field."""
    if not case.freedoms:
        return {}
    if tell is not None:
        tell("what targets and ranges cost")
    out: dict[str, Any] = {}
    if len(search.bounds):
        mode = "creak" if "creak" in problem.targets else next(iter(problem.targets))
        out |= {
            "curve_mode": mode,
            "constraints": (*_targets(search, found), *_ranges(case, search, found)),
            "curve": _curve(search, found, mode),
        }
        search.best = found
    if tell is not None:
        tell("classes of ISO 286-2 near the bands")
    out["classes"] = _classes(case, search, verified, workers)
    out["allocations"] = allocations(case, verified.theta)
    if 1 <= sum(f.held is None for f in case.freedoms) <= 2:
        if tell is not None:
            tell("all bands that meet the targets")
        out["region"] = feasible_region(case, search, verified.theta)
    return out


def _other(search: Search, found: Found, targets: dict[str, float]) -> Found:
    search.best = found
    return search.run(targets=targets, most=_STEPS, closely=False)


def _targets(search: Search, found: Found) -> list[Constraint]:
    out = []
    for mode, target in search.targets.items():
        if target == ANY_RATE:
            continue
        saved, twice = 0.0, 2.0 * target < 1.0
        if found.rates.get(mode, 0.0) > 0.3 * target:
            goal = {**search.targets, mode: 2.0 * target if twice else ANY_RATE}
            other = _other(search, found, goal)
            saved = max(0.0, found.cost - other.cost) if other.feasible else 0.0
        change = "twice the target" if twice else "no target"
        out.append(Constraint(kind="target", name=mode, change=change, saved=saved))
    return out


def _ranges(case: Case, search: Search, found: Found) -> list[Constraint]:
    """Ends of ranges that hold a number, and what a tenth of the width more would save."""
    out = []
    bounds = search.bounds
    for f, (_, width), (c, w) in zip(
        case.freedoms, case.bands(found.theta), case.places(), strict=True
    ):
        for k, of in ((c, "middle"), (w, "width")):
            if k is None:
                continue
            slack = _AT * max(bounds[k, 1] - bounds[k, 0], 1e-9)
            for end, word in ((0, "least"), (1, "largest")):
                if abs(found.theta[k] - bounds[k, end]) > slack:
                    continue
                step = 0.1 * width
                moved = bounds.copy()
                moved[k, end] += step if end else -step
                search.bounds = moved
                other = _other(search, found, search.targets)
                search.bounds = bounds
                saved = found.cost - other.cost if other.feasible else 0.0
                change = f"{word} {of} {step * f.scale:.3g} {f.unit} {'more' if end else 'less'}"
                out.append(
                    Constraint(kind="range", name=f.path, change=change, saved=max(0.0, saved))
                )
    return out


def _curve(search: Search, found: Found, mode: str) -> tuple[CurvePoint, ...]:
    """Least costs under other targets: what keeps one target keeps every laxer one."""
    out = {1.0: CurvePoint(target=search.targets[mode], cost=found.cost)}
    for chain in ([k for k in _CURVE if k > 1.0], sorted(k for k in _CURVE if k < 1.0)[::-1]):
        here = found
        for factor in chain:
            goal = factor * search.targets[mode]
            if goal >= 1.0:
                break
            search.best = here
            other = search.run(
                targets={**search.targets, mode: goal}, most=2 * _STEPS, closely=False
            )
            out[factor] = CurvePoint(target=goal, cost=other.cost if other.feasible else None)
            here = other
    least = math.inf
    for factor in sorted(out):
        cost = out[factor].cost
        least = min(least, math.inf if cost is None else cost)
        out[factor] = replace(out[factor], cost=None if least == math.inf else least)
    return tuple(out[k] for k in sorted(out))


def _classes(
    case: Case, search: Search, verified: Verified, workers: int
) -> tuple[ClassResult, ...]:
    """Classes nearest to each free size's band, the others as found, with rates of their own."""
    out = []
    for i, (f, (centre, width)) in enumerate(
        zip(case.freedoms, case.bands(verified.theta), strict=True)
    ):
        nominal = nominal_of(case.study, f.path)
        if f.centre is None or f.held is not None or nominal is None or f.path == "bearing.outside":
            continue
        kind: Literal["hole", "shaft"] = "shaft" if f.path == "sleeve.outside" else "hole"
        try:
            near = nearest(nominal, centre - 0.5 * width, centre + 0.5 * width, kind, count=2)
        except TableError:
            continue
        found = {c.designation: c for c in (*near.inside, *near.overlap, *near.outside)}
        for c in list(found.values())[:4]:
            freedoms = list(case.freedoms)
            band = (0.5 * (c.lower + c.upper), c.upper - c.lower)
            freedoms[i] = replace(f, held=band, word=c.designation)
            other = replace(case, freedoms=tuple(freedoms))
            theta = _without(case, verified.theta, i)
            modes, _ = rates_of(
                other.variant(theta),
                search.targets,
                seed=search.seed + _CLASS_SEED,
                draws=_CLASS_DRAWS,
                workers=workers,
            )
            rates = {m: r.share for m, r in modes.items()}
            cost = cost_model(other).of(theta, rates).total
            out.append(
                ClassResult(
                    path=f.path,
                    designation=c.designation,
                    low=c.lower,
                    high=c.upper,
                    modes=modes,
                    cost=cost if math.isfinite(cost) else 0.0,
                )
            )
    return tuple(out)


def _without(case: Case, theta: FloatArray, i: int) -> FloatArray:
    """The free numbers of all bands but one."""
    own = [k for k in case.places()[i] if k is not None]
    return np.delete(theta, own)
