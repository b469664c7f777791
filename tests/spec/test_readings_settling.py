"""The same parts at two ages: paired by unit, with what an interval needs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from numpy.testing import assert_allclose

from tolsim.errors import SpecError
from tolsim.spec.readings import Readings, read_readings
from tolsim.spec.settling_readings import pair_ages, read_two_ages

EARLY = "frame,side,bore_um,age_h\n1,l,-20,2\n1,r,-22,2\n2,l,-18,2.5\n3,l,-19,2\n"
LATE = "frame,side,bore_um,age_h\n2,l,-24.5,72\n1,r,-27,71\n1,l,-26,72\n4,l,-20,72\n"


def read(folder: Path, text: str, name: str = "a.csv", **more: Any) -> Readings:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    roles: dict[str, Any] = {"unit": "frame", "side": "side", "nominal_mm": 37.0, **more}
    return read_readings(path, shown=name, column="bore_um", **roles)


def test_parts_are_paired_by_unit_and_seat(tmp_path: Path) -> None:
    """Later minus earlier, part by part, whatever the order of the rows."""
    got = pair_ages(read(tmp_path, EARLY), read(tmp_path, LATE, "b.csv"))
    assert_allclose(got.change * 1e3, [-6.0, -5.0, -6.5], rtol=1e-12)
    assert (got.unit, got.side) == (("1", "1", "2"), ("l", "r", "l"))
    assert got.first_age == pytest.approx(2.125)
    assert got.second_age == pytest.approx(71.75)
    assert [(e.row, e.found) for e in got.unpaired] == [(5, "3 l"), (5, "4 l")]
    assert got.rows_in == 2 * len(got) + len(got.unpaired) + len(got.excluded) == 8
    mean, sd = got.mean_sd()
    assert mean * 1e3 == pytest.approx(-17.5 / 3)
    assert sd * 1e3 == pytest.approx((7 / 12) ** 0.5)  # by hand: deviations -1/6, 5/6, -4/6
    assert got.parts == 2
    assert_allclose(got.mean_of_parts() * 1e3, [-5.5, -6.5], rtol=1e-12)


def test_one_file_with_two_ages(tmp_path: Path) -> None:
    """A column of ages splits the file in two; rows without an age are named."""
    path = tmp_path / "a.csv"
    path.write_text(EARLY + LATE.split("\n", 1)[1] + "5,l,-20,\n")
    got = read_two_ages(
        path,
        shown="a.csv",
        column="bore_um",
        nominal_mm=37.0,
        age="age_h",
        unit="frame",
        side="side",
    )
    assert_allclose(got.change * 1e3, [-6.0, -5.0, -6.5], rtol=1e-12)
    assert got.rows_in == 2 * len(got) + len(got.unpaired) + len(got.excluded) == 9
    assert got.excluded[-1].reason == "no age is stated in this row"
    path.write_text(EARLY)
    with pytest.raises(SpecError, match="two ages are needed, 1 are there"):
        read_two_ages(
            path, shown="a.csv", column="bore_um", nominal_mm=37.0, age="age_h", unit="frame"
        )


@pytest.mark.parametrize(
    ("late", "more", "message"),
    [
        (LATE.replace("72", "1").replace("71", "1"), {}, "not the later one: 2.125 h, then 1 h"),
        (LATE, {"nominal_mm": 37.1}, "nominal 37.1 mm, the other set 37 mm"),
        (LATE, {"side": None, "unit": None}, "no column names the unit"),
        (LATE.replace("1,", "9,").replace("2,l", "8,l"), {}, "0 seats were measured at both"),
    ],
)
def test_sets_that_do_not_belong_together_are_refused(
    tmp_path: Path, late: str, more: dict[str, Any], message: str
) -> None:
    """Ages the wrong way round, other nominals, no units and no common parts are faults."""
    with pytest.raises(SpecError, match=message):
        pair_ages(read(tmp_path, EARLY), read(tmp_path, late, "b.csv", **more))


def test_another_temperature_is_no_settling(tmp_path: Path) -> None:
    """Sets measured at different temperatures would show expansion as settling."""
    cool, warm = (f"frame,bore_um,temp_C\n1,-20,{t}\n2,-18,{t}\n" for t in (20, 26))
    first = read(tmp_path, cool, side=None)
    with pytest.raises(SpecError, match="another temperature than the other set: 26 C, there 20"):
        pair_ages(first, read(tmp_path, warm, "b.csv", side=None))
    assert pair_ages(first, first).notes == ("the ages are not stated",)
