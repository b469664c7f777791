"""``tolsim compare``: exit codes, JSON, faults, one study with alternatives or several."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.cli.main import run
from tolsim.errors import ExitCode

QUICK = ("--draws", "32768", "--plain", "--no-progress")
LOADED = 'interference_um = 0 }\nsource = "made up"'


def _study(folder: Path, more: str = "", *, mean: float = -20.0) -> Path:
    write(folder, bore_route=machine("diameter", mean, 2), ring_route=machine("outside", -4, 1))
    path = folder / "study.toml"
    path.write_text(path.read_text() + more)
    return folder


def _alternative(folder: Path, mean: float, sd: float) -> str:
    text = (folder / "bearings" / "r.toml").read_text().split("[outside]")
    route = f"[outside]\nband_um = [-30, 0]\n{machine('outside', mean, sd)}[clearance]\nband_um"
    (folder / "bearings" / "other.toml").write_text(text[0] + route + " = [13, 28]\n")
    return '[[alternative]]\nname = "other"\nbearing = "bearings/other"\n'


@pytest.mark.parametrize(
    ("mean", "target", "code"),
    [
        (-4.0, 0.01, ExitCode.MET),
        (-16.0, 0.01, ExitCode.MISSED),
        # four standard deviations of two normals on either seat: near the target, few draws
        (-11.88, 0.000338, ExitCode.UNDECIDED),
    ],
)
def test_the_verdict_is_the_exit_code(
    tmp_path: Path, mean: float, target: float, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """Acceptable 0, not acceptable 1, not enough evidence 4; --exit-zero leaves with 0."""
    _study(tmp_path)
    _study(tmp_path, f"[targets]\nloose = {target}\n" + _alternative(tmp_path, mean, 1.0))
    arguments = ["compare", str(tmp_path), *QUICK]
    assert run(arguments) == code
    assert run([*arguments, "--exit-zero"]) == 0
    out = capsys.readouterr().out
    word = {0: "ACCEPTABLE", 1: "NOT ACCEPTABLE", 4: "NOT ENOUGH EVIDENCE"}[int(code)]
    assert f"{word}: other" in out


def test_json_is_one_document_and_repeats(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same study and seed give the same bytes, on one thread or two."""
    _study(tmp_path)
    _study(tmp_path, _alternative(tmp_path, -6.0, 2.0))
    texts = []
    for workers in ("1", "2"):
        run(["compare", str(tmp_path), *QUICK, "--json", "--workers", workers])
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    payload = json.loads(texts[0])
    assert payload["schema"] == "tolsim/comparison/1"
    assert [a["name"] for a in payload["alternatives"]] == ["as it stands", "other"]
    assert payload["alternatives"][0]["verdict"] is None


def test_several_studies_side_by_side(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two studies are both choices, named by their folders; one acceptable suffices."""
    target = "[targets]\nloose = 0.01\n"
    good = _study(tmp_path / "good", target)
    bad = _study(tmp_path / "bad", target, mean=-6.0)
    assert run(["compare", str(good), str(bad), *QUICK]) == ExitCode.MET
    out = capsys.readouterr().out
    assert "\nACCEPTABLE: good" in out
    assert "\nNOT ACCEPTABLE: bad" in out


def test_nothing_to_compare_is_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One study without alternatives leaves with 2 and says what is missing."""
    assert run(["compare", str(_study(tmp_path)), *QUICK]) == ExitCode.USAGE
    assert "no [[alternative]]" in capsys.readouterr().err


def test_a_changed_kind_names_its_parts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Missing parts of a changed kind leave with 3, at the alternative's line."""
    folder = _study(tmp_path, '[[alternative]]\nname = "glued"\nkind = "bonded"\n')
    assert run(["compare", str(folder), *QUICK]) == ExitCode.INVALID
    err = capsys.readouterr().err
    line = (folder / "study.toml").read_text().splitlines().index("[[alternative]]") + 1
    assert f"study.toml:{line}: alternative[0]: a bonded joint needs sleeve, adhesive" in err


def test_the_page_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--html writes the page beside the text; the study's own files are not written over."""
    _study(tmp_path)
    _study(tmp_path, "[targets]\nloose = 0.01\n" + _alternative(tmp_path, -16.0, 1.0))
    page = tmp_path / "page.html"
    assert run(["compare", str(tmp_path), *QUICK, "--html", str(page)]) == ExitCode.MISSED
    assert "NOT ACCEPTABLE" in page.read_text(encoding="utf-8")
    assert "NOT ACCEPTABLE: other" in capsys.readouterr().out
    study = tmp_path / "study.toml"
    before = study.read_bytes()
    assert run(["compare", str(tmp_path), *QUICK, "--html", str(study)]) == ExitCode.USAGE
    assert study.read_bytes() == before
