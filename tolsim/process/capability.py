"""Capability indices with their limits, and the share outside with its interval.

An index is the last thing to print: it needs its method, its n and its limits beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, ndtr, ndtri

from tolsim.intervals import Interval
from tolsim.process.base import FloatArray, Process, normal_density
from tolsim.process.evidence import NormalEvidence
from tolsim.process.student import noncentral_t, solve

__all__ = [
    "Indices",
    "cp_interval",
    "cpk_interval",
    "index_interval",
    "normal_indices",
    "one_sided_index_interval",
    "parts_for_index",
    "percentile_indices",
    "share_outside",
]

_LOW_SHARE = 0.00135  # ISO 22514-2: reference limits at 0.135 and 99.865 %
_REACH = np.linspace(-7.0, 7.0, 281)


@dataclass(frozen=True, kw_only=True, slots=True)
class Indices:
    """Spread index, the two one-sided ones and the smaller of them; None without that limit."""

    spread: float | None
    lower: float | None
    upper: float | None
    method: str

    @property
    def worst(self) -> float:
        """The smaller one-sided index."""
        return min(v for v in (self.lower, self.upper) if v is not None)


def _limits(low: float | None, high: float | None) -> None:
    if low is None and high is None:
        raise ValueError("an index needs at least one limit")
    if low is not None and high is not None and not low < high:
        raise ValueError(f"need low < high, got {low} and {high}")


def normal_indices(mean: float, sd: float, low: float | None, high: float | None) -> Indices:
    """Indices of a normal process: (U - L)/6s, (mean - L)/3s, (U - mean)/3s.

    >>> normal_indices(50.0, 1.75, 38.0, 62.0).spread
    2.285714
    """
    _limits(low, high)
    if sd <= 0.0:
        raise ValueError(f"an index needs a spread above 0, got {sd}")
    return Indices(
        spread=None if low is None or high is None else (high - low) / (6.0 * sd),
        lower=None if low is None else (mean - low) / (3.0 * sd),
        upper=None if high is None else (high - mean) / (3.0 * sd),
        method="normal",
    )


def percentile_indices(process: Process, low: float | None, high: float | None) -> Indices:
    r"""Indices of a process of any shape by its reference limits.

    .. math:: \frac{U - L}{X_{99.865} - X_{0.135}},\qquad
        \frac{U - X_{50}}{X_{99.865} - X_{50}},\qquad \frac{X_{50} - L}{X_{50} - X_{0.135}}

    References
    ----------
    .. [1] ISO 22514-2, general geometric (percentile) method (form from memory).

    Examples
    --------
    >>> from tolsim.process.shapes import Rayleigh
    >>> percentile_indices(Rayleigh(sd=1.0), None, 5.0).upper
    1.555241
    """
    _limits(low, high)
    if process.sd == 0.0:
        raise ValueError("an index needs a spread above 0")
    bottom, middle, top = (float(x) for x in process.quantile([_LOW_SHARE, 0.5, 1.0 - _LOW_SHARE]))
    return Indices(
        spread=None if low is None or high is None else (high - low) / (top - bottom),
        lower=None if low is None else (middle - low) / (middle - bottom),
        upper=None if high is None else (high - middle) / (top - middle),
        method="percentiles, ISO 22514-2",
    )


def _confidence(confidence: float) -> float:
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    return 0.5 * (1.0 - confidence)


def cp_interval(cp: float, n: int, *, confidence: float = 0.95) -> Interval:
    """Exact chi-square interval of the spread index of n normal parts.

    >>> cp_interval(16.0 / 7.0, 20).low
    1.564945
    """
    alpha = _confidence(confidence)
    f = n - 1
    if n < 2:
        raise ValueError(f"an index needs at least 2 parts, got {n}")
    return Interval(
        value=cp,
        low=cp * math.sqrt(float(chdtri(f, 1.0 - alpha)) / f),
        high=cp * math.sqrt(float(chdtri(f, alpha)) / f),
        confidence=confidence,
        method="chi-square",
    )


def cpk_interval(cpk: float, n: int, *, confidence: float = 0.95) -> Interval:
    r"""Approximate interval of the worst index, :math:`c \pm z\sqrt{1/(9n) + c^2/(2(n-1))}`.

    References
    ----------
    .. [1] Bissell, *Applied Statistics* 39 (1990) 331-340; also the NIST/SEMATECH handbook,
       sec. 6.1.6 (from memory). Simulated coverage at n = 12: 0.948 centred, 0.955 off-centre.

    >>> cpk_interval(1.33, 20).low
    0.882606
    """
    if n < 2:
        raise ValueError(f"an index needs at least 2 parts, got {n}")
    z = -float(ndtri(_confidence(confidence)))
    half = z * math.sqrt(1.0 / (9.0 * n) + cpk * cpk / (2.0 * (n - 1)))
    return Interval(
        value=cpk, low=cpk - half, high=cpk + half, confidence=confidence, method="Bissell"
    )


def one_sided_index_interval(index: float, n: int, *, confidence: float = 0.95) -> Interval:
    """Exact interval of a one-sided index of n normal parts, from the non-central t.

    >>> one_sided_index_interval(1.33, 12).low
    0.748141
    """
    alpha = _confidence(confidence)
    if n < 2:
        raise ValueError(f"an index needs at least 2 parts, got {n}")
    root = math.sqrt(n)
    t = 3.0 * index * root
    reach = abs(t) + 60.0

    def end(share: float) -> float:
        # the share below t falls as the true index grows
        shift = solve(lambda d: share - noncentral_t(t, n - 1, d), -reach, reach)
        return shift / (3.0 * root)

    return Interval(
        value=index,
        low=end(1.0 - alpha),
        high=end(alpha),
        confidence=confidence,
        method="non-central t",
    )


def parts_for_index(index: float, target: float, *, confidence: float = 0.95) -> int | None:
    """Parts whose one-sided lower limit reaches `target` if the index stays what it is.

    None where it does not lie above the target: no number of parts would show it.

    >>> parts_for_index(1.67, 1.33)
    38
    """
    if not index > target:
        return None
    low, high = 2, 4

    def shown(n: int) -> bool:
        # a one-sided limit: the lower end of the two-sided interval at 2 confidence - 1
        found = one_sided_index_interval(index, n, confidence=max(2.0 * confidence - 1.0, 1e-9))
        return found.low >= target

    while not shown(high):
        low, high = high, 2 * high
        if high > 1_000_000:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shown(middle) else (middle, high)
    return high


def _drawn(evidence: NormalEvidence) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Means, spreads and weights of the parameters on a grid of both rows."""
    z = np.repeat(_REACH, _REACH.size), np.tile(_REACH, _REACH.size)
    step = float(_REACH[1] - _REACH[0])
    weight = normal_density(z[0]) * normal_density(z[1]) * step * step
    mean, sd = evidence.parameters(*z)
    return mean, sd, weight


