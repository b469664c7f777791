"""Which shape readings ask for: normal unless they say otherwise, and its cost in the tail."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc

from tolsim.process.base import FloatArray, Process
from tolsim.process.comb import Kernel
from tolsim.process.cut_choice import cut_fit_of, sorted_edges
from tolsim.process.departures import other_shape
from tolsim.process.fitting import fit_two, most_likely_skewed
from tolsim.process.plain import Normal
from tolsim.process.rounding import spread_ties, step_of
from tolsim.process.skewed import Skewed
from tolsim.process.two_choice import two_fit_of

__all__ = ["FEWEST", "Candidate", "Choice", "choose", "normality", "share_in_words"]

FEWEST = 20  # common practice, no source: fewer parts choose no shape
_FEWEST_TWO = 30
_REFUSED = 0.05
_BLIND = 1.2  # a step of the readings above this share of their spread hides the shape
_REPEATS = 199
_MOST_SKEWED = 1.9
_CUT_OFF = {
    "low": "the lower end of the readings is",
    "high": "the upper end of the readings is",
    "both": "both ends of the readings are",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """A shape that was tried.

    `p_value` is that of the Anderson-Darling test with the parameters estimated; `criterion`
    Akaike's with the small-sample term, smaller is better.
    """

    name: str
    process: Process
    p_value: float
    criterion: float
    level: float = _REFUSED

    @property
    def accepted(self) -> bool:
        """Whether the readings leave this shape standing."""
        return self.p_value >= self.level


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """The shape taken, why, and what else was tried."""

    chosen: Candidate
    reason: str
    tried: tuple[Candidate, ...]

    def tail(self, limit: float, *, above: bool = True) -> tuple[float, float]:
        """Smallest and largest share beyond a limit [mm] among the shapes left standing.

        Their distance is the cost of the assumption: the readings cannot narrow it.
        """
        standing = [c for c in self.tried if c.accepted] or [self.chosen]
        shares = [float(c.process.sf(limit) if above else c.process.cdf(limit)) for c in standing]
        return min(shares), max(shares)


def normality(values: ArrayLike) -> tuple[float, float]:
    r"""Anderson-Darling statistic :math:`A^{2*}` of readings, mean and spread estimated, and its p.

    .. math:: A^{2*} = A^2 (1 + 0.75/n + 2.25/n^2)

    References
    ----------
    .. [1] D'Agostino & Stephens, *Goodness-of-Fit Techniques*, 1986, tables 4.7 and 4.9 (from
       memory; critical values confirmed by simulation).

    Examples
    --------
    >>> from scipy.special import ndtri
    >>> statistic, p = normality(ndtri((np.arange(20) + 0.5) / 20))
    >>> p > 0.99
    True
    """
    x = np.sort(np.asarray(values, dtype=np.float64))
    n = x.size
    if n < 8 or float(x[0]) == float(x[-1]):
        raise ValueError("normality needs at least 8 readings that differ")
    z = (x - x.mean()) / x.std(ddof=1)
    a = float(other_shape(z)) * (1.0 + 0.75 / n + 2.25 / n**2)
    if a >= 0.6:
        p = math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) if a < 13.0 else 0.0
    elif a >= 0.34:
        p = math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    elif a > 0.2:
        p = 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    else:
        p = 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
    return a, min(max(p, 0.0), 1.0)


def choose(
    values: ArrayLike,
    rng: np.random.Generator,
    *,
    gauge_sd: float = 0.0,
    refused: float = _REFUSED,
    step: float | None = None,
) -> Choice:
    """Choose among normal, skewed, two normals, a sorted lot and smoothed readings.

    Normal stays unless its test refuses it (p < 0.05) or an end is cut off sharply; then the shape
    left standing with the smallest criterion; smoothed readings where none stands. A sorted lot is
    tried only where an end is cut off. Fewer than 20 parts choose nothing.

    Parameters
    ----------
    values : array_like
        Readings of one population [mm]; ties are spread over their step first.
    rng : numpy.random.Generator
        For the test of the other shapes, whose parameters are estimated: 199 lots (fewer of more
        than 500 parts) are drawn from the fitted shape and fitted again.
    gauge_sd : float
        Repeatability [mm], taken out of the spread of what is returned.
    refused : float
        Probability below which normal is refused; less where several lots are asked at once.
    step : float, optional
        Step of the readings [mm]; None finds it from them.
    """
    raw = np.asarray(values, dtype=np.float64)
    if raw.ndim != 1 or raw.size < 2 or not bool(np.all(np.isfinite(raw))):
        raise ValueError("a choice needs at least two finite readings")
    step = step_of(raw) if step is None else step
    x = np.sort(spread_ties(raw, step))
    n, mean, sd = x.size, float(x.mean()), float(x.std(ddof=1))
    if sd == 0.0:
        raise ValueError("all readings are alike")
    process_sd = math.sqrt(max(sd * sd - gauge_sd**2, 0.0))
    likely = -0.5 * n * (math.log(2.0 * math.pi * float(x.var())) + 1.0)
    p = normality(x)[1] if n >= 8 else 1.0
    plain = Candidate(
        name="normal",
        process=Normal(mean=mean, sd=process_sd),
        p_value=p,
        criterion=_criterion(likely, 2, n),
        level=refused,
    )
    seldom = share_in_words(p)
    if n < FEWEST:
        return Choice(
            chosen=plain,
            reason=f"normal is assumed: {n} parts cannot choose a shape"
            + (
                ""
                if plain.accepted
                else f", though only {share_in_words(p)} of normal lots look as odd"
            ),
            tried=(plain,),
        )
    if step > _BLIND * sd:
        return Choice(
            chosen=plain,
            reason="normal is assumed: the step of the readings hides their shape",
            tried=(plain,),
        )
    tried = [plain, _skewed(x, rng, gauge_sd)]
    if n >= _FEWEST_TWO:
        tried.append(_two(x, rng, gauge_sd))
    edges = sorted_edges(x, 0.0)  # ties are spread already
    cut = None if edges is None else _bounded(x, rng, edges)
    if cut is not None:
        tried.append(cut)
    if edges is not None and cut is not None and plain.accepted and cut.accepted:
        best = min(tried[1:], key=lambda c: c.criterion if c.accepted else math.inf)
        return Choice(
            chosen=best,
            reason=f"{best.name}: {_CUT_OFF[edges]} cut off as sharply as in 1 % of normal lots",
            tried=tuple(tried),
        )
    if plain.accepted:
        return Choice(
            chosen=plain,
            reason=f"normal: the readings do not refuse it ({seldom} of normal lots look as odd)",
            tried=tuple(tried),
        )
    standing = [c for c in tried if c.accepted]
    if standing:
        best = min(standing, key=lambda c: c.criterion)
        reason = (
            f"{best.name}: normal is refused ({seldom} of normal lots look as odd), this is not"
        )
        return Choice(chosen=best, reason=reason, tried=tuple(tried))
    kernel = Candidate(
        name="kernel", process=Kernel(readings=x.tolist()), p_value=1.0, criterion=math.nan
    )
    return Choice(
        chosen=kernel,
        reason="smoothed readings: every shape tried is refused; nothing is known beyond them",
        tried=(*tried, kernel),
    )


def share_in_words(p: float) -> str:
    """A probability as a share in words.

    >>> share_in_words(0.14), share_in_words(3e-4), share_in_words(1e-9)
    ('14 %', '0.03 %', 'less than 0.01 %')
    """
    return "less than 0.01 %" if p < 1e-4 else f"{100.0 * p:.2g} %"


def _criterion(log_likelihood: float, parameters: int, n: int) -> float:
    k = parameters
    return 2.0 * k - 2.0 * log_likelihood + 2.0 * k * (k + 1.0) / max(n - k - 1.0, 1.0)


def _distance(lower: FloatArray, upper: FloatArray) -> FloatArray:
    """Anderson-Darling distance from both tails at the sorted readings, last axis."""
    n = lower.shape[-1]
    i = np.arange(1, n + 1)
    logs = np.log(np.maximum(lower, 1e-300)) + np.log(np.maximum(upper[..., ::-1], 1e-300))
    return np.asarray(-n - ((2.0 * i - 1.0) * logs).mean(axis=-1))


def _skewness(z: FloatArray) -> FloatArray:
    """Skewness of standardised lots without its small-sample bias, within the family's reach."""
    n = z.shape[-1]
    bias = math.sqrt(n * (n - 1.0)) / (n - 2.0)
    moment = ((z * math.sqrt(n / (n - 1.0))) ** 3).mean(axis=-1, keepdims=True) * bias
    skewness = np.clip(moment, -_MOST_SKEWED, _MOST_SKEWED)
    return np.asarray(np.where(np.abs(skewness) < 0.01, 0.01, skewness))


