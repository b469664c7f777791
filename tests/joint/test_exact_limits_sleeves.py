"""Limits in which a sleeve has a closed form, from TOML to the margin: pressed, glued, screwed."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.joint.plain_seat import stiffened
from tolsim.joint.assemble import assemble
from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.spec.load import load_study

#: Ring and sleeve [mm]; ring -4.5, inside -33 µm; outside of the sleeve 0, of the shell's bore -40.
D, OUTER, SHELL, LENGTH = 37.0, 42.0, 52.0, 12.0
FIT, SLEEVE_FIT = 0.0285, 0.040
STEEL = "bearing-steel"

_BORE = """
part = "bore"
title = "made for a test"
basis = "assumed"
material = "{shell}"
outside_diameter_mm = 52.0
seat_width_mm = 12.0
span_mm = 82.0
[diameter]
nominal_mm = {nominal}
band_um = [{bore}, {bore_high}]
"""
_SLEEVE = """
part = "sleeve"
title = "made for a test"
basis = "assumed"
material = "{sleeve}"
length_mm = 12.0
gauged = "{gauged}"
{more}
[inside]
nominal_mm = 37.0
band_um = [{inside}, {inside_high}]
[outside]
nominal_mm = 42.0
band_um = [0, 0.001]
"""
_BEARING = """
part = "bearing"
title = "made for a test"
basis = "assumed"
bore_mm = 25.0
outside_diameter_mm = 37.0
width_mm = 7.0
outside = { band_um = [-4.501, -4.5] }
clearance = { band_um = [13, 28] }
"""
_ADHESIVE = """
part = "adhesive"
title = "made for a test"
basis = "assumed"
strength_MPa = 20
peel_strength_MPa = 12
wetted_share = 0.8
strength_at_gap_um = [[0, 1.0], [200, 1.0]]
cure_temperature_C = %s
"""
_STUDY = """
title = "made for a test"
[joint]
kind = "{kind}"
bore = "bores/b"
sleeve = "sleeves/s"
bearing = "bearings/r"
{glue}
[service]
temperature_C = {temperatures}
seat_load_N = {load}
inner_ring_warmer_K = 0
[limits]
loose = {{ interference_um = 0, separation = true{loose} }}
tight = {{ clearance_um = 0 }}
{bond}
"""
_THREAD = """thread = { pitch_mm = 1.0, pitch_diameter_mm = 42.0, engagement_mm = 10.0, \
flange_outer_mm = 52.0, flange_inner_mm = 45.0, torque_Nm = 40, clearance_um = 0, \
face_run_out_um = 0 }"""
#: Bands of 1 nm stand for sizes known exactly [mm].
CLOSE = 2e-6


def _margins(
    folder: Path,
    kind: str,
    *,
    shell: str = STEEL,
    sleeve: str = STEEL,
    gauged: str = "before",
    inside: int = -33,
    temperatures: tuple[float, ...] = (20.0,),
    load: float = 0.0,
    cure: float = 20.0,
) -> dict[tuple[str, float | None], float]:
    """Margins of seat 1 of the unit in the middle of everything, by cause and temperature."""
    glued = kind == "bonded"
    texts = {
        "bores/b": _BORE.format(
            shell=shell,
            nominal=42.1 if glued else OUTER,
            bore=0 if glued else -40,
            bore_high=0.001 if glued else -39.999,
        ),
        "sleeves/s": _SLEEVE.format(
            sleeve=sleeve,
            gauged=gauged,
            inside=inside,
            inside_high=inside + 0.001,
            more=_THREAD if kind == "threaded" else "",
        ),
        "bearings/r": _BEARING,
        "adhesives/a": _ADHESIVE % cure,
        "study": _STUDY.format(
            kind=kind,
            temperatures=list(temperatures),
            load=load,
            glue='adhesive = "adhesives/a"' if glued else "",
            loose=", sleeve_interference_um = 0" if kind == "sleeved" else "",
            bond="bond = { shear = true, peel = true }" if glued else "",
        ),
    }
    for name, text in texts.items():
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    joined = assemble(load_study(folder))
    build = joined.builds[0]
    out = joined.recording(np.zeros((len(joined.latent), 1)))
    return {
        (m.cause, m.temperature): float(out[build.first + k, 0])
        for k, m in enumerate(build.margins)
        if 1 in m.seats
    }


def _tube(m: Material, a: float, b: float) -> tuple[float, float, float]:
    """Lamé: bore by inside, bore by outside, outside by outside pressure, growth per MPa."""
    s = (b * b + a * a) / (b * b - a * a)
    across = 2.0 * a * b * b / (m.E_hoop * (b * b - a * a))
    return a * (s + m.poisson) / m.E_hoop, across, b * (s - m.poisson) / m.E_hoop


def _closing(sleeve: Material, shell: Material) -> float:
    """How far the bore of a sleeve closes, on the diameter, when it is pressed into the shell.

    Two tubes of Lamé, the shell's stiffened by the wall beyond the sleeve.
    """
    a, b, c = 0.5 * D, 0.5 * OUTER, 0.5 * SHELL
    wall = stiffened(b, c, shell.poisson, LENGTH)
    _, across, outside = _tube(sleeve, a, b)
    pressure = 0.5 * SLEEVE_FIT / (outside + wall * _tube(shell, b, c)[0])
    return 2.0 * across * pressure


METALS = ("aluminium-7075-t6", "steel-4130", "titanium-6al-4v", "pom")


@pytest.mark.parametrize("sleeve", METALS)
@pytest.mark.parametrize("shell", METALS)
def test_a_pressed_sleeve_is_gauged_before_or_after(
    tmp_path: Path, sleeve: str, shell: str
) -> None:
    """Gauged in the shell its bore is what the ring meets; before, less what the shell closes."""
    after = _margins(tmp_path, "sleeved", sleeve=sleeve, shell=shell, gauged="after")
    assert_allclose(after["interference", 20.0], FIT, atol=CLOSE)
    before = _margins(tmp_path, "sleeved", sleeve=sleeve, shell=shell)
    closed = _closing(MATERIALS[sleeve], MATERIALS[shell])
    assert_allclose(before["interference", 20.0], FIT + closed, atol=CLOSE)


def test_parts_of_one_material_keep_all_fits_in_heat_and_cold(tmp_path: Path) -> None:
    """Ring, sleeve and shell that expand alike: every margin is the same at -40, 20 and 110 °C."""
    got = _margins(tmp_path, "sleeved", temperatures=(-40.0, 20.0, 110.0))
    for cause in {cause for cause, _ in got}:
        assert_allclose(got[cause, -40.0], got[cause, 20.0], rtol=1e-9, atol=1e-12)
        assert_allclose(got[cause, 110.0], got[cause, 20.0], rtol=1e-9, atol=1e-12)


def test_a_loose_ring_leaves_the_sleeve_to_its_own_fit(tmp_path: Path) -> None:
    """Without a ring that presses, sleeve and shell have outside less bore, drifting by alpha.

    A sleeve of titanium in alloy loosens in the heat, tightens in the cold.
    """
    sleeve, shell = "titanium-6al-4v", "aluminium-7075-t6"
    got = _margins(
        tmp_path,
        "sleeved",
        sleeve=sleeve,
        shell=shell,
        inside=500,
        temperatures=(-40.0, 20.0, 60.0),
    )
    for t in (-40.0, 20.0, 60.0):
        drift = OUTER * (MATERIALS[sleeve].alpha_hoop - MATERIALS[shell].alpha_hoop) * (t - 20.0)
        assert_allclose(got["sleeve interference", t], SLEEVE_FIT + drift, atol=CLOSE)
        assert got["separation", t] < 0.0


@pytest.mark.parametrize("sleeve", METALS)
@pytest.mark.parametrize("temperature", [-30.0, 20.0, 70.0])
def test_a_screwed_sleeve_alone_holds_the_ring(
    tmp_path: Path, sleeve: str, temperature: float
) -> None:
    """Its fit drifts by the difference of ring and sleeve; the shell's material is no matter."""
    found = [
        _margins(tmp_path, "threaded", sleeve=sleeve, shell=shell, temperatures=(temperature,))
        for shell in ("steel-4130", "pom")
    ]
    drift = MATERIALS[STEEL].alpha_hoop - MATERIALS[sleeve].alpha_hoop
    want = FIT + D * drift * (temperature - 20.0)
    assert_allclose(found[0]["interference", temperature], want, atol=CLOSE)
    for cause in ("interference", "separation", "clearance"):
        assert found[1][cause, temperature] == found[0][cause, temperature]


