"""Makers side by side: which of them n parts each can tell apart, all comparisons at once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri, stdtrit

from tolsim.intervals import Interval
from tolsim.process.base import FloatArray

__all__ = ["Comparison", "Grouping", "compare_makers"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """Two makers: difference of the means [mm] and ratio of the spreads, first to second."""

    first: str
    second: str
    mean: Interval
    spread: Interval

    @property
    def means_apart(self) -> bool:
        """Whether the difference of the means is told from 0."""
        return self.mean.low > 0.0 or self.mean.high < 0.0

    @property
    def spreads_apart(self) -> bool:
        """Whether the ratio of the spreads is told from 1."""
        return self.spread.low > 1.0 or self.spread.high < 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Grouping:
    """All comparisons, and groups of makers that the parts cannot tell apart.

    A maker may stand in several groups: A may not differ from B, nor B from C, but A from C.
    """

    comparisons: tuple[Comparison, ...]
    groups: tuple[tuple[str, ...], ...]
    confidence: float


def compare_makers(samples: Mapping[str, ArrayLike], *, confidence: float = 0.95) -> Grouping:
    """Simultaneous intervals for every pair of makers.

    Welch's interval for the means and the F interval for the spreads, at a confidence that leaves
    all of them together `confidence` (Bonferroni over both kinds). Makers are in one group when no
    two of it are told apart, in mean or in spread; each group is as large as can be.

    Parameters
    ----------
    samples : mapping
        Readings [mm] by maker, at least two makers with at least two unlike readings.
    confidence : float
        That every interval holds its truth at once, for normal processes.

    Examples
    --------
    >>> found = compare_makers({"North": [1.0, 2.0, 3.0, 2.5], "Coast": [1.5, 2.0, 2.8, 2.2],
    ...                         "Ridge": [9.0, 9.5, 10.0, 9.2]})
    >>> found.groups
    (('North', 'Coast'), ('Ridge',))
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    data = {name: np.asarray(v, dtype=np.float64) for name, v in samples.items()}
    if len(data) < 2:
        raise ValueError("at least two makers are compared")
    for name, x in data.items():
        if x.ndim != 1 or x.size < 2 or not bool(np.all(np.isfinite(x))):
            raise ValueError(f"{name}: needs at least two finite readings")
        if float(np.ptp(x)) == 0.0:
            raise ValueError(f"{name}: all readings are alike")
    pairs = list(itertools.combinations(data, 2))
    alpha = 0.5 * (1.0 - confidence) / (2 * len(pairs))
    comparisons = tuple(_compare(a, b, data[a], data[b], alpha, confidence) for a, b in pairs)
    apart = {
        frozenset((c.first, c.second)) for c in comparisons if c.means_apart or c.spreads_apart
    }
    return Grouping(
        comparisons=comparisons, groups=_groups(list(data), apart), confidence=confidence
    )


def _compare(
    first: str, second: str, a: FloatArray, b: FloatArray, alpha: float, confidence: float
) -> Comparison:
    va, vb = float(a.var(ddof=1)), float(b.var(ddof=1))
    ea, eb = va / a.size, vb / b.size
    freedom = (ea + eb) ** 2 / (ea**2 / (a.size - 1) + eb**2 / (b.size - 1))
    difference = float(a.mean() - b.mean())
    half = -float(stdtrit(freedom, alpha)) * math.sqrt(ea + eb)
    ratio = math.sqrt(va / vb)
    f_low = float(fdtri(a.size - 1, b.size - 1, alpha))
    f_high = float(fdtri(a.size - 1, b.size - 1, 1.0 - alpha))
    return Comparison(
        first=first,
        second=second,
        mean=Interval(
            value=difference,
            low=difference - half,
            high=difference + half,
            confidence=confidence,
            method="Welch, simultaneous",
        ),
        spread=Interval(
            value=ratio,
            low=ratio / math.sqrt(f_high),
            high=ratio / math.sqrt(f_low),
            confidence=confidence,
            method="F, simultaneous",
        ),
    )


def _groups(names: list[str], apart: set[frozenset[str]]) -> tuple[tuple[str, ...], ...]:
    """Largest sets of names without a pair that is told apart (few names: all are tried)."""
    alike = {n: {m for m in names if m != n and frozenset((n, m)) not in apart} for n in names}
    found: list[set[str]] = []

    def grow(group: set[str], open_: set[str], closed: set[str]) -> None:
        if not open_ and not closed:
            found.append(group)
            return
        for n in [name for name in names if name in open_]:
            grow(group | {n}, open_ & alike[n], closed & alike[n])
            open_ = open_ - {n}
            closed = closed | {n}

    grow(set(), set(names), set())
    ordered = [tuple(n for n in names if n in group) for group in found]
    return tuple(sorted(ordered, key=lambda g: [names.index(n) for n in g]))
