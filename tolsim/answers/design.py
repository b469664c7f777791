"""The cheapest bands that meet the targets, on the drawing grid, verified on fresh draws."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.allocation import Allocation, allocations
from tolsim.answers.design_problem import Problem, problem_of
from tolsim.answers.design_search import Found, band_cost, scrap_share, search
from tolsim.answers.predict import predict
from tolsim.answers.region import Region, feasible_region
from tolsim.answers.results import Prediction
from tolsim.spec.load import Study
from tolsim.spec.variants import with_spec
from tolsim.standards.sizes import nearest

__all__ = ["BandResult", "Choice", "ClassResult", "Design", "Unreachable", "design"]

FloatArray = NDArray[np.float64]
_VERIFY = 2**22
_TIGHTER = (1.0, 2.0, 3.0, 4.5, 6.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class BandResult:
    """One band as it goes on the drawing, deviations from nominal [mm] (or a zone [mm, rad])."""

    path: str
    nominal: float | None
    low: float | None
    high: float | None
    width: float
    unit: str
    scale: float
    follows: str
    capability: float
    basis: str | None
    cost: float
    scrap: float | None
    state: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ClassResult:
    """A class of ISO 286-2 near the band: its own rates and cost."""

    path: str
    designation: str
    low: float
    high: float
    rates: dict[str, float]
    cost: float
    meets: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """A combination of parts with the cheapest bands found for it."""

    parts: dict[str, str]
    cost: float | None
    feasible: bool
    excess: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Unreachable:
    """Why no band will do: the target in the way, the best attainable, what would help."""

    mode: str
    target: float
    best: float
    capability: float | None
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Design:
    """The answer to `design`."""

    study: Study
    seed: int
    met: bool
    bands: tuple[BandResult, ...]
    parts: dict[str, str]
    cost: float | None
    currency: str
    prediction: Prediction | None
    targets: dict[str, float]
    classes: tuple[ClassResult, ...]
    choices: tuple[Choice, ...]
    savings: dict[str, float]
    curve: tuple[tuple[float, float | None], ...]
    allocations: tuple[Allocation, ...]
    region: Region | None
    unreachable: tuple[Unreachable, ...]
    warnings: tuple[str, ...]
    variant: Study | None
    evaluations: float


def design(
    study: Study,
    *,
    seed: int = 1,
    workers: int = 2,
    grid: float = 1e-3,
    tell: Callable[[str], None] | None = None,
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
        Also work out what targets and constraints cost, classes, and the feasible region.

    Returns
    -------
    Design
        Verified with draws that the search has not seen, or why nothing meets the targets.
    """
    problem = problem_of(study, grid=grid)
    given = study.spec.targets
    targets = {
        m: t
        for m in ("loose", "tight", "misaligned", "bond", "creak")
        if (t := getattr(given, m)) is not None
    }
    choices: list[tuple[Choice, Found, Study]] = []
    evaluations = 0.0
    for chosen in problem.combinations():
        base = problem.with_parts(chosen)
        start = choices[-1][1].theta if choices else None
        best = min((c.cost for c, _, _ in choices if c.cost is not None), default=math.inf)
        if _least_cost(problem, base) > best:
            continue
        if tell is not None and chosen:
            tell(", ".join(chosen.values()))
        found = search(problem, base, targets, seed=seed, start=start, tell=tell)
        if not found.feasible and start is not None:
            found = search(problem, base, targets, seed=seed, tell=tell)
        evaluations += found.model.evaluations * found.steps
        cost = found.cost if found.feasible else None
        choice = Choice(parts=chosen, cost=cost, feasible=found.feasible, excess=found.excess)
        choices.append((choice, found, base))
    ranked = sorted(choices, key=lambda c: (not c[0].feasible, c[0].cost or 0.0, c[0].excess))
    shared = {
        "study": study,
        "seed": seed,
        "currency": study.spec.costs.currency if study.spec.costs is not None else "currency",
        "targets": targets,
        "choices": tuple(c for c, _, _ in ranked),
        "warnings": _warnings(problem),
        "evaluations": evaluations,
    }
    for choice, found, base in ranked:
        if not choice.feasible:
            break
        settled = _settle(problem, base, targets, found, seed, workers, tell)
        if settled is None:
            continue
        theta, prediction = settled
        rates = {m: r.share for m, r in prediction.modes.items() if r is not None}
        cost = band_cost(problem, base, theta, rates)
        extra = _depth(problem, base, targets, theta, found, seed, tell) if deep else _SHALLOW
        return Design(
            **shared,  # type: ignore[arg-type]
            met=True,
            bands=_bands(problem, base, theta),
            parts=choice.parts,
            cost=cost,
            prediction=prediction,
            classes=extra[0],
            savings=extra[1],
            curve=extra[2],
            allocations=allocations(problem, base, theta) if deep else (),
            region=extra[3],
            unreachable=(),
            variant=problem.variant(base, theta),
        )
    choice, found, base = ranked[0]
    return Design(
        **shared,  # type: ignore[arg-type]
        met=False,
        bands=_bands(problem, base, found.theta),
        parts=choice.parts,
        cost=None,
        prediction=None,
        classes=(),
        savings={},
        curve=(),
        allocations=(),
        region=None,
        unreachable=_unreachable(problem, base, targets, found, seed, tell),
        variant=None,
    )


