"""A failure's probability by whatever method can stand behind it.

Plain counting decides whatever it can see. A rarer failure is estimated by the cross-examined
mixture sampler; where that is contradicted, by independent subset runs; where these are too, the
plain run's exact interval or bound remains. A wrong number is worse than a wide one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from scipy.special import gammainc, gammaincc, ndtri

from tolsim.chance.blocks import run_blocks
from tolsim.chance.densities import Mixture
from tolsim.chance.event import Event, Spent, Tally
from tolsim.chance.mixture import MixtureRun, MixtureSettings, mixture_run
from tolsim.chance.plain import PlainEstimate, plain_estimate, unseen_bound
from tolsim.chance.streams import BLOCK, Streams, generator
from tolsim.chance.subset import subset_interval, subset_run
from tolsim.chance.weighted import WeightedSample, log_interval
from tolsim.intervals import Interval

__all__ = ["Estimate", "Method", "count_plain", "estimate"]

Method = Literal["plain", "mixture importance sampling", "subset replicates", "bound"]

_REPLICATES = 10
_MISSED_ABOVE = 1.6  # cross-examination from which a mixture is rejected
_LARGEST_SHARE = 0.05  # of an estimate that may hang on one draw
_WORST_ERROR = 0.3  # relative error up to which an interval on the logarithm is one
_CONTRADICTION = 1e-4  # probability below which counts contradict an estimate


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Estimate:
    """A share with its interval, and what it rests on.

    Parameters
    ----------
    value, low, high : float
        Share and its interval [-]; with method "bound" the value is what was counted and only
        `high` stands.
    confidence : float
        Of the interval, two-sided [-].
    method : str
        "plain", "mixture importance sampling", "subset replicates" or "bound".
    n : int
        Draws that the value rests on.
    evaluations : float
        Evaluations of g besides the plain run, gradients counted at their cost.
    relative_error : float
        Standard error over value [-]; infinite where nothing failed.
    trusted : bool
        Whether value and both ends stand.
    reason : str
        Why this method, in words.
    diagnostics : dict
        Numbers behind the reason; ready for JSON but for infinities.
    sample : WeightedSample, optional
        Weighted failing points, where the mixture was accepted.
    mixture : Mixture, optional
        What they were drawn from; more can be drawn.
    """

    value: float
    low: float
    high: float
    confidence: float
    method: Method
    n: int
    evaluations: float
    relative_error: float
    trusted: bool
    reason: str
    diagnostics: dict[str, Any] = field(default_factory=dict)
    sample: WeightedSample | None = field(default=None, repr=False)
    mixture: Mixture | None = field(default=None, repr=False)


def count_plain(event: Event, n: int, *, seed: int, workers: int = 1) -> tuple[int, int]:
    """Failures among at least `n` plain draws, in whole blocks: (failed, drawn)."""
    streams = Streams(seed, [f"row {i}" for i in range(event.dimension)])

    def make() -> Callable[[int], int]:
        z = np.empty((event.dimension, BLOCK))
        tally = Tally(event)

        def work(block: int) -> int:
            streams.fill(block, z)
            return int(np.count_nonzero(tally.values(z) < 0.0))

        return work

    blocks = -(-n // BLOCK)
    return sum(run_blocks(make, blocks, workers=workers, processes=True)), blocks * BLOCK


def estimate(
    event: Event,
    *,
    seed: int,
    target_relative: float = 0.1,
    plain_draws: int = 2**20,
    plain_counts: tuple[int, int] | None = None,
    budget: float = 1e7,
    confidence: float = 0.95,
    workers: int = 1,
    settings: MixtureSettings | None = None,
    stop: Callable[[], bool] | None = None,
) -> Estimate:
    """Estimate the probability of failure, deciding by itself how.

    Parameters
    ----------
    event : Event
        Failure where g < 0.
    seed : int
        From 0 up.
    target_relative : float
        Half-width of the interval over the value that is wanted [-].
    plain_draws : int
        Plain draws to count first, rounded up to whole blocks of 8192.
    plain_counts : (int, int), optional
        (failed, drawn) of a plain run that was already made; none is made then.
    budget : float
        Most evaluations of g besides the plain run.
    confidence : float
        Of the interval, two-sided [-].
    workers : int
        Threads of the plain run; the result does not depend on it.
    settings : MixtureSettings, optional
        Sizes of the stages of the mixture sampler.
    stop : callable, optional
        Asked during the rare-event methods; True ends them and leaves the plain result.

    Notes
    -----
    A region of failure that no slope leads to and that is rarer than a few over the plain draws
    cannot be seen by any of these methods: `diagnostics` holds the bound on it, ``unseen_bound``.

    Examples
    --------
    >>> from tolsim.record import record
    >>> from tolsim.chance.event import event_of
    >>> tail = event_of(record(lambda z: [5.0 - (z[0] + z[1]) / np.sqrt(2.0)], 2))
    >>> e = estimate(tail, seed=1, plain_draws=2**16)  # exactly 2.8665e-7
    >>> e.method, e.low < 2.8665e-7 < e.high
    ('mixture importance sampling', True)
    """
    if target_relative <= 0.0:
        raise ValueError(f"need target_relative > 0, got {target_relative}")
    counts = plain_counts or count_plain(event, plain_draws, seed=seed, workers=workers)
    plain = plain_estimate(*counts, confidence=confidence)
    facts: dict[str, Any] = {
        "plain_failed": plain.failed,
        "plain_draws": plain.n,
        "unseen_bound": unseen_bound(plain.n, confidence=confidence),
    }
    if plain.relative <= target_relative:
        return _from_plain(plain, 0.0, facts, "counted as precisely as asked")
    tally = Tally(event, budget=budget, stop=stop)
    z = float(ndtri(0.5 * (1.0 + confidence)))
    try:
        run = mixture_run(tally, seed=seed, target=target_relative / z, settings=settings)
        if run is None:
            why = "no failure was met by descent along the margins or down the levels of subsets"
            return _from_plain(plain, tally.spent, facts, why)
        facts |= _facts(run)
        against = _against(run, plain, confidence)
        if not against:
            return _from_mixture(run, tally, confidence, facts)
        facts["against_mixture"] = against
        return _from_subsets(run, plain, tally, seed, facts, confidence, settings)
    except Spent as spent:
        return _from_plain(plain, tally.spent, facts, str(spent))


def _from_plain(plain: PlainEstimate, spent: float, facts: dict[str, Any], reason: str) -> Estimate:
    """The count with its exact interval; a bound where nothing failed."""
    failed = plain.failed > 0
    return Estimate(
        value=plain.value,
        low=plain.interval.low,
        high=plain.interval.high,
        confidence=plain.interval.confidence,
        method="plain" if failed else "bound",
        n=plain.n,
        evaluations=spent,
        relative_error=math.sqrt((1.0 - plain.value) / plain.failed) if failed else math.inf,
        trusted=failed,
        reason=reason,
        diagnostics=facts,
    )


def _facts(run: MixtureRun) -> dict[str, Any]:
    return {
        "mixture_value": run.sums.value,
        "missed": run.missed,
        "largest_share": run.sums.largest_share,
        "spread": run.sums.spread,
        "rounds": run.rounds,
        "components": int(run.sums.mixture.weights.size),
        "subset_values": list(run.subset_values),
        "nearest_distance": [float(x) for x in np.linalg.norm(run.nearest, axis=0)],
        "nearest": run.nearest.T.tolist(),
    }


def _contradicts(plain: PlainEstimate, low: float, high: float) -> bool:
    """Whether the plain count is all but impossible for every share between the ends."""
    x, n = plain.failed, plain.n
    too_many = x > 0 and float(gammainc(x, n * high)) < _CONTRADICTION
    too_few = float(gammaincc(x + 1, n * low)) < _CONTRADICTION
    return too_many or too_few


def _against(run: MixtureRun, plain: PlainEstimate, confidence: float) -> str:
    """What speaks against the mixture's result; empty where nothing does."""
    sums = run.sums
    if not sums.relative_error <= _WORST_ERROR:
        return f"its relative error is {sums.relative_error:.2g}"
    if run.missed > _MISSED_ABOVE:
        return f"a fresh subset run found failures it hardly draws (ratio {run.missed:.2g})"
    if sums.largest_share > _LARGEST_SHARE:
        return f"one draw makes {100 * sums.largest_share:.0f} % of it"
    i = log_interval(sums.value, sums.relative_error, confidence=confidence)
    if _contradicts(plain, i.low, i.high):
        return f"{plain.failed} failures in {plain.n} plain draws contradict it"
    return ""


