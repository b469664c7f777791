"""What figures read: shares that add up, and counts that closed forms foretell."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr

from tests.report.studies import DRAWS, payload
from tolsim.report.pictures import round_edges
from tolsim.spec.files import specs_root

EVERY = ["one shop", "three shops", "none fails", "most fail", "tight only"]


def test_no_pictures_unless_asked_for() -> None:
    """A prediction without detail has no pictures."""
    assert payload("one shop", detail=False)["pictures"] is None


@pytest.mark.parametrize("name", EVERY)
def test_interference_shares_add_up(name: str) -> None:
    """All bins hold every seat once, failed ones those that the seat's modes count."""
    p = payload(name)
    q = p["pictures"]["interference"]
    for s, told in zip(q["seats"], p["seats"], strict=True):
        assert len(s["all"]) == len(q["edges_um"]) - 1 <= 80
        assert_allclose(sum(s["all"]), 1.0, rtol=1e-5)
        assert_allclose(np.sum([b["all"] for b in s["builds"]], axis=0), s["all"], atol=1e-6)
        for b in s["builds"]:
            assert_allclose(sum(b["all"]), b["share"], rtol=1e-5)
        for mode in ("loose", "tight"):
            expected = told["modes"][mode]["share"] if mode in told["modes"] else 0.0
            assert_allclose(sum(s[mode]), expected, rtol=1e-5)
            assert np.all(np.asarray(s[mode]) <= np.asarray(s["all"]) * (1 + 1e-5))


@pytest.mark.parametrize("name", EVERY)
def test_misalignment_meets_the_causes_at_the_limit(name: str) -> None:
    """The share beyond once the limit is the share of the cause, and curves only fall."""
    p = payload(name)
    q = p["pictures"]["misalignment"]
    at = round(1.0 / q["step"]) if q["quantities"] else 0
    for c in q["quantities"]:
        beyond = [*c["beyond"], *[0.0] * at]
        cause = next(o for o in p["causes"] if (o["cause"], o["seat"]) == (c["cause"], c["seat"]))
        assert_allclose(beyond[at], cause["share"], rtol=1e-5)
        assert_allclose(beyond[0], 1.0, rtol=1e-5)
        assert np.all(np.diff(beyond) <= 0.0)


def test_interference_of_normals() -> None:
    """Ring minus bore of two normals is a normal: every bin within five standard errors.

    Mean -4.5 + 20 µm less 0.8 (1 + 3) µm of smoothed roughness, variance the sum of both
    (closed form).
    """
    q = payload("one shop")["pictures"]["interference"]
    mean, sd = -4.5 + 20.0 - 0.8 * (1.0 + 3.0), math.hypot(1.3, 1.9)
    expected = np.diff(ndtr((np.asarray(q["edges_um"]) - mean) / sd))
    error = np.sqrt(expected * (1.0 - expected) / DRAWS) + 1.0 / DRAWS
    for s in q["seats"]:
        # a fine cell that lies across an edge is shared out evenly: a twentieth of a bin
        assert np.all(np.abs(np.asarray(s["all"]) - expected) < 5.0 * error + 0.05 * expected)


def test_angle_of_normals() -> None:
    """The angle between two axes with normal tilts is Rayleigh: exp(-x² / 2 s²), s = sd √2."""
    q = payload("one shop")["pictures"]["misalignment"]
    angle = next(c for c in q["quantities"] if c["cause"] == "angle of the seats")
    assert (angle["bound"], angle["unit"]) == (0.1, "°")
    x = q["step"] * np.arange(len(angle["beyond"])) * 0.1
    expected = np.exp(-0.5 * (x / (0.015 * math.sqrt(2.0))) ** 2)
    error = np.sqrt(expected * (1.0 - expected) / DRAWS) + 1.0 / DRAWS
    assert np.all(np.abs(np.asarray(angle["beyond"]) - expected) < 5.0 * error)


def test_parts_are_those_of_the_file() -> None:
    """Quartiles and whiskers of readings come from the file; the part says who uses it."""
    p = payload("three shops")
    parts = {(q["part"], q["seat"]): q for q in p["pictures"]["parts"]}
    with (Path(specs_root()) / "bores" / "coast-2026-10.csv").open(encoding="utf-8") as f:
        rows = [r for r in csv.reader(f) if r and not r[0].startswith("#")]
    side, size = rows[0].index("side"), rows[0].index("bore_mm")
    for seat in ("left", "right"):
        values = [1e3 * (float(r[size]) - 37.0) for r in rows[1:] if r[side] == seat]
        q = parts["bores/coast-bored", seat]
        assert q["readings"] == len(values)
        five = [q["q1_um"], q["median_um"], q["q3_um"]]
        assert_allclose(five, np.percentile(values, [25, 50, 75]), atol=1e-6)
        ends = [q["low_um"], q["high_um"], *q["beyond_um"]]
        assert_allclose([min(ends), max(ends)], [min(values), max(values)], atol=1e-6)
        assert q["supplies"] == ["Coast"]
        assert q["band_um"] == pytest.approx([-32.0, -16.0])


def test_an_assumed_part_once() -> None:
    """A ring that all supplies share stands once, with the quantiles of its normal."""
    rings = [
        q for q in payload("three shops")["pictures"]["parts"] if q["feature"] == "bearing.outside"
    ]
    assert len(rings) == 1
    assert sorted(rings[0]["supplies"]) == ["Coast", "North", "Ridge"]
    assert rings[0]["readings"] is None
    # normal(-4.5, 1.3): quartile 0.67449 sd, 0.135 % point 3 sd (tables of the normal)
    expected = [-4.5 - 3.0 * 1.3, -4.5 - 0.67449 * 1.3, -4.5, -4.5 + 0.67449 * 1.3, -0.6]
    told = [rings[0][k] for k in ("low_um", "q1_um", "median_um", "q3_um", "high_um")]
    assert_allclose(told, expected, atol=2e-4)


@pytest.mark.parametrize(("low", "high"), [(0.0, 0.0), (-3.3, 3.4), (17.2, 900.0), (-1e4, 1e4)])
def test_edges_are_round_and_few(low: float, high: float) -> None:
    """Edges cover the range in at most 80 bins of width 1, 2, 2.5 or 5 times a power of ten."""
    edges = round_edges(low, high, 80)
    assert edges[0] <= low
    assert edges[-1] >= high
    assert 1 <= len(edges) - 1 <= 80
    width = edges[1] - edges[0]
    mantissa = width / 10.0 ** math.floor(math.log10(width) + 1e-9)
    assert min(abs(mantissa - k) for k in (1.0, 2.0, 2.5, 5.0)) < 1e-9
