"""Limits in which a seat has a closed form, from TOML to the margin: stiff, thick, equal, zero."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.joint.plain_seat import stiffened
from tests.studies import write
from tolsim.joint.assemble import assemble
from tolsim.mechanics.materials import MATERIALS
from tolsim.spec.load import load_study

#: Ring of the small study: outside and raceway (d + 4 D)/5, a handbook estimate [mm].
D, RACEWAY = 37.0, (25.0 + 4.0 * 37.0) / 5.0
#: Middle of ring -9 to 0 less middle of bore -30 to -10, and middle of the clearance [mm].
FIT, CLEARANCE = 0.0155, 0.0205
STEEL = MATERIALS["bearing-steel"]
LIMITS = (
    "loose = { interference_um = 0, separation = true, creep = true }\n"
    "tight = { clearance_um = 0, hoop_stress_share = 1.0 }"
)
SERVICE = "[service]\ntemperature_C = {t}\ninner_ring_warmer_K = 0\n{load}\n"


def _custom(young: float, poisson: float, expansion: float, more: str = "") -> str:
    return (
        f'{{ name = "made for a test", young_MPa = {young:g}, poisson = {poisson}, '
        f'expansion_per_K = {expansion!r}, hoop_allowable_MPa = 1000, source = "invented"{more} }}'
    )


def _margins(
    folder: Path,
    *,
    material: str = '"steel-4130"',
    outside: float = 46.0,
    width: float = 7.0,
    temperatures: tuple[float, ...] = (20.0,),
    load: str = "seat_load_N = 0",
    ring: str = "",
    bore: str = "",
    joint: str = "",
) -> dict[tuple[str, float | None], float]:
    """Margins of seat 1 of the unit in the middle of everything, by cause and temperature."""
    write(
        folder,
        bore_more=bore,
        study_more=joint + "\n" + SERVICE.format(t=list(temperatures), load=load),
        limits=LIMITS,
    )
    b, r = folder / "bores" / "b.toml", folder / "bearings" / "r.toml"
    text = b.read_text().replace('"steel-4130"', material)
    text = text.replace("outside_diameter_mm = 46.0", f"outside_diameter_mm = {outside}")
    b.write_text(text.replace("seat_width_mm = 7.0", f"seat_width_mm = {width}"))
    r.write_text(ring + "\n" + r.read_text().replace("width_mm = 7.0", f"width_mm = {width}"))
    joined = assemble(load_study(folder))
    build = joined.builds[0]
    out = joined.recording(np.zeros((len(joined.latent), 1)))
    return {
        (m.cause, m.temperature): float(out[build.first + k, 0])
        for k, m in enumerate(build.margins)
        if 1 in m.seats
    }


def _seat_growth(young: float, poisson: float, outside: float, width: float) -> float:
    """Growth of the shell's bore radius per pressure, stiffened by the wall beside the seat.

    Lamé in plane stress times a band flush with the end of the wall.
    """
    r, b = 0.5 * D, 0.5 * outside
    lame = r * ((b * b + r * r) / (b * b - r * r) + poisson) / young
    return lame * stiffened(r, b, poisson, width)


def _pressure(
    fit: float,
    young: float,
    poisson: float,
    outside: float,
    width: float,
    ring: tuple[float, float] = (STEEL.E_hoop, STEEL.poisson),
) -> float:
    r, a = 0.5 * D, 0.5 * RACEWAY
    inner = r * ((r * r + a * a) / (r * r - a * a) - ring[1]) / ring[0]
    return 0.5 * fit / (inner + _seat_growth(young, poisson, outside, width))


def _contraction(pressure: float, young: float = STEEL.E_hoop) -> float:
    """Of the raceway, on its diameter: 4 p r_i r_o²/(E (r_o² - r_i²)) (Lamé)."""
    r, a = 0.5 * D, 0.5 * RACEWAY
    return 4.0 * pressure * a * r * r / (young * (r * r - a * a))


@pytest.mark.parametrize(
    ("young", "poisson", "outside", "width"),
    [
        (210e3, 0.29, 46.0, 7.0),
        (68.9e3, 0.33, 42.0, 7.0),  # thin alloy
        (68.9e3, 0.33, 500.0, 7.0),  # as thick as the format allows
        (2e6, 0.0, 46.0, 7.0),  # as stiff as the format allows
        (1e3, 0.45, 60.0, 20.0),  # nearly rubber
        (45e3, 0.35, 46.0, 200.0),  # magnesium, from memory; a seat far wider than the decay
    ],
)
def test_lame_through_the_files(
    tmp_path: Path, young: float, poisson: float, outside: float, width: float
) -> None:
    """Pressure, clearance and hoop stress of a ring in a shell are the closed forms."""
    got = _margins(
        tmp_path,
        material=_custom(young, poisson, 12e-6),
        outside=outside,
        width=width,
    )
    p = _pressure(FIT, young, poisson, outside, width)
    assert_allclose(got["interference", 20.0], FIT, rtol=1e-12)
    assert_allclose(got["separation", 20.0], p, rtol=1e-9)
    assert_allclose(got["clearance", 20.0], CLEARANCE - _contraction(p), rtol=0, atol=1e-12)
    growth = _seat_growth(young, poisson, outside, width) * p
    # hoop stress from the displacement, E u/r - nu p
    assert_allclose(
        got["hoop stress", 20.0], 1000.0 - (young * growth / (0.5 * D) - poisson * p), rtol=1e-9
    )


def test_thick_shell_of_the_rings_steel_passes_the_ratio_of_diameters(tmp_path: Path) -> None:
    """A seat much wider than a thick wall decays: the raceway takes De/D of the fit (handbooks).

    The wall of 500 mm lacks (D/Dh)² of an infinite one, the finite width 1/(4 beta L) of its
    growth; together below 2.5 % here.
    """
    got = _margins(
        tmp_path,
        material='"bearing-steel"',
        outside=500.0,
        width=1000.0,
    )
    taken = CLEARANCE - got["clearance", 20.0]
    assert_allclose(taken, FIT * RACEWAY / D, rtol=0.025)


def test_a_rigid_shell_leaves_the_whole_fit_to_the_ring(tmp_path: Path) -> None:
    """Stiffness near infinity: the ring's outside is pressed in by all of the interference.

    Raceway over outside 2 De D/(D² + De² - nu (D² - De²)) (Lamé); ring of 2 GPa in 2000 GPa.
    """
    soft = "material = " + _custom(2e3, 0.3, 0.0)
    got = _margins(tmp_path, material=_custom(2e6, 0.3, 0.0), ring=soft)
    a, r = RACEWAY, D
    share = 2.0 * a * r / (r * r + a * a - 0.3 * (r * r - a * a))
    assert_allclose(CLEARANCE - got["clearance", 20.0], FIT * share, rtol=1e-3)
    # the other way round, a ring that does not give: the clearance stays what it was
    stiff = "material = " + _custom(2e6, 0.3, 0.0)
    kept = _margins(tmp_path, material=_custom(10.0, 0.3, 0.0), ring=stiff)
    assert_allclose(kept["clearance", 20.0], CLEARANCE, rtol=1e-3)


@pytest.mark.parametrize("temperature", [-40.0, -5.0, 20.0, 45.0, 110.0])
@pytest.mark.parametrize(
    ("name", "sign"),
    [
        ("steel-4130", -1),
        ("aluminium-7075-t6", -1),
        ("titanium-6al-4v", 1),
        ("pom", -1),
        ("bearing-steel", 0),
    ],
)
def test_isotropic_shell_drifts_by_the_difference_of_expansions(
    tmp_path: Path, name: str, sign: int, temperature: float
) -> None:
    """Interference moves by D (alpha ring - alpha shell) dT, loosening or tightening by its sign.

    Through zero and beyond: a shell of acetal in the heat leaves a gap, told as one.
    """
    got = _margins(tmp_path, material=f'"{name}"', temperatures=(temperature,))
    m, rise = MATERIALS[name], temperature - 20.0
    drift = D * (STEEL.alpha_hoop - m.alpha_hoop) * rise
    assert np.sign(drift) == sign * np.sign(rise)
    assert_allclose(got["interference", temperature], FIT + drift, rtol=1e-9, atol=1e-12)
    if FIT + drift <= 0.0:
        assert got["separation", temperature] < 0.0
        assert_allclose(got["clearance", temperature], CLEARANCE, atol=1e-12)
        return
    p = _pressure(FIT + drift, m.E_hoop, m.poisson, 46.0, 7.0)
    assert_allclose(got["separation", temperature], p, rtol=1e-9)
    # the free expansion of the rings leaves the clearance alone
    assert_allclose(got["clearance", temperature], CLEARANCE - _contraction(p), rtol=0, atol=1e-12)


@pytest.mark.parametrize("temperature", [-30.0, 70.0])
def test_orthotropic_shell_drifts_by_its_free_bore(tmp_path: Path, temperature: float) -> None:
    """The bore of a free orthotropic ring, with its self-stress, against a ring of steel.

    Free surfaces (Lekhnitskii): u = A r^k + B r^-k + K dT r with sigma_r = 0 at both radii.
    """
    young, radial, nu, at, ar = 90e3, 9e3, 0.25, 1e-6, 30e-6
    more = f", young_radial_MPa = {radial}, expansion_radial_per_K = {ar!r}"
    more += f", young_axial_MPa = {young}, poisson_hoop_axial = {nu}"
    got = _margins(tmp_path, material=_custom(young, nu, at, more), temperatures=(temperature,))
    k, rise = math.sqrt(young / radial), temperature - 20.0
    # nu_thr nu_rth with nu_rth = nu_thr E_r/E_th
    det = 1.0 - nu * nu * radial / young
    qrr, qtt, qrt = radial / det, young / det, nu * radial / det
    nr, nt = qrr * ar + qrt * at, qrt * ar + qtt * at
    free = (nr - nt) / (qrr - qtt)
    r = np.array([0.5 * D, 23.0])
    rows = np.column_stack([(k * qrr + qrt) * r ** (k - 1.0), (-k * qrr + qrt) * r ** (-k - 1.0)])
    a, b = np.linalg.solve(rows, np.full(2, (nr - (qrr + qrt) * free) * rise))
    bore = a * r[0] ** k + b * r[0] ** -k + free * rise * r[0]
    want = FIT + D * STEEL.alpha_hoop * rise - 2.0 * bore
    assert_allclose(got["interference", temperature], want, rtol=1e-9)


def test_expansion_means_nothing_at_the_temperature_of_sizes(tmp_path: Path) -> None:
    """At 20 °C a shell that expands ten times more, or shrinks, has the same margins."""
    plain = _margins(tmp_path, material=_custom(70e3, 0.3, 0.0))
    for expansion in (-1e-4, 1e-4):
        assert _margins(tmp_path, material=_custom(70e3, 0.3, expansion)) == pytest.approx(
            plain, rel=1e-12
        )


@pytest.mark.parametrize(
    ("overhang", "share"),
    [(0.0, 0.5), (41.0, 1.0), (82.0, 1.5)],  # F (1/2 + e/B), span 82
)
def test_pedal_force_is_the_near_reaction(tmp_path: Path, overhang: float, share: float) -> None:
    """Midway each seat has half; over a seat that seat has all; a span away, one and a half."""
    by_load = _margins(tmp_path, load=f"seat_load_N = {share * 400.0}")
    by_pedal = _margins(tmp_path, load=f"pedal_force_N = 400\noverhang_mm = {overhang}")
    assert by_pedal == pytest.approx(by_load, rel=1e-12)
    unloaded = _margins(tmp_path)
    # 2 F/(pi D L), full contact without friction
    assert_allclose(
        unloaded["separation", 20.0] - by_pedal["separation", 20.0],
        2.0 * share * 400.0 / (math.pi * D * 7.0),
        rtol=1e-9,
    )
    # without a load nothing creeps
    assert_allclose(unloaded["ring creep", 20.0], unloaded["interference", 20.0], atol=1e-9)


@pytest.mark.parametrize(
    ("where", "text"),
    [
        ("bore", "taper_um = 0"),
        ("bore", "roundness = { lobes = 6, amplitude_um = 0 }"),
        ("bore", "roughness_rz_um = 0"),
        ("ring", "inner_fit_um = 0"),
        ("ring", "roughness_rz_um = 0"),
        ("joint", "removals = 5\nremoval_retention = 1.0"),
        ("joint", "smoothing_factor = 0.0"),
        ("load", "seat_load_N = 0\nbearing_warmer_K = 0"),
        ("load", "seat_load_N = 0\nball_plane_offset_mm = 3"),  # no load, no moment
        ("load", "seat_load_N = 0\nmoisture = 0"),
    ],
)
def test_a_mechanism_of_size_zero_is_none(tmp_path: Path, where: str, text: str) -> None:
    """Stated as 0 it gives the margins of a study that does not speak of it."""
    given: dict[str, Any] = {where: text}
    plain, zero = _margins(tmp_path), _margins(tmp_path, **given)
    assert zero.keys() == plain.keys()
    assert zero == pytest.approx(plain, rel=1e-12, abs=1e-15)
