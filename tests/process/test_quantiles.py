"""The tabulated map: error, jumps, straight lines beyond, speed of its construction aside."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose
from scipy.special import ndtr

from tolsim.process.base import FloatArray
from tolsim.process.quantiles import REACH, Tabulated


def test_error_stays_below_what_is_stated() -> None:
    """The table of a smooth map misses by at most 5e-7 of the spread, away from its nodes too."""
    table = Tabulated(ndtr, spread=12**-0.5)
    z = np.random.default_rng(3).normal(size=200_000) * 2.0
    assert np.abs(table.primitive(z) - ndtr(z)).max() <= 5e-7 * 12**-0.5
    assert table.rough == 0


def test_kinks_and_jumps_get_nodes_of_their_own() -> None:
    """A kink and a jump inside a cell are followed to the stated error on either side."""

    def exact(z: FloatArray) -> FloatArray:
        return np.where(z < 0.1234567, z, 2.0 + 3.0 * z)

    table = Tabulated(exact, spread=2.0)
    z = np.concatenate(
        [np.linspace(-4.0, 4.0, 20_001), 0.1234567 + np.array([-1e-9, -1e-11, 1e-11, 1e-9])]
    )
    assert table.rough == 1
    assert np.abs(table.primitive(z) - exact(z)).max() <= 1e-6


def test_beyond_the_grid_the_map_goes_straight_on() -> None:
    """Far outside it keeps the slope of the last cell, so that a search can come back."""
    table = Tabulated(lambda z: 3.0 + 2.0 * z, spread=2.0)
    assert_allclose(table.primitive(np.array([-40.0, 40.0])), [-77.0, 83.0], rtol=1e-12)
    assert_allclose(table.primitive.slope(np.array([-40.0, 0.0, 40.0])), 2.0, rtol=1e-9)


def test_nodes_are_exact_and_the_map_never_falls() -> None:
    """Along a fine sweep across every cell the map rises, and reads the exact value at its ends."""
    table = Tabulated(np.exp, spread=2.0)
    z = np.linspace(-REACH - 0.1, REACH + 0.1, 1_000_003)
    assert np.all(np.diff(table.primitive(z)) > 0.0)
    assert_allclose(
        table.primitive(np.array([1.0 + 0.5 / 512])), np.exp(1.0 + 0.5 / 512), rtol=1e-6
    )


def test_the_input_is_left_alone() -> None:
    """Filling the output does not touch the row of standard normals."""
    table = Tabulated(np.exp, spread=2.0)
    z = np.linspace(-3.0, 3.0, 77)
    kept = z.copy()
    table.primitive.forward(z, np.empty_like(z))
    assert_allclose(z, kept, rtol=0.0)
