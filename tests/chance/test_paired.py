"""Differences on common draws."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.chance.paired import (
    PairedCounts,
    independent_difference,
    paired_difference,
    weighted_difference,
)
from tolsim.chance.streams import generator
from tolsim.chance.weighted import log_interval
from tolsim.intervals import wilson


def test_common_draws_narrow_a_difference() -> None:
    """The same shares, paired, give a far narrower interval than apart, and it covers."""
    z = generator(1, "p").standard_normal((2, 200_000))
    first, second = z[0] + 0.1 * z[1] > 2.3, z[0] - 0.1 * z[1] > 2.3
    counts = PairedCounts(
        both=int((first & second).sum()),
        only_first=int((first & ~second).sum()),
        only_second=int((~first & second).sum()),
        neither=int((~first & ~second).sum()),
    )
    paired = paired_difference(counts)
    apart = independent_difference(
        wilson(int(first.sum()), counts.n), wilson(int(second.sum()), counts.n)
    )
    assert paired.low < 0.0 < paired.high  # the shares are equal by symmetry
    assert paired.high - paired.low < 0.5 * (apart.high - apart.low)


def test_weighted_difference_equals_counting_with_unit_weights() -> None:
    """With weights of 1 the value is the difference of counts and the width that of Wald."""
    first = np.array([True] * 48 + [False] * 2)
    second = np.array([True] * 36 + [False] * 12 + [True] * 2)
    got = weighted_difference(np.ones(50), first, second, 50)
    assert_allclose(got.value, 0.2)
    # Wald's paired interval of 36/12/2/0, Newcombe 1998: .0642, .3358; it divides by n, not n - 1
    half = 0.5 * (0.3357902880891406 - 0.06420971191085942) * np.sqrt(50 / 49)
    assert_allclose([got.low, got.high], [0.2 - half, 0.2 + half], rtol=1e-9)


def test_differences_need_one_confidence() -> None:
    """Intervals of 90 and 95 % do not add up."""
    with pytest.raises(ValueError, match=r"confidences differ: 0.9 and 0.95"):
        independent_difference(log_interval(1e-3, 0.1, confidence=0.9), log_interval(2e-3, 0.1))
    with pytest.raises(ValueError, match="at least one draw"):
        paired_difference(PairedCounts(both=0, only_first=0, only_second=0, neither=0))
