"""Two seats as vectors."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics.alignment import (
    bearing_tilts,
    mid_span_offset,
    mutual_angle,
    seated_sleeve_tilt,
)

SPAN = 82.0


def random_pair(n: int = 500) -> list[Any]:
    rng = np.random.default_rng(3)
    return [*rng.normal(0.0, 0.02, (4, n)), *rng.normal(0.0, 3e-4, (4, n))]


def test_a_common_line_is_aligned() -> None:
    """Seats bored in one clamping on one tilted, shifted line have no error at all."""
    tx, ty, ox, oy = 2e-3, -1e-3, 0.1, 0.05
    o1, o2 = (ox, oy), (ox + tx * SPAN, oy + ty * SPAN)
    assert mutual_angle(tx, ty, tx, ty) == 0.0
    assert_allclose(mid_span_offset(*o1, *o2, tx, ty, tx, ty, SPAN), 0.0, atol=1e-15)
    assert_allclose(bearing_tilts(*o1, *o2, tx, ty, tx, ty, SPAN), 0.0, atol=1e-15)


def test_swapping_the_seats_swaps_the_tilts() -> None:
    """Left and right are names only."""
    o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y = random_pair()
    a = bearing_tilts(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, SPAN)
    # seen from the other side the axis runs backwards: slopes change sign with the distance
    b = bearing_tilts(o2x, o2y, o1x, o1y, -t2x, -t2y, -t1x, -t1y, SPAN)
    assert_allclose(a, b[::-1], rtol=1e-12)
    assert_allclose(mutual_angle(t1x, t1y, t2x, t2y), mutual_angle(t2x, t2y, t1x, t1y))


def test_turning_the_axes_changes_nothing() -> None:
    """Magnitudes do not depend on the choice of x and y."""
    rows = random_pair()
    c, s = math.cos(0.7), math.sin(0.7)
    turned = []
    for k in range(0, 8, 2):
        turned += [c * rows[k] - s * rows[k + 1], s * rows[k] + c * rows[k + 1]]
    o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y = rows
    p1x, p1y, p2x, p2y, q1x, q1y, q2x, q2y = turned
    assert_allclose(
        bearing_tilts(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, SPAN),
        bearing_tilts(p1x, p1y, p2x, p2y, q1x, q1y, q2x, q2y, SPAN),
        rtol=1e-9,
    )
    assert_allclose(
        mid_span_offset(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, SPAN),
        mid_span_offset(p1x, p1y, p2x, p2y, q1x, q1y, q2x, q2y, SPAN),
        rtol=1e-9,
    )


def test_mid_span_offset_by_the_points_of_the_axes() -> None:
    """It is the distance between the two axes where each crosses the mid-plane."""
    o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y = random_pair()
    x = (o2x - t2x * SPAN / 2.0) - (o1x + t1x * SPAN / 2.0)
    y = (o2y - t2y * SPAN / 2.0) - (o1y + t1y * SPAN / 2.0)
    got = mid_span_offset(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, SPAN)
    assert_allclose(got, np.hypot(x, y), rtol=1e-9)


def test_lengths_must_be_positive() -> None:
    """No span, no slope."""
    with pytest.raises(ValueError, match="span"):
        bearing_tilts(0, 0, 0, 0, 0, 0, 0, 0, 0.0)
    with pytest.raises(ValueError, match="flange_diameter"):
        seated_sleeve_tilt(0.0, 0.01, 0.0)
