"""Sensitivities with known answers: linear seats given failure, two analytic functions."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr

from tolsim.chance.estimate import estimate
from tolsim.chance.event import Event, event_of
from tolsim.chance.reweight import normal_log_ratio, reweight
from tolsim.chance.sensitivity import given_failure, sobol_indices
from tolsim.chance.streams import generator
from tolsim.record import Array, record

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "statistics_sensitivity.json").read_text()
)
SEATS = ["seat_1e-2", "seat_1e-4"]


def seat(row: dict[str, Any], sd: Sequence[float] | None = None) -> Event:
    """Bore minus ring minus sleeve, failing below zero."""
    spread = row["sd"] if sd is None else sd

    def g(z: Sequence[Array]) -> list[Array]:
        sizes = [m + s * x for m, s, x in zip(row["mu"], spread, z, strict=True)]
        return [sum(c * x for c, x in zip(row["coef"], sizes, strict=True))]

    return event_of(record(g, 3))


@pytest.mark.parametrize("name", SEATS)
def test_failing_points_tell_what_drives_failure(name: str) -> None:
    """Mean shift, variance and elasticities given failure agree with the linear closed forms.

    The estimate's own weighted failing points are used; five standard errors of each.
    """
    row = DATA[name]
    # a plain run of no use makes the rare-event method speak at both levels
    got = estimate(seat(row), seed=3, plain_counts=(0, 1), target_relative=0.01)
    assert got.sample is not None
    s = given_failure(got.sample.z, got.sample.weight)
    shift, variance = (
        np.array(row["mean_shift_given_failure_in_sd"]),
        row["variance_ratio_given_failure"],
    )
    assert (np.abs(s.shift - shift) < 5 * s.shift_error).all()
    assert (np.abs(s.variance - variance) < 5 * s.variance_error).all()
    assert (s.shift_error < 0.05).all()
    # E[z^2 | failure] - 1 moves with both statistics
    error = 2 * np.abs(shift) * s.shift_error + s.variance_error
    assert (np.abs(s.elasticity_sd - row["elasticity_sd"]) < 5 * error).all()


@pytest.mark.parametrize("name", SEATS)
def test_share_under_moved_means_and_spreads(name: str) -> None:
    """One weighted sample, read under moved parameters, gives the exact share of each."""
    row = DATA[name]
    got = estimate(seat(row), seed=4, plain_counts=(0, 1), target_relative=0.02)
    assert got.sample is not None
    shifts = np.array([[0.0, 0, 0], [0.5, 0, 0], [0, -0.5, 0.3], [0, 0, 0]])
    scales = np.array([[1.0, 1, 1], [1, 1, 1], [1, 1.2, 1], [0.9, 1.1, 1.3]])
    table = normal_log_ratio(got.sample.z, [0, 1, 2], shifts, scales)
    r = reweight(table, got.sample.weight, got.sample.n)
    c, mu, sd = (np.array(row[k]) for k in ("coef", "mu", "sd"))
    exact = ndtr(-((mu + shifts * sd) @ c) / np.sqrt(((scales * sd) ** 2) @ c**2))
    assert (np.abs(r.value - exact) < 4.5 * r.standard_error).all()
    assert (r.standard_error < 0.1 * exact).all()
    assert (r.effective > 100).all()


@pytest.mark.parametrize("name", SEATS)
def test_share_with_one_spread_frozen(name: str) -> None:
    """The share left when one part had no spread, from 5e-3 down to 1e-16."""
    row = DATA[name]
    for i, exact in enumerate(row["pf_if_sd_zero"]):
        sd = [0.0 if k == i else s for k, s in enumerate(row["sd"])]
        got = estimate(seat(row, sd), seed=5, plain_draws=2**15)
        assert got.trusted
        assert abs(math.log(got.value / exact)) < 4.5 * got.relative_error
        assert got.relative_error < 0.1


def test_two_sided_band() -> None:
    """Tight and loose shares of one clearance, and of both together."""
    row = DATA["two_sided_band"]
    r = record(lambda z: [0.010 + 0.0045 * z[0], 0.012 - 0.0045 * z[0]], 1)
    cases = [([0], row["p_tight"]), ([1], row["p_loose"])]
    for outputs, exact in [*cases, ([0, 1], row["p_tight"] + row["p_loose"])]:
        got = estimate(event_of(r, outputs), seed=6, plain_draws=2**18)
        assert got.method == "plain"
        assert abs(got.value - exact) < 4.5 * got.relative_error * exact


def ishigami(z: np.ndarray) -> np.ndarray:
    x = np.pi * (2.0 * ndtr(z) - 1.0)
    return np.asarray(np.sin(x[0]) + 7.0 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]))


def g_function(a: Sequence[float]) -> Any:
    c = np.array(a, dtype=float)[:, None]
    return lambda z: ((np.abs(4.0 * ndtr(z) - 2.0) + c) / (1.0 + c)).prod(axis=0)


@pytest.mark.parametrize(
    ("name", "function"),
    [
        ("ishigami_a7_b0.1", ishigami),
        ("sobol_g_8", g_function([0, 1, 4.5, 9, 99, 99, 99, 99])),
        ("sobol_g_equal", g_function([1, 1, 1])),
    ],
)
def test_variance_based_indices(name: str, function: Any) -> None:
    """First-order and total indices lie within 4.5 standard errors of the analytic ones."""
    row = DATA[name]
    got = sobol_indices(function, len(row["S1"]), generator(8, name), n=2**15)
    assert (np.abs(got.first - row["S1"]) < 4.5 * got.first_error).all()
    assert (np.abs(got.total - row["ST"]) < 4.5 * got.total_error).all()
    assert (got.first_error < 0.02).all()
    assert_allclose(got.variance, row["variance"], rtol=0.05)
