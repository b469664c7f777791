"""What is odd about a lot: sorted, mixed, drifting, changed, rounded, or not to be told.

All tests together raise a false alarm in at most 5 % of plain normal lots; where a lot is too
small to show the departure a reader would care about, the answer is "cannot tell".
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray
from tolsim.process.departures import FEWEST, OF_ORDER, OF_SIZES, statistics
from tolsim.process.rounding import spread_ties, step_of

__all__ = ["Finding", "Verdict", "critical_value", "detect", "seen"]

Verdict: TypeAlias = Literal["seen", "not seen", "cannot tell"]
COARSE = 0.5  # a step of the readings above this share of their spread is felt
_BLIND = 1.2  # above this share it hides the shape


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One question about a lot and its answer.

    Attributes
    ----------
    kind : str
        ``sorted edge``, ``hollow middle``, ``mixture``, ``shape``, ``drift``, ``change``,
        ``neighbours``, ``rounding``.
    verdict : str
        ``seen``, ``not seen``, ``cannot tell``.
    text : str
        The answer as a sentence.
    ratio : float
        Statistic over its critical value, as far as both are positive; above 1 it is seen.
    place : float or None
        Where: the size of an edge or gap [mm], the number of the part at which a change begins.
    """

    kind: str
    verdict: Verdict
    text: str
    ratio: float
    place: float | None = None


# Parts at which the departure named is found in 80 of 100 lots: from the detection campaign
# (tests/campaigns/detection.py), rounded up to 5.  # guard: from this code
_NEEDED: dict[str, tuple[int, str]] = {
    "one-edge": (55, "one end cut off half a standard deviation beyond the mean"),
    "both-edges": (105, "both ends cut off at 1.5 standard deviations"),
    "empty-middle": (20, "the middle standard deviation taken out"),
    "two-humps": (95, "two equal populations three standard deviations apart"),
    "other-shape": (50, "one part in twenty from a population six standard deviations off"),
    "drift": (45, "a drift of two standard deviations over the lot"),
    "change": (40, "a step of 1.5 standard deviations half-way"),
    "neighbours": (60, "a tool's cycle of 25 parts and four standard deviations"),
}
_KIND = {
    "one-edge": "sorted edge",
    "both-edges": "sorted edge",
    "empty-middle": "hollow middle",
    "two-humps": "mixture",
    "other-shape": "shape",
    "drift": "drift",
    "change": "change",
    "neighbours": "neighbours",
}


@lru_cache(maxsize=1)
def _critical() -> dict[str, FloatArray]:
    text = files("tolsim.process").joinpath("critical_values.csv").read_text()
    rows = list(csv.DictReader(text.splitlines()))
    return {k: np.array([float(r[k]) for r in rows]) for k in rows[0]}


def critical_value(name: str, n: int, *, order: bool) -> float:
    """Critical value of a statistic for n parts, interpolated in 1/n beyond 60 parts."""
    table = _critical()
    values = table[f"{name}/{'order' if order else 'sizes'}"]
    at = 1.0 / np.minimum(np.maximum(n, FEWEST), table["n"][-1])
    return float(np.interp(at, 1.0 / table["n"][::-1], values[::-1]))


