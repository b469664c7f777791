"""For every remembered constant a shipped study, keys changed, that leans on it.

One limit alone is judged, and stands near the middle of what the units reach.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["LEANING"]

Keys = Mapping[str, Any]

STEEL, SCREWED = "steel-all-year", "threaded-steel"
GLUED, PRESSED = "bonded-carbon", "sleeved-alloy"
CARBON = {"bore.material": "cfrp-quasi-isotropic"}
#: Bored smaller, since it grows when wet.
POLYAMIDE = {
    "bore.material": "pa66-gf30-dry",
    "bore.diameter.band_um": None,
    "bore.diameter.route": [{"step": "machine", "mean_um": -90.0, "sd_um": 1.9}],
}
BRONZE = {
    "name": "bronze",
    "young_MPa": 110e3,
    "poisson": 0.34,
    "expansion_per_K": 18e-6,
    "source": "made for a test",
}
WOUND = {
    "name": "carbon, wound",
    "young_MPa": 60e3,
    "young_radial_MPa": 9e3,
    "poisson": 0.3,
    "expansion_per_K": 3e-6,
    "expansion_radial_per_K": 3e-5,
    "source": "made for a test",
}
GRIP = {"study.joint.friction": 0.12}
ALONE = {"study.service.pedal_force_N": None, "study.service.overhang_mm": None}
PRESS_GLUED = {"study.joint.adhesive": "adhesives/cold-epoxy"}
RETAINING = {"adhesive.material": "retaining-adhesive", "adhesive.strength_MPa": None}


def _loose(**limits: Any) -> Keys:
    return {"study.limits": {"loose": limits}, "study.service.temperature_C": [20]}


def _bond(load: float, temperature: float = 20.0, **limits: Any) -> Keys:
    return {
        **ALONE,
        "study.service.seat_load_N": load,
        "study.service.temperature_C": [temperature],
        "study.limits": {"bond": limits},
    }


def _machined(*more: Keys) -> Keys:
    first = {"step": "machine", "mean_um": -20.0, "sd_um": 1.9}
    return {"bore.diameter.route": [first, *more]}


def _old(**limits: Any) -> Keys:
    return {**_loose(**limits), "study.service.life_h": 20000}


def _wet(interference: float) -> Keys:
    return {**_old(interference_um=interference), "study.service.moisture": 0.01}


#: Constant -> study, keys changed.
LEANING: dict[str, tuple[str, Keys]] = {
    "smoothing-factor": (STEEL, _loose(interference_um=10.1)),
    "ring-creep": (STEEL, {**_loose(creep=True), **ALONE, "study.service.seat_load_N": 3000}),
    "ring-temperature": (
        STEEL,
        {
            **_loose(creep=True),
            **ALONE,
            "study.service.seat_load_N": 2090,
            "study.service.bearing_warmer_K": 30,
        },
    ),
    "rolling-temperature": (
        STEEL,
        {"study.limits": {"tight": {"clearance_um": 7.7}}, "study.service.temperature_C": [20]},
    ),
    "friction-steel-steel-press": (STEEL, _loose(pull_out_N=359)),
    "friction-steel-aluminium-press": (
        STEEL,
        {**_loose(pull_out_N=212), "bore.material": "aluminium-6061-t6"},
    ),
    "friction-steel-titanium-press": (
        STEEL,
        {**_loose(pull_out_N=222), "bore.material": "titanium-6al-4v"},
    ),
    "friction-steel-cfrp-press": (STEEL, {**_loose(pull_out_N=299), **CARBON}),
    "friction-aluminium-cfrp-press": (
        PRESSED,
        {
            **CARBON,
            "study.limits": {"tight": {"sleeve_press_force_N": 4620}},
            "study.service.temperature_C": [20],
        },
    ),
    "friction-steel-polymer-press": (STEEL, {**_loose(pull_out_N=35), "bore.material": "pom"}),
    "friction-other-press": (STEEL, {**_loose(pull_out_N=367), "bore.material": BRONZE}),
    "break-out-ratio": (STEEL, {**_loose(pull_out_N=387), **GRIP}),
    "wetted-share": (GLUED, {**_bond(18900, shear=True), "adhesive.wetted_share": None}),
    "bond-strength-retaining": (GLUED, {**_bond(7350, shear=True), **RETAINING}),
    "bond-strength-epoxy": (GLUED, {**_bond(20400, shear=True), "adhesive.strength_MPa": None}),
    "bond-substrate-aluminium": (GLUED, {**_bond(7350, shear=True), **RETAINING}),
    "bond-substrate-anodised": (
        GLUED,
        {**_bond(5800, shear=True), **RETAINING, "sleeve.coating": {"thickness_um": 0}},
    ),
    "bond-gap-loss": (GLUED, _bond(19800, shear=True)),
    "bond-share-pressed": (
        PRESSED,
        {
            **_loose(sleeve_separation=True),
            **ALONE,
            **PRESS_GLUED,
            "study.service.seat_load_N": 5130,
        },
    ),
    "peel-strength": (GLUED, {**_bond(10800, peel=True), "adhesive.peel_strength_MPa": None}),
    "bond-strength-per-K": (GLUED, _bond(13500, 60.0, shear=True)),
    "outward-share-type-ii": (
        STEEL,
        {**_loose(interference_um=17.7), **_machined({"step": "coat", "thickness_um": 10})},
    ),
    "outward-share-type-iii": (
        STEEL,
        {
            **_loose(interference_um=27.2),
            **_machined({"step": "coat", "kind": "type-iii", "thickness_um": 20}),
        },
    ),
    "etch": (STEEL, {**_loose(interference_um=4.2), **_machined({"step": "strip"})}),
    "film-lost-in-press": (
        PRESSED,
        {
            **_loose(sleeve_interference_um=58.8),
            "sleeve.coating": {"thickness_um": 20, "outward_share": 0.5},
        },
    ),
    "axial-modulus-ratio": (STEEL, {**_loose(pull_out_N=246), **GRIP, "bore.material": WOUND}),
    "interlaminar-compliance": (STEEL, {**_loose(pull_out_N=246), **GRIP, **CARBON}),
    "bond-coupling": (GLUED, {**_loose(pull_out_N=393), **GRIP}),
    "kohlrausch-exponent": (
        GLUED,
        {
            "study.limits": {"bond": {"gap_um": [0, 97.4]}},
            "bore.diameter.route.1": {"step": "settle", "mean_um": -60, "time_h": 36},
        },
    ),
    "kohlrausch-time": (
        GLUED,
        {
            "study.limits": {"bond": {"gap_um": [0, 97.4]}},
            "bore.diameter.route.1": {"step": "settle", "mean_um": -60, "exponent": 0.6},
        },
    ),
    "relaxation-polymer": (STEEL, {**_old(pull_out_N=12.9), **GRIP, "bore.material": "pom"}),
    # warm, the shell squeezes the sleeve through a thick bond, and less so with time
    "relaxation-epoxy": (
        GLUED,
        {
            **_old(interference_um=24.7),
            "study.service.temperature_C": [60],
            "adhesive.cure_temperature_C": 20,
            "bore.diameter.nominal_mm": 43.0,
        },
    ),
    "relaxation-cfrp-hoop": (STEEL, {**_old(pull_out_N=237), **GRIP, **CARBON}),
    "relaxation-cfrp-radial": (STEEL, {**_old(pull_out_N=237), **GRIP, **CARBON}),
    "settling-aluminium": (
        STEEL,
        {
            **_loose(interference_um=10.4),
            **_machined({"step": "settle"}),
            "bore.material": "aluminium-6061-t6",
        },
    ),
    "settling-cfrp": (
        STEEL,
        {**_loose(interference_um=10.8), **_machined({"step": "settle"}), **CARBON},
    ),
    "settling-pom": (
        STEEL,
        {**_loose(interference_um=19.5), **_machined({"step": "settle"}), "bore.material": "pom"},
    ),
    "swelling-pa66-gf-hoop": (STEEL, {**_wet(35.8), **POLYAMIDE}),
    "swelling-pa66-gf-radial": (STEEL, {**_wet(35.8), **POLYAMIDE}),
    "moisture-pa66-gf": (STEEL, {**_wet(35.8), **POLYAMIDE}),
    "swelling-cfrp-hoop": (STEEL, {**_wet(10.1), **CARBON}),
    "swelling-cfrp-radial": (STEEL, {**_wet(10.1), **CARBON}),
    "thread-friction": (
        SCREWED,
        {"study.limits": {"loose": {"loosening": True}}, "sleeve.thread.service_torque_Nm": 34.7},
    ),
    "flange-friction": (
        SCREWED,
        {"study.limits": {"loose": {"loosening": True}}, "sleeve.thread.service_torque_Nm": 34.7},
    ),
    "removal-retention": (STEEL, {**_loose(interference_um=8.6), "study.joint.removals": 1}),
}
