"""Exact intervals of counts, means and spreads, on the special functions alone.

``scipy.stats`` stays off this path: it costs half a second to import.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import betaincinv, chdtri, gammaincinv, stdtrit

__all__ = [
    "Interval",
    "clopper_pearson",
    "mean_interval",
    "poisson_interval",
    "sd_interval",
    "weighted_counts",
    "wilson",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Interval:
    """An estimate with its two ends; `low`, `value` and `high` share one unit."""

    value: float
    low: float
    high: float
    confidence: float
    method: str


def _check(confidence: float) -> float:
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    return 0.5 * (1.0 - confidence)


def clopper_pearson(failed: float, n: float, *, confidence: float = 0.95) -> Interval:
    """Exact two-sided binomial interval of a share.

    Parameters
    ----------
    failed, n : float
        Failures and trials [-], ``0 <= failed <= n``, ``n > 0``.
    confidence : float
        Two-sided confidence [-].

    References
    ----------
    .. [1] Clopper & Pearson, *Biometrika* 26 (1934) 404-413.

    Examples
    --------
    Twelve good parts still allow 26 % bad ones:

    >>> clopper_pearson(0, 12).high
    0.264648
    """
    alpha = _check(confidence)
    if not 0 <= failed <= n or n <= 0:
        raise ValueError(f"need 0 <= failed <= n and n > 0, got {failed} of {n}")
    low = 0.0 if failed == 0 else float(betaincinv(failed, n - failed + 1.0, alpha))
    high = 1.0 if failed == n else float(betaincinv(failed + 1.0, n - failed, 1.0 - alpha))
    return Interval(
        value=failed / n, low=low, high=high, confidence=confidence, method="exact binomial"
    )


def wilson(failed: float, n: float, *, confidence: float = 0.95) -> Interval:
    """Score interval of a share, without continuity correction.

    References
    ----------
    .. [1] Wilson, *J. Am. Stat. Assoc.* 22 (1927) 209-212.

    >>> wilson(81, 263).low
    0.2553
    """
    alpha = _check(confidence)
    if not 0 <= failed <= n or n <= 0:
        raise ValueError(f"need 0 <= failed <= n and n > 0, got {failed} of {n}")
    z = -_ndtri(alpha)
    p = failed / n
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return Interval(
        value=p,
        low=max(0.0, centre - half) if failed else 0.0,
        high=min(1.0, centre + half) if failed < n else 1.0,
        confidence=confidence,
        method="score",
    )


def poisson_interval(count: float, *, confidence: float = 0.95) -> Interval:
    """Exact interval of the mean of a Poisson count (Garwood, *Biometrika* 28 (1936) 437-442).

    >>> poisson_interval(0).high
    3.688879
    """
    alpha = _check(confidence)
    low = 0.0 if count == 0 else float(gammaincinv(count, alpha))
    high = float(gammaincinv(count + 1.0, 1.0 - alpha))
    return Interval(value=count, low=low, high=high, confidence=confidence, method="exact Poisson")


def weighted_counts(
    total: float, squares: float, largest: float, *, confidence: float = 0.95
) -> Interval:
    r"""Interval of a weighted sum of independent counts, :math:`y = \sum w_i X_i`.

    Parameters
    ----------
    total, squares : float
        :math:`\sum w_i X_i` and :math:`\sum w_i^2 X_i` [-].
    largest : float
        Largest weight that a single event could have had [-]; it alone gives the upper end
        where nothing was counted.
    confidence : float
        Two-sided confidence [-].

    Notes
    -----
    The gamma interval of Fay & Feuer; with one weight it is the exact Poisson interval.

    References
    ----------
    .. [1] Fay & Feuer, *Statistics in Medicine* 16 (1997) 791-801.

    Examples
    --------
    >>> weighted_counts(3e-6, 3e-12, 1e-6).high  # three of a million
    8.767273e-06
    """
    alpha = _check(confidence)
    if total < 0 or squares < 0 or largest <= 0:
        raise ValueError(f"need total, squares >= 0 and largest > 0, got {total}, {squares}")
    low = 0.0
    if total > 0:
        low = squares / total * float(gammaincinv(total * total / squares, alpha))
    y, v = total + largest, squares + largest * largest
    high = v / y * float(gammaincinv(y * y / v, 1.0 - alpha))
    return Interval(
        value=total, low=low, high=high, confidence=confidence, method="gamma, weighted counts"
    )


def mean_interval(mean: float, sd: float, n: int, *, confidence: float = 0.95) -> Interval:
    """Student's interval of the mean of `n` normal values; `mean`, `sd` in one unit."""
    alpha = _check(confidence)
    if n < 2 or sd < 0:
        raise ValueError(f"need n >= 2 and sd >= 0, got n = {n}, sd = {sd}")
    half = -float(stdtrit(n - 1, alpha)) * sd / math.sqrt(n)
    return Interval(
        value=mean, low=mean - half, high=mean + half, confidence=confidence, method="Student's t"
    )


def sd_interval(sd: float, n: int, *, confidence: float = 0.95) -> Interval:
    """Chi-square interval of the standard deviation of `n` normal values.

    >>> sd_interval(1.0, 12).low, sd_interval(1.0, 12).high
    (0.708395, 1.697878)
    """
    alpha = _check(confidence)
    if n < 2 or sd < 0:
        raise ValueError(f"need n >= 2 and sd >= 0, got n = {n}, sd = {sd}")
    f = n - 1
    return Interval(
        value=sd,
        low=sd * math.sqrt(f / float(chdtri(f, alpha))),
        high=sd * math.sqrt(f / float(chdtri(f, 1.0 - alpha))),
        confidence=confidence,
        method="chi-square",
    )


def _ndtri(p: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(p))
