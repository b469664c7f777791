"""Readings in long form: what is used, what is left out, and what is refused."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from tolsim.errors import Problem, SpecError
from tolsim.spec.readings import Readings, exact_mean_sd, read_readings

GOOD = """\
# invented
frame,side,bore_mm,lot
F1,left,36.978,NA
F1,right,36.980,007
F2,left,36.976,NA
F2,right,OK,007

F3,left,,1E5
F4,left,36.9815,1E5
mean,,36.98,
"""


def read(
    folder: Path,
    text: str,
    *,
    column: str = "bore_mm",
    encoding: str = "utf-8",
    **roles: str,
) -> Readings:
    path = folder / "x.csv"
    path.write_bytes(text.encode(encoding))
    return read_readings(path, shown="x.csv", column=column, nominal_mm=37.0, **roles)


def faults(
    folder: Path, text: str, *, column: str = "bore_mm", **roles: str
) -> tuple[Problem, ...]:
    with pytest.raises(SpecError) as caught:
        read(folder, text, column=column, encoding="utf-8", **roles)
    return caught.value.problems


def test_long_form_keeps_text_and_subtracts_nominal_exactly(tmp_path: Path) -> None:
    """Deviations are the decimals minus nominal, seats, units and lots stay the text they are."""
    got = read(tmp_path, GOOD, side="side", unit="frame", lot="lot")
    assert_array_equal(got.deviation, [-0.022, -0.020, -0.024, -0.0185])
    assert got.exact[0] == Decimal("-0.022")
    assert got.lot == ("NA", "007", "NA", "1E5")
    assert got.unit == ("F1", "F1", "F2", "F4")
    assert got.seats == ("left", "right")
    assert got.row == (3, 4, 5, 9)
    assert got.resolution_mm == 0.0001


def test_every_row_is_used_or_excluded_with_a_reason(tmp_path: Path) -> None:
    """Rows in = used + excluded, and each excluded row says where and why."""
    got = read(tmp_path, GOOD, side="side", unit="frame", lot="lot")
    assert got.rows_in == len(got) + len(got.excluded) == 7
    assert [(e.row, e.column, e.found, e.reason) for e in got.excluded] == [
        (6, "bore_mm", "OK", "not a number"),
        (8, "bore_mm", "", "no reading"),
        (10, "", "mean", "a row of a summary, not a reading"),
    ]
    assert got.understood == (
        "UTF-8 text; columns separated by commas",
        "1 comment line and 1 empty line skipped",
        "names of the columns from line 2",
        "bore_mm: sizes near 37 mm, written in mm (unit from its name)",
        "bore_mm: decimal mark is the point",
        "side: names the seat (left, right)",
        "frame: names the unit (3 of them)",
        "lot: names the lot (3 of them)",
        "7 rows = 4 used + 3 excluded",
    )
    assert got.notes == ("units without the reading of a seat: F2 (right), F4 (right)",)


def test_pairs_hold_complete_units_only(tmp_path: Path) -> None:
    """Two seats of one unit become a row (first seat, second seat); a lone seat is left out."""
    text = "f;s;bore_mm\n1;2;36,980\n1;1;36,970\n2;1;36,960\n3;1;36,990\n3;2;36,995\n"
    got = read(tmp_path, text, side="s", unit="f")
    assert got.seats == ("1", "2")
    np.testing.assert_allclose(got.pairs(), [[-0.030, -0.020], [-0.010, -0.005]], rtol=1e-15)
    assert {k: v.size for k, v in got.by_seat().items()} == {"1": 3, "2": 2}
    assert got.notes == ("units without the reading of a seat: 2 (2)",)


@pytest.mark.parametrize(
    ("text", "column", "expected"),
    [
        ("bore_mm\n36,978\n36,98\n", "bore_mm", [-0.022, -0.020]),
        ("bore_um\n-22,5\n-20\n", "bore_um", [-0.0225, -0.020]),
        ("bore_um;a\n36.978,5;1\n36.980;2\n", "bore_um", [-0.0215, -0.020]),
        ("bore_um;a\n36 978,5;1\n36\u00a0980;2\n", "bore_um", [-0.0215, -0.020]),
        ("bore_um\n36'978\n36'980\n", "bore_um", [-0.022, -0.020]),
        ('bore_um,a\n"36,978.5",1\n"36,980.0",2\n', "bore_um", [-0.0215, -0.020]),
        ("bore_um\n\u221222\n+3\n", "bore_um", [-0.022, 0.003]),
        ("bore (\u00b5m)\n-22\n-20\n", "bore (\u00b5m)", [-0.022, -0.020]),
        ("bore [mm]\n36.978\n36.980\n", "bore [mm]", [-0.022, -0.020]),
        ("bore|x\n[\u00b5m]|\n-22|1\n-20|2\n", "bore", [-0.022, -0.020]),
        ("bore\n36.978 mm\n36.980 mm\n", "bore", [-0.022, -0.020]),
        ("bore\tx\n36.978\t1\n36.980\t2\n", "bore", [-0.022, -0.020]),
        ("sep=;\nbore_mm;x\n36.978;1\n3.698E1;2\n", "bore_mm", [-0.022, -0.020]),
        ("bore_thou;x\n1456;2\n1457;3\n", "bore_thou", [-0.0176, 0.0078]),
        ("bore_in;x\n1.4560;2\n1.4570;3\n", "bore_in", [-0.0176, 0.0078]),
    ],
)
def test_units_and_marks_are_found_out(
    tmp_path: Path, text: str, column: str, expected: list[float]
) -> None:
    """Decimal comma, thousands, minus signs, and units in name, row or cell are understood."""
    assert_array_equal(read(tmp_path, text, column=column).deviation, expected)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_give_the_same_readings(tmp_path: Path, encoding: str) -> None:
    """A table reads the same in every encoding that spreadsheets write."""
    text = "Stück;bore_mm\nä1;36,978\nä2;36,980\n"
    got = read(tmp_path, text, encoding=encoding, unit="Stück")
    assert got.unit == ("ä1", "ä2")


def test_ambiguous_thousands_are_settled_by_another_column_or_refused(tmp_path: Path) -> None:
    """36.978 in a column of um is 36.978 um or 36 978 um: another column decides, or nobody."""
    (fault,) = faults(tmp_path, "bore_um\n36.978\n36.980\n", column="bore_um")
    assert fault.message == "the mark may be decimal or of thousands: 36.978 or 36978"
    assert fault.line == 2
    text = "bore_um;temperature_C\n36.978;20,5\n36.980;20,1\n"
    assert_array_equal(read(tmp_path, text, column="bore_um").deviation, [-0.022, -0.020])


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        (
            "bore_mm\n36.978\n12\n36.980\n",
            3,
            "not a size near 37 mm, as the other rows are (deviations in um among sizes?): row 3",
        ),
        (
            "bore_mm\n36.978\n0.012\n36.980\n",
            3,
            "sizes and deviations are mixed: these are deviations, the others sizes: row 3",
        ),
        (
            "bore_mm;x\n36.978;1\n36,981;2\n36.980;3\n",
            3,
            "decimal marks are mixed: most rows use a point, these the other: row 3",
        ),
        (
            "bore_mm;x\n36.978;1\n3698.1;2\n36.980;3\n",
            3,
            "not a size near 37 mm, as the other rows are: row 3",
        ),
        (
            "bore_mm\n36978\n36980\n",
            2,
            "no value is near 37 mm or near zero in mm (in um they would be sizes): rows 2, 3",
        ),
        ("bore_mm\nOK\n36.978\n", 2, "1 of 2 rows can be used; a spread needs two"),
        ("bore_mm\n", None, "0 of 0 rows can be used; a spread needs two"),
        (
            "bore_mm;x\n36.978 mm;1\n-22 um;2\n",
            3,
            "units are mixed in this column: row 3",
        ),
    ],
)
def test_columns_that_make_no_sense_are_refused(
    tmp_path: Path, text: str, line: int | None, message: str
) -> None:
    """Mixed kinds, marks and units, and values far from nominal end with the rows named."""
    (fault,) = faults(tmp_path, text)
    assert (fault.file, fault.line, fault.key) == ("x.csv", line, "bore_mm")
    assert fault.message == message


def test_unknown_unit_is_asked_for(tmp_path: Path) -> None:
    """Without a unit only sizes near nominal are taken, as mm."""
    assert_array_equal(read(tmp_path, "b\n36.9\n37\n", column="b").deviation, [-0.1, 0.0])
    (fault,) = faults(tmp_path, "b\n-22\n-20\n", column="b")
    assert fault.message.startswith("the unit is not known")
    assert fault.allowed == (
        "a name that ends in _mm, _um, _in, _thou, or a row of units below the header"
    )


def test_contradicting_units_are_refused(tmp_path: Path) -> None:
    """A name in mm over a row that says um is a fault."""
    (fault,) = faults(tmp_path, "bore_mm\num\n36978\n36980\n")
    assert fault.message == "units that contradict each other"
    assert fault.found == "mm in its name, um in the row of units, line 2"


def test_numbers_that_are_none_leave_their_row_out(tmp_path: Path) -> None:
    """NaN, infinities and numbers beyond every size are excluded by name."""
    text = "bore_um\n-24\nnan\n-Infinity\n1e400\n#N/A\n2026-10-02\n-22\n"
    got = read(tmp_path, text, column="bore_um")
    assert len(got) == 2
    assert [(e.row, e.reason) for e in got.excluded] == [
        (3, "not a finite number"),
        (4, "not a finite number"),
        (5, "a number beyond every size"),
        (6, "the error value of a formula"),
        (7, "a date, not a number"),
    ]


def test_unknown_columns_are_all_named_with_the_closest(tmp_path: Path) -> None:
    """Two wrong names of columns are two faults."""
    found = faults(tmp_path, GOOD, column="bore_m", side="sid", unit="frame")
    assert [(f.line, f.key, f.closest) for f in found] == [
        (2, "bore_m", "bore_mm"),
        (2, "sid", "side"),
    ]
    assert found[0].allowed == "frame, side, bore_mm, lot"


def test_twice_measured_seats_and_third_seats_are_refused_together(tmp_path: Path) -> None:
    """Which of two readings of a seat is right is not known; three names are no two seats."""
    text = "bore_mm,s,f\n36.978,a,1\n36.980,a,1\n36.980,b,1\n36.980,c,1"
    seats, twice = faults(tmp_path, text, side="s", unit="f")
    assert (seats.line, seats.message, seats.found) == (
        5,
        "more than two seats are named",
        "a, b, c",
    )
    assert (twice.line, twice.key) == (3, "1 a")
    assert (
        twice.message == "several readings of one seat, and which is right is not known: rows 2, 3"
    )
    (alone,) = faults(tmp_path, "bore_mm,f\n36.978,1\n36.980,1\n", unit="f")
    assert alone.allowed == "one row a unit, or a column that names the seat"


def test_order_of_manufacture_from_numbers_or_dates(tmp_path: Path) -> None:
    """The order column sorts by number or by time, not by text."""
    text = "bore_mm,k\n36.1,10\n36.2,9\n36.3,1\n"
    assert read(tmp_path, text, order="k").order == (2, 1, 0)
    text = "bore_mm,k\n36.1,2026-10-02 14:00\n36.2,2026-10-02 09:00\n"
    assert read(tmp_path, text, order="k").order == (1, 0)
    (fault,) = faults(tmp_path, "bore_mm,k\n36.1,first\n36.2,2\n", order="k")
    assert fault.found == "first"


def test_step_of_the_readings(tmp_path: Path) -> None:
    """Twelve readings in 5 um steps show the step although three decimals are written."""
    steps = (0, 5, 5, 10, 0, 5, 10, 5, 5, 0, 5, 10)
    text = "bore_mm\n" + "".join(f"36.{970 + s}\n" for s in steps)
    assert read(tmp_path, text).resolution_mm == 0.005
    assert read(tmp_path, "b_in\n1.4567\n1.4566\n1.4564\n", column="b_in").resolution_mm == 0.00254


def test_exact_mean_and_deviation_of_hostile_decimals() -> None:
    """A spread of one in ten million keeps every digit."""
    mean, sd = exact_mean_sd([Decimal(s) for s in ("10000001", "10000003", "10000002")])
    assert (mean, sd) == (Decimal("10000002"), Decimal(1))  # NIST StRD NumAcc1, certified
    with pytest.raises(ValueError, match="two values"):
        exact_mean_sd([Decimal(1)])


def test_one_state_is_reported(tmp_path: Path) -> None:
    """Columns that state age, temperature and coating are read without being asked for."""
    text = (
        "bore_mm,age_h,temperature_C,coated\n36.97,72,20.1,no\n36.98,72.5,20.4,No\n36.9,,20.2,0\n"
    )
    got = read(tmp_path, text)
    assert got.state.age == pytest.approx(72.25)
    assert got.state.temperature == pytest.approx(20.2333, abs=1e-4)
    assert got.state.coated is False
    assert "age_h: age 72.25 h (1 row without it)" in got.understood
    assert read(tmp_path, "bore_mm\n36.97\n36.98\n").state.age is None


@pytest.mark.parametrize(
    ("columns", "first", "second", "message"),
    [
        ("age_h", "2", "72", "mixed states: another age in row 3"),
        ("temperature_C", "20", "28", "mixed states: another temperature in row 3"),
        ("coated", "yes", "no", "mixed states: another state of coating in row 3"),
        ("coating", "hard", "none", "mixed states: another state of coating in row 3"),
    ],
)
def test_mixed_states_are_refused(
    tmp_path: Path, columns: str, first: str, second: str, message: str
) -> None:
    """Readings of two ages, temperatures or coatings are not one set of readings."""
    (fault,) = faults(tmp_path, f"bore_mm,{columns}\n36.97,{first}\n36.98,{second}\n")
    assert (fault.line, fault.key, fault.message) == (3, columns, message)
    assert fault.allowed == "readings of one state; one file a state"
