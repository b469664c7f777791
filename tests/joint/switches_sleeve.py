"""Mechanisms of a sleeve: pressed, glued and screwed in, each on and off in a shipped study."""

from __future__ import annotations

import math

import numpy as np

from tests.joint.plain_seat import (
    SPAN,
    bond_factor,
    glued_gap,
    load,
    squeezed,
    thread_lever,
    vector,
)
from tests.joint.switch import Case
from tests.shipped import FloatArray, Units, units

__all__ = ["SLEEVE"]

SCREWED, GLUED, PRESSED = "threaded-steel", "bonded-carbon", "sleeved-alloy"
DEG = math.pi / 180.0
PLAIN_THREAD = {
    "sleeve.thread.torque_Nm": 40.0,
    "sleeve.thread.friction": 0.15,
    "sleeve.thread.flange_friction": 0.15,
}


def _axes(u: Units, seat: int) -> tuple[FloatArray, FloatArray]:
    """Offset and tilt of a seat of threaded-steel: bore and sleeve."""
    offset = vector(u, "bore.offset", 15e-3, seat) + vector(u, "sleeve.offset", 5e-3, seat)
    tilt = vector(u, "bore.tilt", 0.015 * DEG, seat) + vector(u, "sleeve.tilt", 0.006 * DEG, seat)
    return offset, tilt


def _mid_span(u: Units, floating: float) -> FloatArray:
    """Distance of both axes at mid-span, each sleeve anywhere in a disc of that radius."""
    (o1, t1), (o2, t2) = _axes(u, 1), _axes(u, 2)
    for o, seat in ((o1, 1), (o2, 2)):
        z = vector(u, "thread.centre", 1.0, seat)
        rho = np.hypot(*z)
        # uniform in a disc: the squared radius is uniform, 1 - exp(-rho²/2) of two normals
        o += floating * z * np.sqrt(-np.expm1(-0.5 * rho**2)) / np.maximum(rho, 1e-300)
    return np.asarray(np.hypot(*(o2 - o1 - (t1 + t2) * 0.5 * SPAN)))


def _angle(u: Units, run_out: float) -> FloatArray:
    (_, t1), (_, t2) = _axes(u, 1), _axes(u, 2)
    f1, f2 = (vector(u, "thread.face", run_out / 52.0, k) for k in (1, 2))
    return np.asarray(np.hypot(*(t1 + f1 - t2 - f2)))


def _settled(share: float, u: Units) -> FloatArray:
    """Whole change -6 µm, 1.5 µm from part to part, 1 µm in common, of which a share counts."""
    wider = math.hypot(10.0, 1.5 * share) - 10.0
    common = u.z["evidence bores/coast-moulded-large bore.diameter settling"]
    return np.asarray(1e-3 * (-6.0 * share + wider * u.z["bore.diameter@1"] + 1.0 * share * common))


def _kohlrausch(earlier: float, later: float, time: float = 36.0, exponent: float = 0.6) -> float:
    return math.exp(-((earlier / time) ** exponent)) - math.exp(-((later / time) ** exponent))


def _lobed(lobes: int, amplitude: float) -> tuple[float, float]:
    r"""Pressure of bore lobes behind the sleeve of sleeved-alloy: on the ring, on the sleeve.

    Thin rings in bending, :math:`k = E t^3(n^2-1)^2/(12R^4)` (Timoshenko), as springs: ring and
    sleeve go along side by side, the shell stands against both. Forces on one angle.
    """
    walls = ((17.3, 18.5, 208e3), (18.5, 21.0, 71.7e3), (21.0, 25.0, 68.9e3))
    springs = [
        e * (b - a) ** 3 * (lobes**2 - 1) ** 2 / (12.0 * (0.5 * (a + b)) ** 4) for a, b, e in walls
    ]
    ring, sleeve, shell = springs[0] * 18.5, springs[1] * 21.0, springs[2] * 21.0
    inside = ring + sleeve
    force = amplitude / (1.0 / inside + 1.0 / shell)
    return force * ring / inside / 18.5, force / 21.0


def _settling(whole: float) -> dict[str, object]:
    return {"step": "settle", "mean_um": whole, "time_h": 36.0, "exponent": 0.6}


