"""The same parts read twice: how they changed between two ages."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tolsim.intervals import Interval, mean_interval, sd_interval
from tolsim.process.evidence import NormalEvidence

__all__ = ["PairedChange", "paired_change"]


@dataclass(frozen=True, kw_only=True, slots=True)
class PairedChange:
    """Change of size [mm] from the first to the second reading of the same parts.

    `mean` and `sd` with their intervals; `sd` is that of the parts, two readings' repeatability
    taken out; `evidence` draws both.
    """

    n: int
    mean: Interval
    sd: Interval
    evidence: NormalEvidence
    notes: tuple[str, ...]


def paired_change(
    first: ArrayLike, second: ArrayLike, *, gauge_sd: float = 0.0, confidence: float = 0.95
) -> PairedChange:
    """Settling (or any change) from parts read at two ages, pair by pair.

    Parameters
    ----------
    first, second : array_like
        Readings [mm] of the same parts in the same order.
    gauge_sd : float
        Repeatability of one reading [mm]; a difference holds it twice.
    confidence : float
        Of both intervals.

    Examples
    --------
    >>> found = paired_change([0.010, 0.012, 0.011, 0.013], [0.006, 0.007, 0.007, 0.008])
    >>> found.mean.value, found.sd.value
    (-0.0045, 0.000577)
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 1 or a.size < 2:
        raise ValueError("paired readings: as many at either age, at least two parts")
    if not bool(np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise ValueError("paired readings: a part lacks a reading")
    change = b - a
    n, mean, sd = a.size, float(change.mean()), float(change.std(ddof=1))
    if float(np.ptp(change)) == 0.0:
        raise ValueError("paired readings: every part changed alike; the step is too coarse")
    evidence = NormalEvidence(n=n, mean=mean, sd=sd, gauge_sd=math.sqrt(2.0) * gauge_sd)
    spread = sd_interval(sd, n, confidence=confidence)
    without = [
        math.sqrt(max(v * v - 2.0 * gauge_sd**2, 0.0))
        for v in (spread.value, spread.low, spread.high)
    ]
    return PairedChange(
        n=n,
        mean=mean_interval(mean, sd, n, confidence=confidence),
        sd=Interval(
            value=without[0],
            low=without[1],
            high=without[2],
            confidence=confidence,
            method=spread.method,
        ),
        evidence=evidence,
        notes=evidence.notes,
    )
