"""One sample read under other parameters."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr
from scipy.stats import norm

from tolsim.chance.reweight import ParameterDraws, normal_log_ratio, reweight
from tolsim.chance.streams import generator


def test_log_ratios_equal_scipys() -> None:
    """Ratios of normal densities, summed over the rows that move."""
    rng = np.random.default_rng(1)
    z = rng.normal(size=(4, 30))
    shifts, scales = rng.normal(size=(5, 2)), rng.uniform(0.5, 2.0, size=(5, 2))
    want = np.zeros((5, 30))
    for k in range(5):
        for j, row in enumerate([3, 1]):
            want[k] += norm.logpdf(z[row], shifts[k, j], scales[k, j]) - norm.logpdf(z[row])
    assert_allclose(normal_log_ratio(z, [3, 1], shifts, scales), want, atol=1e-10)
    with pytest.raises(ValueError, match="positive scales"):
        normal_log_ratio(z, [3, 1], shifts, -scales)


def test_plain_draws_answer_for_a_moved_process() -> None:
    """Plain draws reweighted to a moved mean and spread give the exact share of the move."""
    n = 400_000
    z = generator(1, "r").standard_normal((2, n))
    failing = z[:, z.sum(axis=0) > 3.5]
    shifts, scales = np.array([[0.4], [-0.3], [0.0]]), np.array([[1.0], [1.1], [1.0]])
    got = reweight(normal_log_ratio(failing, [0], shifts, scales), np.ones(failing.shape[1]), n)
    exact = ndtr((shifts[:, 0] - 3.5) / np.sqrt(scales[:, 0] ** 2 + 1.0))
    assert (np.abs(got.value - exact) < 4.5 * got.standard_error).all()
    assert got.effective[2] == pytest.approx(failing.shape[1])
    assert (got.effective[:2] < got.effective[2]).all()


def test_a_thousand_parameter_sets_from_one_sample() -> None:
    """Shares under sets drawn as twelve readings allow: rms error of the logarithm below 0.1.

    Closed form for each set; the sample is 2^19 draws of the mixture of all sets. The sets'
    mean share is that of the sample itself.
    """
    rng = generator(2, "r")
    sets, n = 1000, 2**19
    shifts = rng.standard_normal((sets, 1)) / np.sqrt(12.0)
    scales = np.sqrt(11.0 / rng.chisquare(11.0, (sets, 1)))
    draws = ParameterDraws(rows=(1,), shifts=shifts, scales=scales)
    failing, drawn = [], 0
    for block in range(8):
        z = draws.apply(generator(3, "r", block).standard_normal((3, n // 8)), rng)
        failing.append(z[:, z[0] + z[1] > 3.8])
        drawn += z.shape[1]
    points = np.concatenate(failing, axis=1)
    got = draws.shares(points, drawn)
    exact = ndtr((shifts[:, 0] - 3.8) / np.sqrt(1.0 + scales[:, 0] ** 2))
    rms = np.sqrt(np.mean(np.log(got.value / exact) ** 2))
    assert rms < 0.1
    assert got.effective.min() > 50.0
    assert_allclose(got.value.mean(), points.shape[1] / drawn, rtol=1e-9)


def test_no_failing_point() -> None:
    """Nothing to reweight gives shares of 0 that rest on nothing."""
    got = reweight(np.zeros((3, 0)), np.zeros(0), 1000)
    assert_allclose(got.value, 0.0)
    assert_allclose(got.effective, 0.0)
