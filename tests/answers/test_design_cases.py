"""What only one freedom can do: alignment alone, another clearance group, another joint."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.answers.design import design
from tolsim.answers.design_results import BandResult, Design
from tolsim.cli.main import run
from tolsim.errors import ExitCode
from tolsim.spec.load import Study, load_study

STUDIES = Path(__file__).parents[2] / "studies"
BORE = """
[[choose]]
feature = "bore.diameter"
centre_um = [-45, -10]
width_um = [10, 20]
capability_basis = "made for a test"
cost = { per_width = 14 }
"""


def _north(folder: Path, rest: str, limits: str = "") -> Study:
    """The shipped question about one bore, with targets, costs and freedoms of its own."""
    head = (STUDIES / "north-band" / "study.toml").read_text().split("[targets]")[0]
    if limits:
        head = head[: head.index("[limits]")] + limits
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(f"{head}\n{rest}")
    return load_study(folder)


def _band(d: Design, path: str) -> BandResult:
    return next(b for b in d.bands if b.path == path)


def test_only_alignment_matters(tmp_path: Path) -> None:
    """Where every failure is one of alignment the size keeps its widest band."""
    study = _north(
        tmp_path,
        "[targets]\nmisaligned = 0.01\n[costs]\n"
        + BORE
        + """
[[choose]]
feature = "bore.alignment.offset"
width_um = [10, 400]
capability_basis = "made for a test"
cost = { per_width = 40 }
[[choose]]
feature = "bore.alignment.tilt"
width_deg = [0.01, 0.4]
capability_basis = "made for a test"
cost = { per_width = 0.05 }
""",
        limits="[limits]\nmisaligned = { angle_deg = 0.1, offset_um = 100 }\n",
    )
    d = design(study, deep=False)
    assert d.met
    assert 1e3 * _band(d, "bore.diameter").width == pytest.approx(20.0)
    assert 1e3 * _band(d, "bore.alignment.offset").width < 400.0
    assert d.modes["misaligned"].high <= 0.01


def test_only_another_clearance_group_will_do(tmp_path: Path) -> None:
    """CN leaves too little clearance once pressed in; C3 is the cheapest group that does not."""
    study = _north(
        tmp_path,
        "[targets]\ncreak = 0.005\ntight = 0.005\n[costs]\n"
        + BORE
        + """
[[choose]]
feature = "bearing.clearance"
classes = ["C2", "CN", "C3", "C4"]
cost = { classes = { "C2" = 0.1, "CN" = 0.0, "C3" = 0.4, "C4" = 0.9 } }
capability_basis = "made for a test"
""",
    )
    d = design(study, deep=False)
    assert d.met
    assert d.label == {"bearing.clearance": "C3"}
    status = {c.name: c.status for c in d.choices}
    assert status["CN"] == status["C2"] == "out of reach"
    runner_up = d.runner_up
    assert runner_up is not None
    assert runner_up.name == "C4"
    assert d.cost is not None
    assert runner_up.cost > d.cost


def test_written_classes_keep_the_promise(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A class that was chosen is written as a class, and predict reads it back."""
    _north(
        tmp_path / "a",
        "[targets]\ncreak = 0.01\ntight = 0.01\n[costs]\n"
        '[[choose]]\nfeature = "bore.diameter"\nclasses = ["P6", "N7", "P5"]\n'
        'capability_basis = "made for a test"\n'
        'cost = { classes = { "P6" = 2, "N7" = 1, "P5" = 3 } }\n',
    )
    out = tmp_path / "out"
    arguments = ["design", str(tmp_path / "a"), "--quick", "--no-progress", "--json"]
    assert run([*arguments, "--write", str(out)]) == ExitCode.MET
    p = json.loads(capsys.readouterr().out)
    assert p["bands"][0]["class"] == "P6"
    assert run(["predict", str(out), "--json", "--no-progress"]) == ExitCode.MET
    found = json.loads(capsys.readouterr().out)
    for mode, m in p["verified"]["modes"].items():
        assert m["low"] <= found["modes"][mode]["high"]
        assert found["modes"][mode]["low"] <= m["high"]


def test_ways_of_making_and_scrap(tmp_path: Path) -> None:
    """Of two ways of making the cheaper that holds a width that will do is chosen."""
    write(
        tmp_path,
        bore_route=machine("diameter", -20, 2),
        ring_route=machine("outside", -4.5, 1.2),
        limits="loose = { interference_um = 4 }\ntight = { clearance_um = 2 }\n"
        "[targets]\nloose = 0.004\ntight = 0.004\n"
        '[[choose]]\nfeature = "bore.diameter"\ncentre_um = [-40, -5]\n'
        '[[choose.process]]\nname = "boring"\nwidth_um = [30, 60]\ncapability = 1.0\n'
        'capability_basis = "made for a test"\ncost = { fixed = 1.0 }\n'
        '[[choose.process]]\nname = "reaming"\nwidth_um = [8, 40]\ncapability = 1.0\n'
        'capability_basis = "made for a test"\ncost = { at = [[8, 4.0], [40, 3.0]] }\n',
    )
    d = design(load_study(tmp_path), deep=False)
    assert d.met
    assert d.label == {"bore.diameter": "reaming"}
    assert _band(d, "bore.diameter").process == "reaming"
    assert {c.name: c.status for c in d.choices}["boring"] == "out of reach"


@pytest.mark.slow
def test_what_would_have_to_change(tmp_path: Path) -> None:
    """Where nothing will do a remedy is named, and applied it does."""
    study = _north(
        tmp_path,
        "[targets]\ncreak = 0.002\ntight = 0.02\n[costs]\n"
        + BORE.replace("[10,", "[19,").replace("20]", "60]").replace("[-45, -10]", "[-20, -10]"),
    )
    d = design(study)
    assert not d.met
    assert [u.mode for u in d.unreachable] == ["creak"]
    assert d.unreachable[0].best > 0.002
    sharper = next(r for r in d.remedies if r.kind == "capability")
    assert sharper.enough
    text = (tmp_path / "study.toml").read_text()
    again = f"capability = {1.03 * sharper.factor}\ncapability_basis"
    (tmp_path / "study.toml").write_text(text.replace("capability_basis", again))
    assert design(load_study(tmp_path), deep=False).met