@pytest.mark.parametrize("cure", [20.0, 80.0, 120.0])
def test_a_glued_sleeve_gauged_after_cure_is_as_gauged(tmp_path: Path, cure: float) -> None:
    """Whatever the cure, a bore gauged behind it meets the ring with what the gauge said."""
    got = _margins(tmp_path, "bonded", sleeve="aluminium-7075-t6", gauged="after", cure=cure)
    assert_allclose(got["interference", 20.0], FIT, atol=CLOSE)


def test_cured_at_the_temperature_of_sizes_nothing_shrinks(tmp_path: Path) -> None:
    """Cured at 20 °C before or after the gauge is one and the same; cured hot it is not."""
    cold, hot = (
        [
            _margins(tmp_path, "bonded", sleeve="pom", gauged=g, cure=cure)
            for g in ("before", "after")
        ]
        for cure in (20.0, 80.0)
    )
    assert cold[0] == pytest.approx(cold[1], abs=1e-12)
    assert abs(hot[0]["interference", 20.0] - hot[1]["interference", 20.0]) > 1e-3


def test_a_bond_bears_the_load_alone(tmp_path: Path) -> None:
    """With a loose ring and no cure stress it has its strength less F/(pi D L), shear and peel.

    Strength 20 MPa on 0.8 of the surface at any gap, 12 MPa across.
    """
    load = 900.0
    got = _margins(tmp_path, "bonded", inside=500, load=load)
    demand = load / (math.pi * OUTER * LENGTH)
    assert_allclose(got["bond shear", 20.0], 20.0 * 0.8 - demand, rtol=1e-9)
    assert_allclose(got["peel", 20.0], 12.0 - demand, rtol=1e-9)
