"""Twelve parts: every answer prints a range, exits undecided, and says what they could prove."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.answers.test_predict_shapes import skewed
from tests.answers.test_predict_shapes import study as of_bores
from tolsim.cli.main import run
from tolsim.errors import ExitCode
from tolsim.report.compare_text import comparison_text
from tolsim.report.rank_text import rank_text
from tolsim.report.text import prediction_text


def _skewed(folder: Path) -> Path:
    x = skewed(-9.5, 2.2, 1.2).rvs(12, random_state=np.random.default_rng(5))
    return of_bores(folder, np.asarray(x))


def _three_lots(folder: Path) -> Path:
    """Twelve parts, four of each of three lots, whose means differ no more than chance."""
    rng = np.random.default_rng(11)
    of_bores(folder, rng.normal(-9.5, 1.0, 12), 'lot = "lot"\nshape = "normal"\n')
    path = folder / "bores" / "read.csv"
    head, *rows = path.read_text().splitlines()
    told = [f"{row},{'abc'[k // 4]}" for k, row in enumerate(rows)]
    path.write_text("\n".join([f"{head},lot", *told]) + "\n")
    return folder


MAKERS = {"skewed": _skewed, "three lots": _three_lots}


WRITERS = {"predict": prediction_text, "rank": rank_text, "compare": comparison_text}


def _answered(
    command: str, folder: Path, capsys: pytest.CaptureFixture[str], *more: str
) -> tuple[int, dict[str, Any], str]:
    """Exit code, payload and page of one run."""
    code = run([command, str(folder), "--no-progress", "--json", *more])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return code, found, " ".join(WRITERS[command](found).split())


@pytest.mark.parametrize("name", MAKERS)
def test_a_prediction_of_twelve_parts(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A range that holds the target, undecided, and the smallest rate that 12 parts could prove:
    1 - 0.05^(1/12) = 22 %."""
    code, found, text = _answered("predict", MAKERS[name](tmp_path), capsys, "--draws", "131072")
    assert code == ExitCode.UNDECIDED
    creak = found["modes"]["creak"]
    assert creak["low"] < creak["share"] < creak["high"]
    (least,) = found["provable"]
    assert least["smallest_provable_share"] == pytest.approx(1.0 - 0.05 ** (1.0 / 12.0))
    assert "the smallest rate that 12 readings could prove by themselves" in text
    assert "is 22 %" in text


def test_three_lots_say_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Within the target for the lots measured, open for the next one: the answer says so."""
    _, found, text = _answered("predict", _three_lots(tmp_path), capsys, "--draws", "131072")
    creak = found["modes"]["creak"]
    assert found["next_lot"]["creak"]["verdict"] == "undecided"
    assert creak["high"] < creak["target"]
    assert creak["open_by_lots"]
    assert "creak stays within 2 % of units for the lots measured" in text
    assert "too little of the next one" in text
    assert "three lots" in text


def test_the_other_answers_on_twelve_parts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Compare is undecided, rank tells where the rate stands with all that is left open, the window
    where the supplier may be; each says what twelve parts could prove."""
    folder = _skewed(tmp_path)
    least = "the smallest rate that 12 readings could prove by themselves"
    _, found, text = _answered("rank", folder, capsys, "--draws", "32768")
    today = found["today"]["creak"]
    assert today["verdict"] == "undecided"
    assert "creak stands at" in text
    assert least in text
    path = folder / "study.toml"
    path.write_text(path.read_text() + '[[alternative]]\nname = "same"\nbearing = "bearings/r"\n')
    code, found, text = _answered("compare", folder, capsys, "--draws", "65536", "--quick")
    assert code == ExitCode.UNDECIDED
    assert found["alternatives"][1]["provable"][0]["parts"] == 12
    assert least in text


@pytest.mark.parametrize(("centres", "code"), [("[-12, 0]", ExitCode.MET), ("[-5, -4]", 4)])
def test_a_design_beside_twelve_parts(
    centres: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bands are promised where the upper end holds all that twelve readings leave open; where rates
    keep the target but the upper end cannot, the design is undecided and says what would help."""
    folder = _skewed(tmp_path)
    path = folder / "study.toml"
    choose = f'[[choose]]\nfeature = "bearing.outside"\ncentre_um = {centres}\nwidth_um = [6, 9]\n'
    path.write_text(path.read_text() + choose + 'follows = "process"\ncapability = 1.0\n')
    got = run(["design", str(folder), "--no-progress", "--quick", "--json"])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert got == code
    assert found["provable"][0]["parts"] == 12
    if code == ExitCode.MET:
        creak = found["verified"]["modes"]["creak"]
        assert creak["high"] <= 0.02
        assert creak["high"] == max(creak["high"], creak["left_open"]["high"])
    else:
        assert found["verdict"] == "undecided"
        assert found["nearest_rates"]["creak"] < 0.02
