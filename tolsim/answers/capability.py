"""What the parts of one or several makers can and cannot say: words first, indices last."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.intervals import Interval, mean_interval, sd_interval
from tolsim.joint.population import Population, population_of_readings
from tolsim.process.capability import (
    index_interval,
    normal_indices,
    parts_for_index,
    percentile_indices,
    share_outside,
)
from tolsim.process.detection import Finding, detect
from tolsim.process.evidence import NormalEvidence
from tolsim.process.gauge_share import gauge_note
from tolsim.process.shapes import Kernel
from tolsim.process.tolerance import ToleranceInterval, normal_tolerance, provable_share
from tolsim.spec.readings import Readings

__all__ = ["Capability", "Maker", "Pair", "capability"]

FloatArray = NDArray[np.float64]
Band = tuple[float, float]
_FEW_FOR_AN_INDEX = 30


@dataclass(frozen=True, kw_only=True, slots=True)
class Maker:
    """One file, or one seat of it: everything in mm from nominal.

    `index` is withheld (None) below 30 parts; its interval never is. `needed` says how many parts
    would show what, None where no number would.
    """

    name: str
    readings: Readings
    n: int
    mean: Interval
    sd: Interval
    process_sd: float
    tolerance: ToleranceInterval
    outside: Interval | None
    index: float | None
    index_range: Interval | None
    spread_index: float | None
    percentile_index: float | None
    needed: int | None
    provable: float
    findings: tuple[Finding, ...]
    boxes: tuple[Population, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Two makers against each other: difference of means [mm] and ratio of spreads."""

    first: str
    second: str
    mean: Interval
    ratio: Interval

    @property
    def told_apart(self) -> tuple[str, ...]:
        """What differs beyond chance: ``mean``, ``spread``."""
        out = []
        if not self.mean.low <= 0.0 <= self.mean.high:
            out.append("mean")
        if not self.ratio.low <= 1.0 <= self.ratio.high:
            out.append("spread")
        return tuple(out)


@dataclass(frozen=True, kw_only=True, slots=True)
class Capability:
    """Makers side by side, pairs that can or cannot be told apart, and the verdict."""

    makers: tuple[Maker, ...]
    pairs: tuple[Pair, ...]
    groups: tuple[tuple[str, ...], ...]
    band: Band | None
    confidence: float
    target_index: float | None
    target_share: float | None
    verdict: str | None


def capability(
    files: Sequence[tuple[str, Readings]],
    *,
    band: Band | None = None,
    gauge_sd: float = 0.0,
    confidence: float = 0.95,
    target_index: float | None = None,
    target_share: float | None = None,
) -> Capability:
    """Judge the readings of several makers.

    Parameters
    ----------
    files : sequence of (name, Readings)
        One a maker; readings with seats are judged together, their seats shown apart.
    band : (float, float), optional
        Drawing limits [mm from nominal].
    gauge_sd : float
        Repeatability of one reading [mm]; it is taken out of the process's spread, from the mean
        of a bore's readings by what it gives that.
    confidence : float
        Of every interval, two-sided; pairs share it (simultaneous intervals).
    target_index, target_share : float, optional
        Smallest worst index, largest share outside the band, that the interval must show.

    Notes
    -----
    Shares and indices assume a normal process; what speaks against it stands among the findings.
    Pairs: Games & Howell for means, F with Bonferroni for spreads.
    """
    makers = tuple(_maker(name, r, band, gauge_sd, confidence, target_index) for name, r in files)
    pairs = _pairs(makers, confidence)
    return Capability(
        makers=makers,
        pairs=pairs,
        groups=_groups([m.name for m in makers], pairs),
        band=band,
        confidence=confidence,
        target_index=target_index,
        target_share=target_share,
        verdict=_verdict(makers, target_index, target_share),
    )


