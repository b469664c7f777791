"""Which alternative is best, and how probable that is with everything that is not known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import ANY
from tolsim.answers.compare_ranges import Ranges
from tolsim.answers.compare_shares import RESAMPLED
from tolsim.answers.money import ClaimDraws, Outlay, unknown_between
from tolsim.spec.money import Costs

if TYPE_CHECKING:
    from tolsim.answers.compare_run import Run

__all__ = ["Ranking"]

FloatArray = NDArray[np.float64]
UNIT_MODES = ("loose", "tight", "misaligned", "bond", "creak")


class Ranking:
    """Which alternative is best in each resampled draw: cheapest where money is known.

    Cost counts building and claims; without prices for all, units that fail at any limit count.
    Where targets are set only what keeps them can be best; `none` is the probability that nothing
    does. Alternatives that are the same share a first place.
    """

    def __init__(
        self,
        run: Run,
        ranges: Ranges,
        outlays: list[Outlay],
        claims: ClaimDraws | None,
        costs: Costs,
    ) -> None:
        kinds = [s.spec.joint.kind for s in run.studies.values()]
        priced = claims is not None and not any(
            unknown_between(outlays[0], o, (kinds[0], k), costs)
            for o, k in zip(outlays, kinds, strict=True)
        )
        self.by = "cost" if priced else "failing"
        number = len(run.names)
        self.point = np.zeros(number)
        missed = np.zeros(number, dtype=bool)
        draws = {True: np.zeros((RESAMPLED, number)), False: np.zeros((RESAMPLED, number))}
        for j in range(number):
            for ranged, out in draws.items():
                if not priced:
                    out[:, j] = run.resampled(ANY, j) * ranges.factor(ANY, j, ranged)
                    continue
                assert claims is not None
                out[:, j] = outlays[j].total
                for mode in claims.modes:
                    rate = run.resampled((mode, 0), j) * ranges.factor((mode, 0), j, ranged)
                    out[:, j] += rate * claims.per_failure(mode)[1]
            self.point[j] = _point(run, j, outlays[j], claims if priced else None)
            for mode, target in _targets(run, j).items():
                for ranged, out in draws.items():
                    rate = run.resampled((mode, 0), j) * ranges.factor((mode, 0), j, ranged)
                    out[rate > target, j] = math.inf
                missed[j] |= run.judges[j].mode((mode, 0), _everything(run, j)).share > target
        self.within_targets = any(_targets(run, j) for j in range(number))
        self.none = float(np.isinf(draws[True]).all(axis=1).mean())
        #: Which is best in each draw, ties shared, and last whether nothing keeps the targets.
        self.named = _named(draws[True])
        self.best = self.named[:, :-1].mean(axis=0)
        self.best_without = _named(draws[False])[:, :-1].mean(axis=0)
        order = np.lexsort((self.point, missed))
        self.rank = np.empty(number, dtype=int)
        for place, j in enumerate(order):
            before = order[place - 1] if place else -1
            tied = place > 0 and self.point[j] == self.point[before]
            tied = tied and missed[j] == missed[before]
            self.rank[j] = self.rank[before] if tied else place + 1


def _point(run: Run, j: int, built: Outlay, claims: ClaimDraws | None) -> float:
    everything = _everything(run, j)
    if claims is None:
        return float(run.resampled(ANY, j).mean())
    rates = {
        m: run.judges[j].mode((m, 0), everything).share
        for m in claims.modes
        if run.judges[j].knows((m, 0))
    }
    return built.total + math.fsum(r * claims.per_failure(m)[0] for m, r in rates.items())


def _everything(run: Run, j: int) -> list[tuple[int, float]]:
    return [(i, b.share) for i, b in enumerate(run.joints[j].builds)]


def _targets(run: Run, j: int) -> dict[str, float]:
    """Targets of modes that a joint can fail at."""
    targets, judge = run.studies[run.names[j]].spec.targets, run.judges[j]
    return {m: t for m in UNIT_MODES if (t := getattr(targets, m)) and judge.knows((m, 0))}


def _named(draws: FloatArray) -> FloatArray:
    """Which is the smallest in each of the draws (m, a), and none, (m, a + 1); ties share."""
    least = (draws == draws.min(axis=1, keepdims=True)) & np.isfinite(draws)
    number = least.sum(axis=1, keepdims=True)
    return np.hstack([least / np.maximum(number, 1), number == 0])
