"""What a study asks of a joint that cannot show it is told, and nothing is told where it can."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.shipped import changed
from tests.studies import machine, write
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

Keys = Mapping[str, Any]
STEEL, SCREWED = "steel-all-year", "threaded-steel"
GLUED, PRESSED = "bonded-carbon", "sleeved-alloy"
BOND = {"study.limits.bond": {"peel": True}}
GLUE = {"study.joint.adhesive": "adhesives/cold-epoxy"}
AGED = {"study.service.life_h": 20000}
DAMP = {"study.service.moisture": 0.01, **AGED}
LOBES = {"bore.roundness": {"lobes": 2, "amplitude_um": 3}}
LOBE = {"study.limits.tight.raceway_lobe_um": 5}
WARM = {"study.service.bearing_warmer_K": 5}
OFF_PLANE = {"study.service.ball_plane_offset_mm": 1}
CARBON = {"bore.material": "cfrp-quasi-isotropic"}
SEATING = {"sleeve.seating_tilt_deg": {"sd": 0.01}}
RESIN = {
    "name": "resin",
    "young_MPa": 3000.0,
    "poisson": 0.38,
    "expansion_per_K": 60e-6,
    "source": "made for a test",
}
WITHOUT_CREEP = {"study.limits.loose.creep": False}
BONDED_TOO = {
    "study.alternative": [
        {
            "name": "bonded",
            "kind": "bonded",
            "bore": "bores/coast-moulded-large",
            "sleeve": "sleeves/two-piece-bonding",
            "adhesive": "adhesives/cold-epoxy",
        }
    ]
}

#: Study and keys that raise the sentence, study and keys that do not, words of it.
CASES: dict[str, tuple[tuple[str, Keys], tuple[str, Keys], str]] = {
    "bond": ((STEEL, BOND), (GLUED, BOND), "limits.bond judges nothing"),
    "bond, pressed and glued": ((PRESSED, BOND | GLUE), (PRESSED, GLUE), "limits.bond judges"),
    "bond, of an alternative": ((STEEL, BOND), (STEEL, BOND | BONDED_TOO), "limits.bond judges"),
    "loosening": (
        (PRESSED, {"study.limits.loose.loosening": True}),
        (SCREWED, {"study.limits.loose.loosening": True}),
        "limits.loose.loosening: nothing to judge",
    ),
    "flange": (
        (STEEL, {"study.limits.loose.flange_contact": True}),
        (SCREWED, {}),
        "limits.loose.flange_contact: nothing to judge",
    ),
    "sleeve": (
        (GLUED, {"study.limits.loose.sleeve_interference_um": 5}),
        (PRESSED, {"study.limits.loose.sleeve_interference_um": 5}),
        "limits.loose.sleeve_interference_um: nothing to judge",
    ),
    "force on the sleeve": (
        (STEEL, {"study.limits.tight.sleeve_press_force_N": 5000}),
        (PRESSED, {"study.limits.tight.sleeve_press_force_N": 5000}),
        "limits.tight.sleeve_press_force_N: nothing to judge",
    ),
    "raceway": ((STEEL, LOBE), (STEEL, LOBE | LOBES), "limits.tight.raceway_lobe_um judges"),
    "moisture without a life": (
        (STEEL, CARBON | {"study.service.moisture": 0.01}),
        (STEEL, CARBON | DAMP),
        "without service.life_h it has no effect",
    ),
    "moisture on metal": ((STEEL, DAMP), (STEEL, AGED), "every part is of metal"),
    "moisture on what swells unknown": (
        (STEEL, DAMP | {"bore.material": "pom"}),
        (STEEL, DAMP | {"bore.material": "pa66-gf30-dry"}),
        "nothing is remembered about how it swells",
    ),
    "moisture on what states its swelling": (
        (STEEL, DAMP | {"bore.material": RESIN}),
        (STEEL, DAMP | {"bore.material": RESIN | {"swelling": 0.3, "swelling_radial": 0.4}}),
        "its material states no swelling",
    ),
    "warm bearing": ((STEEL, WARM | WITHOUT_CREEP), (STEEL, WARM), "acts on ring creep alone"),
    "ball plane": (
        (STEEL, OFF_PLANE | {"study.limits.loose.separation": False}),
        (STEEL, OFF_PLANE),
        "acts on separation alone",
    ),
    "bond share": (
        (GLUED, {"adhesive.bond_share": 0.5}),
        (PRESSED, GLUE | {"adhesive.bond_share": 0.5}),
        "bond_share is of a sleeve pressed and glued",
    ),
    "seating tilt": (
        ("sleeved-one-piece", SEATING),
        (PRESSED, SEATING),
        "seating_tilt_deg has no effect",
    ),
}


def _warned(folder: Path, study: str, keys: Keys, words: str) -> int:
    joint = assemble(load_study(changed(folder, study, keys)))
    return sum(words in w for b in joint.builds for w in b.warnings)


@pytest.mark.parametrize("case", CASES)
def test_told_where_it_judges_nothing(tmp_path: Path, case: str) -> None:
    """The sentence stands beside the answer of the one study and not of its neighbour."""
    raising, quiet, words = CASES[case]
    assert _warned(tmp_path / "a", *raising, words) == 1
    assert _warned(tmp_path / "b", *quiet, words) == 0


def test_a_limit_of_zero_judges(tmp_path: Path) -> None:
    """At least 0 µm is a limit: its target is judged; one without any limit is told to be idle."""
    for target, idle in (("loose", False), ("creak", False), ("tight", True)):
        folder = write(
            tmp_path / target,
            bore_route=machine("diameter", -20, 2),
            ring_route=machine("outside", -4, 1),
            study_more=f"[targets]\n{target} = 0.01\n",
        )
        (build,) = assemble(load_study(folder)).builds
        told = [w for w in build.warnings if f"targets.{target} judges nothing" in w]
        assert bool(told) is idle
