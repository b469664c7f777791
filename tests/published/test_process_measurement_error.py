"""Gauges that err: what passes and what should not, against recomputed published risks.

Deaver, "Managing calibration confidence in the real world", NCSL 1993 (0.008 and 0.015 of case A,
0.008 and 0.066 of case C); the digits come from mpmath quadrature.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.process.evidence import NormalEvidence
from tolsim.process.gauging import normal_yield, passed
from tolsim.process.plain import Normal
from tolsim.process.steps import Gauge

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "process_measurement_error.json").read_text()
)


@pytest.mark.parametrize("case", DATA["cases"], ids=lambda c: c["case"][:1])
def test_passed_and_failed_shares(case: dict[str, Any]) -> None:
    """Accepted share, and wrongly accepted and wrongly rejected shares, joint and conditional."""
    made = Normal(mean=case["mu"], sd=case["sd_process"])
    gauge = Gauge(
        low=case["LSL"],
        high=case["USL"],
        repeatability=case["sd_gauge"],
        guard_low=case["guard_low"],
        guard_high=case["guard_high"],
        bias=case["bias"],
    )
    left = passed(made, gauge.window)
    conform = float(made.cdf(case["USL"]) - made.cdf(case["LSL"]))
    assert_allclose(conform, float(case["p_conform"]), rtol=1e-9)
    assert_allclose(left.accepted, float(case["p_accept"]), rtol=1e-9)
    exact = normal_yield(case["mu"], case["sd_process"], gauge.window)
    assert_allclose(exact, float(case["p_accept"]), rtol=1e-9)
    bad = float(left.process.cdf(case["LSL"]) + left.process.sf(case["USL"]))
    assert_allclose(bad, float(case["consumer_conditional"]), rtol=1e-6)
    assert_allclose(bad * left.accepted, float(case["consumer_joint"]), rtol=1e-6)
    wrongly_rejected = conform - left.accepted * (1.0 - bad)
    assert_allclose(wrongly_rejected, float(case["producer_joint"]), rtol=1e-6)
    rejected = 1.0 - left.accepted
    assert_allclose(wrongly_rejected / rejected, float(case["producer_conditional"]), rtol=1e-6)


def test_the_gauge_is_taken_out_of_the_spread() -> None:
    """Readings of 4.1 µm with a gauge of 1.2 µm leave a process of 3.92 µm."""
    row = DATA["subtraction"]["example"]
    evidence = NormalEvidence(n=30, mean=0.0, sd=row["s_obs"], gauge_sd=row["s_rep"])
    assert_allclose(evidence.process_sd, row["s_process"], rtol=1e-12)
    median = evidence.parameters(0.0, 0.0)[1]
    factor = evidence.parameters(0.0, 0.0)[1] / math.sqrt(
        (row["s_obs"] * _median_factor(29)) ** 2 - row["s_rep"] ** 2
    )
    assert_allclose(factor, 1.0, rtol=1e-6)
    assert float(median) > row["s_process"]


def _median_factor(freedom: int) -> float:
    """Square root of f over the median of chi-square with f degrees of freedom."""
    from scipy import stats

    return math.sqrt(freedom / float(stats.chi2(freedom).median()))


@pytest.mark.parametrize("row", DATA["variance_inflation"])
def test_observed_spread_is_the_root_of_the_sum_of_squares(row: dict[str, Any]) -> None:
    """A gauge widens what is read: the observed spread goes back to the process's."""
    evidence = NormalEvidence(
        n=20, mean=0.0, sd=row["sd_observed"], gauge_sd=float(row["sd_gauge"])
    )
    assert_allclose(evidence.process_sd, row["sd_process"], rtol=1e-12)


def test_a_guard_band_for_a_consumer_risk_of_one_in_a_thousand() -> None:
    """The guard band of the reference gives a joint consumer risk of 1e-3 in case A."""
    guard = DATA["guard_for_consumer_1e_3"]["guard"]
    gauge = Gauge(low=-2.0, high=2.0, repeatability=0.25, guard_low=guard, guard_high=guard)
    left = passed(Normal(mean=0.0, sd=1.0), gauge.window)
    bad = float(left.process.cdf(-2.0) + left.process.sf(2.0)) * left.accepted
    assert_allclose(bad, 1e-3, rtol=1e-5)
    assert np.isclose(guard / 0.25, DATA["guard_for_consumer_1e_3"]["in_gauge_sd"])
