"""Least cost over the free bands of one case: draw, solve near by, move there, draw again.

Each step draws units at the present point; all failed units so far say how the rates move with
every band (`design_rates`). The cheapest point that keeps the targets, one standard error off,
within the region those units speak for is the next. The region grows while fresh draws confirm
what was foretold and shrinks where they do not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.costs import cost_model
from tolsim.answers.design_cases import Case
from tolsim.answers.design_rates import Rates, Source
from tolsim.answers.design_solve import Solved, least_cost
from tolsim.answers.design_start import first_point
from tolsim.answers.design_units import Units
from tolsim.errors import SpecError

__all__ = ["ANY_RATE", "Found", "Prices", "Search", "of_case"]

FloatArray = NDArray[np.float64]
ANY_RATE = 2.0  # as a target: nothing is asked, no rate is ever near it
_PAID = 0.02  # of the other costs: claims of less need not be known well
_STEPS = 18
_CLOSE = 2**15  # units of each sample at the end
_FLOOR = 1e-3  # of a target: a rate this far below it is as good as none
_WIDTH, _WIDTH_SORTED = 0.4, 0.22  # logarithm of the factor by which a width may change at once
_FELT, _WIDTH_MOST = 0.3, 1.5  # slope below which a width may change by more, up to this
_CENTRE, _CENTRE_SORTED = 1.0, 0.1  # spreads, or widths, by which a middle may move at once
_ERRORS = 1.0  # standard errors that are kept from each target
_NEAR, _THERE = 0.03, 5e-3  # gain over cost at which to look closer, and to stop
_LITTLE, _PATIENCE = 0.03, 3  # gain of a step that counts as none; how many of them in a row
_HOPELESS = 0.05  # of the excess: as little a gain counts as none while targets are missed
_FAR_OFF = 3.0  # excess that is hardly made good any more
_SMALL = 0.1  # size of the region at which to stop
_CLOSELY = 0.5  # excess above which a closer look would not change the answer
_FORGIVEN = 0.5  # excess up to which a cheaper point may be worth it on the way
_DEARER = 1.5  # times the price at which it is
_SETTLES = 5  # steps on weighted units
_MEETS = 0.01  # logarithm by which a rate may pass its target and still count as on it
_NEARLY_MEETS = 0.06


class Sum(Protocol):
    """A cost a unit."""

    @property
    def total(self) -> float:
        """All of it together."""


class Prices(Protocol):
    """What any bands cost a unit."""

    @property
    def claims(self) -> Mapping[str, float]:
        """Cost of one unit that fails, by mode."""

    def of(self, theta: FloatArray, rates: Mapping[str, float]) -> Sum:
        """Cost at a point with these rates."""

    def fixed_slope(self, theta: FloatArray) -> tuple[float, FloatArray]:
        """Cost without claims, and its gradient."""

    def least(self) -> float:
        """A cost that no bands go below."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """Where a search ended.

    `excess` is the largest logarithm of rate over target, standard error included; `cost` a unit.
    """

    theta: FloatArray
    cost: float
    rates: dict[str, float]
    excess: float
    steps: int

    @property
    def feasible(self) -> bool:
        """Whether all targets are met, as far as the units drawn can tell."""
        return self.excess <= _MEETS

    @property
    def near(self) -> bool:
        """Whether they are met or so nearly that rounding and verification must tell."""
        return self.excess <= _NEARLY_MEETS


class Search:
    """One case under search: what was drawn stays, so that other questions cost little.

    Parameters
    ----------
    source, prices : Source, Prices
        What is drawn, and what it costs.
    targets : mapping
        Largest rate by mode.
    seed : int
        Of every stream.
    first : callable
        Where to begin; asked once, when the search begins.
    known_to : mapping, optional
        Rates by mode next to which one must be known well; the targets by default. Modes that are
        no targets count for what they cost alone.
    """

    def __init__(
        self,
        source: Source,
        prices: Prices,
        targets: Mapping[str, float],
        *,
        seed: int,
        first: Callable[[], FloatArray],
        known_to: Mapping[str, float] | None = None,
    ) -> None:
        self.source, self.prices = source, prices
        known_to = dict(known_to or targets)
        #: Largest rate by mode; any rate will do of what is only paid for.
        self.targets = {m: targets.get(m, ANY_RATE) for m in known_to}
        self.seed = seed
        self.bounds = source.bounds()
        self.rates = Rates(source, known_to, seed=seed)
        self.first = first
        self.best: Found | None = None
        #: What the logarithm of the rate in the way costs, as last seen.
        self.price = 0.0

    def found(self, theta: FloatArray, targets: Mapping[str, float], steps: int) -> Found:
        """What the units drawn so far say of a point."""
        values = self.rates.values(theta)
        rates = {m: v for m, (v, _) in values.items()}
        excess = max(
            math.log((v + _ERRORS * e + _FLOOR * targets[m]) / targets[m])
            for m, (v, e) in values.items()
        )
        return Found(
            theta=theta,
            cost=self.prices.of(theta, rates).total,
            rates=rates,
            excess=excess,
            steps=steps,
        )

    def run(
        self,
        *,
        targets: Mapping[str, float] | None = None,
        limit: float = math.inf,
        most: int = _STEPS,
        closely: bool = True,
        tell: Callable[[str], None] | None = None,
    ) -> Found:
        """Search, or search on under other targets.

        Parameters
        ----------
        targets : mapping, optional
            Other targets than those of the case; the same modes.
        limit : float
            A cost above which nothing is of interest.
        most : int
            Steps at most.
        closely : bool
            Look closer where it ends.
        tell : callable, optional
            Told of every step.
        """
        goal = dict(targets or self.targets)
        theta = self._begin()
        self.best = self._descend(theta, goal, limit, most, tell)
        near = self.best.cost <= limit and self.best.excess <= _CLOSELY
        if len(theta) and near and closely:
            self.best = self.settle(self.best, goal, tell)
        return self.best

    def _descend(
        self,
        theta: FloatArray,
        goal: Mapping[str, float],
        limit: float,
        most: int,
        tell: Callable[[str], None] | None,
    ) -> Found:
        """Steps until they promise little more."""
        radius = 1.0
        best: Found | None = None
        idle = 0
        for step in range(1, most + 1):
            try:
                self.rates.refresh(theta)
            except SpecError:  # bands that let nothing pass: not as far as that
                radius *= 0.5
                if best is None:
                    raise
                if radius < _SMALL:
                    break
                theta = 0.5 * (theta + best.theta)
                continue
            here = self.found(theta, goal, step)
            _told(tell, "step", here)
            before = None if best is None else self._again(best, goal, step)
            if before is None or self._better(here, before):
                radius = min(1.3 * radius, 1.5)
                gained = math.inf if before is None else self._gained(before, here)
                best = here
            else:
                radius *= 0.5
                gained, best = 0.0, before
            if not len(theta):
                break
            self.rates.settle(best.theta)
            following = self._solve(best.theta, goal, radius)
            promised = self._gain(best, following)
            if best.near and (promised <= _THERE or (following.cost > limit and promised <= _NEAR)):
                break
            little = _LITTLE if best.feasible else max(_LITTLE, _HOPELESS * best.excess)
            if best is here:
                idle = idle + 1 if gained < little else 0
            if radius < (_SMALL if best.excess < _FAR_OFF else 2.0 * _SMALL) or idle >= _PATIENCE:
                break
            theta = following.point
        assert best is not None
        return best

    def settle(
        self,
        best: Found,
        goal: Mapping[str, float],
        tell: Callable[[str], None] | None = None,
    ) -> Found:
        """A few steps on mixtures that are fitted where the search ended, and on more units."""
        theta, radius = best.theta, 0.5
        for step in range(best.steps + 1, best.steps + _SETTLES + 1):
            self.rates.refresh(theta, anew=step == best.steps + 1, n=_CLOSE)
            here = self.found(theta, goal, step)
            _told(tell, "closer", here)
            before = self._again(best, goal, step)
            best = here if self._better(here, before) else before
            self.rates.settle(best.theta)
            following = self._solve(best.theta, goal, radius)
            if best.feasible and self._gain(best, following) <= _THERE:
                break
            theta, radius = following.point, 0.6 * radius
        return best

    def _again(self, best: Found, goal: Mapping[str, float], step: int) -> Found:
        """A point that was found before, by all units drawn so far that speak for it."""
        self.rates.settle(best.theta)
        return self.found(best.theta, goal, step)

    def _begin(self) -> FloatArray:
        theta = self.best.theta if self.best is not None else self.first()
        return np.clip(theta, self.bounds[:, 0], self.bounds[:, 1])

    def _varying(self, best: Found) -> float:
        """The part of the cost that bands can change."""
        return max(abs(best.cost - self.prices.least()), 0.02 * abs(best.cost), 1e-9)

    def _merit(self, f: Found) -> float:
        """Cost, and what it takes to bring a rate that lies a little above its target back."""
        return f.cost + _DEARER * self.price * max(0.0, f.excess)

    def _better(self, a: Found, b: Found) -> bool:
        if max(a.excess, b.excess) <= _FORGIVEN and self.price > 0.0:
            return self._merit(a) < self._merit(b)
        if a.feasible != b.feasible:
            return a.feasible
        return a.cost < b.cost if a.feasible else a.excess < b.excess

    def _gained(self, before: Found, after: Found) -> float:
        if max(before.excess, after.excess) <= _FORGIVEN:
            return (self._merit(before) - self._merit(after)) / self._varying(before)
        return math.inf if after.feasible else before.excess - after.excess

    def _gain(self, best: Found, following: Solved) -> float:
        """What the next step promises: cost saved, or excess taken off, over its size."""
        if best.feasible or best.near:
            return max(0.0, self._merit(best) - following.cost) / self._varying(best)
        return max(0.0, best.excess + following.slack)

    def _solve(self, theta: FloatArray, goal: Mapping[str, float], radius: float) -> Solved:
        low, high = self.region(theta, radius)
        memory: dict[bytes, dict[str, tuple[float, FloatArray, float, FloatArray]]] = {}

        def rates(x: FloatArray) -> dict[str, tuple[float, FloatArray, float, FloatArray]]:
            key = x.tobytes()
            if key not in memory:
                memory.clear()
                memory[key] = {
                    m: (r.value, r.gradient, *r.upper(_ERRORS)) for m, r in self.rates.at(x).items()
                }
            return memory[key]

        def slack(x: FloatArray) -> tuple[FloatArray, FloatArray]:
            values, slopes = [], []
            for m, (_, _, upper, slope) in rates(x).items():
                kept = upper + _FLOOR * goal[m]
                values.append(-math.log(kept / goal[m]))
                slopes.append(-slope / kept)
            return np.array(values), np.array(slopes)

        def cost(x: FloatArray) -> tuple[float, FloatArray]:
            value, slope = self.prices.fixed_slope(x)
            if self.prices.claims:
                found = rates(x)
                for m, price in self.prices.claims.items():
                    if m in found:
                        value += price * found[m][0]
                        slope = slope + price * found[m][1]
            return value, slope

        found = least_cost(cost, slack, theta, low, high, steps=30, precision=1e-6)
        if found.slack >= -_MEETS:
            values, slopes = slack(found.point)
            self.price = _multiplier(cost(found.point)[1], slopes[int(values.argmin())], low, high)
        return found

    def region(self, theta: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
        """Ends of the region that the units at a point speak for.

        A width that hardly moves any rate may change by more at once.
        """
        low, high = self.bounds[:, 0].copy(), self.bounds[:, 1].copy()
        influence = self._influence(theta)
        for f, (_, width), (c, w) in zip(
            self.source.freedoms, self.source.bands(theta), self.source.places(), strict=True
        ):
            if c is not None:
                reach = radius * (_CENTRE_SORTED * width if f.sorts else _CENTRE * f.sd(width))
                low[c], high[c] = max(low[c], theta[c] - reach), min(high[c], theta[c] + reach)
            if w is not None:
                step = _WIDTH_SORTED if f.sorts else _WIDTH
                share = influence[w] * width
                factor = math.exp(
                    radius * min(_WIDTH_MOST, step * max(1.0, _FELT / (share + 1e-9)))
                )
                low[w], high[w] = max(low[w], width / factor), min(high[w], width * factor)
        return low, high

    def _influence(self, theta: FloatArray) -> FloatArray:
        """Largest slope of the logarithms of rates that count against their targets, (d,)."""
        out = np.zeros(len(theta))
        for m, rate in self.rates.at(theta).items():
            counts = max(rate.value, 0.1 * self.targets[m])
            np.maximum(out, np.abs(rate.gradient) / counts, out=out)
        return out


def _multiplier(cost: FloatArray, slack: FloatArray, low: FloatArray, high: FloatArray) -> float:
    """What the logarithm of a rate costs: the multiplier of its constraint, by least squares."""
    span = high - low
    c, s = cost * span, slack * span
    return max(0.0, float(np.dot(c, s)) / max(float(np.dot(s, s)), 1e-300))


def _told(tell: Callable[[str], None] | None, what: str, found: Found) -> None:
    if tell is not None:
        rates = ", ".join(f"{m} {r:.2g}" for m, r in found.rates.items())
        tell(f"{what} {found.steps}: cost {found.cost:.4g}, {rates}")


def of_case(
    case: Case, targets: Mapping[str, float], *, seed: int, start: FloatArray | None = None
) -> Search:
    """The search of a case, from its own first point or from one that is given."""
    targets = {m: t for m, t in targets.items() if t != ANY_RATE}
    prices = cost_model(case)
    paid = _PAID * max(prices.least(), 1e-9)
    claimed = {m: c for m, c in prices.claims.items() if c > 0.0 and m not in targets}
    known_to = {**targets, **{m: min(0.5, max(1e-6, paid / c)) for m, c in claimed.items()}}
    units = Units(case, known_to, seed)

    def first() -> FloatArray:
        if start is not None:
            return start
        if not len(case.bounds()):
            return np.zeros(0)
        goals = {m: targets.get(m, ANY_RATE) for m in known_to}
        return first_point(case, units, prices, goals, seed=seed)

    return Search(units, prices, targets, seed=seed, first=first, known_to=known_to)
