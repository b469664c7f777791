"""Files beside a part that say more than one size: alignment, form, settling, and their state."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.studies import machine, write
from tolsim.cli.main import run
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Joint
from tolsim.process.evidence import spread_factor
from tolsim.spec.load import load_study
from tolsim.spec.route_steps import Settle

MISALIGNED = "misaligned = { offset_um = 100 }"
STATED = "[alignment]\noffset_um = { sd = 20 }\ntilt_deg = { sd = 0.01 }"
AXES = """\
[alignment.readings]
file = "axes.csv"
side = "side"
unit = "unit"
sections = [
  { x = "x2_um", y = "y2_um", depth_mm = 2 },
  { x = "x6_um", y = "y6_um", depth_mm = 6 },
]
"""
RUNOUT = """\
[alignment]
tilt_deg = { sd = 0.01 }
[alignment.readings]
file = "runout.csv"
runout = "runout_um"
"""
PREDICT = ("--json", "--draws", "200000", "--no-progress")


def predicted(folder: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    code = run(["predict", str(folder), *PREDICT])
    out = capsys.readouterr()
    assert code in (0, 1, 4), out.err
    found: dict[str, Any] = json.loads(out.out)
    return found


def axes_file(folder: Path, n: int, rng: np.random.Generator) -> None:
    """Coordinates of n units, 20 µm and 0.01 degrees a component, at 2 and 6 mm."""
    lines = ["unit,side,x2_um,y2_um,x6_um,y6_um"]
    for unit in range(n):
        for side in ("left", "right"):
            o, t = 20.0 * rng.standard_normal(2), math.radians(0.01) * rng.standard_normal(2)
            low, high = o - 2e3 * t, o + 2e3 * t
            lines.append(f"{unit},{side}," + ",".join(f"{v:.3f}" for v in (*low, *high)))
    (folder / "bores" / "axes.csv").write_text("\n".join(lines) + "\n")


def test_coordinates_of_axes_become_the_alignment(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """60 units read in two sections: the share out of line holds what the true process gives."""
    truth = write(tmp_path / "true", bore_more=STATED, limits=MISALIGNED)
    read = write(tmp_path / "read", bore_more=AXES, limits=MISALIGNED)
    axes_file(read, 60, np.random.default_rng(41))
    exact = predicted(truth, capsys)["modes"]["misaligned"]["share"]
    found = predicted(read, capsys)
    mode = found["modes"]["misaligned"]
    assert mode["low"] < exact < mode["high"]
    assert mode["sample"]["high"] > 1.2 * mode["sample"]["low"]
    assert any("alignment of 120 seats" in w for w in found["warnings"])
    joint = assemble(load_study(read))
    rows = {joint.latent[i] for i in joint.evidence}
    assert "evidence bores/b bore.offset_x correlation" in rows
    assert "evidence bores/b bore.tilt_y sd@2" in rows


def margins(joint: Joint, z: np.typing.NDArray[np.float64]) -> np.typing.NDArray[np.float64]:
    return np.asarray(joint.recording(z))


def test_run_out_alone_is_rayleigh_and_says_so(tmp_path: Path) -> None:
    """Run-out is twice the offset; its spread is drawn from chi-square with 2 n degrees."""
    folder = write(tmp_path, bore_more=RUNOUT, limits=MISALIGNED)
    rng = np.random.default_rng(42)
    r = np.round(2.0 * np.hypot(*(20.0 * rng.standard_normal((2, 30)))), 1)
    (folder / "bores" / "runout.csv").write_text("runout_um\n" + "\n".join(map(str, r)) + "\n")
    joint = assemble(load_study(folder))
    told = " ".join(joint.builds[0].warnings)
    assert "has no direction" in told
    assert "directions are not known" in told
    at = joint.latent.index("evidence bores/b bore.offset sd")
    assert at in joint.evidence
    z = np.zeros((len(joint.latent), 3))
    z[at] = [-1.0, 0.0, 1.0]
    z[joint.latent.index("bore.offset_x@1")] = 1.0
    margin = margins(joint, z)[joint.builds[0].first]
    estimate = math.sqrt(float(((0.5e-3 * r) ** 2).mean()) / 2.0)
    expected = estimate * np.exp(spread_factor(60).primitive(z[at]))
    assert_allclose(0.1 - margin, expected, rtol=1e-6)


def test_places_of_a_bore_give_mean_taper_and_oval(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two depths and three angles: rows of evidence for size, taper and ovality, and a result."""
    route = '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\nwide = true\nunit = "unit"\n'
    folder = write(tmp_path, bore_route=route)
    rng = np.random.default_rng(43)
    places = [(z, a) for z in (2, 6) for a in (0, 60, 120)]
    lines = ["unit," + ",".join(f"z{z} a{a}_mm" for z, a in places)]
    for unit in range(20):
        mean, taper = -0.020 + 0.003 * rng.standard_normal(), 0.004
        c, s = 0.002 * rng.standard_normal(2)
        sizes = [
            37.0
            + mean
            + taper * (z - 4) / 4
            + c * math.cos(2 * math.radians(a))
            + s * math.sin(2 * math.radians(a))
            for z, a in places
        ]
        lines.append(f"{unit}," + ",".join(f"{v:.5f}" for v in sizes))
    (folder / "bores" / "b.csv").write_text("\n".join(lines) + "\n")
    found = predicted(folder, capsys)
    told = " ".join(found["warnings"])
    assert "taper of 20 bores" in told
    assert "ovality of 20 bores" in told
    joint = assemble(load_study(folder))
    rows = {joint.latent[i] for i in joint.evidence}
    assert {
        "evidence bores/b bore.diameter mean",
        "evidence bores/b bore.taper mean",
        "evidence bores/b bore.roundness sd",
    } <= rows
    readings = load_study(folder).strata[0].readings["bore.diameter"]
    assert readings.taper is not None
    assert_allclose(readings.taper, 0.004, atol=1e-5)


