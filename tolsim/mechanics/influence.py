r"""Influence numbers of one ring under pressure and temperature, plane stress.

.. math::
    u(r_i) = c_{11}p_i + c_{12}p_o + h_1\Delta T, \qquad
    u(r_o) = c_{21}p_i + c_{22}p_o + h_2\Delta T

with pressures positive in compression and displacements positive outward.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tolsim.mechanics.materials import Material

__all__ = ["Influence", "influence", "spin_growth"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Influence:
    """Displacement of both surfaces per MPa inside and outside [mm/MPa] and per kelvin [mm/K]."""

    c11: float
    c12: float
    c21: float
    c22: float
    h1: float
    h2: float


def influence(inner_radius: float, outer_radius: float, material: Material) -> Influence:
    r"""Influence numbers of a ring, isotropic or cylindrically orthotropic.

    .. math:: u = A r^{k} + B r^{-k} + u_p\,\Delta T, \quad k = \sqrt{E_\theta/E_r}

    The particular solution is written as :math:`c\,r\,\frac{(r/r_m)^{k-1}-1}{k-1}`, which is the
    logarithm at :math:`k = 1`, so a ring with equal moduli and unequal expansions needs no
    special case.

    Parameters
    ----------
    inner_radius, outer_radius : float
        Radii [mm]; an inner radius of 0 is a solid isotropic body.
    material : Material
        Constants of the ring.

    Raises
    ------
    ValueError
        Unless ``0 <= inner_radius < outer_radius``, or for a solid orthotropic body.

    Notes
    -----
    Linear elastic, no edge effect, uniform temperature in the ring.

    References
    ----------
    .. [1] Lekhnitskii, *Anisotropic Plates*, 1968, curvilinear anisotropy.
    .. [2] Timoshenko, *Strength of Materials II*, thick-walled cylinders.

    Examples
    --------
    >>> steel = Material.of_isotropic("steel", 208e3, 0.3, 12e-6)
    >>> influence(20.0, 40.0, steel).c11  # r (5/3 + nu)/E
    0.000189102564
    """
    a, b, m = inner_radius, outer_radius, material
    if not (0.0 <= a < b < math.inf):
        raise ValueError(f"need 0 <= inner_radius < outer_radius, got {a}, {b}")
    if a == 0.0:
        if not m.isotropic:
            raise ValueError(f"{m.name}: a solid body must be isotropic")
        c22 = -b * (1.0 - m.poisson) / m.E_hoop
        return Influence(c11=0.0, c12=0.0, c21=0.0, c22=c22, h1=0.0, h2=m.alpha_hoop * b)

    k = math.sqrt(m.E_hoop / m.E_radial)
    nu_rt = m.poisson * m.E_radial / m.E_hoop
    dn = 1.0 - m.poisson * nu_rt
    q_rr, q_tt, q_rt = m.E_radial / dn, m.E_hoop / dn, nu_rt * m.E_hoop / dn
    n_r = q_rr * m.alpha_radial + q_rt * m.alpha_hoop
    n_t = q_rt * m.alpha_radial + q_tt * m.alpha_hoop
    rm = math.sqrt(a * b)
    c = (n_r - n_t) / (q_rr * (1.0 + k))

    def basis(r: float) -> tuple[float, float, float]:
        """Displacements of the three parts at r: A, B, and per kelvin."""
        x = math.log(r / rm)
        return rm * math.exp(k * x), rm * math.exp(-k * x), c * r * _powm1(k - 1.0, x)

    def stress(r: float) -> tuple[float, float, float]:
        """Radial stresses of the three parts at r."""
        x = math.log(r / rm)
        ua, ub, up = basis(r)
        grad = c * (_powm1(k - 1.0, x) + math.exp((k - 1.0) * x))
        return (
            (k * q_rr + q_rt) * ua / r,
            (-k * q_rr + q_rt) * ub / r,
            q_rr * grad + q_rt * up / r - n_r,
        )

    sa, sb = stress(a), stress(b)
    system = np.array([sa[:2], sb[:2]])
    # columns: unit pressure inside, unit pressure outside, one kelvin
    loads = np.array([[-1.0, 0.0, -sa[2]], [0.0, -1.0, -sb[2]]])
    coefficients = np.linalg.solve(system, loads)
    ua, ub = basis(a), basis(b)
    at_a = np.array(ua[:2]) @ coefficients
    at_b = np.array(ub[:2]) @ coefficients
    return Influence(
        c11=float(at_a[0]),
        c12=float(at_a[1]),
        c21=float(at_b[0]),
        c22=float(at_b[1]),
        h1=float(at_a[2] + ua[2]),
        h2=float(at_b[2] + ub[2]),
    )


def _powm1(exponent: float, x: float) -> float:
    """(exp(exponent x) - 1)/exponent, x at exponent 0."""
    return math.expm1(exponent * x) / exponent if exponent != 0.0 else x


def spin_growth(
    inner_radius: float, outer_radius: float, material: Material, density: float, speed: float
) -> tuple[float, float]:
    r"""Free growth of both surfaces of a rotating isotropic ring [mm].

    .. math:: u(a) = \frac{\rho\omega^2 a}{4E}\left[(3+\nu)b^2 + (1-\nu)a^2\right]

    and :math:`u(b)` with a and b exchanged. Density [kg/m³], speed [rad/s], radii [mm].
    Source: Timoshenko, *Strength of Materials II*, rotating disks.

    >>> steel = Material.of_isotropic("steel", 206e3, 0.29, 12e-6)
    >>> spin_growth(10.0, 15.0, steel, 7850.0, 420.0)
    (1.3633e-05, 1.2320e-05)
    """
    if not (material.isotropic and 0.0 < inner_radius < outer_radius):
        raise ValueError("spin_growth needs an isotropic ring with 0 < inner_radius < outer_radius")
    a, b, nu = inner_radius, outer_radius, material.poisson
    # kg/m3 = 1e-12 t/mm3 keeps N, mm, s consistent
    load = density * 1e-12 * speed**2 / (4.0 * material.E_hoop)
    return (
        load * a * ((3.0 + nu) * b**2 + (1.0 - nu) * a**2),
        load * b * ((3.0 + nu) * a**2 + (1.0 - nu) * b**2),
    )
