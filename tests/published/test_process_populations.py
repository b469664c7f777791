"""Truncated, mixed, worn and selectively paired populations against recomputed published values.

The numbers of ``process_populations.json`` come from closed forms and 50-digit quadrature, not from
this package. The grouping figures agree with Cox, J. Am. Stat. Assoc. 52 (1957) 543-547, and Max,
IRE Trans. Inf. Theory 6 (1960) 7-12 (both from memory).
"""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.process.added import added
from tolsim.process.base import Process
from tolsim.process.classes import Classes, equal_count, equal_width, matched_pairing
from tolsim.process.mixture import Mixture
from tolsim.process.moved import moved
from tolsim.process.plain import Normal, Uniform
from tolsim.process.selective import pick
from tolsim.process.shapes import Bounded

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "process_populations.json").read_text()
)
FloatArray = NDArray[np.float64]


def central(process: Process, power: int) -> float:
    """Standardised central moment by a trapezoid over z, from -9 to 9."""
    z = np.linspace(-9.0, 9.0, 40_001)
    weight = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) * (z[1] - z[0])
    return float((weight * ((process.size(z) - process.mean) / process.sd) ** power).sum())


@pytest.mark.parametrize("row", DATA["truncated_normal"])
def test_truncated_normals_have_the_reference_moments(row: dict[str, Any]) -> None:
    """Yield, mean, spread, skewness and kurtosis of cut normals, to the printed ten digits."""
    p = Bounded(mean=row["mu"], sd=row["sd"], low=row["L"], high=row["U"])
    assert_allclose(p.accepted, float(row["yield_"]), rtol=1e-11)
    assert_allclose(p.mean, float(row["mean"]), rtol=1e-10, atol=1e-12)
    assert_allclose(p.sd, float(row["sd_trunc"]), rtol=1e-10)
    # through the table of draws: error of a size at most 5e-7 of the spread
    assert_allclose(central(p, 3), float(row["skew"]), rtol=0.0, atol=5e-6)
    assert_allclose(central(p, 4), float(row["kurt"]), rtol=0.0, atol=2e-5)


@pytest.mark.parametrize("row", DATA["truncated_clearance"]["rows"])
def test_clearance_of_two_cut_normals(row: dict[str, Any]) -> None:
    """Share of clearances below a threshold, bore minus ring, both sorted."""
    bore, ring = (Bounded(mean=m, sd=s, low=a, high=b) for m, s, a, b in (row["bore"], row["ring"]))
    clearance = added(bore, moved(ring, scale=-1.0))
    assert_allclose(clearance.cdf(row["threshold"]), row["p_clearance_below"], rtol=1e-6)


@pytest.mark.parametrize("row", DATA["mixtures"])
def test_mixtures_have_the_reference_tails(row: dict[str, Any]) -> None:
    """Moments and upper tails of five mixtures of two normals."""
    p = Mixture(
        parts=tuple(
            (w, Normal(mean=m, sd=s)) for w, m, s in zip(row["w"], row["m"], row["s"], strict=True)
        )
    )
    assert_allclose([p.mean, p.sd], [row["mean"], row["sd"]], rtol=1e-12, atol=1e-15)
    for x, tail in row["p_above"].items():
        assert_allclose(p.sf(float(x)), tail, rtol=1e-12)
        # and through the table that draws are read from
        assert_allclose(p.size(float(p.latent(float(x)))), float(x), rtol=0.0, atol=1e-6 * p.sd)
    assert_allclose(central(p, 3), row["skew"], rtol=0.0, atol=1e-5)
    assert_allclose(central(p, 4), row["kurt"], rtol=1e-5)


@pytest.mark.parametrize("row", DATA["mixture_clearance"])
def test_clearance_of_mixed_lots(row: dict[str, Any]) -> None:
    """Share of tight pairs when bores and rings come as mixed lots."""
    bores, rings = (
        Mixture(parts=tuple((w, Normal(mean=m, sd=s)) for w, m, s in row[k]))
        if len(row[k]) > 1
        else Normal(mean=row[k][0][1], sd=row[k][0][2])
        for k in ("bores", "rings")
    )
    clearance = added(bores, moved(rings, scale=-1.0))
    assert_allclose(clearance.cdf(row["threshold"]), row["p"], rtol=1e-6)


