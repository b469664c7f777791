"""Design: bands that a run on fresh draws verifies, cheapest on the grid, or why there are none."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.studies import write, write_design
from tolsim.answers.design import design
from tolsim.answers.design_cases import problem_of
from tolsim.cli.main import run
from tolsim.errors import ExitCode, UsageError
from tolsim.spec.load import Study, load_study

STUDIES = Path(__file__).parents[2] / "studies"

TARGETS = "[targets]\nloose = 0.004\ntight = 0.004\n"
CHOOSE = """
[[choose]]
feature = "bore.diameter"
centre_um = [-40, -5]
width_um = [4, 40]
capability = 1.0
capability_basis = "made for a test"
cost = {{ fixed = 0.5, per_width = 10.0 }}
{more}
"""


def _study(folder: Path, more: str = "", targets: str = TARGETS) -> Study:
    return load_study(write_design(folder, f"{targets}{CHOOSE.format(more=more)}"))


def test_cheapest_on_the_grid(tmp_path: Path) -> None:
    """The band found is as wide as any that the enumeration of the grid calls good."""
    d = design(_study(tmp_path), workers=2)
    assert d.met
    (band,) = d.bands
    assert band.low is not None
    assert band.high is not None
    for end in (band.low, band.high):
        assert 1e3 * end == pytest.approx(round(1e3 * end), abs=1e-6)
    assert d.region is not None
    widest = d.region.bands[0][d.region.good, 1].max()
    assert abs(1e3 * (band.width - widest)) <= 1.01
    for mode, goal in d.targets.items():
        assert d.modes[mode].high <= goal
        assert d.modes[mode].verdict == "met"


def test_sorting_pays_scrap(tmp_path: Path) -> None:
    """A band that sorts keeps the process, and its scrap is the normal's own tails."""
    from scipy.special import ndtr

    study = _study(tmp_path, more='follows = "gauge"')
    d = design(study, deep=False)
    assert d.met
    (band,) = d.bands
    assert band.low is not None
    assert band.high is not None
    tails = ndtr((1e3 * band.low + 20) / 2) + ndtr(-(1e3 * band.high + 20) / 2)
    assert band.scrap == pytest.approx(float(tails), abs=1e-9)
    # sorting costs nothing here, so the widest band that meets the targets is taken
    assert band.width > 0.008


def test_out_of_reach(tmp_path: Path) -> None:
    """Where no band will do, the target in the way and the best attainable are named."""
    d = design(_study(tmp_path, targets="[targets]\nloose = 1e-5\ntight = 1e-5\n"), deep=False)
    if d.met:
        pytest.fail("the window is too narrow for this")
    assert d.unreachable
    for worst in d.unreachable:
        assert worst.best > worst.target


def test_no_basis_is_warned_of_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A capability that nobody has shown makes the first line a warning."""
    folder = tmp_path
    _study(folder)
    path = folder / "study.toml"
    path.write_text(path.read_text().replace('capability_basis = "made for a test"\n', ""))
    assert run(["design", str(folder), "--quick", "--no-progress"]) == ExitCode.MET
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("A tighter number on a drawing changes no machine")


def test_written_parts_keep_the_promise(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What --write writes is met by predict, and is never written over anything."""
    _study(tmp_path / "a")
    out = tmp_path / "out"
    arguments = ["design", str(tmp_path / "a"), "--quick", "--no-progress", "--write", str(out)]
    assert run([*arguments, "--json"]) == ExitCode.MET
    promised = json.loads(capsys.readouterr().out)
    assert run(["predict", str(out), "--json", "--no-progress", "--draws", "1048576"]) == 0
    found = json.loads(capsys.readouterr().out)
    for mode in promised["targets"]:
        a = promised["verified"]["modes"][mode]
        b = found["modes"][mode]
        assert a["low"] <= b["high"]
        assert b["low"] <= a["high"]
    assert run(arguments) == ExitCode.USAGE
    capsys.readouterr()


def test_choices_of_parts(tmp_path: Path) -> None:
    """A dearer bearing that is the only one to meet the targets is chosen."""
    write(tmp_path)
    text = (tmp_path / "bearings" / "r.toml").read_text()
    for name, price, band in (("good", 3.0, "[13, 28]"), ("tight", 1.0, "[0, 6]")):
        (tmp_path / "bearings" / f"{name}.toml").write_text(
            text.replace('basis = "assumed"', f'basis = "assumed"\nprice_each = {price}').replace(
                "band_um = [13, 28]", f"band_um = {band}"
            )
        )
    study = _study(
        tmp_path,
        more='[[choose]]\npart = "bearing"\noptions = ["bearings/tight", "bearings/good"]\n',
    )
    d = design(study, deep=False)
    assert d.met
    assert d.label == {"bearing": "bearings/good"}
    assert [c.status for c in d.choices] == ["met", "out of reach"]


def test_nothing_free(tmp_path: Path) -> None:
    """A study without freedom is told so."""
    write_design(tmp_path, TARGETS)
    with pytest.raises(UsageError, match="needs freedom"):
        problem_of(load_study(tmp_path))


@pytest.mark.slow
def test_shipped_design() -> None:
    """The shipped study of one band is met."""
    d = design(load_study(STUDIES / "north-band"), deep=False)
    assert d.met
    (band,) = d.bands
    assert 0.017 <= band.width <= 0.021