def _by_moments(x: FloatArray) -> FloatArray:
    """Distance of lots (…, n), sorted, from the gamma shape with their own three moments."""
    mean, sd = x.mean(axis=-1, keepdims=True), x.std(axis=-1, ddof=1, keepdims=True)
    z = (x - mean) / sd
    skewness = _skewness(z)
    k = 4.0 / skewness**2
    gamma = np.maximum(k + np.sign(skewness) * np.sqrt(k) * z, 0.0)
    lower, upper = gammainc(k, gamma), gammaincc(k, gamma)
    flip = skewness < 0.0
    return _distance(np.where(flip, upper, lower), np.where(flip, lower, upper))


def _skewed(x: FloatArray, rng: np.random.Generator, gauge_sd: float) -> Candidate:
    found, value = most_likely_skewed(x)
    # the test draws from the shape with the readings' moments, by which it also fits
    mean, sd = float(x.mean()), float(x.std(ddof=1))
    by_moments = Skewed(mean=mean, sd=sd, skewness=float(_skewness((x - mean) / sd)[0]))
    repeats = max(24, min(_REPEATS, 500 * _REPEATS // x.size))
    lots = np.sort(by_moments.quantile(rng.random((repeats, x.size))), axis=-1)
    beyond = int(np.sum(_by_moments(lots) >= _by_moments(x)))
    return Candidate(
        name="skewed",
        process=Skewed(
            mean=found.mean,
            sd=math.sqrt(max(found.sd**2 - gauge_sd**2, 0.0)),
            skewness=found.skewness,
        ),
        p_value=(beyond + 1.0) / (repeats + 1.0),
        criterion=_criterion(value, 3, x.size),
    )


def _bounded(x: FloatArray, rng: np.random.Generator, edges: str) -> Candidate | None:
    """A cut normal; sorting takes gauge error out of the edges only, so the spread stays."""
    found = cut_fit_of(x, edges, rng)
    if found is None:
        return None
    process, p, likely = found
    return Candidate(
        name="bounded",
        process=process,
        p_value=p,
        # an edge gains one unit of the logarithm, a regular parameter half: it counts twice
        criterion=_criterion(likely, 6 if edges == "both" else 4, x.size),
    )


def _two(x: FloatArray, rng: np.random.Generator, gauge_sd: float) -> Candidate:
    found, p, value = two_fit_of(x, rng)
    process = fit_two(x, gauge_sd=gauge_sd)[0] if gauge_sd > 0.0 else found
    return Candidate(
        name="mixture", process=process, p_value=p, criterion=_criterion(value, 5, x.size)
    )
