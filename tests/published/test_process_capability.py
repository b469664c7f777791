"""Capability indices, tolerance factors and range statements against published tables.

Tables seen or remembered: NIST/SEMATECH handbook 7.2.6.3; Berthouex & Brown, *Statistics for
Environmental Engineers*, table 21.1; Montgomery (Cp example); Wilks 1941. The long digits beside
them are recomputed with scipy and mpmath.
"""

from __future__ import annotations

import csv
import json
from math import exp, expm1, sqrt
from pathlib import Path
from typing import Any

import pytest
from numpy.testing import assert_allclose
from scipy import stats

from tolsim.process.base import Process
from tolsim.process.capability import (
    cp_interval,
    cpk_interval,
    normal_indices,
    one_sided_index_interval,
    percentile_indices,
    share_outside,
)
from tolsim.process.evidence import NormalEvidence
from tolsim.process.shapes import FoldedNormal, Lognormal, Normal, Rayleigh, Skewed, Weibull
from tolsim.process.student import noncentral_t, one_sided_factor, two_sided_factor
from tolsim.process.tolerance import content_of_range, normal_tolerance, parts_for_range

FOLDER = Path(__file__).parent / "data"
DATA: dict[str, Any] = json.loads((FOLDER / "process_capability.json").read_text())


def table(name: str) -> list[dict[str, float]]:
    """Rows of a table of numbers."""
    with (FOLDER / name).open() as file:
        return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(file)]


@pytest.mark.parametrize(
    "row",
    table("process_tolerance_factors.csv"),
    ids=lambda r: f"n{r['n']:g}-p{r['p']}-c{r['conf']}",
)
def test_tolerance_factors(row: dict[str, float]) -> None:
    """Exact two-sided and one-sided factors to the six decimals of the table."""
    n = int(row["n"])
    assert_allclose(two_sided_factor(n, row["p"], row["conf"]), row["k2_exact"], atol=1.1e-6)
    assert_allclose(one_sided_factor(n, row["p"], row["conf"]), row["k1_exact"], atol=1.1e-6)


@pytest.mark.parametrize("row", DATA["tolerance_table_two_sided_conf95"]["rows"])
def test_printed_two_sided_factors(row: dict[str, float]) -> None:
    """The two printed decimals of Berthouex & Brown, table 21.1 (95 % confidence)."""
    assert_allclose(two_sided_factor(int(row["n"]), row["p"], 0.95), row["published"], atol=6e-3)


def test_the_handbook_example_of_a_tolerance_interval() -> None:
    """NIST 7.2.6.3: n = 43, 90 % content, 99 % confidence: k = 2.2228 exact, 1.874 one-sided."""
    row = DATA["tolerance_nist_7263"]
    assert_allclose(two_sided_factor(43, 0.9, 0.99), row["recomputed"]["k2_exact"], rtol=1e-9)
    assert_allclose(one_sided_factor(43, 0.9, 0.99), row["published"]["k1_noncentral_t"], atol=5e-4)
    below = normal_tolerance(43, 97.07, 0.0268, content=0.9, confidence=0.99, side="below")
    above = normal_tolerance(43, 97.07, 0.0268, content=0.9, confidence=0.99, side="above")
    # printed with the approximate factor 1.87519: 97.019745 and 97.120255
    assert_allclose([above.low, below.high], row["published_seen"]["one_sided"], atol=4e-5)
    forty = DATA["tolerance_n40_p90_c99"]["published"]
    assert_allclose(two_sided_factor(40, 0.9, 0.99), forty["k2"], atol=1e-3)
    assert_allclose(one_sided_factor(40, 0.9, 0.99), forty["k1"], atol=5e-5)


@pytest.mark.parametrize(
    "row", table("process_capability_limits.csv"), ids=lambda r: f"n{r['n']:g}-c{r['index']}"
)
def test_limits_of_indices(row: dict[str, float]) -> None:
    """Chi-square, Bissell and non-central-t limits at 95 %, two-sided and one-sided."""
    n, index = int(row["n"]), row["index"]
    cp, cpk = cp_interval(index, n), cpk_interval(index, n)
    one = one_sided_index_interval(index, n)
    assert_allclose([cp.low, cp.high], [row["cp_lo95"], row["cp_hi95"]], rtol=1e-10)
    assert_allclose([cpk.low, cpk.high], [row["bissell_lo95"], row["bissell_hi95"]], rtol=1e-10)
    assert_allclose([one.low, one.high], [row["cpu_exact_lo95"], row["cpu_exact_hi95"]], rtol=1e-8)
    assert_allclose(
        cp_interval(index, n, confidence=0.9).low, row["cp_lower_one_sided95"], rtol=1e-10
    )
    assert_allclose(
        one_sided_index_interval(index, n, confidence=0.9).low,
        row["cpu_exact_lower_one_sided95"],
        rtol=1e-8,
    )


