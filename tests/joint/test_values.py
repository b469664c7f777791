"""What contributors come to: the values that margins are made of, seat by seat."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.studies import machine, write
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study
from tolsim.spec.variants import contributors

STUDIES = Path(__file__).parents[2] / "studies"


def test_values_are_the_sizes_of_the_parts(tmp_path: Path) -> None:
    """A machine's mean and spread come out of the recording, and the fit is their difference."""
    write(
        tmp_path,
        bore_route=machine("diameter", -10.0, 3.0),
        ring_route=machine("outside", -4.0, 1.5),
    )
    joint = assemble(load_study(tmp_path), values=True)
    build = joint.builds[0]
    z = np.random.default_rng(5).standard_normal((len(joint.latent), 4096))
    out = joint.recording(z)
    for seat in (0, 1):
        bore = out[build.values["bore.diameter"][seat][0]]
        ring = out[build.values["bearing.outside"][seat][0]]
        assert abs(1e3 * bore.mean() + 10.0) < 5 * 3.0 / 64.0
        assert abs(1e3 * bore.std() - 3.0) < 0.2
        assert np.allclose(out[build.interference[seat]], ring - bore)


def test_values_leave_the_margins_alone(tmp_path: Path) -> None:
    """With and without values the margins are the same."""
    write(tmp_path, bore_route=machine("diameter", -10.0, 3.0))
    study = load_study(tmp_path)
    with_them, without = assemble(study, values=True), assemble(study)
    assert with_them.latent == without.latent
    assert without.builds[0].values == {}
    z = np.random.default_rng(5).standard_normal((len(without.latent), 64))
    rows = list(without.builds[0].rows)
    assert np.array_equal(with_them.recording(z)[rows], without.recording(z)[rows])


@pytest.mark.parametrize("name", sorted(p.name for p in STUDIES.iterdir() if p.is_dir()))
def test_every_contributor_has_values(name: str) -> None:
    """Whatever a shipped study's margins are made of has its value; what is left out is not read.

    Friction may be stated where no limit asks for it; a sleeve of one piece carries both axes.
    """
    study = load_study(STUDIES / name)
    joint = assemble(study, values=True)
    known = {path for b in joint.builds for path in b.values}
    missing = {c.path for c in contributors(study)} - known
    idle = {"sleeve.thread.friction", "joint.friction"}
    if any(s.sleeve is not None and s.sleeve.pieces == 1 for s in study.strata):
        idle |= {"bore.alignment.offset", "bore.alignment.tilt"}
    assert missing <= idle, missing
