"""Assumptions over their whole ranges: whether an alternative survives all of them.

An interval leaves out the corners; a concept of which no part exists yet must answer for them.
The rates at the best and at the worst corner are found on the fitted surface and then counted.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import draw_together
from tolsim.answers.compare_failures import failures
from tolsim.answers.compare_variants import machine, with_process
from tolsim.answers.evidence_rule import Feature, Rule
from tolsim.intervals import Interval, clopper_pearson
from tolsim.joint.assemble import assemble_each, assemble_together
from tolsim.joint.assumed import Assumptions
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature as SizeFeature
from tolsim.spec.route_steps import Machine

__all__ = [
    "Combo",
    "Corner",
    "Corners",
    "Counted",
    "WholeRange",
    "ranged_features",
    "surface_rates",
    "whole_range",
]

FloatArray = NDArray[np.float64]
_DRAWS = 2**17
_LOOK = 2**15
_MOST = 4096  # corners that are all tried
_NEXT = 32  # of them that are looked at where the fitted rates decide
_FAR = 10.0  # times a target, beyond which the fitted rates surely decide
#: Mean and spread of every ranged size, in order.
Combo = tuple[tuple[float, ...], ...]
#: Rates by mode.
Counted = dict[str, Interval]


@dataclass(frozen=True, kw_only=True, slots=True)
class Corner:
    """One corner of the ranges: means and spreads [mm] by part and key, and the rate there."""

    at: dict[Feature, tuple[float, ...]]
    rate: Interval


@dataclass(frozen=True, kw_only=True, slots=True)
class WholeRange:
    """One rate over the whole of the assumed ranges, against its target."""

    mode: str
    target: float | None
    best: Corner
    worst: Corner

    @property
    def survives(self) -> bool | None:
        """True where the worst corner meets the target, False where even the best misses it."""
        if self.target is None:
            return None
        if self.worst.rate.high <= self.target:
            return True
        return False if self.best.rate.low > self.target else None


def ranged_features(study: Study) -> dict[Feature, Machine]:
    """Sizes of a study that are known within ranges only: (part, key) to their first step."""
    out: dict[Feature, Machine] = {}
    for stratum in study.strata:
        for role, part in stratum.parts.items():
            for field in type(part).model_fields:
                value = getattr(part, field)
                if isinstance(value, SizeFeature) and value.route:
                    first = value.route[0]
                    if isinstance(first, Machine) and first.is_ranged:
                        out[stratum.names[role], f"{role}.{field}"] = first
    return out


def whole_range(rule: Rule, study: Study, counted: Corners) -> tuple[WholeRange, ...]:
    """Every rate with a target, at the best and at the worst corner of the ranges, counted.

    The fitted rates name these corners. Where a concept would thereby survive everywhere, or
    nowhere, by no large factor, the corners that come next to them are looked at as well.
    """
    ranged = {f: s for f, s in ranged_features(study).items() if f in rule.features}
    if not ranged:
        return ()
    out = []
    for mode, target in rule.targets.items():
        if not rule.own.get(mode):
            continue
        best, worst = (_end(rule, mode, ranged, counted, sign) for sign in (1.0, -1.0))
        if best.rate.low > target > best.rate.value / _FAR:
            best = _end(rule, mode, ranged, counted, 1.0, closely=True)
        if worst.rate.high <= target < worst.rate.value * _FAR:
            worst = _end(rule, mode, ranged, counted, -1.0, closely=True)
        best, worst = sorted((best, worst), key=lambda c: c.rate.value)
        out.append(WholeRange(mode=mode, target=target, best=best, worst=worst))
    return tuple(out)


def _end(
    rule: Rule,
    mode: str,
    ranged: dict[Feature, Machine],
    counted: Corners,
    sign: float,
    *,
    closely: bool = False,
) -> Corner:
    """The corner with the smallest rate times `sign`, counted."""
    choices: list[list[tuple[float, ...]]] = [
        list(itertools.product(*_ends(step))) for step in ranged.values()
    ]
    rates = surface_rates(rule, mode, list(ranged))
    found = _extreme(choices, rates, sign)
    if closely and math.prod(len(c) for c in choices) <= _MOST:
        combos = list(itertools.product(*choices))
        order = np.argsort(sign * rates(combos), kind="stable")[:_NEXT]
        near = [combos[k] for k in order.tolist()]
        looked = counted.looked_at([dict(zip(ranged, c, strict=True)) for c in near])[mode]
        found = near[int(np.argmin(sign * looked))]
    at = dict(zip(ranged, found, strict=True))
    return Corner(at=at, rate=counted.rates(at)[mode])


def _ends(step: Machine) -> tuple[tuple[float, ...], tuple[float, ...]]:
    mean, sd = step.mean or 0.0, step.sd or 0.0
    return step.mean_range or (mean,), step.sd_range or (sd,)


def surface_rates(
    rule: Rule, mode: str, features: list[Feature]
) -> Callable[[list[Combo]], FloatArray]:
    """Fitted rates where these features have the means and spreads of each combination, all else
    at its middle."""
    middle = {f: x.mean(axis=1)[:, None] for f, x in rule.at.items()}

    def rates(combos: list[Combo]) -> FloatArray:
        at = {f: np.repeat(x, len(combos), axis=1) for f, x in middle.items()}
        for k, f in enumerate(features):
            mean, sd = np.array([c[k] for c in combos]).T
            at[f] = np.array([mean, np.log(sd)])
        total = np.zeros(len(combos))
        for weight, surface in rule.own[mode]:
            total = total + weight * surface.shares(at)
        return total

    return rates


def _extreme(
    choices: list[list[tuple[float, ...]]], rates: Callable[[list[Combo]], FloatArray], sign: float
) -> Combo:
    """The corner with the smallest rate times `sign`: of all, or one feature after the other."""
    if math.prod(len(c) for c in choices) <= _MOST:
        combos = list(itertools.product(*choices))
        return combos[int(np.argmin(sign * rates(combos)))]
    found = tuple(c[0] for c in choices)
    for _ in range(3):
        for k, options in enumerate(choices):
            tried = [(*found[:k], o, *found[k + 1 :]) for o in options]
            found = tried[int(np.argmin(sign * rates(tried)))]
    return found


class Corners:
    """Rates of an alternative with its ranged processes known exactly, by 131 072 units of their
    own, each corner counted once for everything that has a target."""

    def __init__(self, rule: Rule, study: Study, workers: int) -> None:
        self._rule, self._study, self._workers = rule, study, workers
        self._known: dict[tuple[tuple[Feature, tuple[float, ...]], ...], Counted] = {}

    def rates(self, corner: dict[Feature, tuple[float, ...]]) -> Counted:
        """Rates by mode where these sizes have these means and spreads [mm]."""
        name = tuple(sorted(corner.items()))
        if name not in self._known:
            self._known[name] = self._counted(corner)
        return self._known[name]

    def looked_at(
        self, corners: Sequence[dict[Feature, tuple[float, ...]]]
    ) -> dict[str, FloatArray]:
        """Rates by mode of many corners at once, (c,), by 32 768 units that they all share."""
        events = {m: (m, 0) for m in self._rule.targets}
        joints = assemble_each([(self._at(c), Assumptions()) for c in corners], tell=False)
        seed = self._rule.run.seed
        found = failures(joints, seed=seed, n=_LOOK, events=list(events.values()))
        return {m: found[e] / _LOOK for m, e in events.items()}

    def _at(self, corner: dict[Feature, tuple[float, ...]]) -> Study:
        study = self._study
        called: dict[str, str] = {}  # a part of which one size is settled goes by another name
        for (name, key), (mean, sd) in corner.items():
            label = f"{called.get(name, name)}, corner"
            study = with_process(study, called.get(name, name), key, machine(mean, sd), label)
            called[name] = label
        return study

    def _counted(self, corner: dict[Feature, tuple[float, ...]]) -> Counted:
        rule = self._rule
        together = draw_together(
            assemble_together([self._at(corner)]),
            seed=rule.run.seed,
            n=_DRAWS,
            workers=self._workers,
            events=[(m, 0) for m in rule.targets],
            keep=False,
        )
        weights, out = together.weights(0), {}
        for mode in rule.targets:
            p = together.patterns[mode, 0]
            failed = float(p.counts @ (p.bits @ weights)) if len(p.counts) else 0.0
            out[mode] = clopper_pearson(failed, _DRAWS, confidence=rule.confidence)
        return out
