"""Weighted counts: stratified error, interval on the logarithm."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.chance.densities import Mixture
from tolsim.chance.streams import generator
from tolsim.chance.weighted import WeightedSums, log_interval

MIX = Mixture(weights=np.array([0.1, 0.5, 0.4]), points=np.array([[0.0, 3.0, -4.0]]))


def run(index: int, n: int = 2000) -> WeightedSums:
    """P(z > 3 or z < -4) from a mixture of three normals."""
    z, owner = MIX.draw(generator(1, "w", index), n)
    fails = (z[0] > 3.0) | (z[0] < -4.0)
    sums = WeightedSums(MIX)
    half = n // 2
    for part in (slice(None, half), slice(half, None)):
        sums.add(owner[part], fails[part], MIX.weight(z[:, part][:, fails[part]]))
    return sums


def test_stated_error_is_the_real_one() -> None:
    """Over 800 runs the mean is exact and the spread is what the runs claim, within 10 %."""
    exact = 0.5 * (math.erfc(3.0 / math.sqrt(2.0)) + math.erfc(4.0 / math.sqrt(2.0)))
    runs = [run(k) for k in range(800)]
    value = np.array([r.value for r in runs])
    claimed = np.sqrt(np.mean([(r.relative_error * r.value) ** 2 for r in runs]))
    assert abs(value.mean() - exact) < 4.5 * value.std() / np.sqrt(800)
    # the standard deviation of 800 values is known to 2.5 %
    assert_allclose(claimed, value.std(ddof=1), rtol=0.1)
    # dealt draws vary less than draws left to chance
    loose = np.sqrt(np.mean([r.spread / r.n * r.value**2 for r in runs]))
    assert claimed < loose


def test_nothing_failed() -> None:
    """Without a failing draw there is no relative error, and everything would hang on one."""
    sums = WeightedSums(MIX)
    sums.add(np.zeros(5, dtype=np.intp), np.zeros(5, dtype=np.bool_), np.zeros(0))
    assert (sums.n, sums.value, sums.largest_share) == (5, 0.0, 1.0)
    assert sums.relative_error == sums.spread == math.inf


def test_largest_share() -> None:
    """The heaviest draw's part of the whole."""
    sums = WeightedSums(MIX)
    sums.add(np.array([0, 1, 2]), np.ones(3, dtype=np.bool_), np.array([6.0, 1.0, 1.0]))
    assert sums.largest_share == 0.75
    assert sums.value == 8.0 / 3.0


def test_log_interval_is_symmetric_in_ratio() -> None:
    """Both ends are the same factor away; a share never passes 1; nonsense is refused."""
    i = log_interval(1e-3, 0.1)
    assert_allclose(i.high / i.value, i.value / i.low)
    assert_allclose(math.log(i.high / i.low), 3.919928 * 0.1, rtol=1e-6)
    assert log_interval(0.9, 0.5).high == 1.0
    with pytest.raises(ValueError, match="value > 0"):
        log_interval(0.0, 0.1)
