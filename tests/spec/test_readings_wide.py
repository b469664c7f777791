"""Several readings a bore: what is reduced to mean, taper and ovality, and what is refused."""

from __future__ import annotations

import math
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from numpy.testing import assert_allclose

from tolsim.errors import Problem, SpecError
from tolsim.spec.places import Place
from tolsim.spec.wide import Bores, read_bores

ANGLES = (0, 45, 90, 135)
DEPTHS = (1, 6)


def diameter(mean: float, taper: float, oval: float, phase: float, z: float, a: float) -> float:
    """Deviation in um of an oval, tapered bore at a depth in mm and an angle in degrees."""
    wave = oval / 2 * math.cos(2 * (math.radians(a) - phase))
    return mean + taper * (z - 3.5) / 5.0 + wave


# mean, taper over 5 mm, ovality (all um), direction of the oval; invented
BORES = {
    ("F1", "left"): (-22.0, 4.0, 10.0, 0.3),
    ("F1", "right"): (-25.0, -3.0, 6.0, 1.1),
    ("F2", "left"): (-20.5, 0.0, 0.0, 0.0),
    ("F2", "right"): (-24.0, 1.5, 12.0, 2.6),
}


def wide_text() -> str:
    head = ["frame", "side", *(f"z{z} a{a}_um" for z, a in product(DEPTHS, ANGLES))]
    rows = [";".join(head)]
    for (unit, side), form in BORES.items():
        cells = [f"{diameter(*form, z, a):.6f}" for z, a in product(DEPTHS, ANGLES)]
        rows.append(";".join([unit, side, *cells]).replace(".", ","))
    return "\n".join(rows) + "\n"


def read(folder: Path, text: str, **more: Any) -> Bores:
    path = folder / "w.csv"
    path.write_text(text, encoding="utf-8")
    roles = {"unit": "frame", "side": "side", **more}
    return read_bores(path, shown="w.csv", nominal_mm=37.0, **roles)


def fault(folder: Path, text: str, **more: Any) -> Problem:
    with pytest.raises(SpecError) as caught:
        read(folder, text, **more)
    return caught.value.problems[0]


def check_bores(got: Bores) -> None:
    """Closed form: the fit of exact data gives back mean, taper and ovality."""
    forms = np.array(list(BORES.values())) / 1000.0
    assert got.taper is not None
    assert got.oval is not None
    assert_allclose(got.mean, forms[:, 0], atol=2e-9)
    assert_allclose(got.taper, forms[:, 1], atol=4e-9)
    assert_allclose(got.oval, forms[:, 2], atol=4e-9)
    assert not got.oval_is_least
    assert got.residual_dof == 4 * (8 - 4)
    assert got.residual_sd == pytest.approx(0.0, abs=2e-9)


def test_wide_layout_is_reduced(tmp_path: Path) -> None:
    """Eight places a bore give back mean, taper over the measured depths, and ovality."""
    got = read(tmp_path, wide_text())
    check_bores(got)
    assert got.unit == ("F1", "F1", "F2", "F2")
    assert got.seats == ("left", "right")
    assert (got.readings_in, got.readings_used, got.bores_in) == (32, 32, 4)
    assert "z1 a45_um: depth 1 mm, angle 45 deg" in got.understood
    assert "all places: deviations from 37 mm, written in um (unit from its name)" in got.understood
    assert got.as_readings().pairs().shape == (2, 2)


def test_long_layout_gives_the_same(tmp_path: Path) -> None:
    """One reading a row with its depth and angle is the same set of bores."""
    rows = ["frame,side,depth_mm,angle_deg,d_um"]
    for (unit, side), form in BORES.items():
        for z, a in product(DEPTHS, ANGLES):
            rows.append(f"{unit},{side},{z},{a},{diameter(*form, z, a):.6f}")
    got = read(tmp_path, "\n".join(rows), column="d_um", depth="depth_mm", angle="angle_deg")
    check_bores(got)
    assert got.readings_in == 32


def test_seats_in_groups_above_the_places(tmp_path: Path) -> None:
    """A workbook with merged headers of seat and depth over angles is read without help."""
    book = openpyxl.Workbook()
    page = book.active
    top: list[str | None] = ["frame"]
    middle: list[str | None] = [None]
    bottom: list[str | None] = [None]
    for side, z in product(("left", "right"), DEPTHS):
        top += [side if z == DEPTHS[0] else None, None, None, None]
        middle += [f"z{z}", None, None, None]
        bottom += [f"a{a}" for a in ANGLES]
    for row in (top, middle, bottom, [None, *["µm"] * 16]):
        page.append(row)
    for unit in ("F1", "F2"):
        cells: list[object] = [unit]
        for side, z, a in product(("left", "right"), DEPTHS, ANGLES):
            cells.append(round(diameter(*BORES[unit, side], z, a), 6))
        page.append(cells)
    for merge in ("A1:A3", "B1:I1", "J1:Q1", "B2:E2", "F2:I2", "J2:M2", "N2:Q2"):
        page.merge_cells(merge)
    path = tmp_path / "w.xlsx"
    book.save(path)
    got = read_bores(path, shown="w.xlsx", nominal_mm=37.0, unit="frame")
    check_bores(got)
    assert got.side == ("left", "right", "left", "right")
    assert got.places[9] == Place(column="right z1 a45", depth_mm=1.0, angle_deg=45.0, side="right")


