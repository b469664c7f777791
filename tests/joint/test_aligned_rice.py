"""Alignment read as magnitudes: with a systematic part, without, and when they cannot tell."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.studies import write
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Joint
from tolsim.spec.load import load_study

SEATS = '[alignment]\ntilt_deg = {{ sd = 1e-5 }}\n[alignment.readings]\nfile = "r.csv"\n{0}'
APART = 'offset = "offset_um"\nside = "seat"\nunit = "unit"\n'
LIMIT = "misaligned = { offset_um = 100 }"


def lengths(rng: np.random.Generator, n: int, away: tuple[float, float]) -> NDArray[np.float64]:
    """Offsets [µm] of both seats of n units, 5 µm an axis about centres so far away."""
    x, y = 5.0 * rng.standard_normal((2, 2, n))
    return np.asarray(np.hypot(x + np.array(away)[:, None], y))


def study(folder: Path, r: NDArray[np.float64], more: str = "") -> Joint:
    """A study whose bores were read at both seats."""
    write(folder, bore_more=SEATS.format(APART + more), limits=LIMIT)
    lines = [f"{u},{s},{r[k, u]:.2f}" for u in range(r.shape[1]) for k, s in enumerate("LR")]
    (folder / "bores" / "r.csv").write_text("unit,seat,offset_um\n" + "\n".join(lines) + "\n")
    return assemble(load_study(folder))


def between(joint: Joint, n: int, seed: int) -> NDArray[np.float64]:
    """Offset between the seats [µm] of n draws, each with evidence of its own."""
    z = np.random.default_rng(seed).standard_normal((len(joint.latent), n))
    return np.asarray(1e3 * (0.1 - joint.recording(z)[joint.builds[0].first]))


def test_systematic_part_is_shown_and_drawn(tmp_path: Path) -> None:
    """24 units 30 and 20 µm away: said with its interval, and the draws have it."""
    joint = study(tmp_path, lengths(np.random.default_rng(5), 24, (30.0, 20.0)))
    told = " ".join(joint.builds[0].warnings)
    pattern = r"offset of seat . has a systematic part of \d+ µm \(95 %: (\d+) µm to (\d+) µm\)"
    (a, b), (c, d) = ((int(low), int(high)) for low, high in re.findall(pattern, told))
    assert a < 30 < b < a + 8
    assert c < 20 < d + 1 < c + 8  # printed with two digits
    assert "as even all round" in told
    rows = {joint.latent[i] for i in joint.evidence}
    base = "evidence bores/b bore.offset"
    assert {f"{base} {what}@{k}" for what in ("systematic part", "direction") for k in (1, 2)} <= (
        rows
    )
    apart = between(joint, 40_000, 6)
    # directions even all round: mean square 30^2 + 20^2 + 4 * 5^2; the sample's own error beside
    assert abs(math.sqrt(float((apart**2).mean())) - math.sqrt(1400.0)) < 3.0
    # seats against each other reach 50 µm, seats alike come down to 10 µm
    assert np.mean(apart > 45.0) > 0.15
    assert np.mean(apart < 15.0) > 0.1


def test_direction_is_evidence_not_scatter(tmp_path: Path) -> None:
    """One direction holds for all units: with evidence held, the offset hardly scatters."""
    joint = study(tmp_path, lengths(np.random.default_rng(5), 24, (30.0, 30.0)))
    rng = np.random.default_rng(7)
    z = rng.standard_normal((len(joint.latent), 2000))
    for i in joint.evidence:
        z[i] = 0.0  # both seats in the same direction, spreads and distances at their medians
    d = 1e3 * (0.1 - joint.recording(z)[joint.builds[0].first])
    assert float(d.max()) < 30.0
    ways = joint.latent.index("evidence bores/b bore.offset direction@2")
    z[ways] = 40.0  # a whole turn against half a turn: the seats against each other
    d = 1e3 * (0.1 - joint.recording(z)[joint.builds[0].first])
    assert float(d.min()) > 35.0


def test_without_one_nothing_is_claimed(tmp_path: Path) -> None:
    """12 units about 0: Rayleigh, and what such readings would miss and what that would do."""
    joint = study(tmp_path, lengths(np.random.default_rng(8), 12, (0.0, 0.0)))
    told = " ".join(joint.builds[0].warnings)
    assert "centred on 0 (Rayleigh)" in told
    assert "12 readings show no systematic part" in told
    assert "fewer than 80 % of such samples" in told
    assert "displaced against each other" in told
    assert not any("systematic" in joint.latent[i] for i in joint.evidence)


def test_few_cannot_tell_but_may_be_told(tmp_path: Path) -> None:
    """4 units cannot tell; `shape = "rice"` takes the systematic part in, and widens."""
    r = lengths(np.random.default_rng(9), 4, (20.0, 20.0))
    joint = study(tmp_path / "a", r)
    assert "4 readings cannot tell" in " ".join(joint.builds[0].warnings)
    stated = study(tmp_path / "b", r, 'shape = "rice"\n')
    assert "(Rice: as stated)" in " ".join(stated.builds[0].warnings)
    plain = study(tmp_path / "c", r, 'shape = "rayleigh"\n')
    assert "(Rayleigh), as stated" in " ".join(plain.builds[0].warnings)


def test_rice_of_figures_that_cannot_have_it(tmp_path: Path) -> None:
    """Two units, or readings all alike, have no distance and spread: refused, seat by seat."""
    for folder, r in (("a", np.array([[1.0, 2.0], [3.0, 4.0]])), ("b", np.full((2, 6), 8.0))):
        with pytest.raises(SpecError) as found:
            study(tmp_path / folder, r, 'shape = "rice"\n')
        assert [p.key for p in found.value.problems] == ["offset_um", "offset_um"]
        assert "seat L" in found.value.problems[0].message
    told = " ".join(study(tmp_path / "c", np.full((2, 6), 8.0)).builds[0].warnings)
    assert "6 readings, all alike, cannot tell" in told