def _weighted_ends(values: FloatArray, weight: FloatArray, alpha: float) -> tuple[float, float]:
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weight[order]) - 0.5 * weight[order]
    share /= weight.sum()
    low, high = np.interp([alpha, 1.0 - alpha], share, values[order])
    return float(low), float(high)


def share_outside(
    evidence: NormalEvidence,
    low: float | None,
    high: float | None,
    *,
    confidence: float = 0.95,
) -> Interval:
    """Share of a normal process outside its limits, with the interval of the sample.

    One limit without gauge error: exact (non-central t). Two limits, or a gauge whose
    repeatability is taken out: the generalised pivotal quantity, by weights on a grid of the two
    parameters (281 x 281), not by chance.

    >>> found = share_outside(NormalEvidence(n=12, mean=0.0, sd=1.0), None, 3.0)
    >>> found.value, found.high
    (0.00135, 0.05153)
    """
    _limits(low, high)
    alpha = _confidence(confidence)
    below, above = (-math.inf if low is None else low), (math.inf if high is None else high)
    sd = evidence.process_sd
    value = _outside(np.asarray(evidence.mean), np.asarray(sd), below, above)
    if evidence.gauge_sd == 0.0 and (low is None or high is None):
        distance = (above - evidence.mean) if low is None else (evidence.mean - below)
        index = one_sided_index_interval(
            distance / (3.0 * evidence.sd), evidence.n, confidence=confidence
        )
        ends = float(ndtr(-3.0 * index.high)), float(ndtr(-3.0 * index.low))
        method = "non-central t"
    else:
        mean, spread, weight = _drawn(evidence)
        outside = _outside(mean, spread, below, above)
        ends = _weighted_ends(outside, weight, alpha)
        method = "generalised pivot"
    return Interval(
        value=float(value), low=ends[0], high=ends[1], confidence=confidence, method=method
    )


def _outside(mean: FloatArray, sd: FloatArray, low: float, high: float) -> FloatArray:
    safe = np.maximum(sd, 1e-300)
    return np.asarray(ndtr((low - mean) / safe) + ndtr((mean - high) / safe))


def index_interval(
    evidence: NormalEvidence,
    low: float | None,
    high: float | None,
    *,
    confidence: float = 0.95,
) -> Interval:
    """Worst index of a normal process with the gauge taken out, and its interval.

    Generalised pivotal quantity on a grid of the two parameters; without gauge error and with one
    limit it is the exact non-central t.
    """
    _limits(low, high)
    alpha = _confidence(confidence)
    sd = evidence.process_sd
    if evidence.gauge_sd == 0.0 and (low is None or high is None):
        index = normal_indices(evidence.mean, evidence.sd, low, high).worst
        return one_sided_index_interval(index, evidence.n, confidence=confidence)
    value = math.inf if sd == 0.0 else normal_indices(evidence.mean, sd, low, high).worst
    mean, spread, weight = _drawn(evidence)
    below, above = (-math.inf if low is None else low), (math.inf if high is None else high)
    worst = np.minimum(mean - below, above - mean) / (3.0 * np.maximum(spread, 1e-300))
    ends = _weighted_ends(worst, weight, alpha)
    return Interval(
        value=value, low=ends[0], high=ends[1], confidence=confidence, method="generalised pivot"
    )
