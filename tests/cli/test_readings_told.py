"""What a prediction says of its files of readings: columns, rows left out, gauge, lone seats."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest

from tests.studies import write
from tolsim.cli.main import run

ROUTE = """\
[[diameter.route]]
step = "readings"
file = "b.csv"
column = "bore_mm"
side = "seat"
unit = "unit"
"""
QUICK = ("--draws", "20000", "--no-progress")


def rows(n: int) -> list[str]:
    rng = np.random.default_rng(7)
    return [
        f"F{k:02d};{seat};{36.975 + 0.003 * rng.standard_normal():.4f}".replace(".", ",")
        for k in range(n)
        for seat in ("left", "right")
    ]


def predicted(folder: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    code = run(["predict", str(folder), "--json", *QUICK])
    out = capsys.readouterr()
    assert code in (0, 1, 4), out.err
    found: dict[str, Any] = json.loads(out.out)
    return found


def test_rows_left_out_are_named_one_by_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Words, a header again and a summary: each row with what it holds and why it is not used."""
    table = rows(14)
    table[2] = "F01;left;broken"
    table[5] = "F02;right;<0,001"
    head = "unit;seat;bore_mm"
    lines = [head, *table[:8], head, *table[8:], "mean;;36,9751"]
    folder = write(tmp_path, bore_route=ROUTE)
    (folder / "bores" / "b.csv").write_text("\n".join(lines) + "\n")
    found = predicted(folder, capsys)
    told = " ".join(found["warnings"])
    assert "4 of 30 rows left out: row 4 (broken: not a number)" in told
    for part in ("row 7 (<0,001: ", "row 10 (unit seat bore_mm: the header again)", "row 31 (mean"):
        assert part in told
    (file,) = found["study"]["basis"][0]["files"]
    assert file["rows_in"] == file["used"] + len(file["excluded"]) == 30
    assert "bore_mm: decimal mark is the comma" in file["understood"]
    run(["predict", str(folder), *QUICK])
    text = " ".join(capsys.readouterr().out.split())
    assert "b.csv was read as: bore_mm: sizes near 37 mm, written in mm (unit from its" in text
    assert "decimal mark is the comma; seat: names the seat (left, right); unit: names" in text
    assert "row 4 (broken: not a number)" in text


@pytest.mark.parametrize(("gauge", "flagged"), [("0.7", False), ("0.9", True)])
def test_a_gauge_too_coarse_for_the_band_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], gauge: str, flagged: bool
) -> None:
    """Six spreads of 0.9 um are 34 % of a band of 16 um, of 0.7 um 26 %: 30 % is the limit."""
    route = f"{ROUTE}gauge_sd_um = {gauge}\n"
    folder = write(tmp_path, bore_route=route, low=-32.0, high=-16.0)
    table = ["unit;seat;bore_mm", *rows(14)]
    (folder / "bores" / "b.csv").write_text("\n".join(table) + "\n")
    told = " ".join(predicted(folder, capsys)["warnings"])
    assert ("the gauge takes 34 % of the band" in told) == flagged
    file = str(folder / "bores" / "b.csv")
    asked = ["--column", "bore_mm", "--nominal", "37", "--band", "-32", "-16"]
    assert run(["inspect", file, *asked, "--gauge-sd", gauge]) == 0
    out = capsys.readouterr().out
    assert ("it is not fit" in out) == flagged
    assert "of the band" in out


def test_a_seat_with_one_reading_is_a_fault_of_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both lone seats are named, with file and row, before anything runs."""
    folder = write(tmp_path, bore_route=ROUTE)
    table = ["unit;seat;bore_mm", *rows(1)]
    (folder / "bores" / "b.csv").write_text("\n".join(table) + "\n")
    assert run(["predict", str(folder), *QUICK]) == 3
    err = capsys.readouterr().err
    assert "b.csv:2: seat: left: one usable reading; a spread needs two" in err
    assert "b.csv:3: seat: right: one usable reading; a spread needs two" in err


def book(path: Path, table: list[list[Any]]) -> None:
    made = openpyxl.Workbook()
    made.active.title = "cover"
    made.active["A1"] = "invented"
    page = made.create_sheet("data")
    for row in table:
        page.append(row)
    made.save(path)


def test_places_axes_and_ages_from_workbooks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Places of a bore, run-out and two ages, each a workbook with a cover sheet, one number a
    text: read like CSV, and the row without a number is named."""
    route = (
        '[[diameter.route]]\nstep = "readings"\nfile = "b.xlsx"\nwide = true\nunit = "unit"\n'
        '[[diameter.route]]\nstep = "settle"\ntime_h = 36\nexponent = 0.6\n'
        'readings = { file = "ages.xlsx", column = "bore_mm", age = "age_h", unit = "unit" }\n'
    )
    more = (
        "[alignment]\ntilt_deg = { sd = 0.01 }\n"
        '[alignment.readings]\nfile = "runout.xlsx"\nrunout = "runout_um"\n'
    )
    folder = write(
        tmp_path,
        bore_route=route,
        bore_more=more,
        study_more="age_at_assembly_h = 300",
        limits="misaligned = { offset_um = 100 }\nloose = { interference_um = 0 }",
    )
    rng = np.random.default_rng(8)
    places = [(z, a) for z in (2, 6) for a in (0, 60, 120)]
    wide: list[list[Any]] = [["unit", *(f"z{z} a{a}_mm" for z, a in places)]]
    for k in range(15):
        mean = 36.98 + 0.003 * rng.standard_normal()
        wide.append([f"00{k}", *np.round(mean + 0.001 * rng.standard_normal(6), 5).tolist()])
    wide[3][2] = str(wide[3][2])
    book(folder / "bores" / "b.xlsx", wide)
    runout: list[list[Any]] = [["runout_um"]]
    runout += [[float(r)] for r in np.round(40.0 * np.hypot(*rng.standard_normal((2, 20))), 1)]
    runout.insert(5, ["n/a"])
    book(folder / "bores" / "runout.xlsx", runout)
    ages: list[list[Any]] = [["unit", "age_h", "bore_mm"]]
    for k in range(12):
        size = 36.985 + 0.003 * float(rng.standard_normal())
        ages += [[f"00{k}", 2, round(size, 5)], [f"00{k}", 200, round(size - 0.006, 5)]]
    ages.append(["0099", 2, 36.98])
    book(folder / "bores" / "ages.xlsx", ages)
    found = predicted(folder, capsys)
    told = " ".join(found["warnings"])
    assert "taper of 15 bores" in told
    assert "1 of 21 rows left out: row 6 (n/a: not a number)" in told
    assert "12 parts changed by -6" in told or "12 parts changed by -5" in told
    assert "row 26 (0099: at one age only)" in told
    (file,) = found["study"]["basis"][0]["files"]
    assert any("sheet data, one of 2 sheets" in fact for fact in file["understood"])