#: An epoxy that does not relax, so that the metal's settling stands alone.
STIFF = {
    "name": "epoxy, made stiff",
    "young_MPa": 3000.0,
    "poisson": 0.38,
    "expansion_per_K": 60e-6,
    "family": "adhesive",
    "relaxation": 0.0,
    "source": "made for a test",
}
#: Sleeve, shell and, between them, the bond.
IN_SLEEVE = (18.5, 21.0, 71.7e3, 0.33)

SLEEVE = {
    "shell that settles round a bond": Case(
        study=GLUED,
        both={
            "study.service.life_h": 20000,
            "bore.material": "aluminium-6061-t6",
            "adhesive.material": STIFF,
            "adhesive.cure_temperature_C": 20,
        },
        on={"bore.diameter.route.1": _settling(-20.0)},
        off={"bore.diameter.route.1": _settling(0.0)},
        cause="interference at the end of life",
        change=lambda u: squeezed(
            20e-3 * math.exp(-((90.0 / 36.0) ** 0.6)),
            (IN_SLEEVE, (21.0, 21.05, 3e3, 0.38), (21.05, 24.5, 68.9e3, 0.33)),
        ),
        plain=lambda u: (
            1e-3 * (-4.5 + 1.3 * u.z["bearing.outside@1"] + 33.0 - 1.8 * u.z["sleeve.inside@1"])
            - 0.8 * 3e-3
        ),
        source="Lamé for three layers; only what settles after the bond was made presses on it",
    ),
    "shell that settles round a sleeve gauged in place": Case(
        study=PRESSED,
        both={
            "study.service.life_h": 20000,
            "sleeve.gauged": "after",
            "sleeve.inside.route.0.mean_um": -30.0,
        },
        on={"bore.diameter.route.1": _settling(-20.0)},
        off={"bore.diameter.route.1": _settling(0.0)},
        cause="interference at the end of life",
        change=lambda u: squeezed(
            20e-3 * math.exp(-((90.0 / 36.0) ** 0.6)), (IN_SLEEVE, (21.0, 25.0, 68.9e3, 0.33))
        ),
        plain=lambda u: (
            1e-3 * (-4.5 + 1.3 * u.z["bearing.outside@1"] + 30.0 - 1.5 * u.z["sleeve.inside@1"])
            - 0.8 * 3e-3
        ),
        source="Lamé for two layers; the gauge has seen the fit as it was pressed",
    ),
    "settling": Case(
        study=GLUED,
        on={},
        off={"bore.diameter.route.1": None},
        cause="gap too small",
        temperature=None,
        change=lambda u: _settled(_kohlrausch(24.0, 90.0), u),
        plain=lambda u: glued_gap(u) - 0.020,
        source="Kohlrausch between both ages, 36 h, exponent 0.6",
    ),
    "settling, remembered": Case(
        study=GLUED,
        on={"bore.diameter.route.1": {"step": "settle"}},
        off={"bore.diameter.route.1": None},
        cause="gap too small",
        temperature=None,
        change=lambda u: -0.00015 * 42.1 * _kohlrausch(24.0, 90.0),
        plain=lambda u: glued_gap(u) - 0.020,
        source="1.5e-4 of the diameter, 36 h, exponent 0.6, all from memory",
    ),
    "lobes through the sleeve, on the ring": Case(
        study=PRESSED,
        on={"bore.roundness": {"lobes": 2, "amplitude_um": 5}},
        off={"bore.roundness": {"lobes": 2, "amplitude_um": 0}},
        cause="separation",
        change=lambda u: -_lobed(2, 5e-3)[0],
        plain=lambda u: units(u.folder / "plain", PRESSED).margin("separation", 20.0),
        source="thin rings in bending, 2 % off Michell's thick ones at these walls",
        error=0.02,
    ),
    "lobes through the sleeve, on the sleeve": Case(
        study=PRESSED,
        on={"bore.roundness": {"lobes": 2, "amplitude_um": 5}},
        off={"bore.roundness": {"lobes": 2, "amplitude_um": 0}},
        cause="sleeve separation",
        change=lambda u: -_lobed(2, 5e-3)[1],
        plain=lambda u: units(u.folder / "plain", PRESSED).margin("sleeve separation", 20.0),
        source="thin rings in bending, 2 % off Michell's thick ones at these walls",
        error=0.02,
    ),
    "wetted share": Case(
        study=GLUED,
        both={"adhesive.strength_MPa": 20, "bore.diameter.route.1": None},
        on={"adhesive.wetted_share": 0.85},
        off={"adhesive.wetted_share": 1.0},
        cause="bond shear",
        change=lambda u: -0.15 * 20.0 * bond_factor(glued_gap(u)) / 1.5,
        plain=lambda u: 20.0 * bond_factor(glued_gap(u)) / 1.5 - load(u) / (math.pi * 42.0 * 12.0),
        source="tau c f(g)/S against F/(pi D L)",
    ),
    "press and adhesive": Case(
        study=PRESSED,
        both={
            "study.joint.adhesive": "adhesives/cold-epoxy",
            "adhesive.peel_strength_MPa": 12,
            "adhesive.wetted_share": 0.85,
        },
        on={"adhesive.bond_share": 1.0},
        off={"adhesive.bond_share": 0.0},
        cause="sleeve separation",
        temperature=30.0,
        change=lambda u: 12.0 * 0.85 * (1.0 - 0.008 * 10.0),
        plain=lambda u: units(u.folder / "plain", PRESSED).margin("sleeve separation", 30.0),
        source="superposition (Dragoni and Mauri 2002); 0.008/K from memory",
    ),
    "thread clearance": Case(
        study=SCREWED,
        both={"sleeve.thread.face_run_out_um": 0},
        on={"sleeve.thread.clearance_um": 60},
        off={"sleeve.thread.clearance_um": 0},
        cause="offset of the seats",
        temperature=None,
        change=lambda u: _mid_span(u, 0.0) - _mid_span(u, 0.030),
        plain=lambda u: 0.120 - _mid_span(u, 0.0),
        source="half the clearance on the pitch diameter, anywhere in the disc",
    ),
    "square flange": Case(
        study=SCREWED,
        both={"sleeve.thread.clearance_um": 250},
        on={},
        off={"sleeve.thread.face_run_out_um": 0},
        cause="angle of the seats",
        temperature=None,
        change=lambda u: _angle(u, 0.0) - _angle(u, 8e-3),
        plain=lambda u: 0.1 * DEG - _angle(u, 0.0),
        source="the axis follows the face: run-out over the flange's diameter",
    ),
    "flange without play": Case(
        study=SCREWED,
        both={"sleeve.thread.clearance_um": 0},
        on={},
        off={"sleeve.thread.face_run_out_um": 0},
        cause="angle of the seats",
        temperature=None,
        change=lambda u: 0.0,
        plain=lambda u: 0.1 * DEG - _angle(u, 0.0),
        source="a thread without play holds the axis whatever the face",
    ),
    "flange contact": Case(
        study=SCREWED,
        both={"sleeve.thread.clearance_um": 60},
        on={},
        off={"sleeve.thread.face_run_out_um": 0},
        cause="flange contact",
        temperature=None,
        change=lambda u: -np.hypot(*vector(u, "thread.face", 8e-3, 1)),
        plain=lambda u: 0.060 / 10.0 * 52.0,
        source="the thread allows clearance over engagement, seen at the flange's edge",
    ),
    "loosening, service torque": Case(
        study=SCREWED,
        both=PLAIN_THREAD,
        on={"sleeve.thread.service_torque_Nm": 1.0},
        off={"sleeve.thread.service_torque_Nm": 0.0},
        cause="loosening",
        temperature=None,
        change=lambda u: -1000.0,
        plain=lambda u: 40e3 * thread_lever(-1.0, 0.15) / thread_lever(1.0, 0.15),
        source="VDI 2230 part 1: the pitch turns against tightening and with loosening",
    ),
    "loosening, friction": Case(
        study=SCREWED,
        both={**PLAIN_THREAD, "sleeve.thread.service_torque_Nm": 0.0},
        on={},
        off={"sleeve.thread.friction": 0.0, "sleeve.thread.flange_friction": 0.0},
        cause="loosening",
        temperature=None,
        change=lambda u: 40e3 * (thread_lever(-1.0, 0.15) / thread_lever(1.0, 0.15) + 1.0),
        plain=lambda u: -40e3,
        source="without friction the clamp force turns the sleeve out with what tightened it",
    ),
}
