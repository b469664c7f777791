"""A thread without play on a square face puts the sleeve where a pressed one sits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tolsim.chance.streams import Streams
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

_BORE = """
part = "bore"
title = "made for a test"
basis = "assumed"
material = "aluminium-6061-t6"
outside_diameter_mm = 52.0
seat_width_mm = 12.0
span_mm = 82.0
[diameter]
nominal_mm = 42.0
band_um = [-60, -28]
[alignment]
offset_um = { sd = 14 }
tilt_deg = { sd = 0.012 }
"""
_SLEEVE = """
part = "sleeve"
title = "made for a test"
basis = "assumed"
material = "steel-4130"
pieces = 2
length_mm = 12.0
[inside]
nominal_mm = 37.0
band_um = [-27, -11]
[outside]
nominal_mm = 42.0
band_um = [-12, 12]
[alignment]
offset_um = { sd = 4 }
tilt_deg = { sd = 0.005 }
"""
_THREAD = """
[thread]
pitch_mm = 1.0
pitch_diameter_mm = 42.35
engagement_mm = 10.0
flange_outer_mm = 52.0
flange_inner_mm = 45.0
torque_Nm = 40
clearance_um = %s
face_run_out_um = %s
"""
_BEARING = """
part = "bearing"
title = "made for a test"
basis = "assumed"
bore_mm = 25.0
outside_diameter_mm = 37.0
width_mm = 7.0
outside = { band_um = [-9, 0] }
clearance = { band_um = [13, 28] }
"""
_STUDY = """
title = "made for a test"
[joint]
kind = "%s"
bore = "bores/b"
sleeve = "sleeves/s"
bearing = "bearings/r"
[limits]
misaligned = { angle_deg = 0.1, offset_um = 120 }
"""


def _alignment(folder: Path, kind: str, thread: str = "") -> NDArray[np.float64]:
    """Margins of angle and offset of the seats (2, 4096), on draws that all kinds share."""
    for name, text in {
        "bores/b": _BORE,
        "sleeves/s": _SLEEVE + thread,
        "bearings/r": _BEARING,
        "study": _STUDY % kind,
    }.items():
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    joint = assemble(load_study(folder))
    build = joint.builds[0]
    rows = [
        next(build.first + k for k, m in enumerate(build.margins) if m.cause == cause)
        for cause in ("angle of the seats", "offset of the seats")
    ]
    z = np.empty((len(joint.latent), 4096))
    Streams(3, joint.latent).fill(0, z)
    return joint.recording.select(rows)(z)


def test_no_play_and_square_faces(tmp_path: Path) -> None:
    """Unit by unit the seats lie as in a pressed sleeve; play or an unsquare face moves them."""
    pressed = _alignment(tmp_path / "pressed", "sleeved")
    exact = _alignment(tmp_path / "exact", "threaded", _THREAD % ("0", "0"))
    assert_allclose(exact, pressed, rtol=1e-12, atol=1e-15)
    for name, thread in {"play": ("80", "0"), "face": ("80", "{ sd = 20 }")}.items():
        moved = _alignment(tmp_path / name, "threaded", _THREAD % thread)
        assert moved.mean(axis=1) != pytest.approx(pressed.mean(axis=1), rel=1e-3)
