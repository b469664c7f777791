"""``tolsim window``: page, JSON, step, picture, exit codes."""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.cli.main import run
from tolsim.errors import ExitCode

COMMON = ["--points", "5", "--no-progress", "--x-range", "-16", "-8", "--y-range", "1", "3"]


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> str:
    """One normal bore and one normal ring with a target on looseness."""
    folder = write(
        tmp_path_factory.mktemp("window"),
        bore_route=machine("diameter", -10.0, 2.0),
        ring_route=machine("outside", -4.0, 1.5),
        study_more="[targets]\nloose = 0.02\n",
    )
    return str(folder)


def test_page(study: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The demand leads, its corners carry intervals, every target has a table."""
    assert run(["window", study, *COMMON]) == ExitCode.MET
    lines = capsys.readouterr().out.splitlines()
    assert lines[2].startswith("Hold the mean of the bore diameter within −")
    page = " ".join(lines)
    assert "standard deviation at or below" in page
    assert "Rerun at its corners" in page
    assert "Loose, target 2 % of units" in page
    assert "all parts (assumed): mean −10.0 µm, sd 2.0 µm" in page
    assert "seed 1" in page


def test_json(study: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One document: axes in µm, a rate with both ends at every point."""
    assert run(["window", study, *COMMON, "--json"]) == ExitCode.MET
    p = json.loads(capsys.readouterr().out)
    assert p["schema"] == "tolsim/window/1"
    assert p["x"]["values"] == pytest.approx([-16.0, -14.0, -12.0, -10.0, -8.0])
    assert p["y"]["unit"] == "µm"
    for j in range(5):
        for i in range(5):
            r = p["rates"]["loose"]
            assert 0.0 <= r["low"][j][i] <= r["value"][j][i] <= r["high"][j][i] <= 1.0
            assert p["good"][j][i] == (r["value"][j][i] <= 0.02)
    assert p["demand"]["corners"][0]["rates"]["loose"]["high"] <= 0.02


def test_same_seed_same_document(study: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing depends on the threads."""
    pages = []
    for workers in ("1", "2"):
        run(["window", study, *COMMON, "--json", "--workers", workers])
        pages.append(capsys.readouterr().out)
    assert pages[0] == pages[1]


def test_demand_is_a_part_file(
    study: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is printed is a bore that loads as it stands and whose prediction meets the target.

    Its head tells the study, the digests of all inputs and the seed.
    """
    assert run(["window", study, *COMMON, "--toml"]) == ExitCode.MET
    text = capsys.readouterr().out
    told = tomllib.loads(text)
    (step,) = told["diameter"]["route"]
    assert step["step"] == "machine"
    assert step["sd_um"] > 0.0
    assert told["basis"] == "assumed"
    assert "seed 1" in text
    digest = hashlib.sha256((Path(study) / "bores" / "b.toml").read_bytes()).hexdigest()
    assert digest in text
    write(
        tmp_path,
        ring_route=machine("outside", -4.0, 1.5),
        study_more="[targets]\nloose = 0.02\n",
    )
    (tmp_path / "bores" / "b.toml").write_text(text)
    assert run(["predict", str(tmp_path), "--draws", "65536", "--no-progress"]) == ExitCode.MET
    capsys.readouterr()


def test_demand_on_two_parts_is_one_file_and_one_beside(
    study: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of two means in two parts the first is a file, the second stands behind it as comment."""
    axes = ["--x", "bore.diameter.mean", "--y", "bearing.outside.mean", "--points", "5"]
    ends = ["--x-range", "-16", "-8", "--y-range", "-6", "-2", "--no-progress"]
    assert run(["window", study, *axes, *ends, "--toml"]) == ExitCode.MET
    text = capsys.readouterr().out
    assert tomllib.loads(text)["part"] == "bore"
    head, _, behind = text.partition("# a second file, the bearing:\n")
    assert "bearing.outside.mean" in head
    second = "\n".join(line.removeprefix("#").strip() for line in behind.splitlines())
    assert tomllib.loads(second)["part"] == "bearing"
    write(tmp_path, study_more="[targets]\nloose = 0.02\n")
    (tmp_path / "bores" / "b.toml").write_text(text)
    (tmp_path / "bearings" / "r.toml").write_text(second)
    assert run(["predict", str(tmp_path), "--draws", "65536", "--no-progress"]) == ExitCode.MET
    capsys.readouterr()


def test_picture(study: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The picture is an SVG with a description; the same run writes the same bytes."""
    files = [tmp_path / "a.svg", tmp_path / "b.svg"]
    for file in files:
        assert run(["window", study, *COMMON, "--figure", str(file)]) == ExitCode.MET
    capsys.readouterr()
    text = files[0].read_text()
    assert text == files[1].read_text()
    assert "<svg" in text
    assert "Contours of loose over the mean of the bore diameter" in text
    assert "mean of the bore diameter [µm from nominal]" in text


def test_exit_codes(study: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1 where nothing holds, 2 for options at odds, 3 for axes that are none; no input is lost."""
    nowhere = ["--points", "4", "--no-progress", "--x-range", "-5", "-2", "--y-range", "1", "3"]
    assert run(["window", study, *nowhere]) == ExitCode.MISSED
    assert "Nowhere within these axes are all targets met" in capsys.readouterr().out
    assert run(["window", study, *nowhere, "--toml"]) == ExitCode.MISSED
    assert capsys.readouterr().out.startswith("# Nowhere")
    assert run(["window", study, "--x", "bore.diametr.mean"]) == ExitCode.INVALID
    assert "closest bore.diameter.mean" in " ".join(capsys.readouterr().err.split())
    assert run(["window", study, "--toml", "--json"]) == ExitCode.USAGE
    part = Path(study) / "bores" / "b.toml"
    before = part.read_bytes()
    assert run(["window", study, *COMMON, "--figure", str(part)]) == ExitCode.USAGE
    assert part.read_bytes() == before
    assert run(["window", str(tmp_path / "none")]) != ExitCode.MET
    capsys.readouterr()
