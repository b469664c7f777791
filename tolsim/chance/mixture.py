"""Importance sampling from a mixture that subset simulation seeds and then cross-examines.

A sampler that misses a region claims a precision it does not have. So after every fit a fresh
subset run, which knows nothing of the mixture, shows what the mixture's weights look like at
failing points found without it: far larger weights there mean that a region was missed; its
points are added and the round is repeated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.chance.densities import Mixture
from tolsim.chance.event import Tally
from tolsim.chance.fitting import Fitter
from tolsim.chance.seeding import Seeds
from tolsim.chance.streams import generator
from tolsim.chance.subset import SubsetRun, subset_run
from tolsim.chance.weighted import WeightedSample, WeightedSums

__all__ = ["MixtureRun", "MixtureSettings", "mixture_run"]

FloatArray = NDArray[np.float64]

_CHUNK = 16_384  # draws held at once


@dataclass(frozen=True, kw_only=True, slots=True)
class MixtureSettings:
    """Sizes of the stages; tuned on the published problems, then checked on fresh seeds.

    Parameters
    ----------
    plain_share : float
        Share of the plain density that stays in the mixture: no draw weighs more than 1 over it.
    subset_samples : int
        Samples a level of every subset run.
    pilot : int
        Draws of each pilot.
    rounds : int
        Fits that are cross-examined at most.
    least, most : int
        Draws of the final run.
    refit_above : float
        The fit is repeated while the cross-examination is above this.
    """

    plain_share: float = 0.1
    subset_samples: int = 10_000
    pilot: int = 8192
    rounds: int = 5
    least: int = 20_000
    most: int = 1_000_000
    refit_above: float = 1.2


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MixtureRun:
    """What the sampler found, and what speaks for and against it.

    Parameters
    ----------
    sums : WeightedSums
        The final run.
    sample : WeightedSample
        The failing ones among its first draws.
    missed : float
        Second moment of the weights at the last fresh subset run's failing samples, over the
        sampler's own: near 1 when they agree, large where a region is missed.
    subset_values : tuple of float
        Estimates of all subset runs, the last one the cross-examiner's.
    rounds : int
        Fits that were cross-examined.
    nearest : ndarray
        Failing points nearest to the origin, (d, k), at most eight.
    """

    sums: WeightedSums
    sample: WeightedSample
    missed: float
    subset_values: tuple[float, ...]
    rounds: int
    nearest: FloatArray


def mixture_run(
    tally: Tally, *, seed: int, target: float, settings: MixtureSettings | None = None
) -> MixtureRun | None:
    """Estimate P(g < 0) by a mixture fitted to where failures lie.

    Parameters
    ----------
    tally : Tally
        The event.
    seed : int
        Every stage draws from a generator of its own, keyed by it.
    target : float
        Relative standard error wanted [-]; sets the draws of the final run.

    Returns
    -------
    MixtureRun or None
        None where neither descent nor subset simulation met a failure.
    """
    s = settings or MixtureSettings()
    seeds = Seeds(tally)
    seeds.explore(generator(seed, "explore"))
    fitter = Fitter(seeds, s.plain_share, generator(seed, "thin"))
    subsets: list[SubsetRun] = []

    def fresh_subset() -> SubsetRun:
        rng = generator(seed, "subset", len(subsets))
        run = subset_run(tally.level, tally.event.dimension, rng, n=s.subset_samples)
        subsets.append(run)
        return run

    fresh = fresh_subset()
    for done in range(1, s.rounds + 1):
        seeds.add_failing(fresh.failing)
        fitter.add_subset(fresh)
        if fitter.blind:
            return None
        for k in range(2):
            mixture = fitter.fit(look_around=k == 0)
            fitter.add_weighted(_draw(tally, mixture, seed, "pilot", 2 * done + k, s.pilot)[1])
        mixture = fitter.fit(look_around=False)
        check, _ = _draw(tally, mixture, seed, "check", done, s.pilot)
        fresh = fresh_subset()
        if _missed(mixture, check, fresh) < s.refit_above:
            break
    if check.value <= 0.0:
        return None
    wanted = min(s.most, max(s.least, check.spread / target**2), tally.left)
    sums, sample = _draw(tally, mixture, seed, "final", 0, max(2, int(wanted)))
    return MixtureRun(
        sums=sums,
        sample=sample,
        missed=_missed(mixture, sums, fresh),
        subset_values=tuple(r.value for r in subsets),
        rounds=done,
        nearest=seeds.points[:, :8].copy(),
    )


def _draw(
    tally: Tally, mixture: Mixture, seed: int, label: str, index: int, n: int
) -> tuple[WeightedSums, WeightedSample]:
    """Draw n; the points of the first chunk are kept, of the others the sums alone."""
    rng = generator(seed, label, index)
    sums, sample = WeightedSums(mixture), None
    for start in range(0, n, _CHUNK):
        z, owner = mixture.draw(rng, min(_CHUNK, n - start))
        fails = tally.values(z) < 0.0
        failing = np.ascontiguousarray(z[:, fails])
        weight = mixture.weight(failing)
        sums.add(owner, fails, weight)
        sample = sample or WeightedSample(z=failing, weight=weight, n=z.shape[1])
    assert sample is not None
    return sums, sample


def _missed(mixture: Mixture, sums: WeightedSums, run: SubsetRun) -> float:
    if run.failing.shape[1] == 0 or sums.value <= 0.0:
        return math.inf
    return float(mixture.weight(run.failing).mean()) * sums.value / sums.second_moment