def detect(
    values: ArrayLike,
    *,
    ordered: bool = False,
    step: float | None = None,
) -> tuple[Finding, ...]:
    """Look for everything that makes a lot other than plain normal.

    Parameters
    ----------
    values : array_like
        Readings of one lot [mm], in the order of making where `ordered`.
    ordered : bool
        Whether the order of the readings is the order of making.
    step : float, optional
        Step of the readings [mm]; None finds it from the readings.

    Returns
    -------
    tuple of Finding
        One a question, those that were seen first. Below 8 parts every answer but that about
        rounding is "cannot tell".

    Notes
    -----
    Readings that fall on the same step are spread evenly over it first, so that rounding alone
    is not taken for a gap. A cut lot and a mixed one look alike from few parts: both may be named.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or x.size < 2 or not bool(np.all(np.isfinite(x))):
        raise ValueError("detection needs at least two finite readings of one lot")
    step = step_of(x) if step is None else step
    # the rounded mean of equal readings would leave a spread of rounding errors
    spread = 0.0 if float(np.ptp(x)) == 0.0 else float(x.std(ddof=1))
    found = [_rounding(step, spread, x)]
    blind: dict[str, str] = {}
    if x.size < FEWEST:
        blind = dict.fromkeys((*OF_SIZES, *OF_ORDER), f"{x.size} parts say nothing about it")
    elif spread == 0.0 or step > _BLIND * spread:
        blind = dict.fromkeys(OF_SIZES, "the readings hardly differ by more than their step")
        if spread == 0.0:
            blind |= dict.fromkeys(OF_ORDER, "all readings are alike")
    asked = [*OF_SIZES, *(OF_ORDER if ordered else ())]
    found += [
        Finding(kind=k, verdict="cannot tell", text=f"{k}: {why}", ratio=0.0)
        for k, why in {_KIND[n]: blind[n] for n in asked if n in blind}.items()
    ]
    if all(name in blind for name in asked):
        return tuple(found)
    smooth = spread_ties(x, step)
    measured = {k: v for k, v in statistics(smooth, order=ordered).items() if k not in blind}
    single: dict[str, Finding] = {}
    for name, value in measured.items():
        finding = _judge(name, float(value), smooth, ordered)
        kept = single.get(finding.kind)
        if kept is None or finding.ratio > kept.ratio:
            single[finding.kind] = finding
    found += list(single.values())
    return tuple(sorted(found, key=lambda f: (f.verdict != "seen", -f.ratio)))


def _rounding(step: float, spread: float, x: FloatArray) -> Finding:
    levels = len(np.unique(x))
    if step <= 0.0 or spread == 0.0 or step <= COARSE * spread:
        return Finding(
            kind="rounding",
            verdict="not seen" if spread > 0.0 else "cannot tell",
            text="rounding: the step of the readings is fine against their spread"
            if spread > 0.0
            else "rounding: all readings are alike",
            ratio=0.0 if spread == 0.0 else step / (COARSE * spread),
        )
    return Finding(
        kind="rounding",
        verdict="seen",
        text=f"rounding: {x.size} readings stand on {levels} values {step * 1e3:.3g} µm apart; "
        "each stands for everything within half a step",
        ratio=step / (COARSE * spread),
    )


def _judge(name: str, value: float, x: FloatArray, ordered: bool) -> Finding:
    n = x.size
    limit = critical_value(name, n, order=ordered)
    # the edge statistics are negative: the nearer to 0 the odder
    ratio = limit / value if limit < 0.0 else value / limit
    needed, effect = _NEEDED[name]
    kind = _KIND[name]
    if value > limit:
        text, place = _seen(name, x)
        return Finding(kind=kind, verdict="seen", text=f"{kind}: {text}", ratio=ratio, place=place)
    if n < needed:
        return Finding(
            kind=kind,
            verdict="cannot tell",
            text=f"{kind}: cannot tell from {n} parts; it takes about {needed} to show {effect}",
            ratio=ratio,
        )
    return Finding(
        kind=kind,
        verdict="not seen",
        text=f"{kind}: not seen; {effect} would show in four lots of five",
        ratio=ratio,
    )


def _seen(name: str, x: FloatArray) -> tuple[str, float | None]:
    ranked = np.sort(x)
    mean, n = float(x.mean()), x.size
    if name == "both-edges":
        return (
            f"both ends are cut off, near {_um(ranked[0])} and {_um(ranked[-1])}: the lot was "
            "sorted, or is near uniform",
            None,
        )
    if name == "one-edge":
        low = mean - ranked[0] < ranked[-1] - mean
        place = float(ranked[0] if low else ranked[-1])
        return f"the {'lower' if low else 'upper'} end is cut off near {_um(place)}", place
    if name == "empty-middle":
        edge = max(2, round(0.15 * n))
        gaps = np.diff(ranked)[edge - 1 : n - edge]
        k = int(np.argmax(gaps)) + edge - 1
        place = float(0.5 * (ranked[k] + ranked[k + 1]))
        return f"no part between {_um(ranked[k])} and {_um(ranked[k + 1])}: kept for others", place
    if name == "two-humps":
        k = _split(ranked, max(2, round(0.1 * n)))
        one, two = float(ranked[:k].mean()), float(ranked[k:].mean())
        place = float(0.5 * (ranked[k - 1] + ranked[k]))
        return f"two groups, {k} parts about {_um(one)} and {n - k} about {_um(two)}", place
    if name == "other-shape":
        z = (x - mean) / x.std(ddof=1)
        far = int(np.argmax(np.abs(z)))
        return (
            f"not normal: skewness {float((z**3).mean()):+.2f}, the outermost part {_um(x[far])} "
            f"lies {abs(float(z[far])):.1f} spreads off",
            float(x[far]),
        )
    if name == "drift":
        at = np.arange(n) - 0.5 * (n - 1)
        slope = float((x - mean) @ at / (at @ at))
        return f"sizes drift by {slope * (n - 1) * 1e3:+.3g} µm over the lot", None
    if name == "change":
        k = _split(x, 3)
        jump = float(x[k:].mean() - x[:k].mean())
        return f"sizes change by {jump * 1e3:+.3g} µm at part {k + 1}", float(k + 1)
    ratio = float((np.diff(x) ** 2).sum() / ((x - mean) ** 2).sum())
    alike = "more alike" if ratio < 2.0 else "more unlike"
    return f"neighbours in the order of making are {alike} than parts by chance", None


def _split(x: FloatArray, least: int) -> int:
    """Number of parts before the step that explains most."""
    n = x.size
    k = np.arange(1, n)
    between = np.cumsum(x - x.mean())[:-1] ** 2 * (1.0 / k + 1.0 / (n - k))
    return int(np.argmax(between[least - 1 : n - least])) + least


def _um(value: float) -> str:
    return f"{value * 1e3:.4g} µm"


def seen(findings: Sequence[Finding], kind: str) -> bool:
    """Whether a departure of this kind was seen."""
    return any(f.kind == kind and f.verdict == "seen" for f in findings)
