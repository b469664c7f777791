"""Processes from readings that are rounded or no normals, with what they leave open."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray, Process
from tolsim.process.cut_fit import log_window
from tolsim.process.drawn import DRAWS, DrawnEvidence, likelihood_draws
from tolsim.process.mixture import Mixture
from tolsim.process.plain import Normal
from tolsim.process.skewed import Skewed

__all__ = ["fit_rounded", "fit_skewed", "fit_two", "most_likely_skewed"]

_MOST_SKEWED = 1.9
_SHAPES = 8
_BLOCK = 32  # readings worked at a time
_HALF_LOG_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_LEAST_SHARE = 0.05  # of a part of a mixture
_LEAST_SPREAD = 0.2  # of a part against the other's


def _readings(values: ArrayLike, least: int) -> FloatArray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or x.size < least or not bool(np.all(np.isfinite(x))):
        raise ValueError(f"a fit needs at least {least} finite readings")
    return x


def fit_rounded(values: ArrayLike, step: float, *, gauge_sd: float = 0.0) -> DrawnEvidence:
    r"""Normal process behind readings on steps, each standing for everything within half a step.

    .. math:: \ln L = \sum_i \ln\Big[\Phi\Big(\frac{x_i + h - \mu}{\sigma}\Big)
        - \Phi\Big(\frac{x_i - h - \mu}{\sigma}\Big)\Big],\qquad h = \text{step}/2

    Parameters
    ----------
    values : array_like
        Readings [mm], at least 2; they may all be alike.
    step : float
        Step of the readings [mm].
    gauge_sd : float
        Repeatability [mm], taken out of the spread; 0 where draws fall below it.

    Notes
    -----
    Where all readings stand on one or two values the spread has no lower end: draws go down to a
    hundredth of a step.
    """
    x = _readings(values, 2)
    if not step > 0.0:
        raise ValueError(f"rounded readings need a step above 0, got {step}")
    levels, counts = np.unique(x, return_counts=True)
    half = 0.5 * step

    def log_likelihood(mean: FloatArray, sd: FloatArray) -> FloatArray:
        total = np.zeros(np.broadcast_shapes(mean.shape, sd.shape))
        for level, count in zip(levels.tolist(), counts.tolist(), strict=True):
            low, high = (level - half - mean) / sd, (level + half - mean) / sd
            total += count * log_window(low, high)
        return total

    spread = max(float(x.std(ddof=1)), 0.3 * step)
    reach = float(x.max() - x.min()) + step
    means, sds, mean, sd = likelihood_draws(
        log_likelihood,
        float(x.mean()),
        spread,
        bounds=(
            (float(x.min()) - 30.0 * reach, float(x.max()) + 30.0 * reach),
            (0.01 * step, 100.0 * reach),
        ),
    )
    notes = () if levels.size > 2 else (f"{x.size} readings stand on {levels.size} values only",)
    return DrawnEvidence(
        means=means,
        sds=_without(sds, gauge_sd),
        n=x.size,
        fitted=Normal(mean=mean, sd=float(_without(np.array([sd]), gauge_sd)[0])),
        method="interval-censored likelihood",
        notes=notes,
    )


def fit_skewed(values: ArrayLike, *, gauge_sd: float = 0.0) -> DrawnEvidence:
    """Shifted gamma process by likelihood; mean, spread and skewness are drawn.

    The skewness takes eight equally likely values, from the likelihood at its best mean and
    spread on a grid from -1.9 to 1.9, flat before; mean and spread are drawn for each of them.
    `fitted` has the most likely of the grid. `gauge_sd` [mm] is taken out of the spread; that it
    makes readings less skewed than parts is left out.
    """
    x = _readings(values, 8)
    if float(np.ptp(x)) == 0.0:
        raise ValueError("all readings are alike")
    grid, profiles, fitted = _most_likely(x)
    weight = np.exp(profiles - profiles.max())
    share = (np.cumsum(weight) - 0.5 * weight) / weight.sum()
    taken = np.interp((np.arange(_SHAPES) + 0.5) / _SHAPES, share, grid)
    means, sds = [], []
    for skewness in taken.tolist():
        m, s, _, _ = _pairs_of(x, skewness, DRAWS // _SHAPES)
        means.append(m)
        sds.append(s)
    return DrawnEvidence(
        means=np.concatenate(means),
        sds=_without(np.concatenate(sds), gauge_sd),
        n=x.size,
        fitted=Skewed(
            mean=fitted.mean,
            sd=float(_without(np.array([fitted.sd]), gauge_sd)[0]),
            skewness=fitted.skewness,
        ),
        method="likelihood, three parameters",
        standards=tuple(Skewed(mean=0.0, sd=1.0, skewness=g) for g in taken.tolist()),
        shape=np.repeat(np.arange(_SHAPES), DRAWS // _SHAPES),
        notes=(
            f"skewness {fitted.skewness:+.2f}; eight values are drawn, "
            f"{taken[0]:+.2f} to {taken[-1]:+.2f}",
        ),
    )


def most_likely_skewed(values: ArrayLike) -> tuple[Skewed, float]:
    """Most likely shifted gamma process of readings, skewness on a grid; with log likelihood."""
    _, profiles, fitted = _most_likely(_readings(values, 8))
    return fitted, float(profiles.max())


def _most_likely(x: FloatArray) -> tuple[FloatArray, FloatArray, Skewed]:
    grid = np.linspace(-_MOST_SKEWED, _MOST_SKEWED, 39)
    found = [_profile(x, g) for g in grid.tolist()]
    profiles = np.array([f[0] for f in found])
    k = int(np.argmax(profiles))
    _, mean, sd = found[k]
    return grid, profiles, Skewed(mean=mean, sd=sd, skewness=float(grid[k]))


def _pairs_of(
    x: FloatArray, skewness: float, draws: int
) -> tuple[FloatArray, FloatArray, float, float]:
    """Pairs of mean and spread with the skewness held, and the best of them."""
    centre, spread = float(x.mean()), float(x.std(ddof=1))

    def log_likelihood(mean: FloatArray, sd: FloatArray) -> FloatArray:
        return _gamma_log_likelihood(x, mean, sd, skewness)

    return likelihood_draws(
        log_likelihood,
        centre,
        spread,
        bounds=(
            (centre - 10.0 * spread, centre + 10.0 * spread),
            (0.05 * spread, 20.0 * spread),
        ),
        draws=draws,
        fine=81,
    )


def _gamma_log_likelihood(
    x: FloatArray, mean: FloatArray, sd: FloatArray, skewness: float
) -> FloatArray:
    shape = np.broadcast_shapes(np.shape(mean), np.shape(sd))
    total = np.zeros(shape)
    m, s = np.asarray(mean)[..., None], np.asarray(sd)[..., None]
    sign, k = 1.0, math.inf
    constant = -_HALF_LOG_TWO_PI
    if abs(skewness) >= 1e-3:
        sign, k = math.copysign(1.0, skewness), 4.0 / skewness**2
        constant = (k - 0.5) * math.log(k) - k - math.lgamma(k)
    for i in range(0, x.size, _BLOCK):
        t = (x[i : i + _BLOCK] - m) / s
        if math.isinf(k):
            log = -0.5 * t * t
        else:
            t = sign * t / math.sqrt(k)  # gamma = k (1 + t)
            inside = t > -1.0
            safe = np.where(inside, t, 0.0)
            log = np.where(inside, (k - 1.0) * np.log1p(safe) - k * safe, -1e6)
        total = total + (log + constant - np.log(s)).sum(axis=-1)
    return np.asarray(total)


def _profile(x: FloatArray, skewness: float) -> tuple[float, float, float]:
    """Highest log likelihood over mean and spread, and where, by a narrowing grid."""
    m0, s0 = float(x.mean()), float(x.std(ddof=1))
    m_half, s_half = 0.8 * s0, 0.8
    m, s = m0, math.log(s0)
    value = -math.inf
    for _ in range(7):
        grid_m = m + m_half * np.linspace(-1.0, 1.0, 13)
        grid_s = s + s_half * np.linspace(-1.0, 1.0, 13)
        found = _gamma_log_likelihood(x, grid_m[:, None], np.exp(grid_s)[None, :], skewness)
        i, j = np.unravel_index(int(np.argmax(found)), found.shape)
        m, s, value = float(grid_m[i]), float(grid_s[j]), float(found[i, j])
        m_half, s_half = 0.4 * m_half, 0.4 * s_half
    return value, m, math.exp(s)


def fit_two(values: ArrayLike, *, gauge_sd: float = 0.0) -> tuple[Process, float]:
    """Two normal populations in one lot, by expectation and maximisation; with log likelihood.

    Parameters
    ----------
    values : array_like
        Readings [mm], at least 8.
    gauge_sd : float
        Repeatability [mm], taken out of both spreads.

    Notes
    -----
    Starts from the split that explains most of the variance and from two more; a part holds at
    least 5 % of the readings and a fifth of the other's spread, else the likelihood has no end.
    Comes without an interval: use the lot or cavity as a column instead where it is known.
    """
    x = np.sort(_readings(values, 8))
    if float(x[0]) == float(x[-1]):
        raise ValueError("all readings are alike")
    best: tuple[float, FloatArray] | None = None
    for share in (None, 0.2, 0.8):
        k = _best_split(x) if share is None else int(share * x.size)
        start = np.where(np.arange(x.size) < k, 0.95, 0.05)
        value, found = _maximise(x, start)
        if best is None or value > best[0]:
            best = value, found
    assert best is not None
    share, m1, m2, s1, s2 = best[1].tolist()
    s1, s2 = _without(np.array([s1, s2]), gauge_sd).tolist()
    least = 1e-3 * float(x.std())
    parts = (
        (share, Normal(mean=m1, sd=max(s1, least))),
        (1.0 - share, Normal(mean=m2, sd=max(s2, least))),
    )
    return Mixture(parts=parts), best[0]


def _best_split(x: FloatArray) -> int:
    k = np.arange(1, x.size)
    between = np.cumsum(x - x.mean())[:-1] ** 2 * (1.0 / k + 1.0 / (x.size - k))
    least = max(2, round(0.1 * x.size))
    return int(np.argmax(between[least - 1 : x.size - least])) + least


def _maximise(x: FloatArray, belongs: FloatArray) -> tuple[float, FloatArray]:
    value = -math.inf
    p = np.array([0.5, float(x[0]), float(x[-1]), 1.0, 1.0])
    for _ in range(200):
        share = float(np.clip(belongs.mean(), _LEAST_SHARE, 1.0 - _LEAST_SHARE))
        w1, w2 = belongs / belongs.sum(), (1.0 - belongs) / (1.0 - belongs).sum()
        m1, m2 = float(w1 @ x), float(w2 @ x)
        s1 = math.sqrt(float(w1 @ (x - m1) ** 2))
        s2 = math.sqrt(float(w2 @ (x - m2) ** 2))
        floor = _LEAST_SPREAD * max(s1, s2)
        s1, s2 = max(s1, floor), max(s2, floor)
        p = np.array([share, m1, m2, s1, s2])
        one = math.log(share) - 0.5 * ((x - m1) / s1) ** 2 - math.log(s1)
        two = math.log(1.0 - share) - 0.5 * ((x - m2) / s2) ** 2 - math.log(s2)
        both = np.logaddexp(one, two)
        belongs = np.clip(np.exp(one - both), 1e-12, 1.0 - 1e-12)
        new = float(both.sum()) - 0.5 * x.size * math.log(2.0 * math.pi)
        if new - value < 1e-7 * abs(new):
            return new, p
        value = new
    return value, p


def _without(sd: FloatArray, gauge_sd: float) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(sd * sd - gauge_sd**2, 0.0)))
