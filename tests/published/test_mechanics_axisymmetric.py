"""Finite width and sleeves longer than the bearing against axisymmetric finite elements."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.mechanics.fe_axisymmetric import Wall, isotropic, mean_growth
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Layer, Stack
from tolsim.mechanics.spread import sleeve_factor
from tolsim.mechanics.width import eta, eta_end, eta_mid

LENGTH = 70.0
ROWS = [
    row
    for row in csv.DictReader(
        (Path(__file__).parent / "data" / "mechanics_check_values.csv").open(encoding="utf-8")
    )
    if row["id"][:3] in ("X01", "X02", "X06")
]


def lame(inner: float, outer: float, young: float, nu: float) -> float:
    """Bore growth of a plane stress ring per unit of pressure (Timoshenko)."""
    a2, b2 = inner**2, outer**2
    return inner / young * ((b2 + a2) / (b2 - a2) + nu)


@pytest.mark.parametrize("row", ROWS, ids=[r["id"] for r in ROWS])
def test_rows_of_the_table(row: dict[str, str]) -> None:
    """The finite elements of the table are reproduced by ones written apart, to its 0.001."""
    i: dict[str, Any] = json.loads(row["inputs"])
    start = i.get("x_mm", 0.0 if row["id"].startswith("X02") else 0.5 * (LENGTH - i["L_mm"]))
    wall = isotropic(i["ri_mm"], i["ro_mm"], 0.0, LENGTH, 70e3, i["nu"])
    got = mean_growth([wall], (start, start + i["L_mm"]))
    assert_allclose(
        got / lame(i["ri_mm"], i["ro_mm"], 70e3, i["nu"]),
        float(row["expected"]),
        rtol=0.0,
        atol=float(row["tolerance"]),
    )


def test_composite_shell_with_soft_shear() -> None:
    """The orthotropic factor is a lower bound: 0.45 for 0.57 in the middle, 0.80 for 0.84 flush.

    Interlaminar shear of 3.5 GPa, which the beam leaves out, softens a wall of 3.5 mm. Both
    pairs come from another set of finite elements, to the two digits it printed.
    """
    r0, wall, width = 20.5, 3.5, 7.0
    shell = Wall(r0, r0 + wall, 0.0, LENGTH, 60e3, 9e3, 60e3, 0.3, 0.3, 0.3, 3.5e3)
    m = Material(
        name="m",
        E_hoop=60e3,
        E_radial=9e3,
        poisson=0.3,
        alpha_hoop=0.0,
        alpha_radial=0.0,
        E_axial=60e3,
        poisson_hoop_axial=0.3,
    )
    layer = Layer(inner_radius=r0, outer_radius=r0 + wall, material=m)
    full = layer.influence().c11
    fe = [mean_growth([shell], (low, low + width)) / full for low in (31.5, 0.0)]
    assert_allclose(fe, [0.57, 0.84], atol=5e-3)
    got = [f(width, r0, r0 + wall, m) for f in (eta_mid, eta_end)]
    assert_allclose(got, [0.45, 0.80], atol=5e-3)


ALLOY, STEEL = (68.9e3, 0.33), (206e3, 0.30)
CASES = [
    (pair, radii, length, place, inset)
    for pair in ((ALLOY, ALLOY), (ALLOY, STEEL), (STEEL, ALLOY))
    for radii in ((18.5, 20.5, 23.0), (18.5, 21.5, 24.0))
    for length in (7.0, 12.0, 24.0)
    for place in ("end", "middle")
    for inset in ((0.0,) if length == 7.0 else (0.0, 0.5 * (length - 7.0)))
]


def errors(tied: bool) -> np.ndarray:
    """Relative error of the bore's compliance under a 7 mm ring, rule over finite elements."""
    out = []
    for (inner, outer), (a, b, c), length, place, inset in CASES:
        start = 0.0 if place == "end" else 0.5 * (LENGTH - length)
        low = start + inset
        walls = [
            isotropic(a, b, start, start + length, *inner),
            isotropic(b, c, 0.0, LENGTH, *outer),
        ]
        fe = mean_growth(walls, (low, low + 7.0), tied=tied, size=0.9)
        m1, m2 = (Material.of_isotropic("m", e, nu, 0.0) for e, nu in (inner, outer))
        shell = Layer(
            inner_radius=b, outer_radius=c, material=m2, width_factor=eta(length, b, c, m2, start)
        )
        plain = Layer(inner_radius=a, outer_radius=b, material=m1)
        factor = sleeve_factor(
            [plain, shell],
            ring_width=7.0,
            sleeve_length=length,
            edge_distance=start,
            ring_inset=inset,
            bonded=tied,
        )
        sleeve = Layer(inner_radius=a, outer_radius=b, material=m1, width_factor=factor)
        contact = Stack((sleeve, shell), (True,)).solve([0.0], bore_pressure=1.0)
        out.append(float(contact.mechanical(0, "inner")) / fe - 1.0)
    return np.array(out)


@pytest.mark.slow
@pytest.mark.parametrize(("tied", "low", "high"), [(False, -0.05, 0.04), (True, -0.07, 0.10)])
def test_sleeve_longer_than_the_bearing(tied: bool, low: float, high: float) -> None:
    """The stated error of the rule holds over sleeves that slide and sleeves that are bonded."""
    e = errors(tied)
    assert low < e.min()
    assert e.max() < high
    assert np.sqrt(np.mean(e**2)) < 0.045
