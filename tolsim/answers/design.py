"""The cheapest bands and choices that meet the targets, on the drawing grid, verified afresh."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.costs import cost_model
from tolsim.answers.design_bands import band_results, bare_capabilities, sorted_as_normal
from tolsim.answers.design_cases import Case, Problem, problem_of
from tolsim.answers.design_depth import depth_of
from tolsim.answers.design_grid import improved, on_grid
from tolsim.answers.design_outer import Found, Search, of_case
from tolsim.answers.design_reasons import reasons_of
from tolsim.answers.design_results import BandResult, Choice, Design
from tolsim.answers.design_verify import Verified, settle
from tolsim.answers.lots_taken import over_any_lot
from tolsim.spec.load import Study

__all__ = ["design"]

FloatArray = NDArray[np.float64]
Tell = Callable[[str], None]
_CONTENDS = 1.01  # cost over that of the cheapest up to which a case is looked at closer
_NEARLY = 0.3  # logarithm of rate over target up to which a case that misses it is, too


@dataclass(frozen=True, slots=True)
class _Tried:
    """One case, and where its search ended; `search` is None where it was not begun."""

    case: Case
    search: Search | None
    found: Found | None
    cost: float
    status: str


def design(
    study: Study,
    *,
    seed: int = 1,
    workers: int = 2,
    grid: float = 1e-3,
    tell: Tell | None = None,
    deep: bool = True,
) -> Design:
    """Search for the cheapest bands, classes and parts that meet every target.

    Parameters
    ----------
    study : Study
        With ``[[choose]]``, ``[targets]`` and, where money is meant, ``[costs]``.
    seed, workers : int
        Of the search; verification uses other streams. Threads of the verification.
    grid : float
        Drawing grid of sizes [mm].
    tell : callable, optional
        Told in words what is being done.
    deep : bool
        Also work out what targets and constraints cost, classes, and the feasible region; or,
        where nothing meets the targets, what would have to change.

    Returns
    -------
    Design
        Verified with draws that the search has not seen, or why nothing meets the targets.
    """
    study = over_any_lot(study)
    problem = problem_of(study, grid=grid)
    tried = _through(problem, seed, tell)
    tried = _closer(problem, tried, tell)
    good = sorted((t for t in tried if t.status == "met"), key=lambda t: t.cost)
    shared = {
        "study": study,
        "seed": seed,
        "targets": dict(problem.targets),
        "currency": study.spec.costs.currency if study.spec.costs is not None else "currency",
    }
    failed: list[Case] = []
    for t in good:
        assert t.search is not None
        assert t.found is not None
        verified = settle(t.search, t.found, t.case.variant, workers=workers, tell=tell)
        if verified is None:
            failed.append(t.case)
            continue
        extra = (
            depth_of(problem, t.case, t.search, t.found, verified, workers, tell) if deep else {}
        )
        rates = {m: r.share for m, r in verified.modes.items()}
        return Design(
            **shared,  # type: ignore[arg-type]
            met=True,
            label=t.case.label,
            bands=band_results(t.case, verified.theta),
            cost=verified.cost,
            costing=cost_model(t.case).of(verified.theta, rates),
            modes=verified.modes,
            draws=verified.draws,
            verified_seed=verified.seed,
            choices=_choices(tried, t, verified, failed),
            warnings=(*bare_capabilities(t.case.freedoms), *sorted_as_normal(t.case)),
            variant=t.case.variant(verified.theta),
            evaluations=_spent(tried),
            **extra,
        )
    nearest = min(
        (t for t in tried if t.found is not None),
        key=lambda t: (t.status != "met", t.found.excess if t.found is not None else math.inf),
    )
    assert nearest.search is not None
    assert nearest.found is not None
    theta = on_grid(nearest.search, nearest.found.theta)
    reasons = reasons_of(nearest.case, nearest.search, nearest.found, workers, tell, deep=deep)
    return Design(
        **shared,  # type: ignore[arg-type]
        met=False,
        label=nearest.case.label,
        bands=band_results(nearest.case, theta),
        cost=None,
        costing=None,
        modes={},
        draws=0,
        verified_seed=None,
        choices=_choices(tried, None, None, failed),
        warnings=(*bare_capabilities(nearest.case.freedoms), *sorted_as_normal(nearest.case)),
        variant=None,
        evaluations=_spent(tried),
        **reasons,
    )


def _through(problem: Problem, seed: int, tell: Tell | None) -> list[_Tried]:
    """Every case searched, cheapest hopes first; those dearer than the two best are left."""
    tried: list[_Tried] = []
    least = {id(c): cost_model(c).least() for c in problem.cases}
    starts: dict[tuple[object, ...], FloatArray] = {}
    for case in sorted(problem.cases, key=lambda c: least[id(c)]):
        costs = sorted(t.cost for t in tried if t.status == "met")
        limit = costs[1] if len(costs) > 1 else math.inf
        if least[id(case)] > limit:
            tried.append(_Tried(case, None, None, least[id(case)], "dearer"))
            continue
        t = _searched(problem, case, seed, limit, starts.get(_kind(case)), tell)
        if t.found is not None and t.found.near:
            starts[_kind(case)] = t.found.theta
        tried.append(t)
    return tried


def _closer(problem: Problem, tried: list[_Tried], tell: Tell | None) -> list[_Tried]:
    """A closer look at the cheapest cases, and at what nearly meets the targets."""
    best = min((t.cost for t in tried if t.status == "met"), default=math.inf)
    out = []
    for t in tried:
        wanted = t.status == "met" and t.cost <= best * _CONTENDS
        if t.status == "out of reach" and t.found is not None:
            wanted = t.found.excess <= _NEARLY
        if wanted and t.search is not None and t.found is not None and len(t.found.theta):
            found = t.search.settle(t.found, problem.targets, tell)
            status = "met" if found.near else "out of reach"
            t = _Tried(t.case, t.search, found, found.cost, status)
        out.append(t)
    return out


def _kind(case: Case) -> tuple[object, ...]:
    """What two cases must share for one to start where the other ended."""
    return tuple((f.path, f.free, f.sorts) for f in case.freedoms)


def _searched(
    problem: Problem,
    case: Case,
    seed: int,
    limit: float,
    start: FloatArray | None,
    tell: Tell | None,
) -> _Tried:
    if tell is not None and case.label:
        tell(case.name)
    search = of_case(case, problem.targets, seed=seed, start=start)
    found = search.run(limit=limit, closely=False, tell=tell)
    if not found.near and start is not None:
        again = of_case(case, problem.targets, seed=seed)
        other = again.run(limit=limit, closely=False, tell=tell)
        if other.near or other.excess < found.excess:
            search, found = again, other
    status = "out of reach" if not found.near else "met"
    if found.near and found.cost > limit:
        status = "dearer"
    return _Tried(case, search, found, found.cost, status)


def _choices(
    tried: list[_Tried], chosen: _Tried | None, verified: Verified | None, failed: list[Case]
) -> tuple[Choice, ...]:
    """All combinations, those that meet the targets first and cheapest first."""
    out = []
    for t in tried:
        cost, status = t.cost, t.status
        bands: tuple[BandResult, ...] = ()
        if t is chosen and verified is not None:
            cost, bands = verified.cost, band_results(t.case, verified.theta)
        elif t.search is not None and t.found is not None and t.status == "met":
            t.search.rates.settle(t.found.theta)
            point = improved(
                t.search, on_grid(t.search, t.found.theta), dict.fromkeys(t.search.targets, 1.0)
            )
            cost, bands = point.cost, band_results(t.case, point.theta)
        if any(t.case is c for c in failed):
            status = "out of reach"
        out.append(Choice(label=t.case.label, cost=cost, status=status, bands=bands))  # type: ignore[arg-type]
    order = {"met": 0, "dearer": 1, "out of reach": 2}
    return tuple(sorted(out, key=lambda c: (order[c.status], c.cost)))


def _spent(tried: list[_Tried]) -> float:
    return math.fsum(t.search.rates.evaluations for t in tried if t.search is not None)
