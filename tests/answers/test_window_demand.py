"""Boxes inside a region: the largest one, against trying all, and rounding towards the inside."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tolsim.answers.window_axes import Axis
from tolsim.answers.window_demand import Box, largest_box, ranges, rounded

SIZE = Axis(path="bore.diameter", kind="mean", size=True, unit="µm", scale=1e3, capability=1.0)
SPREAD = Axis(path="bore.diameter", kind="sd", size=True, unit="µm", scale=1e3, capability=1.0)
TILT = Axis(path="bore.tilt", kind="sd", size=False, unit="°", scale=57.3, capability=1.0)


def _most(good: NDArray[np.bool_], *, spread: bool) -> float:
    """Largest area over all boxes of grid points, by trying every one."""
    rows, columns = good.shape
    best = 0.0
    for j0, j1 in itertools.combinations_with_replacement(range(rows), 2):
        if spread and j0 > 0:
            continue
        for i0, i1 in itertools.combinations(range(columns), 2):
            if good[j0 : j1 + 1, i0 : i1 + 1].all():
                height = float(j1 + 1) if spread else float(j1 - j0)
                best = max(best, (i1 - i0) * height)
    return best


@settings(max_examples=60, deadline=None)
@given(cells=st.lists(st.booleans(), min_size=20, max_size=20), spread=st.booleans())
def test_no_box_is_larger(cells: list[bool], spread: bool) -> None:
    """The box that is found has the most area, and all its points are good."""
    good = np.array(cells).reshape(4, 5)
    x, y = np.arange(5.0), np.arange(1.0, 5.0)
    box = largest_box(x, y, good, spread=spread)
    most = _most(good, spread=spread)
    if box is None:
        assert most == 0.0
        return
    assert (box.x[1] - box.x[0]) * (box.y[1] - box.y[0]) == pytest.approx(most)
    inside = good[(y >= box.y[0]) & (y <= box.y[1])][:, (x >= box.x[0]) & (x <= box.x[1])]
    assert inside.all()


def test_rounding_shrinks() -> None:
    """Ends go inwards to a tenth of a µm, the middle falls on a tenth too."""
    box = rounded(Box(x=(-0.02867, -0.02081), y=(0.0, 0.00207)), SIZE, SPREAD)
    assert box is not None
    assert box.x == pytest.approx((-0.0286, -0.0210))
    assert box.y == pytest.approx((0.0, 0.0020))
    assert rounded(Box(x=(-0.02867, -0.02863), y=(0.0, 0.002)), SIZE, SPREAD) is None
    tilt = rounded(Box(x=(-0.0286, -0.0210), y=(0.0, 0.01588 / 57.3)), SIZE, TILT)
    assert tilt is not None
    assert tilt.y[1] * 57.3 == pytest.approx(0.015)


def test_ranges_narrow_with_the_spread() -> None:
    """At a wider spread the mean has less room, and none where the region ends."""
    x, y = np.linspace(-0.03, -0.02, 101), np.linspace(0.0005, 0.003, 26)
    # a triangle: room of 4 um at a spread of 0.5 um, none at 2.5 um
    good = np.abs(x[None, :] + 0.025) <= np.maximum(0.0, 0.0025 - y[:, None])
    found = ranges(x, y, good, SIZE, SPREAD)
    assert len(found) >= 5
    assert all(a.y < b.y and a.x[0] <= b.x[0] for a, b in itertools.pairwise(found))
    for r in found:
        assert r.x[1] - r.x[0] <= 2.0 * (0.0025 - r.y) + 1e-9


def test_a_box_around_today_goes_before_a_larger_one_elsewhere() -> None:
    """Along a slanting strip the box holds today's point, unless it were a sliver there."""
    x, y = np.arange(12.0), np.arange(12.0)
    good = np.abs(x[None, :] - y[:, None]) <= 2.0
    good[8:, 8:] = True
    far = largest_box(x, y, good, spread=False)
    assert far is not None
    assert far.x[0] > 5.0
    near = largest_box(x, y, good, spread=False, today=(3.0, 3.0))
    assert near is not None
    assert near.x[0] <= 3.0 <= near.x[1]
    assert near.y[0] <= 3.0 <= near.y[1]
    assert largest_box(x, y, good, spread=False, today=(0.0, 11.0)) == far