def test_places_can_be_given(tmp_path: Path) -> None:
    """Columns with names of their own are placed by the caller."""
    text = "frame,side,A_mm,B_mm,C_mm\n1,l,36.980,36.982,36.984\n1,r,36.970,36.974,36.972\n"
    places = [
        Place(column="A_mm", angle_deg=0.0),
        Place(column="B_mm", angle_deg=60.0),
        Place(column="C_mm", angle_deg=120.0),
    ]
    got = read(tmp_path, text, places=places)
    assert_allclose(got.mean, [-0.018, -0.028], atol=1e-12)
    # closed form of three equally spaced angles: amplitude = (2/3) |sum D exp(2 i a)|
    amplitude = [
        abs(sum(d * np.exp(2j * np.radians(a)) for d, a in zip(ds, (0, 60, 120), strict=True)))
        for ds in ((0.0, 0.002, 0.004), (0.0, 0.004, 0.002))
    ]
    assert got.oval is not None
    assert_allclose(got.oval, 2 * 2 / 3 * np.array(amplitude), atol=1e-12)
    assert got.taper is None
    assert "one depth: taper is not seen" in got.notes


def test_two_angles_bound_the_ovality(tmp_path: Path) -> None:
    """Two diameters at a right angle give their difference, said to be the least ovality."""
    text = "frame,side,a0_mm,a90_mm\n1,l,36.980,36.984\n1,r,36.970,36.960\n"
    got = read(tmp_path, text)
    assert got.oval is not None
    assert_allclose(got.oval, [0.004, 0.010], atol=1e-12)
    assert_allclose(got.mean, [-0.018, -0.035], atol=1e-12)
    assert got.oval_is_least
    lone = read(tmp_path, "frame,side,z1_mm,z5_mm\n1,l,36.980,36.984\n1,r,36.970,36.960\n")
    assert lone.oval is None
    assert lone.notes[0] == "angles that cannot show ovality: an oval bore moves the mean"


def test_band_of_the_ring_sets_mean_and_taper(tmp_path: Path) -> None:
    """The mean is taken at the middle of the depths that the ring covers, taper over them."""
    text = "frame,side,z0_mm,z10_mm\n1,l,36.980,36.990\n1,r,36.980,36.990\n"
    got = read(tmp_path, text, band_mm=(4.0, 8.0))
    assert got.taper is not None
    assert_allclose(got.mean, [-0.014, -0.014], atol=1e-12)
    assert_allclose(got.taper, [0.004, 0.004], atol=1e-12)


def test_missing_readings_are_accounted_for(tmp_path: Path) -> None:
    """A missing place is excluded by name; a bore with too few places goes with its readings."""
    text = wide_text().splitlines()
    cells = text[1].split(";")
    text[1] = ";".join([*cells[:2], "OK", *cells[3:]])
    cells = text[2].split(";")
    text[2] = ";".join([*cells[:4], *[""] * 6])
    text[3] = "F2;left;" + ";" * 7
    got = read(tmp_path, "\n".join(text))
    assert got.readings_in == got.readings_used + len(got.excluded) == 32
    assert got.bores_in == len(got.mean) + len(got.bores_excluded) == 4
    assert [(e.row, e.reason) for e in got.bores_excluded] == [
        (3, "2 of 8 readings: too few to tell mean, taper and oval"),
        (4, "no reading at any place"),
    ]
    assert (got.excluded[0].row, got.excluded[0].column, got.excluded[0].found) == (
        2,
        "z1 a0_um",
        "OK",
    )
    assert_allclose(got.mean, [-0.022, -0.024], atol=2e-9)


@pytest.mark.parametrize(
    ("text", "more", "message"),
    [
        (
            "frame,side,p,q\n1,l,36.9,36.9\n",
            {},
            "no columns that state different places of measurement",
        ),
        (
            "frame,side,z1_mm,z5 a0_mm\n1,l,36.9,36.9\n",
            {},
            "names no angle, as other columns do",
        ),
        (
            "frame,side,z1_mm,z5_mm\n1,l,36.9,36.9\n1,l,36.9,36.9\n",
            {},
            "two readings of one place, and which is right is not known: rows 2, 3",
        ),
        (
            "frame,side,d_mm,z_mm\n1,l,36.9,1\n",
            {"column": "d_mm", "depth": "z_mm", "unit": None},
            "no column names the unit: which readings belong to one bore is not known",
        ),
        (
            "frame,side,z1_mm,z5_mm,z9_mm\n1,l,36.9,-0.02,36.9\n1,r,36.9,-0.02,36.9\n",
            {},
            "deviations here, sizes at other places",
        ),
        (
            "frame,side,z1_mm,z5_mm\n1,l,36.9,-20\n1,r,36.9,-20\n",
            {},
            "no value is near 37 mm or near zero in mm (in um they would be deviations): rows 2, 3",
        ),
    ],
)
def test_layouts_that_cannot_be_read_are_refused(
    tmp_path: Path, text: str, more: dict[str, Any], message: str
) -> None:
    """Unknown, half-named and twice-named places end in a diagnosis."""
    assert fault(tmp_path, text, **more).message == message
