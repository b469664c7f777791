"""Readings of alignment: coordinates of axes, run-out and parallelism, magnitudes alone."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.errors import SpecError
from tolsim.spec.alignment_axes import Section, read_axes
from tolsim.spec.alignment_readings import (
    AlignmentReadings,
    Figures,
    read_alignment_figures,
)

ROLES = {"side": "side", "unit": "frame"}
TWO = (
    Section(x="x1_um", y="y1_um", depth_mm=1.0),
    Section(x="x2_um", y="y2_um", depth_mm=6.0),
)
AXES = (
    "frame,side,x1_um,y1_um,x2_um,y2_um\n"
    "F1,left,10,-4,15,-9\n"
    "F1,right,-3,2,-3,7\n"
    "F2,left,0,0,1,1\n"
    "F2,right,0,0,OK,1\n"
)


def _roles(more: dict[str, Any]) -> dict[str, Any]:
    return {**ROLES, **more}


def axes(folder: Path, text: str, **more: Any) -> AlignmentReadings:
    path = folder / "a.csv"
    path.write_text(text, encoding="utf-8")
    return read_axes(path, shown="a.csv", **_roles(more))


def figures(folder: Path, text: str, **kinds: Any) -> AlignmentReadings:
    path = folder / "a.csv"
    path.write_text(text, encoding="utf-8")
    return read_alignment_figures(path, shown="a.csv", figures=Figures(**kinds), **ROLES)


def test_axis_through_two_sections(tmp_path: Path) -> None:
    """Two points make a line: offset half-way, tilt the difference over the distance."""
    got = axes(tmp_path, AXES, sections=TWO)
    assert got.offset is not None
    assert got.tilt is not None
    assert_allclose(got.offset * 1e3, [[12.5, -6.5], [-3.0, 4.5], [0.5, 0.5]], atol=1e-9)
    assert_allclose(got.tilt * 1e3, [[1.0, -1.0], [0.0, 1.0], [0.2, 0.2]], atol=1e-9)
    assert got.residual_sd is None
    assert got.rows_in == got.rows_used + len(got.excluded) == 4
    assert [(e.row, e.column, e.found) for e in got.excluded] == [(5, "x2_um", "OK")]
    assert got.notes == ("units without the reading of a seat: F2 (right)",)
    assert got.paired_rows().tolist() == [[0, 1]]


def test_depths_from_each_face_turn_the_second_seat(tmp_path: Path) -> None:
    """Measured inwards from its own face, the second seat's tilt has the other sign."""
    along = axes(tmp_path, AXES, sections=TWO)
    inwards = axes(tmp_path, AXES, sections=TWO, depth_from="face")
    assert along.tilt is not None
    assert inwards.tilt is not None
    assert_allclose(inwards.tilt, along.tilt * [[1.0], [-1.0], [1.0]])
    with pytest.raises(SpecError, match="need a column that names two seats"):
        axes(tmp_path, AXES, sections=TWO, depth_from="face", side=None, unit=None)


def test_middle_of_the_seat_moves_the_offset(tmp_path: Path) -> None:
    """The offset is taken where the middle of the seat is said to be, on the same line."""
    got = axes(tmp_path, AXES, sections=TWO, middle_mm=1.0)
    assert got.offset is not None
    assert_allclose(got.offset[0] * 1e3, [10.0, -4.0], atol=1e-9)


