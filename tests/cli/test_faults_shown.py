"""Faults as a user meets them: ten over three files, on standard error, nothing run or written."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

STUDY = """\
title = "Ten faults in three files"

[joint]
kind    = "pressed"
bore    = "bores/shell"
bearing = "bearings/rnig"

[service]
temperature_C = [20, inf]

[limits]
loose = { interference_um = true, seperation = true }
tight = { clearance_mm = -0.002, clearance_um = -2 }

[targets]
tight = 1.5
"""
SHELL = """\
part     = "bore"
title    = "A shell"
basis    = "guessed"
material = "aluminum-6061-t6"
outside_diameter_mm = 46.0
seat_width_mm       = "7"
span_mm             = 82.0

[diameter]
nominal_mm = 37.0
band_um    = [-16, -32]

[[diameter.route]]
step   = "readings"
file   = "shell.csv"
column = "bore_mn"
"""
READINGS = "frame,bore_mm\n1,36.978\n2,36.981\n"

EXPECTED = """\
study.toml:6: joint.bearing: no such part in the study's folder or in specs/
    found    bearing = "bearings/rnig"
    closest  bearings/ring
study.toml:9: service.temperature_C[1]: expected a finite number
    found    temperature_C[1] = inf
    allowed  a finite number
study.toml:12: limits.loose.interference_um: expected a number
    found    interference_um = true
    allowed  a number
study.toml:12: limits.loose.seperation: unknown key
    found    seperation = true
    closest  separation
study.toml:13: limits.tight.clearance_mm: given twice, in two units
    found    clearance_mm = -0.002
    allowed  clearance_um or clearance_mm, not both
study.toml:16: targets.tight: out of range
    found    tight = 1.5
    allowed  below 1
bores/shell.toml:3: basis: unknown value
    found    basis = "guessed"
    allowed  measured, drawing, assumed
bores/shell.toml:4: material: unknown material
    found    material = "aluminum-6061-t6"
    closest  aluminium-6061-t6
bores/shell.toml:6: seat_width_mm: expected a number
    found    seat_width_mm = "7"
    allowed  a number
bores/shell.toml:11: diameter.band_um: lower limit must be below the upper
    found    band_um = [-16, -32]
    allowed  [lower, upper] with lower < upper
bores/shell.csv:1: bore_mn: no column of this name
    allowed  frame, bore_mm
    closest  bore_mm
11 problems in study.toml, bores/shell.toml, bores/shell.csv; nothing was run.
"""


def _write(folder: Path) -> Path:
    for name, text in (
        ("study.toml", STUDY),
        ("bores/shell.toml", SHELL),
        ("bores/shell.csv", READINGS),
        ("bearings/ring.toml", "not looked at [\n"),
    ):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


def _tolsim(cwd: Path, *arguments: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tolsim", *arguments],
        cwd=cwd,
        input=stdin,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ("check", "."),
        ("predict", "study.toml", "--figures", "out", "--html", "page.html"),
        ("predict", ".", "--json"),
    ],
)
def test_ten_faults_and_one(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    """Every command prints every fault word for word, leaves with 3 and writes nothing."""
    _write(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    done = _tolsim(tmp_path, *arguments)
    assert done.returncode == 3
    assert done.stdout == ""
    told = [r for r in done.stderr.splitlines() if not r.startswith("    allowed")]
    wanted = [r for r in EXPECTED.splitlines() if not r.startswith("    allowed")]
    assert told == wanted
    allowed = [r for r in EXPECTED.splitlines() if r.startswith("    allowed")]
    assert set(allowed) <= set(done.stderr.splitlines())
    assert sorted(tmp_path.rglob("*")) == before


def test_the_same_as_data(tmp_path: Path) -> None:
    """`check --json` carries the same faults as one document on standard output."""
    _write(tmp_path)
    done = _tolsim(tmp_path, "check", ".", "--json")
    assert done.returncode == 3
    problems = json.loads(done.stdout)["problems"]
    assert len(problems) == 11
    assert done.stderr == ""
    first = problems[0]
    assert (first["file"], first["line"], first["key"]) == ("study.toml", 6, "joint.bearing")
    assert first["closest"] == "bearings/ring"
    assert all(set(p) == set(first) for p in problems)


def test_several_at_once(tmp_path: Path) -> None:
    """Several paths, a part and standard input among them, are checked in one go."""
    _write(tmp_path)
    (tmp_path / "good").mkdir()
    assert _tolsim(tmp_path, "new", "good").returncode == 0
    done = _tolsim(tmp_path, "check", "good", "bores/shell.toml", "-", stdin="title = 3\n")
    assert done.returncode == 3
    assert done.stdout == "good/study.toml: no fault found in 4 files\n"
    assert "bores/shell.toml:3: basis: unknown value" in done.stderr
    assert "standard input:1: title: expected text in quotes" in done.stderr


def test_control_characters_are_not_printed(tmp_path: Path) -> None:
    """Text of a file reaches the terminal without anything that would steer it."""
    _write(tmp_path)
    text = STUDY.replace("Ten faults", "\\u001b]0;owned\\u0007")
    text = text.replace("kind    = ", 'kind\\u001b = "x"\nkind = ').replace(
        "kind\\u001b", '"k\\u001b[2J"'
    )
    (tmp_path / "study.toml").write_text(text)
    for arguments in (("check", "."), ("predict", ".")):
        done = _tolsim(tmp_path, *arguments)
        assert done.returncode == 3
        assert "\x1b" not in done.stderr
        assert "\x07" not in done.stderr
