"""Plain formulas of shipped seats, from the numbers in their files and nothing of the joint.

Rows are those of `tests.shipped`. Lengths [mm], forces [N], pressures [MPa].
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from tests.shipped import FloatArray, Units
from tolsim.mechanics.materials import MATERIALS

__all__ = [
    "SPAN",
    "WIDTH",
    "D",
    "bond_factor",
    "glued_gap",
    "load",
    "aged_growth",
    "squeezed",
    "stiffened",
    "steel_fit",
    "steel_pressure",
    "thread_lever",
    "vector",
]

#: Ring 37 mm outside; its raceway (d + 4 D)/5, a handbook estimate; shell 46 mm outside.
D, RACEWAY, SHELL, WIDTH, SPAN = 37.0, (25.0 + 4.0 * 37.0) / 5.0, 46.0, 7.0, 82.0


def steel_fit(u: Units, temperature: float = 20.0, smoothing: float = 0.8) -> FloatArray:
    """Interference of steel-all-year: ring less bore, both Rz smoothed, expansion on top."""
    ring, shell = MATERIALS["bearing-steel"], MATERIALS["steel-4130"]
    outside = -4.5e-3 + 1.3e-3 * u.z["bearing.outside@1"]
    bore = -20e-3 + 1.9e-3 * u.z["bore.diameter@1"]
    warm = D * (ring.alpha_hoop - shell.alpha_hoop) * (temperature - 20.0)
    return np.asarray(outside - bore - smoothing * (1e-3 + 3e-3) + warm)


def stiffened(inner: float, outer: float, poisson: float, width: float) -> float:
    r"""Share of a bore's compliance that the wall beyond a seat at the shell's end leaves.

    :math:`1-(C-C^2-S^2/2)/(\beta L)`, beam on an elastic foundation (Hetényi); a thick wall yields
    more by a factor that finite elements give (`tests.published.test_mechanics_thick_wall`).
    """
    wall = math.sqrt(0.5 * (inner + outer) * (outer - inner))
    x = (3.0 * (1.0 - poisson**2)) ** 0.25 / wall * width
    c = 0.5 * (1.0 + math.exp(-x) * (math.sin(x) - math.cos(x)))
    s = math.exp(-x) * math.sin(x)
    beam = 1.0 - (c - c * c - 0.5 * s * s) / x
    thick = (outer - inner) / inner
    more = 1.0 + 0.077 * thick / (1.0 + 0.39 * thick) * (outer - inner) / width
    return float(min(1.0, beam * more))


def _wall(inner: float, outer: float, young: float, poisson: float) -> FloatArray:
    """Radial displacement of both surfaces per pressure on either, Lamé in plane stress."""
    a, b = inner, outer
    s, e = (b * b + a * a) / (b * b - a * a), young
    cross = 2.0 * a * b / (e * (b * b - a * a))
    return np.array([[a * (s + poisson) / e, -b * cross], [a * cross, -b * (s - poisson) / e]])


def squeezed(shrinkage: float, walls: Sequence[tuple[float, float, float, float]]) -> float:
    """How far the bore of the innermost wall closes when the last one shrinks onto the others.

    Walls from inside to outside: radii, Young's modulus, Poisson's ratio; 12 mm wide, flush with
    the shell's end, all on contact. Shrinkage of the last wall's bore and the result diametral.
    """
    c = [_wall(*w) for w in walls]
    c[-1][0, 0] *= stiffened(walls[-1][0], walls[-1][1], walls[-1][3], 12.0)
    n = len(walls) - 1
    closure = np.zeros((n, n))
    for j in range(n):
        closure[j, j] = c[j + 1][0, 0] - c[j][1, 1]
        if j:
            closure[j, j - 1] = -c[j][1, 0]
            closure[j - 1, j] = c[j][0, 1]
    pressure = np.linalg.solve(closure, np.eye(n)[-1] * 0.5 * shrinkage)
    return float(-2.0 * c[0][0, 1] * pressure[0])


def steel_pressure(interference: FloatArray | float) -> FloatArray:
    """Pressure of the ring in the steel shell, Lamé in plane stress."""
    ring, shell = MATERIALS["bearing-steel"], MATERIALS["steel-4130"]
    r, a, b = 0.5 * D, 0.5 * RACEWAY, 0.5 * SHELL
    outer = r * ((b * b + r * r) / (b * b - r * r) + shell.poisson) / shell.E_hoop
    inner = r * ((r * r + a * a) / (r * r - a * a) - ring.poisson) / ring.E_hoop
    share = stiffened(r, b, shell.poisson, WIDTH)
    return np.asarray(0.5 * interference / (share * outer + inner))


def load(u: Units) -> FloatArray:
    """Near reaction F (1/2 + e/B) to the shipped pedal force, lognormal by mean and sd."""
    s2 = math.log1p((40.0 / 350.0) ** 2)
    force = 350.0 * np.exp(-0.5 * s2 + math.sqrt(s2) * u.z["pedal_force"])
    return np.asarray(force * (0.5 + 60.0 / SPAN))


def vector(u: Units, name: str, sd: float, seat: int) -> FloatArray:
    """Two components of a deviation at a seat, (2, n)."""
    return sd * np.array([u.z[f"{name}_x@{seat}"], u.z[f"{name}_y@{seat}"]])


def thread_lever(pitch_sign: float, friction: float) -> float:
    """Torque per clamp force of the shipped M44x1 sleeve, VDI 2230 part 1, one friction [mm]."""
    a, b = 22.5, 26.0
    flange = 2.0 / 3.0 * (b**3 - a**3) / (b * b - a * a)
    return (
        pitch_sign * 1.0 / (2.0 * math.pi)
        + friction * 43.35 / (2.0 * math.cos(math.radians(30.0)))
        + friction * flange
    )


def glued_gap(u: Units) -> FloatArray:
    """Gap of bonded-carbon before it settles: bore 42.1 mm, sleeve 42 mm tied to its inside."""
    outside = 0.3 * u.z["sleeve.inside@1"] + math.sqrt(1.0 - 0.3**2) * u.z["sleeve.outside@1"]
    return np.asarray(0.1 + 5e-3 + 10e-3 * u.z["bore.diameter@1"] - 4e-3 * outside)


def bond_factor(gap: FloatArray) -> FloatArray:
    """Strength against gap: 1 to 0.05 mm, 0.85 at 0.10, 0.65 at 0.15, 0.4 at 0.25; assumed."""
    return np.interp(gap, [0.05, 0.10, 0.15, 0.25], [1.0, 0.85, 0.65, 0.4])


def aged_growth(inner: float, outer: float, hoop: float, radial: float, hours: float) -> float:
    """Free radial growth of the bore of a quasi-isotropic carbon ring by two free strains [mm].

    Lekhnitskii's ring: u = A r^k + B r^-k + K r, both surfaces free of stress. Moduli after so
    many hours, t^-0.005 along and t^-0.03 across the fibres, from memory.
    """
    m = MATERIALS["cfrp-quasi-isotropic"]
    along, across = m.E_hoop * hours**-0.005, m.E_radial * hours**-0.03
    k = math.sqrt(along / across)
    cross = m.poisson * across / along
    d = 1.0 - m.poisson * cross
    q_rr, q_tt, q_rt = across / d, along / d, cross * along / d
    n_r, n_t = q_rr * radial + q_rt * hoop, q_rt * radial + q_tt * hoop
    shift = (n_r - n_t) / (q_rr - q_tt)
    rows = [
        [(k * q_rr + q_rt) * r ** (k - 1.0), (-k * q_rr + q_rt) * r ** (-k - 1.0)]
        for r in (inner, outer)
    ]
    a, b = np.linalg.solve(np.array(rows), np.full(2, n_r - (q_rr + q_rt) * shift))
    return float(a * inner**k + b * inner**-k + shift * inner)
