"""Cells of a table: numbers and ends agree, and far-apart populations need few nodes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from tolsim.process.cells import REACH, Cells, EvenCells, OctaveCells
from tolsim.process.plain import Normal
from tolsim.process.quantiles import Tabulated
from tolsim.process.shapes import Mixture

_DIVISIONS = [
    EvenCells(512),
    OctaveCells((0.0,), 7),
    OctaveCells((-3.1,), 8),
    OctaveCells((-0.7, 0.524), 9),
    OctaveCells((-3.1, -0.7, 0.0, 2.0), 7),
]


@pytest.mark.parametrize("cells", _DIVISIONS, ids=str)
def test_every_draw_lies_within_the_ends_of_its_cell(cells: Cells) -> None:
    """A draw within the reach lies between its cell's ends, or in a cell that is given up."""
    z = np.concatenate([np.random.default_rng(3).uniform(-REACH, REACH, 100_000), [0.0, -3.1]])
    low, high = cells.ends
    number = np.clip(cells.of(z), 0, low.size - 1)
    slack = 1e-6  # distances are rounded to float32, even cells to their middle
    inside = (low[number] <= z + slack) & (z - slack <= high[number])
    assert bool(np.all(inside | cells.given_up[number]))
    assert cells.given_up[number].mean() < 1e-3


@pytest.mark.parametrize("cells", _DIVISIONS, ids=str)
def test_cells_cover_the_reach_once(cells: Cells) -> None:
    """Widths add up to the reach, and to one cell more where the outermost are centred on it."""
    low, high = cells.ends
    extra = 1.0 / cells.per_unit if isinstance(cells, EvenCells) else 0.0
    assert float((high - low).sum()) == pytest.approx(2.0 * REACH + extra, abs=1e-9)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.999])
def test_two_populations_far_apart_follow_their_own_quantiles(share: float) -> None:
    """Far apart, the lower share is one normal's quantile, the rest the other's (closed form)."""

    def exact(z: np.ndarray) -> np.ndarray:
        below, above = ndtr(z), ndtr(-z)
        with np.errstate(invalid="ignore"):
            first = ndtri(np.minimum(below / share, 1.0 - 1e-16))
            second = 40.0 - ndtri(np.minimum(above / (1.0 - share), 1.0 - 1e-16))
        return np.asarray(np.where(below < share, first, second))

    spread = float(np.sqrt(1.0 + share * (1.0 - share) * 40.0**2))
    table = Tabulated(exact, spread=spread)
    z = np.sort(np.random.default_rng(5).standard_normal(200_000))
    z = z[np.abs(ndtr(z) - share) > 1e-9]
    x = table.primitive(z)
    assert float(np.abs(x - exact(z)).max()) <= 1e-6 * spread
    assert bool(np.all(np.diff(x) >= 0.0))


@pytest.mark.parametrize("gap", [5.0, 8.0, 40.0])
@pytest.mark.parametrize("shares", [(0.4, 0.3, 0.3), (0.25, 0.25, 0.25, 0.25), (0.98, 0.01, 0.01)])
def test_several_populations_far_apart_get_cells_about_each_jump(
    shares: tuple[float, ...], gap: float
) -> None:
    """The table follows the mixture's own quantiles and few draws need nodes (root finding)."""
    parts = tuple((share, Normal(mean=gap * k, sd=1.0)) for k, share in enumerate(shares))
    mixed = Mixture(parts=parts)
    z = np.sort(np.random.default_rng(6).standard_normal(50_000))
    table = Tabulated(mixed.from_normal, spread=float(mixed.sd))
    x = table.primitive(z)
    assert bool(np.all(np.diff(x) >= 0.0))
    below = sum(share * ndtr(x - gap * k) for k, share in enumerate(shares))
    above = sum(share * ndtr(gap * k - x) for k, share in enumerate(shares))
    density = sum(
        share * np.exp(-0.5 * (x - gap * k) ** 2) / np.sqrt(2.0 * np.pi)
        for k, share in enumerate(shares)
    )
    # the probability that the size is off by, over the density, is the size's own error
    off = np.where(z < 0.0, below - ndtr(z), ndtr(-z) - above) / density
    dense = density > 1e-6 * density.max()
    assert float(np.abs(off[dense]).max()) <= 1e-6 * float(mixed.sd)
    assert table.rough_share <= 1e-3


def test_beyond_the_reach_octave_cells_go_on_as_straight_lines() -> None:
    """A table about a jump continues its outermost lines, increasing on either side."""

    def exact(z: np.ndarray) -> np.ndarray:
        return np.asarray(
            np.where(z < 0.4, z, z + 50.0) + np.sqrt(np.abs(z - 0.4)) * np.sign(z - 0.4)
        )

    table = Tabulated(exact, spread=25.0)
    assert table.rough > 0
    far = table.primitive(np.array([-700.0, -40.0, -9.0, -REACH, REACH, 9.0, 40.0, 700.0]))
    assert bool(np.all(np.diff(far) > 0.0))
    assert far[5] - far[4] == pytest.approx(
        float(np.diff(exact(np.array([8.5, 9.0])))[0]), rel=0.05
    )