_SHALLOW: tuple[
    tuple[ClassResult, ...],
    dict[str, float],
    tuple[tuple[float, float | None], ...],
    Region | None,
] = ((), {}, (), None)


def _least_cost(problem: Problem, base: Study) -> float:
    """No design of this combination is cheaper: widest bands, no failures."""
    widest = np.array([high for _, high in problem.bounds()])
    bands = sum(
        f.cost(w) for f, (_, w) in zip(problem.freedoms, problem.bands(widest), strict=True)
    )
    prices = 0.0
    for role in problem.roles:
        price = base.strata[0].parts[role].price_each or 0.0
        prices += price * (1.0 if role in ("bore", "adhesive") else 2.0)
    return bands + prices


def _on_grid(problem: Problem, theta: FloatArray) -> FloatArray:
    """The bands with their limits on the drawing grid, rounded inwards."""
    out: list[float] = []
    for f, (centre, width) in zip(problem.freedoms, problem.bands(theta), strict=True):
        g = f.grid
        if centre is None:
            out.append(max(math.floor(width / g + 1e-6) * g, g))
            continue
        low = math.ceil((centre - 0.5 * width) / g - 1e-6) * g
        high = math.floor((centre + 0.5 * width) / g + 1e-6) * g
        if high - low < g:
            high = low + g
        out += [0.5 * (low + high), high - low]
    return np.array(out)


