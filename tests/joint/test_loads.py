"""Loads of the two seats in a joint: the worse stroke of each decides what holds it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.joint.plain_seat import SPAN, WIDTH, D
from tests.shipped import Units, changed, units
from tolsim.errors import SpecError
from tolsim.joint.latent import Latent
from tolsim.joint.loads import seat_loads
from tolsim.mechanics.interference import creep_loss
from tolsim.spec.load import load_study
from tolsim.spec.study import Service

STEEL = "steel-all-year"
AREA = math.pi * D * WIDTH
#: 350 N on the pedal 60 mm out, 875 N in the chain 45 mm out at seat 2.
CHAIN: Mapping[str, Any] = {
    "study.service.pedal_force_N": 350,
    "study.service.crank_length_mm": 170,
    "study.service.chainring_radius_mm": 68,
    "study.service.chain_line_mm": 45,
}
LIMITS = {
    "study.limits": {"loose": {"separation": True, "creep": True, "micro_slip": True}},
    "study.service.temperature_C": [20],
    "study.joint.friction": 0.12,
}
#: By hand: moments about the other seat, both strokes, directions at right angles.
NEAR, FAR = 350.0 * (41.0 + 60.0) / SPAN, 350.0 * (41.0 - 60.0) / SPAN
AT_CHAIN, OTHER = 875.0 * (41.0 + 45.0) / SPAN, 875.0 * (41.0 - 45.0) / SPAN
WORST = {
    1: max(math.hypot(NEAR, OTHER), math.hypot(FAR, OTHER)),
    2: max(math.hypot(NEAR, AT_CHAIN), math.hypot(FAR, AT_CHAIN)),
}


def _lost(tmp_path: Path, keys: Mapping[str, Any]) -> tuple[Units, Units]:
    bare = {"study.service.overhang_mm": None, "study.service.pedal_force_N": None}
    loaded = units(tmp_path / "a", STEEL, {**LIMITS, **keys})
    free = units(tmp_path / "b", STEEL, {**LIMITS, **bare, "study.service.seat_load_N": 0})
    return loaded, free


@pytest.mark.parametrize("seat", [1, 2])
def test_each_margin_takes_the_worse_stroke_of_its_seat(tmp_path: Path, seat: int) -> None:
    """Separation loses 2F/(pi D L), stick F/(pi D L), creep its loss, with F of the worse stroke.

    The load pressures follow from equilibrium of a stiff ring.
    """
    loaded, free = _lost(tmp_path, CHAIN)
    force = WORST[seat]
    for cause, lost in (
        ("separation", 2.0 * force / AREA),
        ("micro-slip", force / AREA),
        ("ring creep", float(creep_loss(D, force, 7.0, 0.08))),
    ):
        got = free.margin(cause, 20.0, seat) - loaded.margin(cause, 20.0, seat)
        assert_allclose(got, lost, rtol=1e-9, atol=1e-12)


def test_both_signs_of_a_stroke_count(tmp_path: Path) -> None:
    """A chain that pulls against the pedal relieves a seat in one stroke, not in the other.

    Chain upwards at the mid-plane, 875 N: half of it on each seat. The near seat keeps
    431 - 437.5 N, the far one -81 - 437.5 N, which is the worse.
    """
    keys = {
        **CHAIN,
        "study.service.chain_line_mm": 0,
        "study.service.chain_angle_deg": 180,
    }
    loaded, free = _lost(tmp_path, keys)
    for seat in (1, 2):
        got = free.margin("separation", 20.0, seat) - loaded.margin("separation", 20.0, seat)
        assert_allclose(got, 2.0 * (437.5 - FAR) / AREA, rtol=1e-9)


def test_the_drive_seat_can_be_the_first(tmp_path: Path) -> None:
    """With the chain at seat 1 the seats change places."""
    one, free = _lost(tmp_path, {**CHAIN, "study.service.drive_seat": 1})
    got = [
        float(np.mean(free.margin("separation", 20.0, k) - one.margin("separation", 20.0, k)))
        for k in (1, 2)
    ]
    assert_allclose(got, [2.0 * WORST[2] / AREA, 2.0 * WORST[1] / AREA], rtol=1e-9)


def test_a_chain_force_of_its_own_scatters_by_itself() -> None:
    """Ranges told of two independent forces are those of draws, to what a million draws show."""
    service = Service.model_validate(
        {
            "pedal_force_N": {"shape": "lognormal", "mean": 350, "sd": 60},
            "overhang_mm": 60,
            "chain_force_N": {"shape": "lognormal", "mean": 800, "sd": 120},
            "chain_line_mm": 45,
        }
    )
    latent = Latent()
    found = seat_loads(latent, service, SPAN)
    assert found is not None
    assert found.told is not None
    assert latent.names == ("pedal_force", "chain_force")
    z = list(np.random.default_rng(4).standard_normal((2, 2**19)))
    for source, (_, low, high) in zip(found.seats, found.told.worst, strict=True):
        drawn = np.quantile(source(z), (0.00135, 0.99865))
        # 0.00135 of 524 288 is 708 draws, ± 4 %; the slope there is about 5 N a per cent of it
        assert_allclose([low, high], drawn, rtol=0.02)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"crank_length_mm": 170}, "give the chain's pull together"),
        (
            {
                "chain_force_N": 900,
                "chain_line_mm": 45,
                "crank_length_mm": 170,
                "chainring_radius_mm": 68,
            },
            "both give the chain's pull",
        ),
        ({"chain_force_N": 900}, "where the chain runs"),
        ({"chain_line_mm": 45, "drive_seat": 1}, "chain_line_mm and drive_seat without a pull"),
        ({"chain_force_N": 900, "chain_line_mm": 45, "drive_seat": 3}, "1, 2"),
        ({"chain_force_N": -900, "chain_line_mm": 45}, "cannot be negative"),
        (
            {
                "pedal_force_N": None,
                "overhang_mm": None,
                "seat_load_N": 400,
                "chain_force_N": 900,
                "chain_line_mm": 45,
            },
            "holds everything already",
        ),
    ],
)
def test_half_a_chain_is_refused(tmp_path: Path, keys: Mapping[str, Any], told: str) -> None:
    """Keys that do not make one pull are diagnosed at their table."""
    home = changed(tmp_path, STEEL, {f"study.service.{k}": v for k, v in keys.items()})
    with pytest.raises(SpecError) as caught:
        load_study(home)
    (problem,) = caught.value.problems
    assert problem.key is not None
    assert problem.key.startswith("service")
    assert told in problem.text()
