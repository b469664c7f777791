"""Bands on the drawing grid: rounded towards the safe side, then improved step by step.

Rounding narrows every band, so that it rarely costs a target; what it costs in money is won back
by moving limits one or two steps of the grid at a time, each judged by the weighted units that the
search has drawn.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_outer import Search

__all__ = ["OnGrid", "improved", "on_grid", "rounded"]

FloatArray = NDArray[np.float64]
_ROUNDS = 25
_FAR = 0.05  # logarithm over a target, to first order, at which a point is not looked at
_WHOLE = 4  # limits up to which every combination of steps about a point is looked at
_RADIUS = 0.6  # of the region of one step of the search
_REACH = 2  # steps of the grid in each of them


@dataclass(frozen=True, kw_only=True, slots=True)
class OnGrid:
    """Bands on the grid; `excess` is the largest logarithm of rate over target, error included."""

    theta: FloatArray
    cost: float
    excess: float


def on_grid(search: Search, theta: FloatArray, *, outwards: float = 0.0) -> FloatArray:
    """Bands with both limits on the drawing grid, at least one step wide.

    Limits are rounded inwards; `outwards` first moves each out by a share of a step, so that 0.5
    rounds to the nearest and 1 rounds outwards.
    """
    out = theta.copy()
    bounds = search.bounds
    for f, (centre, width), (c, w) in zip(
        search.source.freedoms, search.source.bands(theta), search.source.places(), strict=True
    ):
        if w is None:
            continue
        g = f.grid
        # widths that the range allows, on the grid as far as there are any
        most = max(math.floor(bounds[w, 1] / g + 1e-6), 1)
        least = min(max(math.ceil(bounds[w, 0] / g - 1e-6), 1), most)
        if c is None:
            out[w] = min(max(math.floor(width / g + outwards + 1e-6), least), most) * g
            continue
        low = math.ceil((centre - 0.5 * width) / g - outwards - 1e-6)
        high = math.floor((centre + 0.5 * width) / g + outwards + 1e-6)
        steps = min(max(high - low, least), most)
        if steps != high - low:  # about the same middle, the lower limit rounded up
            low = math.ceil(centre / g - 0.5 * steps - 1e-6)
            high = low + steps
        middle = 0.5 * (low + high) * g
        if middle > bounds[c, 1] + 1e-9:
            middle -= g * math.ceil((middle - bounds[c, 1]) / g - 1e-6)
        if middle < bounds[c, 0] - 1e-9:
            middle += g * math.ceil((bounds[c, 0] - middle) / g - 1e-6)
        out[c], out[w] = middle, steps * g
    return out


def rounded(search: Search, theta: FloatArray, errors: Mapping[str, float]) -> OnGrid:
    """The best of what inward, nearest and outward rounding lead to; see `improved`."""
    shares = (0.0, 0.5, 1.0) if len(theta) <= _WHOLE else (0.0, 0.5)
    found = [improved(search, on_grid(search, theta, outwards=share), errors) for share in shares]
    return min(found, key=lambda p: (max(p.excess, 0.0), p.cost))


class _Steps:
    """Moves of single limits on the grid, as changes of the free numbers."""

    def __init__(self, search: Search, theta: FloatArray) -> None:
        # beyond this the units drawn say little
        reach = np.stack(search.region(theta, _RADIUS), axis=1)
        self.bounds = np.stack(
            [np.minimum(reach[:, 0], theta), np.maximum(reach[:, 1], theta)], axis=1
        )
        moves: list[FloatArray] = []
        for f, (c, w) in zip(search.source.freedoms, search.source.places(), strict=True):
            if w is None:
                continue
            lower, upper = np.zeros(len(self.bounds)), np.zeros(len(self.bounds))
            upper[w] = f.grid
            if c is not None:
                upper[c] = 0.5 * f.grid
                lower[c], lower[w] = 0.5 * f.grid, -f.grid
                moves.append(lower)
            moves.append(upper)
        self.moves = moves

    def around(self, theta: FloatArray) -> Iterator[FloatArray]:
        """Points near by: all combinations where limits are few, else one or two limits moved."""
        n = len(self.moves)
        steps: Iterable[dict[int, int]]
        if n <= _WHOLE:
            combined = itertools.product(range(-_REACH, _REACH + 1), repeat=n)
            steps = (dict(enumerate(c)) for c in combined if any(c))
        else:
            single = ({i: k} for i in range(n) for k in (-2, -1, 1, 2))
            pairs = (
                {i: a, j: b}
                for i, j in itertools.combinations(range(n), 2)
                for a in (-1, 1)
                for b in (-1, 1)
            )
            steps = itertools.chain(single, pairs)
        for step in steps:
            point = theta + sum(k * self.moves[i] for i, k in step.items())
            if self._allowed(point):
                yield point

    def _allowed(self, point: FloatArray) -> bool:
        return bool(
            np.all(point >= self.bounds[:, 0] - 1e-9) and np.all(point <= self.bounds[:, 1] + 1e-9)
        )


def improved(search: Search, theta: FloatArray, errors: Mapping[str, float]) -> OnGrid:
    """Cheapest point of the grid near `theta` that the units drawn call good, by small steps.

    Parameters
    ----------
    search : Search
        With units drawn about `theta`.
    theta : ndarray
        A point of the grid.
    errors : mapping
        Standard errors of each rate that are kept from its target.

    Returns
    -------
    OnGrid
        Where no point near by is good, the one with the least excess.
    """
    steps = _Steps(search, theta)
    here = _judged(search, theta, errors)
    for _ in range(_ROUNDS):
        following = (_cheaper if here.excess <= 0.0 else _safer)(search, steps, here, errors)
        if following is None:
            break
        here = following
    return here


def _judged(search: Search, theta: FloatArray, errors: Mapping[str, float]) -> OnGrid:
    values = search.rates.values(theta)
    excess = max(
        math.log(max(v + errors[m] * e, 1e-300) / search.targets[m]) for m, (v, e) in values.items()
    )
    cost = search.prices.of(theta, {m: v for m, (v, _) in values.items()}).total
    return OnGrid(theta=theta, cost=cost, excess=excess)


class _Slopes:
    """Logarithms of the rates over their targets, to first order about a point."""

    def __init__(self, search: Search, theta: FloatArray) -> None:
        self.theta = theta
        self.values, self.slopes = [], []
        for m, rate in search.rates.at(theta).items():
            value = max(rate.value, 1e-300)
            self.values.append(math.log(value / search.targets[m]))
            self.slopes.append(rate.gradient / value)

    def worst(self, point: FloatArray) -> float:
        """The largest at another point."""
        move = point - self.theta
        return max(
            v + float(np.dot(s, move)) for v, s in zip(self.values, self.slopes, strict=True)
        )


def _cheaper(
    search: Search, steps: _Steps, here: OnGrid, errors: Mapping[str, float]
) -> OnGrid | None:
    """The cheapest good neighbour that costs less."""
    slopes = _Slopes(search, here.theta)
    options: list[tuple[float, int, FloatArray]] = []
    for point in steps.around(here.theta):
        cost = search.prices.fixed_slope(point)[0]
        if cost < here.cost - 1e-12 and slopes.worst(point) <= _FAR:
            options.append((cost, len(options), point))
    best: OnGrid | None = None
    for cost, _, point in sorted(options, key=lambda o: o[:2]):
        if best is not None and cost >= best.cost:
            break
        found = _judged(search, point, errors)
        if (
            found.excess <= 0.0
            and found.cost < here.cost - 1e-12
            and (best is None or found.cost < best.cost)
        ):
            best = found
    return best


def _safer(
    search: Search, steps: _Steps, here: OnGrid, errors: Mapping[str, float]
) -> OnGrid | None:
    """A good neighbour, the cheapest of those looked at; else the one with least excess."""
    slopes = _Slopes(search, here.theta)
    near = sorted(
        ((slopes.worst(p), i, p) for i, p in enumerate(steps.around(here.theta))),
        key=lambda o: o[:2],
    )[:60]
    found = [_judged(search, p, errors) for _, _, p in near]
    good = [f for f in found if f.excess <= 0.0]
    if good:
        return min(good, key=lambda f: f.cost)
    best = min(found, key=lambda f: f.excess, default=None)
    return best if best is not None and best.excess < here.excess - 1e-9 else None
