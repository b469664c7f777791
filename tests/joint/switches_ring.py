"""Mechanisms of a ring in a bore, each on and off in steel-all-year."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.stats import norm, triang

from tests.joint.plain_seat import WIDTH, D, aged_growth, load, steel_fit, steel_pressure
from tests.joint.switch import Case
from tests.shipped import FloatArray, Units, units

__all__ = ["RING"]

STEEL = "steel-all-year"
AREA = math.pi * D * WIDTH
HELD = {"study.joint.friction": 0.12}
FREE = {"study.joint.friction": 0.0}
SEAT_LOAD = {"study.service.pedal_force_N": None, "study.service.overhang_mm": None}


def _slices(u: Units) -> FloatArray:
    """Mean over the width of what is positive of a fit that falls by 60 µm from edge to edge."""
    x = (np.arange(20000) + 0.5) / 20000 - 0.5
    return np.asarray(np.maximum(steel_fit(u)[:, None] + 0.060 * x, 0.0).mean(axis=1))


def _triangular(z: FloatArray, low: float, mode: float, high: float) -> FloatArray:
    """Quantile of a constant spread over its range, at a standard normal."""
    return np.asarray(triang.ppf(norm.cdf(z), (mode - low) / (high - low), low, high - low))


def _machined(*more: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Route of bores that are alike from part to part, and what comes after."""
    return [{"step": "machine", "mean_um": -20.0, "sd_um": 0.0}, *more]


def _filmed(kind: str, thickness: float) -> list[Mapping[str, Any]]:
    return _machined({"step": "coat", "kind": kind, "thickness_um": thickness})


def _even_fit(u: Units) -> FloatArray:
    """Interference in a bore that is alike from part to part."""
    return np.asarray((-4.5 + 1.3 * u.z["bearing.outside@1"] + 20.0 - 0.8 * 4.0) * 1e-3)


def _contraction(u: Units) -> FloatArray:
    return _contraction_by(steel_pressure(steel_fit(u)))


def _contraction_by(pressure: FloatArray) -> FloatArray:
    """Contraction of the raceway under pressure from outside, 4 p r_i r_o²/(E (r_o² - r_i²))."""
    inner, outer = 17.3, 18.5
    return 4.0 * pressure * inner * outer**2 / (208e3 * (outer**2 - inner**2))


def _settling(whole: float) -> Mapping[str, Any]:
    return {"step": "settle", "mean_um": whole, "time_h": 36.0, "exponent": 0.6}


#: Of the whole change, what is left after the gauge's 48 h, all of it over by the end of life.
LEFT = math.exp(-((48.0 / 36.0) ** 0.6))

#: Relaxes a little, so that an end of life is judged with and without moisture.
SWELLING = {
    "name": "made for a test",
    "young_MPa": 3000.0,
    "poisson": 0.38,
    "expansion_per_K": 60e-6,
    "relaxation": 0.01,
    "swelling": 0.3,
    "source": "made for a test",
}