def test_the_textbook_index() -> None:
    """Montgomery's Cp example: 2.29 with 1.57 to 3.01 (two printed decimals)."""
    row = DATA["Cp_montgomery"]
    found = normal_indices(50.0, row["s"], row["LSL"], row["USL"])
    assert found.spread is not None
    assert_allclose(found.spread, row["published"]["Cp"], atol=5e-3)
    interval = cp_interval(found.spread, row["n"])
    assert_allclose([interval.low, interval.high], row["published"]["ci95"], atol=6e-3)
    bissell = cpk_interval(DATA["Cpk_bissell"]["Cpk"], DATA["Cpk_bissell"]["n"])
    assert_allclose([bissell.low, bissell.high], DATA["Cpk_bissell"]["limits"], rtol=1e-12)


@pytest.mark.parametrize(
    ("name", "process"),
    [
        (
            "lognormal(mu=0,s=0.25)",
            Lognormal(mean=exp(0.03125), sd=exp(0.03125) * sqrt(expm1(0.0625))),
        ),
        ("weibull(k=2,scale=1)", Weibull(scale=1.0, exponent=2.0)),
        ("rayleigh(1)", Rayleigh(sd=1.0)),
        ("half-normal(1)", FoldedNormal(sd=1.0)),
        ("gamma(4)", Skewed(mean=4.0, sd=2.0, skewness=1.0)),
        ("normal(0,1)", Normal(mean=0.0, sd=1.0)),
    ],
)
def test_percentile_indices_of_other_shapes(name: str, process: Process) -> None:
    """Reference limits, indices and share outside by ISO 22514-2's percentile method."""
    row = DATA["percentile_method"][name]
    found = percentile_indices(process, row.get("LSL"), row["USL"])
    assert_allclose(
        process.quantile([0.00135, 0.5, 0.99865]),
        [row["x_00135"], row["x_50"], row["x_99865"]],
        rtol=1e-6,
    )
    assert found.upper == pytest.approx(row["Ppu"], rel=1e-6)
    if row.get("LSL") is not None:
        assert found.lower == pytest.approx(row["Ppl"], rel=1e-6)
        assert found.spread == pytest.approx(row["Pp"], rel=1e-6)
        assert_allclose(found.worst, row["Ppk"], rtol=1e-6)
    outside = float(process.sf(row["USL"]))
    outside += 0.0 if row.get("LSL") is None else float(process.cdf(row["LSL"]))
    assert_allclose(outside, row["p_out"], rtol=2e-6)


def test_what_a_range_of_parts_holds() -> None:
    """Numbers of parts by Wilks, one- and two-sided, and the 0.341 of twelve parts."""
    wilks = DATA["wilks"]
    for key, n in wilks["n_two_sided"].items():
        p, c = (float(v.split("=")[1]) for v in key.split(","))
        assert parts_for_range(p, c) == n
    for key, n in wilks["n_one_sided"].items():
        p, c = (float(v.split("=")[1]) for v in key.split(","))
        assert parts_for_range(p, c, both=False) == n
    assert_allclose(content_of_range(12, 0.9), wilks["confidence_n12_two_sided_p90"], rtol=1e-12)


@pytest.mark.parametrize("freedom", [1, 4, 11, 99])
@pytest.mark.parametrize("shift", [-2.0, 0.0, 3.0, 12.0])
def test_non_central_t_against_scipy(freedom: int, shift: float) -> None:
    """Shares from 1e-4 to 1 - 1e-4 agree with scipy.stats to nine digits."""
    for share in (1e-4, 0.05, 0.5, 0.95, 0.9999):
        t = float(stats.nct(freedom, shift).ppf(share))
        assert_allclose(noncentral_t(t, freedom, shift), share, rtol=1e-8)


def test_the_share_outside_one_limit_is_exact() -> None:
    """n = 12 at mean + 3 s: 6.87e-6 to 0.0515 around 0.00135 (non-central t by mpmath)."""
    found = share_outside(NormalEvidence(n=12, mean=0.0, sd=1.0), None, 3.0)
    assert_allclose(
        [found.value, found.low, found.high],
        [0.0013498980316300933, 6.871585841612538e-06, 0.05153024862922411],
        rtol=1e-8,
    )
