"""Quantiles from counts on a fixed grid."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.chance.histogram import Histogram

SHARES = [0.001, 0.025, 0.5, 0.84, 0.975, 0.999]


def test_quantiles_are_those_of_the_sample_within_a_cell() -> None:
    """Every quantile on the grid lies within one cell of numpy's of the whole sample."""
    x = np.random.default_rng(1).normal(3.0, 2.0, 50_000)
    h = Histogram(-10.0, 16.0)
    for part in np.array_split(x, 7):
        h.add(part)
    for share in SHARES:
        # numpy's inverted_cdf is one order statistic; its neighbour may share the gap
        low, high = np.quantile(x, [share, share], method="inverted_cdf")
        assert low - h.resolution <= h.quantile(share) <= high + h.resolution
    assert h.n == 50_000
    assert_allclose([h.mean, h.sd], [x.mean(), x.std(ddof=1)], rtol=1e-10)
    assert (h.minimum, h.maximum) == (x.min(), x.max())


def test_merging_equals_counting_together() -> None:
    """Blocks counted apart and merged give the counts of one histogram, in either order."""
    x = np.random.default_rng(2).normal(size=3000)
    parts = [Histogram(-4.0, 4.0, 100) for _ in range(2)]
    parts[0].add(x[:1000])
    parts[1].add(x[1000:])
    whole = Histogram(-4.0, 4.0, 100)
    whole.add(x)
    parts[1].merge(parts[0])
    assert (parts[1].counts == whole.counts).all()
    assert_allclose([parts[1].mean, parts[1].sd], [whole.mean, whole.sd], rtol=1e-12)
    with pytest.raises(ValueError, match="different grids"):
        whole.merge(Histogram(-4.0, 4.0, 99))


def test_ends_beyond_the_grid_are_clamped_and_said() -> None:
    """A quantile beyond the grid is given as the grid's end and flagged; infinities count there."""
    h = Histogram(0.0, 1.0, 10)
    h.add(np.array([-np.inf, -5.0, 0.25, 0.55, 7.0, np.inf, 1e300, -1e300]))
    assert h.quantile(0.01) == 0.0
    assert h.clamped(0.01)
    assert h.quantile(0.99) == 1.0
    assert h.clamped(0.99)
    assert not h.clamped(0.45)
    assert np.isnan(h.mean)
    assert np.isnan(h.sd)
    assert 0.2 <= h.quantile(0.45) <= 0.3 + 1e-12


def test_nan_and_empty_are_refused() -> None:
    """NaN would count as anything, and nothing has no quantile."""
    h = Histogram(0.0, 1.0)
    with pytest.raises(ValueError, match="cannot count NaN"):
        h.add(np.array([0.5, np.nan]))
    with pytest.raises(ValueError, match="values"):
        h.quantile(0.5)
    h.add(np.array([]))
    assert h.n == 0


def test_a_constant_is_its_own_quantile() -> None:
    """A quantity that never varies keeps its value, not the middle of its cell."""
    h = Histogram(0.0, 1.0, 7)
    h.add(np.full(10, 0.4))
    assert [h.quantile(s) for s in (0.0, 0.5, 1.0)] == [0.4, 0.4, 0.4]
