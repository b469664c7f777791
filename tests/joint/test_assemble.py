"""A study made runnable: builds, rows and what is known without drawing."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

STUDIES = Path(__file__).parents[2] / "studies"


def test_common_rows() -> None:
    """Supplies read the same rows: one draw serves all, and margins come in the order told."""
    joint = assemble(load_study(STUDIES / "three-shops"))
    assert len(joint.builds) == 3
    assert len(set(joint.latent)) == len(joint.latent)
    assert sum(b.share for b in joint.builds) == pytest.approx(1.0)
    ends = [(b.rows.start, b.rows.stop) for b in joint.builds]
    assert all(stop <= start for (_, stop), (start, _) in itertools.pairwise(ends))
    assert joint.seat_names == ("left", "right")
    z = np.random.default_rng(1).standard_normal((len(joint.latent), 64))
    out = joint.recording(z)
    assert out.shape == (joint.recording.outputs, 64)
    # the ring is the same in every build: its misalignment rows do not know of the bore's size
    names = ("angle of the seats", "offset of the seats")
    same = [
        [out[b.first + k] for k, m in enumerate(b.margins) if m.cause in names]
        for b in joint.builds
        if "ridge" in b.key or "north" in b.key
    ]
    assert np.array_equal(same[0], same[1])


def test_what_a_drawing_says(tmp_path: Path) -> None:
    """Worst case and root sum square of two bands, smoothing taken off, by hand.

    Ring 0 to -9, bore -30 to -10: 1 to 30 tight, less 0.8 (1 + 3) of smoothing (DIN 7190-1 by
    way of the mechanics check values); root sum square 15.5 -+ 0.5 sqrt(9^2 + 20^2).
    """
    write(tmp_path, bore_more="roughness_rz_um = 3.0")
    ring = tmp_path / "bearings" / "r.toml"
    ring.write_text(
        ring.read_text().replace("width_mm = 7.0", "width_mm = 7.0\nroughness_rz_um = 1")
    )
    (build,) = assemble(load_study(tmp_path)).builds
    for known in build.known:
        assert known.worst == pytest.approx((0.001 - 0.0032, 0.030 - 0.0032), abs=1e-12)
        half = 0.5 * np.hypot(9.0, 20.0)
        assert known.root_sum_square == pytest.approx(
            (1e-3 * (15.5 - half) - 0.0032, 1e-3 * (15.5 + half) - 0.0032), abs=1e-12
        )


def test_no_band_no_worst_case(tmp_path: Path) -> None:
    """Where a part has no drawing band, why there is no worst case is said."""
    write(tmp_path, bore_route=machine("diameter", -20, 2))
    bore = tmp_path / "bores" / "b.toml"
    bore.write_text(bore.read_text().replace("band_um = [-30.0, -10.0]\n", ""))
    (build,) = assemble(load_study(tmp_path)).builds
    assert build.known[0].worst is None
    assert build.known[0].why == "no drawing band for the bore"


def test_rings_of_one_unit_alike(tmp_path: Path) -> None:
    """Rings drawn per unit are alike at both seats, so a unit fails as often as a seat does."""
    found = {}
    for drawn in ("per-seat", "per-unit"):
        write(
            tmp_path,
            bore_route=machine("diameter", -20.0, 0.0),
            ring_route=machine("outside", -17.0, 2.0),
        )
        ring = tmp_path / "bearings" / "r.toml"
        ring.write_text(f'drawn = "{drawn}"\n' + ring.read_text())
        p = predict(load_study(tmp_path), draws=2**14, workers=1, plain=True, glance=False)
        unit = p.modes["loose"]
        assert unit is not None
        found[drawn] = (
            unit.share,
            p.seats[0].modes["loose"].share,
            p.seats[1].modes["loose"].share,
        )
    unit_share, one, two = found["per-unit"]
    assert unit_share == one == two
    unit_share, one, two = found["per-seat"]
    assert unit_share > 1.5 * max(one, two)


def test_parts_that_mechanics_refuses(tmp_path: Path) -> None:
    """A combination that the physics cannot build is a fault of the study, named by its supply."""
    write(tmp_path)
    ring = tmp_path / "bearings" / "r.toml"
    ring.write_text(ring.read_text().replace("width_mm = 7.0", "width_mm = 7e-9"))
    with pytest.raises(SpecError, match="cannot be built"):
        assemble(load_study(tmp_path))
