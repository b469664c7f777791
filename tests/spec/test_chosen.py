"""Freedoms of design that make no sense are told when a study is loaded, each at its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studies import write
from tolsim.errors import Problem, SpecError
from tolsim.spec.load import load_study

BAND = 'feature = "bore.diameter"\ncentre_um = [-40, -10]\nwidth_um = [6, 40]\n'
TILT = 'feature = "bore.alignment.tilt"\nwidth_deg = [0.02, 0.3]\n'
ALIGNED = "[alignment]\noffset_um = { sd = 15 }\ntilt_deg = { sd = 0.015 }\n"
LARGE = """
part = "bore"
title = "made for a test"
basis = "assumed"
material = "steel-4130"
outside_diameter_mm = 50.0
seat_width_mm = 7.0
span_mm = 82.0
[diameter]
nominal_mm = 42.0
band_um = [-30, -10]
"""


def _problems(folder: Path, *choices: str) -> list[Problem]:
    """What is told of these choices in a pressed study of one bore and one ring."""
    write(folder, bore_route=ALIGNED)
    (folder / "bores" / "large.toml").write_text(LARGE)
    study = folder / "study.toml"
    study.write_text(study.read_text() + "".join(f"\n[[choose]]\n{c}" for c in choices))
    try:
        load_study(folder)
    except SpecError as e:
        return list(e.problems)
    return []


def test_freedoms_that_make_sense(tmp_path: Path) -> None:
    """Bands of sizes and scatters, classes, and parts that can meet load without a fault."""
    good = (
        BAND,
        TILT,
        'feature = "bearing.outside"\nclasses = ["normal", "6"]\n',
        'part = "bearing"\noptions = ["bearings/r", "bearings/25x37x7-good"]\n',
    )
    assert _problems(tmp_path, *good) == []


@pytest.mark.parametrize(
    ("choose", "key", "said"),
    [
        ('feature = "bore.diametre"\nwidth_um = [4, 9]\n', "feature", "no such size"),
        (
            'feature = "sleeve.inside"\ncentre_um = [0, 9]\nwidth_um = [4, 9]\n',
            "feature",
            "no such",
        ),
        ('feature = "bore.diameter"\nwidth_um = [4, 9]\n', "feature", "range of its middle"),
        (BAND.replace("width_um", "width_deg"), "width_deg", "is a length"),
        (TILT.replace("width_deg", "width_um"), "width_um", "is an angle"),
        (
            BAND + 'process = [{ name = "a", width_deg = [1, 2] }]\n',
            "process[0].width_deg",
            "length",
        ),
        (TILT + "centre_um = [1, 2]\n", "centre_um", "no middle"),
        (TILT + 'follows = "gauge"\n', "follows", "sorts sizes"),
        ('feature = "bore.alignment.tilt"\nclasses = ["P6"]\n', "classes", "for sizes"),
        ('feature = "bore.diameter"\nclasses = ["P6", "p6"]\n', "classes[1]", "class of shafts"),
        ('feature = "bore.diameter"\nclasses = ["P99"]\n', "classes[0]", "no grade 99"),
        ('feature = "bore.diameter"\nclasses = ["P6", "P6"]\n', "classes[1]", "twice"),
        (BAND + "cost = { classes = { P6 = 3 } }\n", "cost", "band is free"),
        (BAND + 'options = ["bearings/r"]\n', "options", "no such key"),
        (
            'part = "bearing"\noptions = ["bearings/r"]\nwidth_um = [1, 2]\n',
            "width_um",
            "no such key",
        ),
        ('part = "bearing"\noptions = ["bearings/r", "bearings/r"]\n', "options[1]", "twice"),
        ('part = "sleeve"\noptions = ["sleeves/any-turned"]\n', "part", "no joint"),
        ('part = "bore"\noptions = ["bores/b", "bores/large"]\n', "options[1]", "cannot meet"),
        ('alternatives = ["sleeved"]\n', "alternatives[0]", "no [[alternative]]"),
        (
            BAND + 'process = [{ name = "a", width_um = [6, 9] }, { name = "a" }]\n',
            "process[1].name",
            "one name",
        ),
    ],
)
def test_freedoms_that_make_no_sense(tmp_path: Path, choose: str, key: str, said: str) -> None:
    """One fault, with its line, its key, what was found there and what is allowed."""
    (fault,) = _problems(tmp_path, choose)
    assert fault.key == f"choose[0].{key}"
    assert said in fault.message
    assert fault.found is not None
    assert fault.allowed
    lines = (tmp_path / "study.toml").read_text().splitlines()
    assert fault.line is not None
    assert key.split(".")[-1].split("[")[0] in lines[fault.line - 1]


def test_one_thing_is_free_once(tmp_path: Path) -> None:
    """A second table for the same size or part would contradict the first."""
    (fault,) = _problems(tmp_path, BAND, BAND)
    assert (fault.key, fault.allowed) == ("choose[1].feature", "one [[choose]] for each feature")
    bearing = 'part = "bearing"\noptions = ["bearings/r"]\n'
    (fault,) = _problems(tmp_path, bearing, bearing)
    assert fault.key == "choose[1].part"


def test_units_as_they_are_written(tmp_path: Path) -> None:
    """A key in another unit is told under the name that stands in the file."""
    (fault,) = _problems(tmp_path, TILT.replace("width_deg = [0.02, 0.3]", "width_mm = [1, 2]"))
    assert (fault.key, fault.found) == ("choose[0].width_mm", "width_mm = [1, 2]")
    assert fault.allowed == "width_deg"