SETTLE = """\
[[diameter.route]]
step = "settle"
time_h = 36
exponent = 0.6
readings = { file = "ages.csv", column = "bore_mm", age = "age_h", unit = "unit" }
"""


def ages_file(folder: Path, n: int, rng: np.random.Generator) -> None:
    """n parts at 2 and 200 h: the whole change is -8 µm, 1 µm from part to part."""
    done = [1.0 - math.exp(-((t / 36.0) ** 0.6)) for t in (2.0, 200.0)]
    lines = ["unit,age_h,bore_mm"]
    for unit in range(n):
        size, change = -0.015 + 0.003 * rng.standard_normal(), -8e-3 + 1e-3 * rng.standard_normal()
        for t, k in zip((2, 200), done, strict=True):
            lines.append(f"{unit},{t},{37.0 + size + k * change:.6f}")
    (folder / "bores" / "ages.csv").write_text("\n".join(lines) + "\n")


def test_two_ages_give_the_settling(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Parts read at two ages: the change up to assembly follows, with its interval."""
    folder = write(
        tmp_path,
        bore_route=machine("diameter", -15, 3) + SETTLE,
        study_more="age_at_assembly_h = 300",
    )
    ages_file(folder, 15, np.random.default_rng(44))
    found = predicted(folder, capsys)
    assert "15 parts changed by" in " ".join(found["warnings"])
    study = load_study(folder)
    step = study.strata[0].bore.diameter.route[1]
    assert isinstance(step, Settle)
    assert abs(step.mean + 8e-3) < 5.0 * 1e-3 / math.sqrt(15.0)
    joint = assemble(study)
    assert "evidence bores/b bore.diameter.settle0 mean" in {
        joint.latent[i] for i in joint.evidence
    }


def test_settling_of_a_measured_bore_has_rows_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """After readings the change is drawn from Student's evidence, mean and spread apart."""
    route = '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "bore_mm"\n' + SETTLE
    folder = write(tmp_path, bore_route=route, study_more="age_at_assembly_h = 300")
    rng = np.random.default_rng(45)
    ages_file(folder, 12, rng)
    sizes = 36.985 + 0.003 * rng.standard_normal(12)
    text = "bore_mm\n" + "\n".join(f"{v:.4f}" for v in sizes)
    (folder / "bores" / "b.csv").write_text(text + "\n")
    mode = predicted(folder, capsys)["modes"]["loose"]
    assert mode["sample"] is not None
    joint = assemble(load_study(folder))
    rows = {joint.latent[i] for i in joint.evidence}
    assert {
        "evidence bores/b bore.diameter.settle1 mean",
        "evidence bores/b bore.diameter.settle1 sd",
    } <= rows


@pytest.mark.parametrize(
    ("state", "column", "value", "key"),
    [
        ("age_h = 2, temperature_C = 20", "temperature_C", "28", "temperature_C"),
        ("age_h = 2", "age_h", "72", "age_h"),
        ("age_h = 2, coated = false", "coated", "yes", "coated"),
        ('age_h = 2, size = "mean"', "diameter type", "two-point", "size"),
    ],
)
def test_readings_of_another_state_are_refused(
    tmp_path: Path, state: str, column: str, value: str, key: str
) -> None:
    """What the file says about the state and what the part says must agree."""
    route = f"state = {{ {state} }}\n"
    route += '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "bore_mm"\n'
    folder = write(tmp_path, bore_route=route)
    rows = "\n".join(f"36.98{k},{value}" for k in range(9))
    (folder / "bores" / "b.csv").write_text(f"bore_mm,{column}\n{rows}\n")
    with pytest.raises(SpecError) as caught:
        load_study(folder)
    (problem,) = caught.value.problems
    assert problem.key == f"diameter.state.{key}"
    assert "another state" in problem.message


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("[alignment]\noffset_um = { sd = 20 }", "tilt_deg is missing"),
        (RUNOUT.replace("[alignment]\n", "[alignment]\noffset_um = { sd = 2 }\n"), "both stated"),
        (RUNOUT.replace('runout = "runout_um"', ""), "need sections of coordinates"),
        (RUNOUT, "no such file beside the part"),
    ],
)
def test_faults_of_alignment(tmp_path: Path, more: str, message: str) -> None:
    """Missing, doubled and unreadable alignment is named before anything runs."""
    folder = write(tmp_path, bore_more=more, limits=MISALIGNED)
    with pytest.raises(SpecError) as caught:
        load_study(folder)
    assert any(message in p.message for p in caught.value.problems)