def test_sections_in_rows_of_their_own(tmp_path: Path) -> None:
    """Three sections a seat fit one straight axis; what is left is reported with its freedom."""
    text = (
        "frame;side;z_mm;x_um;y_um\n"
        "F1;left;0;0;1,5\nF1;left;5;6;1,5\nF1;left;10;6;1,5\n"
        "F1;right;0;1;0\nF1;right;5;1;0\nF1;right;10;1;0\n"
        "F2;left;0;1;0\n"
    )
    section = Section(x="x_um", y="y_um", depth="z_mm")
    got = axes(tmp_path, text, sections=(section,))
    assert got.offset is not None
    assert got.tilt is not None
    # least squares by hand: mean 4, slope 6/10 um/mm, residuals -1, 2, -1
    assert_allclose(got.offset * 1e3, [[4.0, 1.5], [1.0, 0.0]], atol=1e-9)
    assert_allclose(got.tilt * 1e3, [[0.6, 0.0], [0.0, 0.0]], atol=1e-9)
    assert got.residual_dof == 4
    assert got.residual_sd == pytest.approx(math.sqrt(6.0 / 4.0) * 1e-3)
    assert got.rows_in == got.rows_used + len(got.excluded) == 7
    assert got.excluded[0].reason == "one depth of this seat only: its tilt is not known"


def test_run_out_and_parallelism_are_magnitudes(tmp_path: Path) -> None:
    """Run-out is twice the offset, parallelism the tilt over its length; directions unknown.

    An eccentric circle turning about a fixed axis moves an indicator by twice the eccentricity.
    """
    text = "frame,side,runout_um,parallelism_um\n1,l,30,5\n1,r,10,-1\n2,l,0,2\n2,r,8,1\n"
    got = figures(tmp_path, text, runout="runout_um", parallelism="parallelism_um", length_mm=10.0)
    assert got.offset is None
    assert got.offset_magnitude is not None
    assert got.tilt_magnitude is not None
    assert_allclose(got.offset_magnitude * 1e3, [15.0, 0.0, 4.0], atol=1e-12)
    assert_allclose(got.tilt_magnitude * 1e3, [0.5, 0.2, 0.1], atol=1e-12)
    assert got.excluded[0].reason == "a magnitude cannot be negative"
    assert got.notes[0] == "magnitudes only: the directions are not known"
    assert "runout_um: run-out, twice the offset of the axis" in got.understood


def test_plain_magnitudes_and_zones(tmp_path: Path) -> None:
    """Offsets and angles as they are; a coaxiality zone counts half its diameter."""
    text = "frame,side,o_um,t_deg\n1,l,30,0.05\n1,r,10,0.02\n"
    got = figures(tmp_path, text, offset="o_um", tilt="t_deg")
    assert got.offset_magnitude is not None
    assert got.tilt_magnitude is not None
    assert_allclose(got.offset_magnitude, [0.030, 0.010])
    assert_allclose(got.tilt_magnitude, np.radians([0.05, 0.02]))
    zone = figures(tmp_path, text, coaxiality="o_um")
    assert zone.offset_magnitude is not None
    assert_allclose(zone.offset_magnitude, [0.015, 0.005])
    assert zone.tilt_magnitude is None


@pytest.mark.parametrize(
    ("text", "kinds", "message"),
    [
        ("frame,side,o\n1,l,1\n1,r,2\n", {"offset": "o"}, "the unit is not known"),
        ("frame,side,o_mm\n1,l,0.1\n1,r,20\n", {"offset": "o_mm"}, "beyond 5 mm"),
        ("frame,side,o_mm\n1,l,0.1\n1,l,0.2\n", {"offset": "o_mm"}, "several readings"),
        ("frame,side,o_deg\n1,l,1\n1,r,2\n", {"offset": "o_deg"}, "not one of length"),
    ],
)
def test_figures_that_make_no_sense_are_refused(
    tmp_path: Path, text: str, kinds: dict[str, Any], message: str
) -> None:
    """Unknown units, far values, seats that come twice and angles for lengths are faults."""
    with pytest.raises(SpecError, match=message):
        figures(tmp_path, text, **kinds)


def test_figures_and_sections_check_themselves() -> None:
    """One column a kind; parallelism needs a length; a section needs one depth."""
    wrong: list[dict[str, Any]] = [{}, {"offset": "a", "runout": "b"}, {"parallelism": "p"}]
    for kinds in wrong:
        with pytest.raises(ValueError, match="need"):
            Figures(**kinds)
    with pytest.raises(ValueError, match="section"):
        Section(x="x", y="y")
