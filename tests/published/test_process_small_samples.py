"""What few parts allow: prediction, limits of a rate, clearances of several measured parts.

``process_small_samples.json`` holds Student-t values, non-central-t quantiles and
characteristic-function inversions by mpmath and scipy.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.special import ndtr

from tolsim.intervals import sd_interval
from tolsim.process.evidence import NormalEvidence

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "process_small_samples.json").read_text()
)
FloatArray = NDArray[np.float64]


def average(function: Any, reach: float = 8.0, count: int = 451) -> float:
    """Mean of a function of two standard normals, by a trapezoid over both."""
    z = np.linspace(-reach, reach, count)
    weight = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) * (z[1] - z[0])
    values = function(np.repeat(z, count), np.tile(z, count)).reshape(count, count)
    return float(weight @ values @ weight)


@pytest.mark.parametrize(
    "row",
    [r for r in DATA["predictive_exceedance"]["rows"] if r["n"] in (5, 12, 30, 100)],
    ids=lambda r: f"n{r['n']}-K{r['K']}",
)
def test_the_predictive_is_students_t(row: dict[str, Any]) -> None:
    """Parameters drawn afresh give P(X > mean + K s) of Student's t, to 1e-4 of it."""
    evidence = NormalEvidence(n=row["n"], mean=0.0, sd=1.0)

    def tail(z_mean: FloatArray, z_sd: FloatArray) -> FloatArray:
        mean, sd = evidence.parameters(z_mean, z_sd)
        return np.asarray(ndtr((mean - row["K"]) / sd))

    assert_allclose(average(tail), float(row["predictive_sf"]), rtol=1e-4)


@pytest.mark.parametrize(
    "row", DATA["posterior_P_exceed"]["rows"], ids=lambda r: f"n{r['n']}-K{r['K']}"
)
def test_the_rate_beyond_a_limit_has_its_exact_quantiles(row: dict[str, Any]) -> None:
    """The share of P(X > mean + K s) below its non-central-t quantiles is what it should be."""
    evidence = NormalEvidence(n=row["n"], mean=0.0, sd=1.0)
    for level in (0.025, 0.05, 0.5, 0.95, 0.975):
        limit = row[f"q{level}"]

        def below(z_mean: FloatArray, z_sd: FloatArray, limit: float = limit) -> FloatArray:
            mean, sd = evidence.parameters(z_mean, z_sd)
            return np.where(ndtr((mean - row["K"]) / sd) <= limit, 1.0, 0.0)

        # a step on a grid of 451: its edge is known to half a cell of 0.036 along one row
        assert_allclose(average(below), level, rtol=0.0, atol=2e-3)


@pytest.mark.parametrize("row", DATA["clearance_predictive"]["rows"], ids=lambda r: r["case"])
def test_the_clearance_of_several_measured_parts(row: dict[str, Any]) -> None:
    """Fresh parameters for every part and draw: 1e6 draws against the inverted transform."""
    n = 1_000_000
    rng = np.random.default_rng(41)
    gap = np.full(n, row["mean_clearance"])
    for s, count in zip(row["s"], row["n"], strict=True):
        gap += NormalEvidence(n=count, mean=0.0, sd=s).size(*rng.standard_normal((3, n)))
    p = float(row["predictive_p_negative"])
    assert abs(float(np.mean(gap < 0.0)) - p) < 5.0 * math.sqrt(p / n)


@pytest.mark.parametrize("n", [5, 8, 12, 20, 30, 50])
def test_spread_factors_end_where_chi_square_ends(n: int) -> None:
    """The drawn spread's 2.5 and 97.5 % points are those of the chi-square interval."""
    row = DATA["sigma_ci95"][str(n)]
    evidence = NormalEvidence(n=n, mean=0.0, sd=1.0)
    ends = evidence.parameters(np.zeros(2), np.array([-1.959963984540054, 1.959963984540054]))[1]
    assert_allclose(ends, [row["lo_factor"], row["hi_factor"]], rtol=1e-6)
    interval = sd_interval(1.0, n)
    assert_allclose([interval.low, interval.high], [row["lo_factor"], row["hi_factor"]], rtol=1e-9)
