"""Workbooks: what is understood of sheets, merges, hidden rows, text numbers and formulas."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from numpy.testing import assert_array_equal

from tests.spec.hostile import books
from tolsim.errors import SpecError
from tolsim.spec.readings import Readings, read_readings
from tolsim.spec.tables import read_table


def supplier_book() -> tuple[Any, Any]:
    """A sheet as shops send it: a title above, frames merged over two rows, a second sheet."""
    book = openpyxl.Workbook()
    page = book.active
    page.title = "Bores"
    page.append(["Seats, invented"])
    page.append([])
    page.append(["frame", "side", "bore", "when"])
    page.append([None, None, "mm", None])
    for i in range(1, 4):
        page.append([i, "left", 36.978 + i / 1000, dt.datetime(2026, 10, i, 8, 30)])
        page.append([None, "right", 36.98 + i / 1000, dt.datetime(2026, 10, i, 8, 35)])
        page.merge_cells(f"A{3 + 2 * i}:A{4 + 2 * i}")
    book.create_sheet("Notes").append(["nothing", "here"])
    return book, page


def read(folder: Path, book: Any, **more: Any) -> Readings:
    path = folder / "a.xlsx"
    book.save(path)
    roles = {"side": "side", "unit": "frame", "order": "when"}
    return read_readings(path, shown="a.xlsx", column="bore", nominal_mm=37.0, **roles, **more)


def test_supplier_sheet_is_understood(tmp_path: Path) -> None:
    """The sheet with the columns is found, merged frames are filled, the row of units is read."""
    book, page = supplier_book()
    page.row_dimensions[7].hidden = True
    page["C6"] = "36,981"
    got = read(tmp_path, book)
    expected = [-0.021, -0.019, -0.020, -0.018, -0.019, -0.017]
    assert_array_equal(got.deviation, expected)
    assert got.unit == ("1", "1", "2", "2", "3", "3")
    assert got.pairs().shape == (3, 2)
    assert got.row == (5, 6, 7, 8, 9, 10)
    assert got.order == (0, 1, 2, 3, 4, 5)
    assert got.understood == (
        "workbook; sheet Bores, one of 2 sheets",
        "hidden rows are read like the others: row 7",
        "names of the columns from line 3",
        "1 row above the header not read",
        "units from line 4",
        "bore: sizes near 37 mm, written in mm (unit from the row of units, line 4)",
        "bore: decimal mark is the comma",
        "bore: numbers stored as text in row 6",
        "side: names the seat (left, right)",
        "frame: names the unit (3 of them)",
        "when: names the order",
        "frame: 3 merged cells filled",
        "6 rows = 6 used + 0 excluded",
    )


def test_readings_are_not_spread_over_merged_cells(tmp_path: Path) -> None:
    """A reading merged over two seats counts once; the other row is excluded."""
    book, page = supplier_book()
    page.merge_cells("C5:C6")
    got = read(tmp_path, book)
    assert [(e.row, e.reason) for e in got.excluded] == [(6, "no reading")]


def test_sheet_is_named_or_told_by_its_columns(tmp_path: Path) -> None:
    """Two sheets with the columns ask for a name; a wrong name gets the closest."""
    book, page = supplier_book()
    book.copy_worksheet(page)
    with pytest.raises(SpecError) as caught:
        read(tmp_path, book)
    assert caught.value.problems[0].message == "several sheets hold these columns"
    assert caught.value.problems[0].allowed == "Bores, Notes, Bores Copy"
    with pytest.raises(SpecError, match="several sheets hold a table"):
        read_table(tmp_path / "a.xlsx", shown="a.xlsx")
    assert len(read(tmp_path, book, sheet="Bores")) == 6
    with pytest.raises(SpecError) as caught:
        read(tmp_path, book, sheet="Bore")
    assert caught.value.problems[0].closest == "Bores"
    text = tmp_path / "a.csv"
    text.write_text("bore_mm\n36.9\n36.8\n")
    with pytest.raises(SpecError, match="only a workbook has sheets"):
        read_table(text, shown="a.csv", sheet="Bores")


def test_formulas_count_only_with_their_values(tmp_path: Path) -> None:
    """A formula without a stored value is a fault, in a column that is not asked for it is not."""
    book, page = supplier_book()
    page["E5"] = "=C5+1"
    assert len(read(tmp_path, book)) == 6
    page["C6"] = "=C5+1"
    with pytest.raises(SpecError) as caught:
        read(tmp_path, book)
    (fault,) = caught.value.problems
    assert (fault.where, fault.key, fault.found) == ("a.xlsx!Bores:6", "bore", "=C5+1")
    stored = books.with_rows(
        b'<row r="4"><c r="A4" t="inlineStr"><is><t>F2</t></is></c>'
        b'<c r="B4" t="inlineStr"><is><t>left</t></is></c>'
        b'<c r="C4"><f>C3+1</f><v>36.97</v></c></row>'
    )
    path = tmp_path / "b.xlsx"
    path.write_bytes(stored)
    roles = {"side": "side", "unit": "frame"}
    got = read_readings(path, shown="b", column="bore_mm", nominal_mm=37.0, **roles)
    assert len(got) == 3


def test_dates_errors_and_truth_values_are_no_readings(tmp_path: Path) -> None:
    """A reading that a spreadsheet turned into a date is excluded, not read as a number."""
    book, page = supplier_book()
    page["C5"], page["C6"], page["C7"] = dt.datetime(2026, 5, 12), "#DIV/0!", True
    reasons = [(e.row, e.found, e.reason) for e in read(tmp_path, book).excluded]
    assert reasons == [
        (5, "2026-05-12 00:00:00", "a date, not a number"),
        (6, "#DIV/0!", "the error value of a formula"),
        (7, "TRUE", "not a number"),
    ]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the peak of memory as Linux reports it")
def test_hostile_files_stay_within_512_mb(tmp_path: Path) -> None:
    """All hostile files one after the other, in a process whose peak stays below 512 MB."""
    for task in ("write", "read"):
        done = subprocess.run(
            [sys.executable, "-m", "tests.spec.hostile.peak", task, str(tmp_path)],
            capture_output=True,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) < 512
