"""Shares and indices by weights on a grid, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.process.capability import (
    index_interval,
    normal_indices,
    one_sided_index_interval,
    parts_for_index,
    percentile_indices,
    share_outside,
)
from tolsim.process.evidence import NormalEvidence
from tolsim.process.plain import Fixed
from tolsim.process.tolerance import content_of_range, normal_tolerance, parts_for_range
from tolsim.process.tolerance import provable_share as provable


def test_two_limits_of_which_one_is_far_give_the_exact_interval() -> None:
    """The grid of parameters finds the non-central t where the other limit does not matter."""
    evidence = NormalEvidence(n=12, mean=0.0, sd=1.0)
    exact = share_outside(evidence, None, 3.0)
    grid = share_outside(evidence, -60.0, 3.0)
    assert grid.method == "generalised pivot"
    assert_allclose([grid.low, grid.high], [exact.low, exact.high], rtol=1e-2)
    index = index_interval(evidence, -60.0, 3.0)
    one = one_sided_index_interval(1.0, 12)
    assert_allclose([index.low, index.high], [one.low, one.high], rtol=1e-3)


def test_the_share_outside_is_covered_as_claimed() -> None:
    """With a gauge of a third of the spread, 95 % intervals hold the true share often enough.

    120 repeats: five standard errors are 10 points.
    """
    rng = np.random.default_rng(71)
    true = 2.0 * 0.5 * math.erfc(2.0 / math.sqrt(2.0))
    hits = 0
    for _ in range(120):
        x = rng.standard_normal(20) + rng.standard_normal(20) / 3.0
        found = share_outside(
            NormalEvidence(n=20, mean=float(x.mean()), sd=float(x.std(ddof=1)), gauge_sd=1 / 3),
            -2.0,
            2.0,
        )
        hits += found.low <= true <= found.high
    assert abs(hits / 120 - 0.95) < 5.0 * math.sqrt(0.95 * 0.05 / 120)


def test_parts_that_would_settle_an_index() -> None:
    """The number found shows the target, one part fewer does not; an index below never does."""
    n = parts_for_index(1.5, 1.33)
    assert n is not None
    assert one_sided_index_interval(1.5, n, confidence=0.9).low >= 1.33
    assert one_sided_index_interval(1.5, n - 1, confidence=0.9).low < 1.33
    assert parts_for_index(1.2, 1.33) is None


def test_the_gauge_is_taken_out_of_the_index() -> None:
    """A gauge of half the observed spread raises the index by 1/sqrt(0.75)."""
    with_gauge = NormalEvidence(n=30, mean=0.0, sd=1.0, gauge_sd=0.5)
    assert_allclose(index_interval(with_gauge, -4.0, 4.0).value, 4.0 / 3.0 / math.sqrt(0.75))
    blind = NormalEvidence(n=30, mean=0.0, sd=1.0, gauge_sd=1.0)
    assert index_interval(blind, -4.0, 4.0).value == math.inf


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: normal_indices(0.0, 1.0, None, None), "at least one limit"),
        (lambda: normal_indices(0.0, 1.0, 1.0, 0.0), "need low < high"),
        (lambda: normal_indices(0.0, 0.0, 0.0, 1.0), "spread above 0"),
        (lambda: percentile_indices(Fixed(value=1.0), 0.0, None), "spread above 0"),
        (lambda: one_sided_index_interval(1.0, 1), "at least 2 parts"),
        (lambda: one_sided_index_interval(1.0, 5, confidence=1.0), "between 0 and 1"),
        (lambda: normal_tolerance(12, 0.0, 1.0, side="left"), "both, below or above"),
        (lambda: normal_tolerance(1, 0.0, 1.0), "at least 2 parts"),
        (lambda: normal_tolerance(12, 0.0, -1.0), "must not be negative"),
        (lambda: normal_tolerance(12, 0.0, 1.0, content=1.0), "between 0 and 1"),
        (lambda: content_of_range(1, 0.9), "n >= 2"),
        (lambda: parts_for_range(0.9, 1.0), "between 0 and 1"),
        (lambda: provable(0), "n >= 1"),
    ],
)
def test_indices_that_say_nothing_are_refused(make: object, message: str) -> None:
    """No limit, no spread or no parts: the message says which."""
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
