"""Clearance and what it allows."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics.clearance import (
    axial_play,
    free_tilt,
    inner_ring_expansion,
    outer_ring_contraction,
    raceway_inner,
    raceway_outer,
)


def test_free_tilt_is_strictly_monotone_through_zero_and_beyond() -> None:
    """Finite and rising over the whole line, past where the formula has a meaning."""
    g = np.concatenate([-np.logspace(2, -9, 400), [0.0], np.logspace(-9, 2, 400)])
    tilt = free_tilt(g, 3.5, 31.0)
    assert np.all(np.isfinite(tilt))
    assert np.all(np.diff(tilt) > 0.0)
    assert free_tilt(0.0, 3.5, 31.0) == 0.0
    assert_allclose(free_tilt(-g, 3.5, 31.0), -tilt, rtol=1e-12)


def test_play_is_the_book_formula_where_it_holds() -> None:
    """2 sqrt(A G - G²/4), to 0.05 % at a micrometre and less above."""
    a = 0.04 * 3.5
    for g, error in ((0.001, 6e-4), (0.005, 2e-4), (0.05, 2e-5), (0.1, 2e-5)):
        book = 2.0 * np.sqrt(a * g - 0.25 * g * g)
        assert_allclose(axial_play(g, 3.5), book, rtol=error)


def test_play_has_no_kink_where_the_line_begins() -> None:
    """Value and slope go on at a clearance equal to the total curvature."""
    a, h = 0.04 * 3.5, 1e-6
    left = (axial_play(a, 3.5) - axial_play(a - h, 3.5)) / h
    right = (axial_play(a + h, 3.5) - axial_play(a, 3.5)) / h
    assert_allclose(left, right, rtol=1e-4)


def test_thick_housing_passes_the_ratio_of_diameters() -> None:
    """Without a housing diameter the raceway takes De/D of the interference (handbooks)."""
    assert_allclose(outer_ring_contraction(0.010, 80.0, 72.0), 0.009)
    assert_allclose(outer_ring_contraction(0.010, 80.0, 72.0, 1e6), 0.009, rtol=1e-6)
    assert_allclose(inner_ring_expansion(0.010, 40.0, 48.0), 0.010 * 40.0 / 48.0)


def test_clearance_fits_take_nothing() -> None:
    """A loose ring neither expands nor contracts."""
    assert outer_ring_contraction(-0.01, 80.0, 72.0, 100.0) == 0.0
    assert inner_ring_expansion(-0.01, 40.0, 48.0) == 0.0


def test_raceways_lie_in_the_section() -> None:
    """Bore, inner groove, outer groove, outside come in this order."""
    assert 25.0 < raceway_inner(25.0, 37.0) < raceway_outer(25.0, 37.0) < 37.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: raceway_outer(37.0, 25.0),
        lambda: raceway_inner(0.0, 25.0),
        lambda: outer_ring_contraction(0.01, 80.0, 81.0, 100.0),
        lambda: outer_ring_contraction(0.01, 80.0, 72.0, 79.0),
        lambda: inner_ring_expansion(0.01, 40.0, 48.0, 40.0),
        lambda: axial_play(0.01, 3.5, 0.5, 0.52),
        lambda: free_tilt(0.01, 3.5, 3.0),
    ],
)
def test_impossible_sections_are_refused(call: object) -> None:
    """Sizes that cannot be a bearing raise instead of giving a number."""
    assert callable(call)
    with pytest.raises(ValueError, match=r"need|exceed"):
        call()
