"""What ``tolsim predict`` tells of doubtful physics, and of every limit that a seat can have."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.shipped import changed
from tolsim.cli.main import cli

Keys = Mapping[str, Any]
STEEL, PRESSED, SCREWED = "steel-all-year", "sleeved-alloy", "threaded-steel"


def predict(home: Path, *options: str) -> str:
    """What the command prints."""
    common = ["predict", str(home), "--draws", "2000", "--plain", "--no-progress", "--exit-zero"]
    result = CliRunner().invoke(cli, [*common, *options])
    assert result.exit_code == 0, result.output
    return result.stdout


def _made(mean: float) -> dict[str, Any]:
    step = {"step": "machine", "mean_um": mean, "sd_um": 1.9}
    return {"bore.diameter.route": [step], "bore.diameter.band_um": None}


#: Study, keys that raise the sentence, keys of a neighbour that does not, its words.
VALIDITY: dict[str, tuple[str, Keys, Keys, str]] = {
    "thin wall": (
        STEEL,
        {"bore.outside_diameter_mm": 39.6},
        {"bore.outside_diameter_mm": 39.8},
        "shell: wall 1.3 mm is thin for a bore of 37 mm",
    ),
    "thick wall": (
        STEEL,
        {"bore.outside_diameter_mm": 78.0},
        {"bore.outside_diameter_mm": 77.4},
        "shell: wall 20.5 mm is thick for a bore of 37 mm",
    ),
    "yielded ring": (
        STEEL,
        _made(-360.0),
        _made(-340.0),
        "bearing ring at −5, 20, 45 °C: equivalent stress reaches 1727 MPa in 1 of 740 units",
    ),
    "seat wider than the sleeve": (
        PRESSED,
        {"sleeve.length_mm": 6.9},
        {"sleeve.length_mm": 7.0},
        "the ring, 7 mm wide, overhangs its sleeve, 6.9 mm long",
    ),
    "temperature outside the table": (
        STEEL,
        {"study.service.temperature_C": [-41, 20]},
        {"study.service.temperature_C": [-40, 20]},
        "bearing ring: constants of bearing-steel hold from −40 to 120 °C, the study asks for −41",
    ),
}


@pytest.mark.parametrize("case", VALIDITY)
def test_a_doubt_stands_beside_the_number(tmp_path: Path, case: str) -> None:
    """Under "Mind" on the page and among the warnings, and not for the near neighbour."""
    study, raising, quiet, words = VALIDITY[case]
    for folder, keys, told in (("a", raising, True), ("b", quiet, False)):
        home = changed(tmp_path / folder, study, keys)
        page = " ".join(predict(home).split())
        assert (words in page.partition(" Mind ")[2]) is told
        warnings = json.loads(predict(home, "--json"))["warnings"]
        assert any(words.replace("−", "-") in w for w in warnings) is told


#: Study, keys, cause that is told, words of its limit.
LIMITS: dict[str, tuple[str, Keys, str, str]] = {
    "micro-slip": (STEEL, {"study.limits.loose.micro_slip": True}, "micro-slip", "stuck under"),
    "slip torque": (
        STEEL,
        {"study.limits.loose.slip_torque_Nm": 2},
        "slip torque",
        "at least 2 N m",
    ),
    "pull-out": (STEEL, {"study.limits.loose.pull_out_N": 300}, "pull-out", "at least 300 N"),
    "creep": (STEEL, {}, "ring creep", "interference left under load"),
    "loosening": (SCREWED, {}, "loosening", ""),
    "flange contact": (SCREWED, {}, "flange contact", ""),
    "end of life": (
        STEEL,
        {
            "study.service.life_h": 20000,
            "bore.material": "cfrp-quasi-isotropic",
            "study.limits.loose.pull_out_N": 100,
        },
        "pull-out at the end of life",
        "at least 100 N",
    ),
}


@pytest.mark.parametrize("case", LIMITS)
def test_every_limit_reaches_the_page(tmp_path: Path, case: str) -> None:
    """Counted at every seat in the document; on the page failed at, or never seen."""
    study, keys, cause, words = LIMITS[case]
    home = changed(tmp_path, study, keys)
    causes = [c for c in json.loads(predict(home, "--json"))["causes"] if c["cause"] == cause]
    assert {c["seat"] for c in causes} == {1, 2}
    assert all(words in c["limit"] for c in causes)
    page = " ".join(predict(home).split())
    hidden = all(c["share"] == 0.0 for c in causes)
    assert cause in (page.partition("never seen in")[2] if hidden else page)


def _loose(home: Path) -> float:
    found = json.loads(predict(home, "--json"))["modes"]["loose"]["share"]
    return float(found)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"study.joint.removals": 3}, "3 removals: share of the interference kept per removal"),
        ({"study.service.bearing_warmer_K": 60}, "ring-temperature"),
        ({"study.service.pedal_force_N": 900}, "bears 1109 N"),  # 900 (1/2 + 60/82)
    ],
    ids=["retention after removals", "creep by temperature", "creep by load"],
)
def test_what_service_takes_shows_in_the_rate(tmp_path: Path, keys: Keys, told: str) -> None:
    """More seats are loose, and the page says what made it so."""
    alone = {"study.limits.loose": {"interference_um": 0, "creep": True}}
    before = changed(tmp_path / "a", STEEL, alone)
    after = changed(tmp_path / "b", STEEL, {**alone, **keys})
    assert _loose(after) > _loose(before)
    assert told not in " ".join(predict(before).split())
    assert told in " ".join(predict(after).split())