@pytest.mark.parametrize("row", DATA["tool_wear"]["rows"])
def test_a_worn_tool_in_the_limit_of_small_steps(row: dict[str, Any]) -> None:
    """Uniform drift and normal scatter: both tails to the printed ten digits or 1e-7."""
    p = added(Normal(mean=0.0, sd=row["s"]), Uniform(low=row["a"], high=row["b"]))
    assert_allclose(p.cdf(row["x"]), float(row["cdf"]), rtol=1e-9)
    assert_allclose(p.sf(row["x"]), float(row["sf"]), rtol=1e-7)


@pytest.mark.parametrize("row", DATA["tool_wear"]["moments"])
def test_moments_of_a_worn_tool(row: dict[str, Any]) -> None:
    """Spread and kurtosis of uniform drift with normal scatter."""
    p = added(Normal(mean=0.0, sd=row["s"]), Uniform(low=row["a"], high=row["b"]))
    assert_allclose(p.sd, row["sd"], rtol=1e-12)
    assert_allclose(central(p, 4), row["kurt"], rtol=1e-5)


def classes_of(method: str, row: dict[str, Any]) -> Classes:
    """Classes of a unit normal as the reference cuts it."""
    if method == "equal_prob":
        return equal_count(Normal(mean=0.0, sd=1.0), row["k"])
    if method == "optimal":
        return Classes(edges=(-math.inf, *row["optimal"]["edges"], math.inf))
    return equal_width(-3.0, 3.0, row["k"], open_ends=method.endswith("open_ends"))


@pytest.mark.parametrize(
    "method",
    ["equal_prob", "equal_width_pm3_scrap_outside", "equal_width_pm3_open_ends", "optimal"],
)
@pytest.mark.parametrize(
    "row",
    [r for r in DATA["selective_assembly"]["rows"] if r["k"] in (2, 4, 6)],
    ids=lambda r: f"k{r['k']}",
)
def test_matched_classes_narrow_the_clearance(method: str, row: dict[str, Any]) -> None:
    """Variance of the clearance and shares beyond one and two sd, class by class."""
    unit = Normal(mean=0.0, sd=1.0)
    classes = classes_of(method, row)
    shares = classes.shares(unit)
    drawn = pick(unit, unit, (classes, classes), matched_pairing(shares, shares))
    cuts = np.clip(ndtri(np.cumsum(shares / shares.sum())[:-1]), -8.5, 8.5)
    edges = np.array([-8.5, *cuts, 8.5])
    nodes, weights = np.polynomial.legendre.leggauss(160)
    fine = np.linspace(-8.5, 8.5, 2001)
    normal = np.exp(-0.5 * fine * fine) / math.sqrt(2.0 * math.pi) * (fine[1] - fine[0])
    variance = beyond = 0.0
    beyond_two = 0.0
    for low, high in itertools.pairwise(edges.tolist()):
        z = 0.5 * (low + high) + 0.5 * (high - low) * nodes
        weight = 0.5 * (high - low) * weights * np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
        first, second = drawn.sizes(np.repeat(z, fine.size), np.tile(fine, z.size))
        gap = (first - second).reshape(z.size, fine.size)
        variance += float(weight @ (gap * gap) @ normal)
        beyond += float(weight @ outside(gap, fine, 1.0))
        beyond_two += float(weight @ outside(gap, fine, 2.0))
    expected = row[method]
    assert_allclose(0.5 * variance, expected["within_var"], rtol=1e-4)
    assert_allclose(beyond, expected["p_abs_gt_1sd"], rtol=2e-3, atol=2e-5)
    assert_allclose(beyond_two, expected["p_abs_gt_2sd"], rtol=2e-3, atol=2e-5)


def outside(gap: FloatArray, fine: FloatArray, limit: float) -> FloatArray:
    """Share of the second part's row for which the gap, falling along it, leaves the limits."""
    low = [np.interp(-limit, g[::-1], fine[::-1]) for g in gap]
    high = [np.interp(limit, g[::-1], fine[::-1]) for g in gap]
    below = np.where(gap[:, -1] > -limit, 0.0, ndtr(-np.array(low)))
    above = np.where(gap[:, 0] < limit, 0.0, ndtr(np.array(high)))
    return below + above
