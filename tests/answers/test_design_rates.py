"""Rates over bands: reweighted units against units drawn at other bands outright."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from tests.studies import machine, write
from tolsim.answers.design_cases import Case, problem_of
from tolsim.answers.design_rates import Rates
from tolsim.answers.design_units import Units
from tolsim.answers.tally import tally
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study, load_study

UM = 1e-3
COUNTED = 2**16
STUDIES = Path(__file__).parents[2] / "studies"
SIZE = """
[[choose]]
feature = "{path}"
centre_um = [{centre[0]}, {centre[1]}]
width_um = [4, 60]
{more}
"""
ZONE = '[[choose]]\nfeature = "{path}"\n{key} = [{width[0]}, {width[1]}]\n'


def _shipped(folder: Path, name: str, choose: str, targets: str = "") -> Study:
    """A shipped study with other freedoms, and other targets where they are given."""
    text = (STUDIES / name / "study.toml").read_text()
    if targets:
        text = re.sub(r"\[targets\].*?(?=\n\[|\Z)", f"[targets]\n{targets}\n", text, flags=re.S)
    text = re.sub(r"\[\[choose\]\].*", "", text, flags=re.S)
    (folder / "study.toml").write_text(f"{text}\n{choose}")
    return load_study(folder)


def _counted(case: Case, theta: np.ndarray, n: int = COUNTED) -> Mapping[str, tuple[float, float]]:
    """Rates of units drawn at a point outright, with their standard errors."""
    joint = assemble(case.variant(theta))
    found = tally(joint, seed=77, n=n, workers=2)
    return {m: (v, np.sqrt(s)) for (m, seat), (v, s) in found.mix.items() if seat == 0}


def _agree(study: Study, at: list[float], moves: list[list[float]], slack: float = 2e-3) -> None:
    """Rates told from units drawn at one point are those counted at others, within errors."""
    problem = problem_of(study)
    (case,) = problem.cases
    theta = np.array(at)
    rates = Rates(Units(case, problem.targets, 3), problem.targets, seed=3)
    for _ in range(2):
        rates.refresh(theta, n=2**14)
    told = 0
    for move in moves:
        point = theta + np.array(move)
        values, counted = rates.values(point), _counted(case, point)
        for mode in problem.targets:
            (a, ea), (b, eb) = values[mode], counted[mode]
            assert abs(a - b) <= 4.0 * np.hypot(ea, eb) + 8.0 / COUNTED, (mode, move, a, ea, b, eb)
            told += a > 5.0 * ea
        smooth = rates.at(point)
        for mode, rate in smooth.items():
            if rate.value < 5.0 * rate.error:
                continue
            for k in range(len(theta)):
                step = np.zeros(len(theta))
                step[k] = 1e-3 * abs(point[k]) + 1e-7
                up, down = rates.at(point + step)[mode].value, rates.at(point - step)[mode].value
                slope = (up - down) / (2.0 * step[k])
                scale = abs(rate.gradient[k]) + rate.value / (abs(point[k]) + UM)
                assert slope == pytest.approx(rate.gradient[k], abs=slack * scale)
    assert told >= len(moves)


def test_pressed_size_with_supplies(tmp_path: Path) -> None:
    """The drawn band of all shops, whatever each of them makes today."""
    study = _shipped(
        tmp_path, "three-shops", SIZE.format(path="bore.diameter", centre=(-45, -10), more="")
    )
    _agree(
        study,
        [-24 * UM, 24 * UM],
        [[0.0, 0.0], [2 * UM, 0.0], [-2 * UM, 3 * UM], [1 * UM, -4 * UM]],
    )


def test_alignment_zones(tmp_path: Path) -> None:
    """Zones of offset and tilt whose seats are correlated."""
    study = _shipped(
        tmp_path,
        "north-band",
        ZONE.format(path="bore.alignment.offset", key="width_um", width=(20, 300))
        + ZONE.format(path="bore.alignment.tilt", key="width_deg", width=(0.01, 0.4)),
        targets="misaligned = 0.01\ncreak = 0.02",
    )
    tilt = np.radians(0.12)
    _agree(
        study,
        [110 * UM, tilt],
        [[0.0, 0.0], [15 * UM, 0.0], [-10 * UM, 0.1 * tilt], [0.0, -0.1 * tilt]],
    )


@pytest.mark.slow
@pytest.mark.parametrize("repeatability", [0.0, 1.5])
def test_sorting_what_was_measured(tmp_path: Path, repeatability: float) -> None:
    """A gauge that sorts measured bores, both seats tied, parameters left open by the readings."""
    more = f'follows = "gauge"\nrepeatability_um = {repeatability}'
    study = _shipped(
        tmp_path, "three-shops", SIZE.format(path="bore.diameter", centre=(-45, -10), more=more)
    )
    at = [-24 * UM, 16 * UM]
    # where the units were drawn; a reading's own scatter makes slopes at the edges rough
    _agree(study, at, [[0.0, 0.0]], 0.3 if repeatability else 0.05)
    # away from there, slopes across a sharp edge rest on the few units next to it, heavy ones
    # among them: they only steer the search, counted rates decide
    _agree(study, at, [[UM, 2 * UM], [-UM, -2 * UM]], 0.3)


def _pressed(folder: Path, route: str, more: str = "", sides: str = "") -> Study:
    write(
        folder,
        bore_route=route,
        bore_more=sides,
        ring_route=machine("outside", -4.5, 1.2),
        limits="loose = { interference_um = 4 }\ntight = { clearance_um = 2 }\n"
        "[targets]\nloose = 0.01\ntight = 0.01\n"
        + SIZE.format(path="bore.diameter", centre=(-40, -5), more=more),
    )
    path = folder / "study.toml"
    path.write_text(path.read_text().replace('"pressed"', '"pressed"\nage_at_assembly_h = 90'))
    return load_study(folder)


SETTLE = '[[diameter.route]]\nstep = "settle"\nmean_um = -4\nsd_um = 1.5\ntime_h = 30\n'
SIDES = "[sides]\ndiameter = 0.6"


def test_settling_after_the_machine(tmp_path: Path) -> None:
    """What settles after the machine does not narrow with the band."""
    study = _pressed(tmp_path, machine("diameter", -18, 3) + SETTLE)
    _agree(study, [-15 * UM, 14 * UM], [[0.0, 0.0], [UM, 2 * UM], [-2 * UM, -3 * UM]])


@pytest.mark.slow
@pytest.mark.parametrize(
    "route", [machine("diameter", -18, 3), machine("diameter", -18, 3) + SETTLE]
)
def test_sorting_what_was_assumed(tmp_path: Path, route: str) -> None:
    """A gauge with a repeatability, tied seats, and what comes after it."""
    study = _pressed(tmp_path, route, 'follows = "gauge"\nrepeatability_um = 1', SIDES)
    _agree(study, [-18 * UM, 14 * UM], [[0.0, 0.0], [UM, UM], [-UM, -2 * UM]], 0.02)


def test_sleeve_surfaces_are_tied(tmp_path: Path) -> None:
    """Inside and outside of a sleeve come off one machine and stay tied."""
    study = _shipped(
        tmp_path,
        "sleeved-alloy",
        SIZE.format(path="sleeve.inside", centre=(-10, 10), more="")
        + SIZE.format(path="sleeve.outside", centre=(-10, 10), more=""),
        targets="loose = 0.01\ntight = 0.01",
    )
    at = [0.0, 16 * UM, 0.0, 16 * UM]
    _agree(
        study,
        at,
        [[0.0] * 4, [UM, 2 * UM, -UM, 0.0], [-UM, -2 * UM, UM, 2 * UM], [0.0, 0.0, 2 * UM, 0.0]],
    )
