"""The part of a prediction's payload that only figures read: plain lists on coarse bins."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.results import Pictures, Prediction
from tolsim.chance.histogram import Histogram
from tolsim.joint.population import Population

__all__ = ["pictures_payload", "round_edges"]

FloatArray = NDArray[np.float64]

_UM = 1e3
_BINS = 80  # at most so many bins across what was drawn
_BEYOND = 50  # readings beyond the whiskers that are kept one by one
_STEPS = (1, 2, 5, 10)  # cells of a histogram of used limits that make one step of a curve
_LADDER = (1.0, 2.0, 2.5, 5.0)


def pictures_payload(p: Prediction) -> dict[str, Any] | None:
    """What the figures show, or None where the prediction was made without detail.

    Sizes and interference in micrometres; every share is a fraction of the units of all supplies
    (``parts`` has no shares). ``interference.seats[].all`` holds one share a bin and adds up to 1,
    ``loose`` and ``tight`` those of them that failed; ``builds[].all`` adds up to the build's
    share. ``misalignment.quantities[].beyond[k]`` is the share above ``k * step`` times the limit.
    """
    if p.pictures is None:
        return None
    return {
        "parts": _parts(p.pictures),
        "interference": _interference(p, p.pictures),
        "misalignment": _misalignment(p.pictures),
    }


def _parts(pictures: Pictures) -> list[dict[str, Any]]:
    """Every part once, with the supplies that use it, in the order of features and builds."""
    found: dict[tuple[str, str, str | None], tuple[Population, list[str]]] = {}
    for build in pictures.joint.builds:
        for population in build.populations:
            key = (population.feature, population.part, population.seat)
            found.setdefault(key, (population, []))[1].extend(build.names)
    features = list(dict.fromkeys(feature for feature, _, _ in found))
    return [
        _part(population, supplies)
        for feature in features
        for population, supplies in found.values()
        if population.feature == feature
    ]


def _part(p: Population, supplies: list[str]) -> dict[str, Any]:
    kept = p.beyond
    if len(kept) > _BEYOND:
        kept = (*kept[: _BEYOND // 2], *kept[-_BEYOND // 2 :])
    return {
        "feature": p.feature,
        "part": p.part,
        "supplies": supplies,
        "seat": p.seat,
        "readings": p.n,
        "band_um": None if p.band is None else [_UM * v for v in p.band],
        "low_um": _UM * p.low,
        "q1_um": _UM * p.q1,
        "median_um": _UM * p.median,
        "q3_um": _UM * p.q3,
        "high_um": _UM * p.high,
        "beyond": len(p.beyond),
        "beyond_um": [_UM * v for v in kept],
    }


def _interference(p: Prediction, pictures: Pictures) -> dict[str, Any]:
    counted, builds = pictures.counted, pictures.joint.builds
    drawn = counted.interference.values()
    edges = round_edges(
        _UM * min(h.minimum for h in drawn), _UM * max(h.maximum for h in drawn), _BINS
    )
    seats = []
    for seat, name in enumerate(pictures.joint.seat_names):
        failing = {
            mode: sum(
                (
                    _shares(counted.failing.get((i, seat, mode)), edges, build.share, counted.n)
                    for i, build in enumerate(builds)
                ),
                start=np.zeros(len(edges) - 1),
            )
            for mode in ("loose", "tight")
        }
        each = [
            _shares(counted.interference[i, seat], edges, build.share, counted.n)
            for i, build in enumerate(builds)
        ]
        seats.append(
            {
                "seat": seat + 1,
                "name": name,
                "all": _plain(np.sum(each, axis=0)),
                "loose": _plain(failing["loose"]),
                "tight": _plain(failing["tight"]),
                "builds": [
                    {"build": ", ".join(b.names), "share": b.share, "all": _plain(shares)}
                    for b, shares in zip(builds, each, strict=True)
                ],
            }
        )
    return {"at_C": 20.0, "limit_um": _limit(p), "edges_um": _plain(edges), "seats": seats}


def _limit(p: Prediction) -> float | None:
    """The limit on interference, where it is judged on the same quantity as the picture shows."""
    spec = p.study.spec
    loose = spec.limits.loose
    same = spec.joint.kind == "pressed" and 20.0 in spec.service.temperature
    if loose is None or loose.interference is None or not same:
        return None
    return _UM * loose.interference


def round_edges(low: float, high: float, bins: int) -> FloatArray:
    """Edges of at most `bins` equal cells of a round width over [low, high], at least 1 unit wide.

    >>> e = round_edges(3.2, 21.7, 80)
    >>> float(e[0]), float(e[1]), float(e[-1]), len(e)
    (3.0, 3.25, 21.75, 76)
    """
    width = max(high - low, 1.0) / (bins - 1)
    power = 10.0 ** math.floor(math.log10(width))
    step = next((k * power for k in _LADDER if k * power >= width), 10.0 * power)
    first, last = math.floor(low / step), math.ceil(high / step)
    return np.asarray(step * np.arange(first, max(last, first + 1) + 1), dtype=np.float64)


def _shares(h: Histogram | None, edges: FloatArray, weight: float, n: int) -> FloatArray:
    """Weighted shares of `n` units in each bin [µm]; inside a fine cell units lie evenly."""
    if h is None or h.n == 0:
        return np.zeros(len(edges) - 1)
    fine = np.linspace(h.low, h.high, h.bins + 1)
    fine = np.concatenate([[min(h.minimum, h.low)], fine, [max(h.maximum, h.high)]])
    below = np.concatenate([[0.0], np.cumsum(h.counts)])
    at = np.interp(edges, _UM * fine, below, left=0.0, right=float(below[-1]))
    at[0], at[-1] = 0.0, below[-1]  # the cells at the ends may stick out
    return np.asarray(np.diff(at) * (weight / n), dtype=np.float64)


def _misalignment(pictures: Pictures) -> dict[str, Any]:
    counted, builds = pictures.counted, pictures.joint.builds
    used = counted.used.values()
    last = max((int(np.flatnonzero(h.counts)[-1]) for h in used), default=0)
    step = next((k for k in _STEPS if last <= k * _BINS), _STEPS[-1])
    found: dict[tuple[str, tuple[int, ...]], dict[str, Any]] = {}
    sums: dict[tuple[str, tuple[int, ...]], FloatArray] = {}
    for i, build in enumerate(builds):
        for k, margin in enumerate(build.margins):
            if margin.bound is None or (i, k) not in counted.used:
                continue
            key = (margin.cause, margin.seats)
            beyond = _beyond(counted.used[i, k], step) * (build.share / counted.n)
            sums[key] = sums.get(key, np.zeros_like(beyond)) + beyond
            found.setdefault(
                key,
                {
                    "cause": margin.cause,
                    "seat": margin.seats[0] if len(margin.seats) == 1 else None,
                    "limit": margin.limit,
                    "bound": float(f"{margin.bound * margin.scale:.6g}"),
                    "unit": margin.unit,
                },
            )
    quantities = [
        {**quantity, "beyond": _plain(_trimmed(sums[key]))} for key, quantity in found.items()
    ]
    resolution = next((h.resolution for h in used), 0.0)
    return {"step": float(f"{step * resolution:.6g}"), "quantities": quantities}


def _beyond(h: Histogram, step: int) -> FloatArray:
    """Units above each multiple of `step` cells."""
    above = np.cumsum(h.counts[::-1])[::-1]  # above[c]: in cell c or beyond
    return np.asarray(above[1::step], dtype=np.float64)


def _trimmed(beyond: FloatArray) -> FloatArray:
    """Up to the first zero: all that follows is zero as well."""
    zeros = np.flatnonzero(beyond == 0.0)
    return beyond[: int(zeros[0]) + 1] if zeros.size else beyond


def _plain(values: Iterable[float]) -> list[float]:
    """Floats of six significant digits, as JSON writes them."""
    return [float(f"{v:.6g}") for v in values]