def _neighbours(problem: Problem, theta: FloatArray) -> list[FloatArray]:
    """Bands with one limit moved by one or two steps of the grid."""
    out: list[FloatArray] = []
    i = 0
    for f, (centre, width) in zip(problem.freedoms, problem.bands(theta), strict=True):
        g = f.grid
        if centre is None:
            moves = [(i, k * g, None) for k in (-2, -1, 1, 2)]
            for at, step, _ in moves:
                new = theta.copy()
                new[at] = width + step
                out.append(new)
            i += 1
            continue
        low, high = centre - 0.5 * width, centre + 0.5 * width
        for a, b in ((-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (1, 1), (-1, 1), (1, -1)):
            new_low, new_high = low + a * g, high + b * g
            if new_high - new_low >= g:
                new = theta.copy()
                new[i], new[i + 1] = 0.5 * (new_low + new_high), new_high - new_low
                out.append(new)
        i += 2
    bounds = np.array(problem.bounds()) if problem.bounds() else np.zeros((0, 2))
    return [
        t for t in out if bool(np.all((t >= bounds[:, 0] - 1e-12) & (t <= bounds[:, 1] + 1e-12)))
    ]


def _settle(
    problem: Problem,
    base: Study,
    targets: dict[str, float],
    found: Found,
    seed: int,
    workers: int,
    tell: Callable[[str], None] | None,
) -> tuple[FloatArray, Prediction] | None:
    """Bands on the grid that a run on fresh streams verifies, tightened until it does."""
    for margin in _TIGHTER:
        theta = _local(problem, base, targets, found, margin)
        if theta is None:
            continue
        prediction = predict(
            problem.variant(base, theta),
            seed=seed + 7_919,
            draws=_VERIFY,
            workers=workers,
            glance=False,
        )
        if tell is not None:
            tell(f"verified on fresh draws: {prediction.verdict}")
        if prediction.verdict == "met":
            return theta, prediction
    return None


def _local(
    problem: Problem, base: Study, targets: dict[str, float], found: Found, margin: float
) -> FloatArray | None:
    """Cheapest grid point near the search's end that its units call good, by steps of the grid."""
    model = found.model

    def judge(theta: FloatArray) -> tuple[bool, float, float]:
        worst, rates = -math.inf, {}
        for m, target in targets.items():
            p, error, _ = model.rate(m, theta)
            rates[m] = p
            worst = max(worst, math.log(max(p, 1e-30) / target) + margin * min(error, 1.0))
        return worst <= 0.0, band_cost(problem, base, theta, rates), worst

    here = _on_grid(problem, found.theta)
    good, cost, worst = judge(here)
    for _ in range(60):
        options = [(t, *judge(t)) for t in _neighbours(problem, here)]
        if not options:
            break
        if good:
            better = [o for o in options if o[1] and o[2] < cost - 1e-12]
            if not better:
                break
            here, good, cost, worst = min(better, key=lambda o: o[2])
        else:
            here_next = min(options, key=lambda o: (not o[1], o[2] if o[1] else o[3]))
            if not here_next[1] and here_next[3] >= worst - 1e-9:
                break
            here, good, cost, worst = here_next
    return here if good else None


def _bands(problem: Problem, base: Study, theta: FloatArray) -> tuple[BandResult, ...]:
    out = []
    for f, (centre, width) in zip(problem.freedoms, problem.bands(theta), strict=True):
        role, _, rest = f.path.partition(".")
        part = base.strata[0].parts[role]
        feature = getattr(part, rest) if centre is not None else None
        nominal = None if feature is None else feature.nominal
        if nominal is None and f.path == "bearing.outside":
            nominal = base.strata[0].bearing.outside_diameter
        sorts = f.spec.follows == "gauge" and centre is not None
        state = ""
        if feature is not None and feature.state is not None:
            s = feature.state
            state = (
                f"{s.size} diameter, {s.age:g} h after making, at {s.temperature:g} °C, "
                f"{'coated' if s.coated else 'uncoated'}"
            )
        out.append(
            BandResult(
                path=f.path,
                nominal=nominal,
                low=None if centre is None else centre - 0.5 * width,
                high=None if centre is None else centre + 0.5 * width,
                width=width,
                unit=f.unit,
                scale=f.scale,
                follows=f.spec.follows,
                capability=f.capability,
                basis=f.spec.capability_basis,
                cost=f.cost(width),
                scrap=scrap_share(base, f.path, centre, width)
                if sorts and centre is not None
                else None,
                state=state,
            )
        )
    return tuple(out)


def _warnings(problem: Problem) -> tuple[str, ...]:
    """A tighter number on a drawing changes no machine: said first where no basis is given."""
    bare = [
        f.path
        for f in problem.freedoms
        if f.spec.follows == "process" and f.spec.capability_basis in (None, "", "assumed")
    ]
    if not bare:
        return ()
    return (
        f"A tighter number on a drawing changes no machine: {', '.join(bare)} is taken to follow "
        "its band at a capability that nobody has shown; state capability_basis once readings "
        'show it, or let the band sort (follows = "gauge").',
    )


def _depth(
    problem: Problem,
    base: Study,
    targets: dict[str, float],
    theta: FloatArray,
    found: Found,
    seed: int,
    tell: Callable[[str], None] | None,
) -> tuple[
    tuple[ClassResult, ...],
    dict[str, float],
    tuple[tuple[float, float | None], ...],
    Region | None,
]:
    savings: dict[str, float] = {}
    curve: list[tuple[float, float | None]] = []
    if problem.freedoms:
        for mode in targets:
            loosened = {**targets, mode: min(0.5, 4.0 * targets[mode])}
            other = search(problem, base, loosened, seed=seed, start=found.theta)
            savings[mode] = found.cost - other.cost if other.feasible else 0.0
        main = "creak" if "creak" in targets else next(iter(targets))
        for factor in (0.25, 0.5, 1.0, 2.0, 5.0):
            goal = min(0.5, factor * targets[main])
            if factor == 1.0:
                curve.append((goal, found.cost))
                continue
            other = search(problem, base, {**targets, main: goal}, seed=seed, start=found.theta)
            curve.append((goal, other.cost if other.feasible else None))
        if tell is not None:
            tell("what constraints and targets cost is worked out")
    region = None
    if len(problem.freedoms) == 1 and problem.freedoms[0].centre is not None:
        region = feasible_region(problem, base, targets, theta, seed=seed)
    return _classes(problem, base, targets, theta, seed), savings, tuple(curve), region


def _classes(
    problem: Problem, base: Study, targets: dict[str, float], theta: FloatArray, seed: int
) -> tuple[ClassResult, ...]:
    """Classes of ISO 286-2 nearest to each size's band, with rates of their own."""
    out = []
    i = 0
    for f, (centre, width) in zip(problem.freedoms, problem.bands(theta), strict=True):
        if centre is None:
            i += 1
            continue
        role, _, rest = f.path.partition(".")
        feature = getattr(base.strata[0].parts[role], rest)
        kind: Literal["hole", "shaft"] = (
            "shaft" if f.path in ("sleeve.outside", "bearing.outside") else "hole"
        )
        nominal = feature.nominal
        if nominal is not None and f.path != "bearing.clearance":
            low, high = centre - 0.5 * width, centre + 0.5 * width
            near = nearest(nominal, low, high, kind, count=2)
            seen: set[str] = set()
            for c in (*near.inside, *near.overlap, *near.outside):
                if c.designation in seen or len(seen) >= 4:
                    continue
                seen.add(c.designation)
                point = theta.copy()
                point[i], point[i + 1] = 0.5 * (c.lower + c.upper), c.upper - c.lower
                p = predict(
                    problem.variant(base, point), seed=seed + 101, draws=2**17, glance=False
                )
                rates = {m: r.share for m, r in p.modes.items() if r is not None}
                out.append(
                    ClassResult(
                        path=f.path,
                        designation=c.designation,
                        low=c.lower,
                        high=c.upper,
                        rates={m: rates[m] for m in targets if m in rates},
                        cost=band_cost(problem, base, point, rates),
                        meets=p.verdict == "met",
                    )
                )
        i += 2
    return tuple(out)


def _unreachable(
    problem: Problem,
    base: Study,
    targets: dict[str, float],
    found: Found,
    seed: int,
    tell: Callable[[str], None] | None,
) -> tuple[Unreachable, ...]:
    """Targets in the way, the best attainable, and the capability that would do."""
    worst = max(targets, key=lambda m: found.rates.get(m, 0.0) / targets[m])
    enough: float | None = None
    follows = [f for f in problem.freedoms if f.spec.follows == "process"]
    if follows:
        for factor in (1.25, 1.5, 2.0, 3.0):
            spec = problem.study.spec
            sharper = tuple(
                c.model_copy(update={"capability": (c.capability or 1.0) * factor})
                if c.feature is not None and c.follows == "process"
                else c
                for c in spec.choose
            )
            other = replace(
                problem_of(with_spec(problem.study, choose=sharper)), study=problem.study
            )
            if tell is not None:
                tell(f"looking at {factor:g} times the capability")
            if search(other, base, targets, seed=seed, start=found.theta).feasible:
                enough = factor * follows[0].capability
                break
    told = []
    for mode, target in targets.items():
        rate = found.rates.get(mode, 0.0)
        if rate <= target and mode != worst:
            continue
        sentence = f"the best attainable is {rate:.3g} against {target:.3g}"
        if mode == worst and enough is not None:
            sentence += (
                f"; a capability of {enough:.3g} instead of {follows[0].capability:g} would do"
            )
        elif mode == worst and follows:
            sentence += (
                "; not even three times the capability of the free bands would do: another part, "
                "class or limit has to change"
            )
        told.append(
            Unreachable(mode=mode, target=target, best=rate, capability=enough, sentence=sentence)
        )
    return tuple(told)