def _from_mixture(
    run: MixtureRun, tally: Tally, confidence: float, facts: dict[str, Any]
) -> Estimate:
    sums = run.sums
    i = log_interval(sums.value, sums.relative_error, confidence=confidence)
    return Estimate(
        value=i.value,
        low=i.low,
        high=i.high,
        confidence=confidence,
        method="mixture importance sampling",
        n=sums.n,
        evaluations=tally.spent,
        relative_error=sums.relative_error,
        trusted=True,
        reason="too rare to count; an independent subset run and the plain count agree with it",
        diagnostics=facts,
        sample=run.sample,
        mixture=sums.mixture,
    )


def _from_subsets(
    run: MixtureRun,
    plain: PlainEstimate,
    tally: Tally,
    seed: int,
    facts: dict[str, Any],
    confidence: float,
    settings: MixtureSettings | None,
) -> Estimate:
    """Ten fresh subset runs; where they will not do either, the plain result."""
    n = (settings or MixtureSettings()).subset_samples
    d = tally.event.dimension
    values = np.array(
        [
            subset_run(tally.level, d, generator(seed, "replicate", k), n=n).value
            for k in range(_REPLICATES)
        ]
    )
    facts["replicates"] = values.tolist()
    against = f"mixture rejected: {facts['against_mixture']}"
    if values.min() <= 0.0:
        return _from_plain(plain, tally.spent, facts, f"{against}; subset runs did not get there")
    i: Interval = subset_interval(values, confidence=confidence)
    error = float(np.std(np.log(values), ddof=1))
    why = ""
    if error > 1.0:
        why = "subset runs disagree"
    elif _contradicts(plain, i.low, i.high):
        why = f"{plain.failed} failures in {plain.n} plain draws contradict the subset runs"
    elif run.sums.value * math.exp(-3.0 * run.sums.relative_error) > i.high:
        why = "the mixture saw failures that the subset runs miss"
    if why:
        return _from_plain(plain, tally.spent, facts, f"{against}; {why}")
    if plain.interval.high / max(plain.interval.low, 1e-300) < i.high / i.low:
        return _from_plain(plain, tally.spent, facts, f"{against}; the count is more precise")
    return Estimate(
        value=i.value,
        low=i.low,
        high=i.high,
        confidence=confidence,
        method="subset replicates",
        n=n * _REPLICATES,
        evaluations=tally.spent,
        relative_error=error / math.sqrt(_REPLICATES),
        trusted=True,
        reason=f"{against}; {_REPLICATES} independent subset runs agree",
        diagnostics=facts,
    )