RING = {
    "settling into service": Case(
        study=STEEL,
        both={
            "bearing.clearance.route": [{"step": "machine", "mean_um": 20.5, "sd_um": 0.0}],
            "study.service.inner_ring_warmer_K": 0,
            "study.service.life_h": 20000,
        },
        on={"bore.diameter.route.1": _settling(-10.0)},
        off={"bore.diameter.route.1": _settling(0.0)},
        cause="clearance at the end of life",
        change=lambda u: -_contraction_by(steel_pressure(10e-3 * LEFT)),
        plain=lambda u: 20.5e-3 + 2e-3 - _contraction(u),
        source="Kohlrausch to the end; Lamé for the raceway of the ring pressed tighter",
    ),
    "settling into service, picked by class": Case(
        study=STEEL,
        both={"study.joint.pick": {"classes": 4}, "study.service.life_h": 20000},
        on={"bore.diameter.route.1": _settling(-10.0)},
        off={"bore.diameter.route.1": _settling(0.0)},
        cause="interference at the end of life",
        change=lambda u: 10e-3 * LEFT,
        plain=lambda u: units(
            u.folder / "plain", STEEL, {"study.joint.pick": {"classes": 4}}
        ).margin("interference", 20.0),
        source="classes by count shift with their parts, which go on settling alike",
    ),
    "smoothing": Case(
        study=STEEL,
        on={},
        off={"study.joint.smoothing_factor": 0.0},
        cause="interference",
        temperature=45.0,
        change=lambda u: -0.8 * (1e-3 + 3e-3),
        plain=lambda u: steel_fit(u, 45.0, smoothing=0.0),
        source="DIN 7190:2001, U - 0.8 (Rz_i + Rz_o)",
    ),
    "smoothing, pressure": Case(
        study=STEEL,
        on={},
        off={"study.joint.smoothing_factor": 0.0},
        cause="separation",
        change=lambda u: -steel_pressure(0.8 * (1e-3 + 3e-3)),
        plain=lambda u: steel_pressure(steel_fit(u, smoothing=0.0)) - 2.0 * load(u) / AREA,
        source="Lamé; 2 F/(pi D L) from equilibrium of p cos(phi)",
    ),
    "taper": Case(
        study=STEEL,
        on={"bore.taper_um": 60},
        off={"bore.taper_um": 0},
        cause="interference",
        change=lambda u: _slices(u) - steel_fit(u),
        plain=steel_fit,
        source="slices of the width that do not stiffen one another",
    ),
    "taper less than the fit": Case(
        study=STEEL,
        on={"bore.taper_um": 2},
        off={"bore.taper_um": 0},
        cause="interference",
        change=lambda u: 0.0,
        plain=steel_fit,
        source="no slice gapes, so the mean fit decides",
    ),
    "ring creep": Case(
        study=STEEL,
        both=SEAT_LOAD,
        on={"study.service.seat_load_N": 600},
        off={"study.service.seat_load_N": 0},
        cause="ring creep",
        change=lambda u: -0.08e-3 * math.sqrt(37.0 * 600.0 / 7.0),
        plain=steel_fit,
        source="0.08 sqrt(d F/B) µm, NSK E1102m eq. 9.1, for an outer ring",
    ),
    "ring creep, heavy load": Case(
        study=STEEL,
        both={**SEAT_LOAD, "bearing.static_rating_N": 4000},
        on={"study.service.seat_load_N": 8000},
        off={"study.service.seat_load_N": 0},
        cause="ring creep",
        change=lambda u: -0.02e-3 * 8000.0 / 7.0,
        plain=steel_fit,
        source="0.02 F/B µm above a fifth of the static rating, NSK E1102m eq. 9.2",
    ),
    "warm bearing": Case(
        study=STEEL,
        both=SEAT_LOAD | {"study.service.seat_load_N": 0},
        on={"study.service.bearing_warmer_K": 10},
        off={"study.service.bearing_warmer_K": 0},
        cause="ring creep",
        change=lambda u: -0.0015e-3 * 37.0 * 10.0,
        plain=steel_fit,
        source="0.0015 d dT µm, bearing handbook, from memory",
    ),
    "removals": Case(
        study=STEEL,
        both={"study.joint.removal_retention": 0.85},
        on={"study.joint.removals": 2},
        off={"study.joint.removals": 0},
        cause="interference",
        change=lambda u: (0.85**2 - 1.0) * steel_fit(u),
        plain=steel_fit,
        source="the share kept, once a removal; an assumption",
    ),
    "inner fit": Case(
        study=STEEL,
        both={"bearing.clearance.route": [{"step": "machine", "mean_um": 20.5, "sd_um": 0.0}]},
        on={"bearing.inner_fit_um": 6, "study.service.inner_ring_warmer_K": 0},
        off={"bearing.inner_fit_um": 0, "study.service.inner_ring_warmer_K": 0},
        cause="clearance",
        change=lambda u: -6e-3 * 25.0 / 27.4,
        plain=lambda u: 20.5e-3 + 2e-3 - _contraction(u),
        source="U d/Di on a solid shaft, Di = (4 d + D)/5; bearing handbooks (NSK, JTEKT)",
    ),
    "warmer inner ring": Case(
        study=STEEL,
        both={"bearing.clearance.route": [{"step": "machine", "mean_um": 20.5, "sd_um": 0.0}]},
        on={"study.service.inner_ring_warmer_K": 8},
        off={"study.service.inner_ring_warmer_K": 0},
        cause="clearance",
        change=lambda u: -12.5e-6 * 34.6 * 8.0,
        plain=lambda u: 20.5e-3 + 2e-3 - _contraction(u),
        source="alpha dT De, bearing handbooks (IKO, NSK)",
    ),
    "micro-slip": Case(
        study=STEEL,
        both={"study.limits.loose.micro_slip": True},
        on=HELD,
        off=FREE,
        cause="micro-slip",
        change=lambda u: 0.12 * steel_pressure(steel_fit(u)),
        plain=lambda u: -load(u) / AREA,
        source="stuck ring: shear F/(pi D L) at 90 degrees from the load against mu p",
    ),
    "slip torque": Case(
        study=STEEL,
        both={"study.limits.loose.slip_torque_Nm": 1.0},
        on=HELD,
        off=FREE,
        cause="slip torque",
        change=lambda u: 1.3 * 0.12 * steel_pressure(steel_fit(u)) * AREA * 0.5 * D,
        plain=lambda u: -1000.0,
        source="mu p pi D² L/2; 1.3 from press-in to break-out, from memory",
    ),
    "pull-out": Case(
        study=STEEL,
        both={"study.limits.loose.pull_out_N": 100.0},
        on=HELD,
        off=FREE,
        cause="pull-out",
        change=lambda u: 1.3 * 0.12 * steel_pressure(steel_fit(u)) * AREA,
        plain=lambda u: -100.0,
        source="mu p pi D L; 1.3 from press-in to break-out, from memory",
    ),
    "press force": Case(
        study=STEEL,
        on=HELD,
        off=FREE,
        cause="press force",
        temperature=None,
        change=lambda u: -0.12 * steel_pressure(steel_fit(u)) * AREA,
        plain=lambda u: 6000.0,
        source="mu p pi D L",
    ),
    "moment of the ball plane": Case(
        study=STEEL,
        on={"study.service.ball_plane_offset_mm": 1.5},
        off={"study.service.ball_plane_offset_mm": 0.0},
        cause="separation",
        change=lambda u: -12.0 * 1.5 * load(u) / (AREA * WIDTH),
        plain=lambda u: steel_pressure(steel_fit(u)) - 2.0 * load(u) / AREA,
        source="12 M/(pi D L²) at the edge, from equilibrium of a linear pressure",
    ),
    "moisture, stated swelling": Case(
        study=STEEL,
        both={"bore.material": SWELLING, "study.service.life_h": 20000},
        on={"study.service.moisture": 0.02},
        off={"study.service.moisture": 0.0},
        cause="interference at the end of life",
        change=lambda u: -0.02 * 0.3 * 37.0,
        plain=steel_fit,
        source="even strain in every direction: the bore grows by it, free of stress",
    ),
    "moisture": Case(
        study=STEEL,
        both={"bore.material": "cfrp-quasi-isotropic", "study.service.life_h": 20000},
        on={"study.service.moisture": 0.01},
        off={"study.service.moisture": 0.0},
        cause="interference at the end of life",
        change=lambda u: -2.0 * aged_growth(18.5, 23.0, 0.01 * 0.040, 0.01 * 0.4, 20000.0),
        plain=steel_fit,
        source="Lekhnitskii's ring, relaxed; 0.040 and 0.4 strain per moisture, from memory",
    ),
    "film, type-ii, remembered share": Case(
        study=STEEL,
        on={"bore.diameter.route": _filmed("type-ii", 8.0)},
        off={"bore.diameter.route": _filmed("type-ii", 0.0)},
        cause="interference",
        change=lambda u: 0.016 * _triangular(-u.z["bore.diameter@1"], 0.30, 0.33, 0.55),
        plain=_even_fit,
        source="both sides grow inward by the outward share of 8 µm",
    ),
    "film, type-iii, remembered share": Case(
        study=STEEL,
        on={
            "bore.diameter.route": _machined(
                {"step": "coat", "kind": "type-iii", "thickness_um": 8}
            )
        },
        off={"bore.diameter.route": _filmed("type-ii", 0.0)},
        cause="interference",
        change=lambda u: 0.016 * _triangular(-u.z["bore.diameter@1"], 0.30, 0.50, 0.55),
        plain=_even_fit,
        source="both sides grow inward by the outward share of 8 µm",
    ),
    "etching, remembered depth": Case(
        study=STEEL,
        on={"bore.diameter.route": _machined({"step": "strip"})},
        off={"bore.diameter.route": _machined()},
        cause="interference",
        change=lambda u: -2e-3 * _triangular(u.z["bore.diameter@1"], 1.0, 2.0, 5.0),
        plain=_even_fit,
        source="1 to 5 µm a side, most often 2, from memory",
    ),
}
