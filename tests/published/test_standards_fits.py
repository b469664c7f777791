"""Published fits of rolling bearings through the function behind ``limits --with``."""

from __future__ import annotations

import pytest

from tests.standards.data import published, um
from tolsim.answers.limits import Fit, fit, ring_side, seat_side
from tolsim.standards.sizes import limits


def _fit(size: float, designation: str) -> Fit:
    seat = seat_side(limits(size, designation))
    return fit(seat, ring_side(size, "Normal", seat.feature))


def _sizes(row: dict[str, str]) -> tuple[float, float]:
    return float(row["size_over_mm"]) + 0.7, float(row["size_incl_mm"])


def test_every_published_theoretical_fit_follows() -> None:
    """352 printed fits of Normal-class bearings on shafts and in housings come out exactly."""
    rows = published("fits")
    assert {r["seat"] for r in rows} == {"shaft", "housing"}
    assert len(rows) == 352
    for row in rows:
        for size in _sizes(row):
            found = _fit(size, row["tolerance_class"])
            ring = found.hole if row["seat"] == "shaft" else found.shaft
            seat = found.shaft if row["seat"] == "shaft" else found.hole
            assert (ring.lower, ring.upper) == (um(row["ring_dev_low_um"]), 0.0), row
            assert (seat.lower, seat.upper) == (
                um(row["seat_dev_low_um"]),
                um(row["seat_dev_high_um"]),
            ), row
            # the source prints clearance: the opposite sign of interference
            assert -found.worst[1] == pytest.approx(
                um(row["theoretical_clearance_min_um"]), abs=1e-9
            ), row
            assert -found.worst[0] == pytest.approx(
                um(row["theoretical_clearance_max_um"]), abs=1e-9
            ), row


def test_every_published_probable_fit_follows_to_a_micrometre() -> None:
    """The printed probable limits are the middle and the root sum of squares, within 1 µm."""
    compared = 0
    for row in published("fits"):
        if not row["probable_clearance_min_um"]:
            continue
        found = _fit(float(row["size_incl_mm"]), row["tolerance_class"])
        assert -found.probable[1] == pytest.approx(
            um(row["probable_clearance_min_um"]), abs=1.0e-3
        ), row
        assert -found.probable[0] == pytest.approx(
            um(row["probable_clearance_max_um"]), abs=1.0e-3
        ), row
        compared += 1
    assert compared == 352


def test_misprinted_fits_are_not_taken_over() -> None:
    """Eight misprinted fit rows: what comes out follows from ISO 286 and ISO 492."""
    rows = [r for r in published("misprints") if r["what"] == "fit"]
    assert len(rows) == 8
    for row in rows:
        found = _fit(float(row["size_incl_mm"]), row["tolerance_class"])
        assert -found.worst[1] == pytest.approx(um(row["right_lower_um"]), abs=1e-9), row
        assert -found.worst[0] == pytest.approx(um(row["right_upper_um"]), abs=1e-9), row


def test_textbook_press_fit() -> None:
    """50 H7 with s6 is 18 to 59 µm tight (machine design textbook, Scilab companion 764, 3.3)."""
    found = fit(seat_side(limits(50.0, "H7")), seat_side(limits(50.0, "s6")))
    assert found.worst == (0.018, 0.059)
