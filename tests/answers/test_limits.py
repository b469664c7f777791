"""The fit of two parts: signs, symmetry, the probable range."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tolsim.answers.limits import Side, band_side, fit, ring_side, seat_side
from tolsim.standards.sizes import limits
from tolsim.standards.tables import TableError

BANDS = st.tuples(st.integers(-200, 200), st.integers(1, 100)).map(
    lambda v: (v[0] / 1000.0, (v[0] + v[1]) / 1000.0)
)


@given(hole=BANDS, shaft=BANDS)
def test_a_fit_is_shaft_minus_hole(hole: tuple[float, float], shaft: tuple[float, float]) -> None:
    """Worst ends are the crossed differences; the probable range lies inside, same middle."""
    found = fit(band_side(37.0, *hole, "hole"), band_side(37.0, *shaft, "shaft"))
    assert found.worst[0] == pytest.approx(shaft[0] - hole[1], abs=1e-9)
    assert found.worst[1] == pytest.approx(shaft[1] - hole[0], abs=1e-9)
    assert found.worst[0] <= found.probable[0] <= found.probable[1] <= found.worst[1]
    assert sum(found.probable) == pytest.approx(sum(found.worst), abs=2e-9)
    half = 0.5 * (found.probable[1] - found.probable[0])
    assert (2.0 * half) ** 2 == pytest.approx(
        (hole[1] - hole[0]) ** 2 + (shaft[1] - shaft[0]) ** 2, rel=1e-5
    )


def test_a_larger_bore_is_looser() -> None:
    """One micrometre more of bore takes one micrometre of interference, at both ends."""
    ring = ring_side(37.0, "normal", "hole")
    a = fit(band_side(37.0, -0.042, -0.017, "hole"), ring)
    b = fit(band_side(37.0, -0.041, -0.016, "hole"), ring)
    assert a.worst[0] - b.worst[0] == pytest.approx(0.001, abs=1e-9)
    assert a.worst[1] - b.worst[1] == pytest.approx(0.001, abs=1e-9)


def test_the_order_of_the_parts_does_not_matter() -> None:
    """Hole and shaft may come in any order; the first is the seat."""
    hole, shaft = seat_side(limits(40.0, "H7")), seat_side(limits(40.0, "g6"))
    assert fit(hole, shaft).worst == fit(shaft, hole).worst
    assert (fit(hole, shaft).seat, fit(shaft, hole).seat) == ("hole", "shaft")


def test_the_ring_follows_the_seat() -> None:
    """A hole takes the outer ring, a shaft the inner one."""
    outer, inner = ring_side(37.0, "6", "hole"), ring_side(25.0, "6", "shaft")
    assert (outer.name, outer.feature) == ("outer ring, class 6", "shaft")
    assert (inner.name, inner.feature) == ("inner ring, class 6", "hole")


@pytest.mark.parametrize(
    ("one", "other", "message"),
    [
        ("H7", "P7", "two holes"),
        ("h6", "g6", "two shafts"),
    ],
)
def test_two_of_a_kind_are_no_fit(one: str, other: str, message: str) -> None:
    """Two holes or two shafts are refused."""
    with pytest.raises(TableError, match=message):
        fit(seat_side(limits(40.0, one)), seat_side(limits(40.0, other)))


def test_a_band_needs_its_lower_limit_first() -> None:
    """A band turned round is refused."""
    with pytest.raises(ValueError, match="need lower < upper"):
        band_side(37.0, 0.0, -0.011, "shaft")
    assert Side(name="x", feature="hole", nominal=1.0, lower=0.0, upper=0.5).width == 0.5
