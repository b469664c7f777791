"""Verification: bands on the drawing grid, judged by units that the search has never seen."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_grid import OnGrid, rounded
from tolsim.answers.design_outer import Found, Search
from tolsim.answers.judge import Judge
from tolsim.answers.left_open import judge_left_open, kept_open, next_lot
from tolsim.answers.results import ModeResult
from tolsim.answers.tally import events_of, tally
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study

__all__ = ["Verified", "rates_of", "settle", "verify"]

FloatArray = NDArray[np.float64]
_SEED = 7_919  # between the streams of the search and those of the verification
_FIRST, _MOST = 2**20, 2**23
_ATTEMPTS, _AGAIN = 8, 1  # in all, and after the first that was met
_MOVES = 3  # searches begun anew because of what readings leave open
_GAIN = 2e-3  # of the cost: less is not worth another verification
_ABOVE = 1.015  # upper end over rate, as a rule
_FINEST, _COARSEST = 0.004, 0.1  # half-width over rate that a verification may ask for


@dataclass(frozen=True, kw_only=True, slots=True)
class Verified:
    """Bands that fresh units verify: rates by mode, units drawn, seed of their streams."""

    theta: FloatArray
    cost: float
    modes: dict[str, ModeResult]
    draws: int
    seed: int

    @property
    def met(self) -> bool:
        """Whether the upper end of every rate is within its target, where it has one."""
        return all(m.verdict in (None, "met") for m in self.modes.values())


def rates_of(
    study: Study,
    targets: Mapping[str, float],
    *,
    seed: int,
    draws: int = _FIRST,
    workers: int = 2,
    expected: Mapping[str, float] | None = None,
) -> tuple[dict[str, ModeResult], int]:
    """Rates of a study's units with their intervals, as precise as the targets need; units drawn.

    Ranges hold what readings leave open; verdicts are those of `predict`. A rate that counting
    leaves open is looked at again with a sampler of rare failures, at a
    precision that follows from its distance to the target.

    Parameters
    ----------
    targets : mapping
        Largest rate by mode; other modes, and those that no limit judges, are not looked at.
    expected : mapping, optional
        What the rates should be; they decide how many units are drawn.
    """
    joint = assemble(study)
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    needed = draws
    for m, p in (expected or {}).items():
        gap = targets[m] / p - 1.0 if p > 0.0 else math.inf
        if 0.0 < gap < 0.2 and p > 2e-4:  # 1.96 errors of a count below half the gap
            needed = max(needed, int(1.3 * (2.0 / max(gap, 0.01)) ** 2 / p))
    n = int(min(max(needed, draws), max(_MOST, draws)))
    counted = tally(joint, seed=seed, n=n, workers=workers, ranges=False)
    modes: dict[str, ModeResult] = {}
    other = judge_left_open(study, joint, seed=seed, draws=n, workers=workers, plain=True)
    later = next_lot(study, seed=seed, draws=n, workers=workers)
    plain = Judge(study, joint, counted, seed, plain=True, left_open=other)
    known = {m for build in joint.builds for m, _ in events_of(build)}
    for m, target in targets.items():
        if m not in known:
            continue
        found = kept_open(plain.mode((m, 0), everything, target=True), later.get(m))
        if found.verdict != "undecided":
            modes[m] = found
            continue
        gap = abs(math.log(target / found.share)) if found.share > 0.0 else 1.0
        precision = float(np.clip(0.4 * gap, _FINEST, _COARSEST))
        if n * found.share < 100 and found.share < 0.3 * target:
            precision = _COARSEST
        finer = Judge(study, joint, counted, seed, precision=precision, left_open=other)
        modes[m] = kept_open(finer.mode((m, 0), everything, target=True), later.get(m))
    return modes, n


def verify(
    search: Search,
    variant: Callable[[FloatArray], Study],
    point: OnGrid,
    *,
    seed: int,
    workers: int,
) -> Verified:
    """Rates of bands on streams of another seed."""
    expected = {m: v for m, (v, _) in search.rates.values(point.theta).items()}
    modes, draws = rates_of(
        variant(point.theta), search.targets, seed=seed, workers=workers, expected=expected
    )
    cost = search.prices.of(point.theta, {m: r.share for m, r in modes.items()}).total
    return Verified(theta=point.theta, cost=cost, modes=modes, draws=draws, seed=seed)


def settle(
    search: Search,
    found: Found,
    variant: Callable[[FloatArray], Study],
    *,
    workers: int,
    tell: Callable[[str], None] | None = None,
) -> Verified | None:
    """Bands on the grid that fresh units verify; None where there are none near by.

    After each verification the upper ends that it found correct the rates which the search goes
    by, so that the next bands are as wide as it allows; each is verified on streams of its own.
    Where what readings leave open puts them far above the rates the search goes on from there.
    """
    # upper ends lie above rates: as much is kept before the first of them is known
    search.rates.corrections.update(dict.fromkeys(search.targets, _ABOVE))
    errors = dict.fromkeys(search.targets, 1.0)
    best: Verified | None = None
    theta = found.theta
    tried: set[bytes] = set()
    met = moves = 0
    for attempt in range(_ATTEMPTS):
        point = rounded(search, theta, errors)
        if point.excess > 0.0 and attempt == 0:
            errors = dict.fromkeys(search.targets, 0.0)
            point = rounded(search, theta, errors)
        if point.excess > 0.0 and attempt > 0 and best is None and moves < _MOVES:
            # upper ends so far above the rates that none of the bands near by will do
            moves += 1
            point = rounded(search, search.run(tell=tell).theta, errors)
        if met > _AGAIN:
            break
        worth = best is None or point.cost < best.cost * (1.0 - _GAIN)
        if point.excess > 0.0 or point.theta.tobytes() in tried or not worth:
            break
        tried.add(point.theta.tobytes())
        checked = verify(
            search, variant, point, seed=search.seed + _SEED * (attempt + 1), workers=workers
        )
        if tell is not None:
            told = ", ".join(f"{m} at most {r.high:.3g}" for m, r in checked.modes.items())
            tell(f"verification {attempt + 1} on fresh units: {told}; cost {checked.cost:.4g}")
        met += checked.met
        if checked.met and (best is None or checked.cost < best.cost):
            best = checked
        search.rates.refresh(point.theta, n=2**15)
        _correct(search, checked)
        errors = dict.fromkeys(search.targets, 0.0)
        theta = point.theta
    search.rates.corrections.clear()
    return best


def _correct(search: Search, checked: Verified) -> None:
    """Make the rates that the search goes by the upper ends that were verified here."""
    values = search.rates.values(checked.theta)
    for m, result in checked.modes.items():
        value = values[m][0]
        if value > 0.0 and result.high > 0.05 * search.targets[m]:
            old = search.rates.corrections.get(m, 1.0)
            search.rates.corrections[m] = old * result.high * (1.0 + 1e-6) / value
