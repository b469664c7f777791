"""What a concept demands of all its shops at once, where processes are known within ranges only.

The best place of every mean is sought, then means and spreads are let out from there together
until the worst corner of what is allowed just keeps the targets. The fitted rates are weakest
where two ways to fail balance. So which corner is the worst is counted, and where they find
nothing although the target is not far, the best place is sought by counting as well.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_concepts import (
    Combo,
    Corners,
    Counted,
    ranged_features,
    surface_rates,
)
from tolsim.answers.evidence_rule import Feature, Rule
from tolsim.intervals import Interval
from tolsim.spec.load import Study

__all__ = ["Demand", "Window", "demand_of", "place_by_counting"]

FloatArray = NDArray[np.float64]
_COARSE, _FINE = 5, 17  # places of each mean that are tried
_MOST = 3125
_ROUNDS = 3
_HALVINGS = 12
_TRIED = 6  # windows that are counted
_SHRINK = 0.9  # at least, where the count does not confirm the fitted rates
_LOOKED = 12  # corners of windows of which the worst is told by counting
_NEAR = 5.0  # times a target, within which the best place is sought by counting as well
_COUNTED, _MOST_COUNTED = 5, 125  # places of each mean, and in all, that are counted
_COUNTED_ROUNDS = 4


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """What one process must keep to: its mean between two ends, its spread at most `sd` [mm]."""

    mean: tuple[float, float]
    sd: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Demand:
    """Windows of all processes at once that keep every target; None where nothing does.

    `rates` are counted at the worst corner of the windows, without any at the best place found.
    """

    windows: Mapping[Feature, Window] | None
    rates: Mapping[str, Interval]


def demand_of(rule: Rule, study: Study, counted: Corners) -> Demand | None:
    """What must be asked of every process known within ranges; None without any, or targets.

    The windows are one choice of many: each is the same share of its range.
    """
    ranged = {f: s for f, s in ranged_features(study).items() if f in rule.features}
    asked = {m: t for m, t in rule.targets.items() if rule.own.get(m)}
    if not ranged or not asked:
        return None
    fitted = {m: surface_rates(rule, m, list(ranged)) for m in asked}
    off = dict.fromkeys(asked, 1.0)  # counted over fitted rates about the best place
    means = [s.mean_range or (s.mean or 0.0,) * 2 for s in ranged.values()]
    spreads = [s.sd_range or (s.sd or 0.0,) * 2 for s in ranged.values()]

    def worst(combos: list[Combo]) -> FloatArray:
        """Largest rate over its target, of each."""
        every = [off[m] * fitted[m](combos) / t for m, t in asked.items()]
        return np.asarray(np.max(every, axis=0))

    def looked(combos: list[Combo]) -> dict[str, FloatArray]:
        """Rates of each by counting a few units."""
        return counted.looked_at([dict(zip(ranged, c, strict=True)) for c in combos])

    def counted_worst(combos: list[Combo]) -> FloatArray:
        """Largest rate over its target, of each, by counting."""
        found = looked(combos)
        return np.asarray(np.max([found[m] / t for m, t in asked.items()], axis=0))

    best = _best_place(means, [s[0] for s in spreads], worst)

    def windows(t: float) -> list[Window]:
        return [
            Window(
                mean=(max(a, m - t * (b - a)), min(b, m + t * (b - a))),
                sd=s[0] + t * (s[1] - s[0]),
            )
            for (m, _), (a, b), s in zip(best, means, spreads, strict=True)
        ]

    def corners(t: float) -> list[Combo]:
        each = [
            list(itertools.product(w.mean, (s[0], w.sd)))
            for w, s in zip(windows(t), spreads, strict=True)
        ]
        return list(itertools.product(*each))

    def count(combo: Combo) -> Counted:
        found = counted.rates(dict(zip(ranged, combo, strict=True)))
        return {m: found[m] for m in asked}

    def kept(found: Counted) -> bool:
        return all(i.high <= asked[m] for m, i in found.items())

    def widest(most: float) -> float:
        """How far the windows may be let out by the fitted rates, at most so far."""
        if float(worst(corners(most)).max()) <= 1.0:
            return most
        low, high = 0.0, most
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            fits = float(worst(corners(middle)).max()) <= 1.0
            low, high = (middle, high) if fits else (low, middle)
        return low

    def let_out() -> Demand | None:
        """The widest windows about the best place whose worst corner is counted to be good."""
        most = 1.0
        for _ in range(_TRIED):
            t = widest(most)
            if t < 1e-3:
                return None
            every = corners(t)
            # every rate at its own worst corner, of those that the fitted rates call bad
            bad = {k for f in fitted.values() for k in np.argsort(-f(every))[:_LOOKED].tolist()}
            near = [every[k] for k in sorted(bad)]
            by = looked(near)
            at = {m: near[int(np.argmax(by[m]))] for m in asked}
            found = {m: count(c)[m] for m, c in at.items()}
            if kept(found):
                return Demand(windows=dict(zip(ranged, windows(t), strict=True)), rates=found)
            for m, c in at.items():
                off[m] = max(off[m], found[m].value / max(float(fitted[m]([c])[0]), 1e-12))
            most = _SHRINK * t
        return None

    found = let_out()
    if found is not None:
        return found
    rates = count(best)
    if max(i.value / asked[m] for m, i in rates.items()) < _NEAR:
        best = place_by_counting(means, best, counted_worst)
        rates = count(best)
        for m, i in rates.items():
            fit = float(fitted[m]([best])[0])
            off[m] = i.value / fit if fit > 0.0 and i.value > 0.0 else 1.0
        found = let_out() if kept(rates) else None
    return Demand(windows=None, rates=rates) if found is None else found


def place_by_counting(
    means: Sequence[tuple[float, ...]],
    start: Combo,
    worst: Callable[[list[Combo]], FloatArray],
) -> Combo:
    """Where the means lie best by counting: from `start` or the best of a grid, one step of every
    mean either way, which is halved.

    Parameters
    ----------
    means : sequence of tuple
        Ends of the range of each mean [mm].
    start : Combo
        Mean and spread of each size; the spreads stay.
    worst : callable
        Largest rate over its target of each of many places.
    """
    places = [np.linspace(ends[0], ends[1], _COUNTED).tolist() for ends in means]
    every = [start]
    if _COUNTED ** len(means) <= _MOST_COUNTED:
        every += [
            tuple((m, s) for m, (_, s) in zip(p, start, strict=True))
            for p in itertools.product(*places)
        ]
    known = dict(zip(every, worst(every).tolist(), strict=True))
    for halving in range(_COUNTED_ROUNDS):
        best = min(known, key=lambda c: known[c])
        around = []
        for k, (a, b) in enumerate(means):
            step = (b - a) / (_COUNTED - 1) / 2 ** (halving + 1)
            for m in (max(a, best[k][0] - step), min(b, best[k][0] + step)):
                around.append((*best[:k], (m, best[k][1]), *best[k + 1 :]))
        new = [c for c in dict.fromkeys(around) if c not in known]
        if new:
            known.update(zip(new, worst(new).tolist(), strict=True))
    return min(known, key=lambda c: known[c])


def _best_place(
    means: Sequence[tuple[float, ...]],
    spreads: Sequence[float],
    worst: Callable[[list[Combo]], FloatArray],
) -> Combo:
    """Where the means lie best, each spread being the smallest: all places of a coarse grid, then
    one mean after the other."""
    places = [np.linspace(ends[0], ends[1], _COARSE).tolist() for ends in means]
    if _COARSE ** len(means) > _MOST:
        places = [[0.5 * (a + b)] for a, b in means]
    every: list[Combo] = [tuple(zip(m, spreads, strict=True)) for m in itertools.product(*places)]
    best = every[int(np.argmin(worst(every)))]
    for _ in range(_ROUNDS):
        for k, ends in enumerate(means):
            tried: list[Combo] = [
                (*best[:k], (m, best[k][1]), *best[k + 1 :])
                for m in np.linspace(ends[0], ends[1], _FINE).tolist()
            ]
            best = tried[int(np.argmin(worst(tried)))]
    return best
