"""One mechanism of a shipped study switched off: margins move by what theory says, unit by unit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.joint.switch import Keys
from tests.joint.switches_ring import RING
from tests.joint.switches_sleeve import SLEEVE
from tests.shipped import units

STEEL, SCREWED, GLUED, PRESSED = (
    "steel-all-year",
    "threaded-steel",
    "bonded-carbon",
    "sleeved-alloy",
)
CASES = {**RING, **SLEEVE}


@pytest.mark.parametrize("name", CASES)
def test_margin_moves_as_theory_says(tmp_path: Path, name: str) -> None:
    """On less off is the formula's change in every unit, and off is the formula without it."""
    case = CASES[name]
    on = units(tmp_path / "on", case.study, {**case.both, **case.on})
    off = units(tmp_path / "off", case.study, {**case.both, **case.off})
    before = off.margin(case.cause, case.temperature)
    moved = on.margin(case.cause, case.temperature) - before
    plain = np.broadcast_to(case.plain(off), before.shape)
    change = np.broadcast_to(case.change(on), before.shape)
    # slices leave 1e-9 mm of rounding, tabulated quantiles 1e-6 of a spread
    assert_allclose(before, plain, rtol=1e-8, atol=1e-9)
    assert_allclose(moved, change, rtol=max(case.error, 1e-6), atol=2e-9)


#: Study, keys at which a mechanism does nothing, keys that leave it out altogether.
NEUTRAL: dict[str, tuple[str, Keys, Keys]] = {
    "smoothing": (
        STEEL,
        {"study.joint.smoothing_factor": 0.0},
        {"bore.roughness_rz_um": None, "bearing.roughness_rz_um": None},
    ),
    "taper": (STEEL, {"bore.taper_um": 0}, {}),
    "lobes": (STEEL, {"bore.roundness": {"lobes": 4, "amplitude_um": 0}}, {}),
    "lobes of a sleeve": (PRESSED, {"sleeve.roundness": {"lobes": 3, "amplitude_um": 0}}, {}),
    "removals": (STEEL, {"study.joint.removals": 3, "study.joint.removal_retention": 1.0}, {}),
    "ball plane": (STEEL, {"study.service.ball_plane_offset_mm": 0.0}, {}),
    "warm bearing": (STEEL, {"study.service.bearing_warmer_K": 0.0}, {}),
    "static rating": (STEEL, {"bearing.static_rating_N": 1e9}, {}),
    "inner fit": (STEEL, {"bearing.inner_fit_um": 0}, {}),
    "adhesive on a press fit": (
        PRESSED,
        {"study.joint.adhesive": "adhesives/cold-epoxy", "adhesive.bond_share": 0.0},
        {},
    ),
    "seating tilt": (PRESSED, {"sleeve.seating_tilt_deg": 0}, {}),
    "film": (
        PRESSED,
        {"sleeve.coating": {"thickness_um": 0, "outward_share": 0.5, "lost_when_pressed": 0.2}},
        {},
    ),
    "moisture": (
        GLUED,
        {"study.service.life_h": 20000, "study.service.moisture": 0.0},
        {"study.service.life_h": 20000},
    ),
    "settling at the age of the gauge": (
        GLUED,
        {"study.joint.age_at_assembly_h": 24},
        {"bore.diameter.route.1": None},
    ),
}


@pytest.mark.parametrize("name", NEUTRAL)
def test_neutral_is_left_out(tmp_path: Path, name: str) -> None:
    """A mechanism at its neutral value and one left out give every margin alike."""
    study, neutral, without = NEUTRAL[name]
    at = units(tmp_path / "neutral", study, neutral).all_margins()
    out = units(tmp_path / "without", study, without).all_margins()
    assert at.keys() == out.keys()
    for key, margin in at.items():
        # two orders of the same sums: rounding of margins up to 6000 N
        assert_allclose(margin, out[key], rtol=1e-9, atol=1e-11, err_msg=str(key))