def _maker(
    name: str,
    readings: Readings,
    band: Band | None,
    gauge_sd: float,
    confidence: float,
    target_index: float | None,
) -> Maker:
    values = readings.deviation
    n = len(values)
    mean, sd = readings.mean_sd()
    floor = max(readings.resolution_mm, 1e-6) / math.sqrt(12.0)
    notes = [note.removeprefix(f"{readings.shown}: ") for note in readings.notes]
    if sd < floor:
        notes.append(
            f"{'both' if n == 2 else f'all {n}'} readings agree within the gauge's step of "
            f"{1e3 * readings.resolution_mm:g} µm: the spread is that of the step at most"
        )
        sd = floor
    scatter = readings.gauge_of_mean(gauge_sd)
    evidence = NormalEvidence(n=n, mean=mean, sd=sd, gauge_sd=scatter)
    notes += evidence.notes
    outside = index_range = None
    index = spread_index = percentile = None
    if band is not None:
        outside = share_outside(evidence, *band, confidence=confidence)
        index_range = index_interval(evidence, *band, confidence=confidence)
        if n >= _FEW_FOR_AN_INDEX:
            found = normal_indices(mean, max(evidence.process_sd, 1e-9), *band)
            index, spread_index = found.worst, found.spread
            percentile = percentile_indices(Kernel(readings=tuple(values)), *band).worst
        flagged = gauge_note(gauge_sd, band)
        if flagged is not None:
            notes.append(flagged)
    if readings.lot is not None and len(set(readings.lot)) == 1:
        notes.append("all parts come from one lot: they say nothing about the next one")
    if readings.seats is not None and len(readings.pairs()) >= 4:
        notes.append(
            "both seats of a unit are counted as parts of their own; where they go together the "
            "true uncertainty is wider than shown"
        )
    if n < 12:
        notes.append("at least 12 parts are customary (common practice, no source)")
    order = readings.order
    ordered = values if order is None else values[list(order)]
    best = None if index_range is None else index_range.value
    return Maker(
        name=name,
        readings=readings,
        n=n,
        mean=mean_interval(mean, sd, n, confidence=confidence),
        sd=sd_interval(sd, n, confidence=confidence),
        process_sd=evidence.process_sd,
        tolerance=normal_tolerance(n, mean, sd, content=0.99, confidence=confidence),
        outside=outside,
        index=index,
        index_range=index_range,
        spread_index=spread_index,
        percentile_index=percentile,
        needed=None
        if best is None or not math.isfinite(best)
        else parts_for_index(best, target_index or 1.33, confidence=confidence),
        provable=provable_share(n, confidence=confidence),
        findings=detect(ordered, ordered=order is not None, step=readings.resolution_mm or None),
        boxes=population_of_readings(readings.column, name, band, readings),
        notes=tuple(dict.fromkeys(notes)),
    )


def _pairs(makers: Sequence[Maker], confidence: float) -> tuple[Pair, ...]:
    if len(makers) < 2:
        return ()
    from scipy import stats

    count = len(makers) * (len(makers) - 1) // 2
    out = []
    for a, b in itertools.combinations(makers, 2):
        va, vb = a.sd.value**2 / a.n, b.sd.value**2 / b.n
        freedom = (va + vb) ** 2 / (va**2 / (a.n - 1) + vb**2 / (b.n - 1))
        q = float(stats.studentized_range.ppf(confidence, len(makers), freedom))
        half = q * math.sqrt(0.5 * (va + vb))
        difference = a.mean.value - b.mean.value
        alpha = 0.5 * (1.0 - confidence) / count
        ratio = a.sd.value / b.sd.value
        f_low = float(stats.f.ppf(alpha, a.n - 1, b.n - 1))
        f_high = float(stats.f.ppf(1.0 - alpha, a.n - 1, b.n - 1))
        out.append(
            Pair(
                first=a.name,
                second=b.name,
                mean=Interval(
                    value=difference,
                    low=difference - half,
                    high=difference + half,
                    confidence=confidence,
                    method="Games and Howell",
                ),
                ratio=Interval(
                    value=ratio,
                    low=ratio / math.sqrt(f_high),
                    high=ratio / math.sqrt(f_low),
                    confidence=confidence,
                    method="F, Bonferroni",
                ),
            )
        )
    return tuple(out)


def _groups(names: list[str], pairs: Sequence[Pair]) -> tuple[tuple[str, ...], ...]:
    """Largest sets of makers none of whose pairs can be told apart."""
    apart = {frozenset((p.first, p.second)) for p in pairs if p.told_apart}
    found: list[tuple[str, ...]] = []
    for size in range(len(names), 1, -1):
        for group in itertools.combinations(names, size):
            alike = all(frozenset(p) not in apart for p in itertools.combinations(group, 2))
            if alike and not any(set(group) <= set(g) for g in found):
                found.append(group)
    return tuple(found)


def _verdict(
    makers: Sequence[Maker], target_index: float | None, target_share: float | None
) -> str | None:
    """Of all makers together: missed beats undecided beats met."""
    words: list[str] = []
    for m in makers:
        if target_index is not None and m.index_range is not None:
            r = m.index_range
            words.append(_judge(-r.high, -r.low, -target_index))
        if target_share is not None and m.outside is not None:
            words.append(_judge(m.outside.low, m.outside.high, target_share))
    for word in ("missed", "undecided", "met"):
        if word in words:
            return word
    return None


def _judge(low: float, high: float, most: float) -> str:
    """Met when the whole interval is at or below `most`, missed when none of it is."""
    if high <= most:
        return "met"
    return "missed" if low > most else "undecided"
