"""``tolsim inspect``: what was understood, counts that add up, and one JSON document."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.spec.test_readings import GOOD
from tolsim.cli.inspect import command
from tolsim.cli.main import run
from tolsim.errors import SpecError, UsageError

ROLES = ("--column", "bore_mm", "--nominal", "37", "--side", "side", "--unit", "frame")


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file of readings, named from its own folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.csv").write_text(GOOD)
    return Path("a.csv")


def inspect(*arguments: object) -> str:
    result = CliRunner().invoke(command, [str(a) for a in arguments], standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    assert result.return_value == 0
    return result.output


def test_columns_are_listed_without_being_asked_for(file: Path) -> None:
    """Without a column the page says what each one holds and may be."""
    assert inspect(file) == (
        "a.csv\n"
        "  UTF-8 text; columns separated by commas\n"
        "  1 comment line and 1 empty line skipped\n"
        "  names of the columns from line 2\n"
        "\n"
        "7 rows below the header, 4 named columns\n"
        "\n"
        "  frame: names of units, lots or others\n"
        "      0 numbers, 7 texts, 0 empty; 5 different\n"
        "\n"
        "  side: seats\n"
        "      0 numbers, 6 texts, 1 empty; 2 different\n"
        "\n"
        "  bore_mm [mm]: readings\n"
        "      5 numbers, 1 text, 1 empty; 6 different\n"
        "      36.976 to 36.9815, decimal point\n"
        "      among the numbers: OK\n"
        "\n"
        "  lot: numbers\n"
        "      4 numbers, 2 texts, 1 empty; 3 different\n"
        "      7 to 100000\n"
        "      among the numbers: NA\n"
    )


def test_readings_are_shown_as_a_study_reads_them(file: Path) -> None:
    """With column and nominal: range, seats, complete units, and each row left out."""
    text = inspect(file, *ROLES)
    assert text.splitlines()[-8:] == [
        "4 readings from -24 to -18.5 um of 37 mm, written in steps of 0.1 um",
        "seats: left 3, right 1; 1 complete unit",
        "note: units without the reading of a seat: F2 (right), F4 (right)",
        "",
        "3 of 7 rows excluded",
        "  row 6: bore_mm: not a number (OK)",
        "  row 8: bore_mm: no reading",
        "  row 10: a row of a summary, not a reading (mean)",
    ]
    assert "  7 rows = 4 used + 3 excluded\n" in text


def test_json_is_one_document_whose_counts_add_up(file: Path) -> None:
    """The JSON carries the schema, the digest, and used + excluded = rows in."""
    read: dict[str, Any] = json.loads(inspect(file, *ROLES, "--json"))
    assert read["schema"] == "tolsim/inspection/1"
    assert len(read["sha256"]) == 64
    got = read["readings"]
    assert got["rows_in"] == got["used"] + len(got["excluded"]) == read["rows"] == 7
    assert got["seats"] == {"left": 3, "right": 1}
    listed: dict[str, Any] = json.loads(inspect(file, "--json"))
    assert [c["name"] for c in listed["columns"]] == ["frame", "side", "bore_mm", "lot"]
    assert all(c["cells"] == c["numbers"] + c["texts"] + c["empty"] == 7 for c in listed["columns"])
    assert listed["sha256"] == read["sha256"]


def test_options_that_need_each_other(file: Path) -> None:
    """A column needs its nominal size; roles need a column."""
    for arguments in (("--column", "bore_mm"), ("--nominal", "37"), ("--side", "side")):
        with pytest.raises(UsageError):
            inspect(file, *arguments)
    with pytest.raises(UsageError, match="0 to 10000"):
        inspect(file, "--column", "bore_mm", "--nominal", "nan")


def test_the_command_line_knows_it(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``tolsim inspect`` runs from the command group, and a file that is not there is named."""
    assert run(["inspect", str(file)]) == 0
    assert "4 named columns" in capsys.readouterr().out
    assert run(["inspect", "none.csv"]) == 3
    assert "none.csv" in capsys.readouterr().err


def test_faults_go_through_as_problems(file: Path) -> None:
    """A column that is not there is a fault with the closest name, as for a study."""
    with pytest.raises(SpecError) as caught:
        inspect(file, "--column", "bore_m", "--nominal", "37")
    assert caught.value.problems[0].closest == "bore_mm"
    with pytest.raises(SpecError, match="cannot be read"):
        inspect("none.csv")
