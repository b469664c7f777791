"""Subset simulation and the interval of its repeats."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from tolsim.chance.streams import generator
from tolsim.chance.subset import subset_interval, subset_run


def plane(beta: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda z: beta - z.sum(axis=0) / np.sqrt(z.shape[0])


def test_repeats_cover_a_rare_plane() -> None:
    """Ten runs at 1e-5 give an interval around the truth that is narrower than a factor of 1.5.

    99.9 % intervals, so that one seed fails once in a thousand if they are honest.
    """
    exact = float(stats.norm.sf(4.264890793922602))
    values = np.array(
        [
            subset_run(plane(4.264890793922602), 5, generator(1, "s", k), n=4000).value
            for k in range(10)
        ]
    )
    i = subset_interval(values, confidence=0.999)
    assert i.low < exact < i.high
    narrow = subset_interval(values)
    assert narrow.high / narrow.low < 1.5


def test_failing_samples_fail_and_follow_the_tail() -> None:
    """Failing samples all fail; beyond a plane their distance is exponential about 1/beta."""
    run = subset_run(plane(4.0), 3, generator(2, "s"), n=10_000)
    depth = run.failing.sum(axis=0) / np.sqrt(3.0) - 4.0
    assert (depth > 0.0).all()
    mean = stats.norm.pdf(4.0) / stats.norm.sf(4.0) - 4.0
    # a chain's samples repeat: about a fifth are independent
    error = depth.std() / np.sqrt(depth.size / 5)
    assert abs(depth.mean() - mean) < 5 * error


def test_a_frequent_failure_needs_one_level() -> None:
    """Above the share of a level it is plain counting."""
    run = subset_run(plane(0.0), 2, generator(3, "s"), n=10_000)
    assert run.levels == 1
    assert abs(run.value - 0.5) < 5 * 0.5 / 100
    assert run.failing.shape == (2, round(run.value * 10_000))


def test_what_is_never_reached_is_said() -> None:
    """A level that cannot fall further, or not far enough, gives 0 and no samples."""
    never = subset_run(lambda z: 1.0 + np.abs(z[0]), 2, generator(4, "s"), n=1000)
    assert (never.value, never.failing.shape) == (0.0, (2, 0))
    flat = subset_run(lambda z: np.ones(z.shape[1]), 2, generator(4, "s"), n=1000)
    assert flat.value == 0.0


def test_tied_levels_keep_their_share() -> None:
    """On a staircase a level holds all that is tied, and the product of shares stays right."""
    values = np.array(
        [
            subset_run(lambda z: 4.0 - np.floor(z[0]), 1, generator(5, "s", k), n=4000).value
            for k in range(10)
        ]
    )
    exact = float(stats.norm.sf(5.0))  # floor(z) > 4 from z = 5 on
    i = subset_interval(values, confidence=0.999)
    assert i.low < exact < i.high


def test_interval_covers_lognormal_repeats() -> None:
    """95 % intervals of ten repeats with a spread of 0.3 about their mean cover in 4000 trials.

    Four standard errors of a coverage; the mean of a log-normal is the truth an unbiased run has.
    """
    rng = np.random.default_rng(6)
    values = np.exp(0.3 * rng.standard_normal((4000, 10)) - 0.045)
    hits = 0
    for row in values:
        i = subset_interval(row)
        hits += i.low <= 1.0 <= i.high
    assert abs(hits / 4000 - 0.95) < 4 * np.sqrt(0.95 * 0.05 / 4000)


def test_interval_needs_runs_that_got_there() -> None:
    """A run at 0 has no logarithm."""
    with pytest.raises(ValueError, match="at least two runs"):
        subset_interval(np.array([1e-5, 0.0]))
    assert_allclose(subset_interval(np.array([1e-5, 1e-5])).value, 1e-5)
