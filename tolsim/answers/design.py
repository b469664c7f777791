"""The cheapest bands and choices that meet the targets, on the drawing grid, verified afresh."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.costs import cost_model
from tolsim.answers.design_bands import (
    band_results,
    bare_capabilities,
    bare_widths,
    sorted_as_normal,
    unpriced_parts,
)
from tolsim.answers.design_cases import Case, Problem, problem_of, unsearchable
from tolsim.answers.design_depth import depth_of
from tolsim.answers.design_grid import improved, on_grid
from tolsim.answers.design_outer import Found, Search, of_case
from tolsim.answers.design_reasons import in_the_way, reasons_of
from tolsim.answers.design_results import BandResult, Choice, Design, Unreachable
from tolsim.answers.design_start import passing_point
from tolsim.answers.design_verify import Verified, settle
from tolsim.answers.lots_taken import over_any_lot
from tolsim.errors import SpecError, UsageError
from tolsim.spec.load import Study
from tolsim.spec.money import Costs

__all__ = ["design"]

FloatArray = NDArray[np.float64]
Tell = Callable[[str], None]
_CONTENDS = 1.01  # cost over that of the cheapest up to which a case is looked at closer
_RIVALS = 2  # cases as cheap as the best that are verified as well
_WASTEFUL = 1.5  # cost over the least from which sorting may have begun where too little passes
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
    try:
        tried = _closer(_through(problem, seed, tell), tell)
    except UsageError as e:  # the study asks for it, not the command line
        raise SpecError([unsearchable(study, str(e))]) from e
    shared = {
        "study": study,
        "seed": seed,
        "targets": dict(problem.targets),
        "currency": (study.spec.costs or Costs()).currency,
    }
    checked, failed = _verified(tried, workers, tell)
    blocked: tuple[Unreachable, ...] = ()
    nearest = _nearest(tried)
    if not checked:
        assert nearest.search is not None
        assert nearest.found is not None
        blocked, within = in_the_way(nearest.case, nearest.search, nearest.found, workers, tell)
        if within is not None:  # the search has passed by bands that would do
            again = _from(nearest, within, tell)
            tried = [again if t is nearest else t for t in tried]
            nearest = again
            checked, later = _verified([again], workers, tell)
            failed = [c for c in failed if c is not again.case] + later
    shared["evaluations"] = _spent(tried)
    if checked:
        t, verified = min(checked, key=lambda c: c[1].cost)
        assert t.search is not None
        assert t.found is not None
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
            choices=_choices(tried, checked, failed),
            warnings=_warnings(t.case, problem),
            variant=t.case.variant(verified.theta),
            **extra,
        )
    assert nearest.search is not None
    assert nearest.found is not None
    theta = on_grid(nearest.search, nearest.found.theta)
    reasons = reasons_of(nearest.case, nearest.search, nearest.found, blocked, tell, deep=deep)
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
        choices=_choices(tried, [], failed),
        warnings=_warnings(nearest.case, problem),
        variant=None,
        **reasons,
    )


def _warnings(case: Case, problem: Problem) -> tuple[str, ...]:
    """What is said before everything else."""
    return (
        *bare_capabilities(case.freedoms),
        *bare_widths(case.freedoms),
        *unpriced_parts(problem.cases),
        *sorted_as_normal(case),
    )


def _nearest(tried: list[_Tried]) -> _Tried:
    """The case that comes nearest to its targets."""
    return min(
        (t for t in tried if t.found is not None),
        key=lambda t: (t.status != "met", t.found.excess if t.found is not None else math.inf),
    )


def _verified(
    tried: list[_Tried], workers: int, tell: Tell | None
) -> tuple[list[tuple[_Tried, Verified]], list[Case]]:
    """The cheapest cases that fresh units verify, and those on the way that they do not.

    What costs nearly as little by the units of the search is verified as well.
    """
    checked: list[tuple[_Tried, Verified]] = []
    failed: list[Case] = []
    for t in sorted((t for t in tried if t.status == "met"), key=lambda t: t.cost):
        assert t.search is not None
        assert t.found is not None
        least = min((v.cost for _, v in checked), default=math.inf)
        if t.cost > least * _CONTENDS or len(checked) > _RIVALS:
            break
        found = settle(t.search, t.found, t.case.variant, workers=workers, tell=tell)
        if found is None:
            failed.append(t.case)
        else:
            checked.append((t, found))
    return checked, failed


def _from(t: _Tried, theta: FloatArray, tell: Tell | None) -> _Tried:
    """A case searched on from another point."""
    assert t.search is not None
    t.search.best = t.search.found(theta, t.search.targets, 0)
    found = t.search.run(tell=tell)
    status = "met" if found.near else "out of reach"
    return _Tried(t.case, t.search, found, found.cost, status)


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


def _closer(tried: list[_Tried], tell: Tell | None) -> list[_Tried]:
    """A closer look at the cheapest cases, and at what nearly meets the targets."""
    best = min((t.cost for t in tried if t.status == "met"), default=math.inf)
    out = []
    for t in tried:
        wanted = t.status == "met" and t.cost <= best * _CONTENDS
        if t.status == "out of reach" and t.found is not None:
            wanted = t.found.excess <= _NEARLY
        if wanted and t.search is not None and t.found is not None and len(t.found.theta):
            found = t.search.settle(t.found, t.search.targets, tell)
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
    others: list[FloatArray | None] = [] if found.near or start is None else [None]
    wasteful = not found.near or found.cost > _WASTEFUL * search.prices.least()
    if wasteful and any(f.sorts and f.held is None for f in case.freedoms):
        others.append(passing_point(case, found.theta))
    for other_start in others:
        again = of_case(case, problem.targets, seed=seed, start=other_start)
        other = again.run(limit=limit, closely=False, tell=tell)
        better = other.cost < found.cost if found.near else other.excess < found.excess
        if other.near >= found.near and (better or other.near > found.near):
            search, found = again, other
    status = "out of reach" if not found.near else "met"
    if found.near and found.cost > limit:
        status = "dearer"
    return _Tried(case, search, found, found.cost, status)


def _choices(
    tried: list[_Tried], checked: list[tuple[_Tried, Verified]], failed: list[Case]
) -> tuple[Choice, ...]:
    """All combinations, those that meet the targets first and cheapest first."""
    out = []
    known = {id(t.case): v for t, v in checked}
    for t in tried:
        cost, status = t.cost, t.status
        verified = known.get(id(t.case))
        bands: tuple[BandResult, ...] = ()
        if verified is not None:
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
