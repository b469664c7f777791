r"""Lobes of a fit of two or more layers: pressure round the seat, and what the raceway takes up.

Each layer carries Michell's plane stress solution of order n,
:math:`\phi = (Ar^n + Br^{-n} + Cr^{n+2} + Dr^{2-n})\cos n\theta`. Lengths [mm], pressures [MPa].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tolsim.mechanics.materials import Material
from tolsim.record import Array

__all__ = ["Lobes", "Wall", "full_contact_margin", "layered_lobes", "lobes"]

#: Inner radius, outer radius [mm], material; of an orthotropic one the hoop modulus is taken,
#: which decides bending.
Wall = tuple[float, float, Material]


@dataclass(frozen=True, kw_only=True, slots=True)
class Lobes:
    """What a lobe of unit radial amplitude on one interface does to the fit.

    `stiffness` is the amplitude of pressure on the ring's seat [MPa/mm], `ring_share` the share
    of the lobe by which the outside of the ring moves, `sleeve_stiffness` the amplitude of
    pressure on the next interface outwards, 0 where there is none.
    """

    order: int
    stiffness: float
    ring_share: float
    sleeve_stiffness: float = 0.0


def lobes(n: int, ring: Wall, shell: Wall) -> Lobes:
    r"""Lobes of a ring in one wall.

    .. math:: p(\theta) = p_m + \sum k_n a_n\cos n\theta, \quad k_n = 1/(c_{out,n} + c_{in,n})

    a_n is the vector difference of both parts' lobes; the raceway takes the share
    :math:`c_{in}/(c_{in}+c_{out})` of it. Valid while the contact holds all round and without
    friction.

    >>> steel = Material.of_isotropic("steel", 208e3, 0.3, 11.9e-6)
    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> lobes(2, (18.6, 20.5, steel), (20.5, 23.0, alloy))
    Lobes(order=2, stiffness=2.450694, ring_share=0.3532657, sleeve_stiffness=0.0)
    """
    return layered_lobes(n, (ring, shell), (False,))


def layered_lobes(n: int, walls: Sequence[Wall], bonded: Sequence[bool], at: int = 0) -> Lobes:
    """Lobes on interface `at` of a ring in several walls, from inside to outside.

    Parameters
    ----------
    n : int
        Number of lobes, at least 2.
    walls : sequence of Wall
        The ring first.
    bonded : sequence of bool
        Whether each interface is tied; one that is not slides without friction and stays closed.
    at : int
        The interface whose surfaces are lobed against each other: 0 is the ring's seat.

    Raises
    ------
    ValueError
        For fewer than 2 lobes, walls that do not touch, or a wrong number of interfaces.

    References
    ----------
    .. [1] Barber, *Elasticity*, Michell's solution, tables of stresses and displacements.

    Examples
    --------
    Four lobes of the shell reach the ring through a sleeve:

    >>> steel = Material.of_isotropic("steel", 208e3, 0.3, 11.9e-6)
    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> walls = [(17.3, 18.5, steel), (18.5, 21.0, alloy), (21.0, 25.0, alloy)]
    >>> [round(layered_lobes(4, walls, (False, False), at=k).ring_share, 2) for k in (0, 1)]
    [0.88, 0.63]
    """
    if n < 2:
        raise ValueError(f"a form error has at least 2 lobes, got {n}")
    if len(bonded) != len(walls) - 1 or not 0 <= at < len(bonded):
        raise ValueError(f"{len(walls)} walls have {len(walls) - 1} interfaces, got {len(bonded)}")
    radii = [w[0] for w in walls] + [walls[-1][1]]
    if any(b <= a for a, b in zip([0.0, *radii], radii, strict=False)) or any(
        w[1] != r for w, r in zip(walls, radii[1:], strict=True)
    ):
        raise ValueError(f"walls must touch, from inside to outside, got radii {radii}")
    scale = math.sqrt(radii[0] * radii[-1])
    count = 4 * len(walls)
    rows: list[np.ndarray] = []
    loads: list[float] = []

    def row(wall: int, kind: str, radius: float, sign: float = 1.0) -> np.ndarray:
        out = np.zeros(count)
        out[4 * wall : 4 * wall + 4] = sign * _terms(n, walls[wall][2], radius / scale, kind)
        return out

    def require(equation: np.ndarray, value: float = 0.0) -> None:
        rows.append(equation)
        loads.append(value)

    for wall, radius in ((0, radii[0]), (len(walls) - 1, radii[-1])):
        require(row(wall, "radial", radius))
        require(row(wall, "shear", radius))
    for j, (radius, tied) in enumerate(zip(radii[1:-1], bonded, strict=True)):
        require(row(j, "radial", radius, -1.0) + row(j + 1, "radial", radius))
        require(row(j, "u", radius, -1.0) + row(j + 1, "u", radius), float(j == at))
        if tied:
            require(row(j, "shear", radius, -1.0) + row(j + 1, "shear", radius))
            require(row(j, "v", radius, -1.0) + row(j + 1, "v", radius))
        else:
            require(row(j, "shear", radius))
            require(row(j + 1, "shear", radius))
    matrix = np.array(rows)
    # stresses and displacements differ by many orders of magnitude
    size = np.abs(matrix).max(axis=1)
    solution = np.linalg.solve(matrix / size[:, None], np.array(loads) / size)
    # displacements are counted in units of `scale`: so is the unit lobe
    pressures = [-float(row(j, "radial", r) @ solution) / scale for j, r in enumerate(radii[1:-1])]
    moved = float(row(0, "u", radii[1]) @ solution)
    return Lobes(
        order=n,
        stiffness=abs(pressures[0]),
        ring_share=abs(moved),
        sleeve_stiffness=abs(pressures[1]) if len(pressures) > 1 else 0.0,
    )


def _terms(n: int, material: Material, r: float, kind: str) -> np.ndarray:
    """Each term's radial stress, shear stress, radial (u) or tangential (v) displacement."""
    powers = np.array([n, -n, n + 2, 2 - n], dtype=np.float64)
    if kind == "radial":
        return np.asarray((powers - n * n) * r ** (powers - 2.0))
    if kind == "shear":
        return np.asarray(n * (powers - 1.0) * r ** (powers - 2.0))
    kappa = (3.0 - material.poisson) / (1.0 + material.poisson)  # plane stress
    if kind == "u":
        factors = np.array([-n, n, kappa - n - 1.0, kappa + n - 1.0])
    else:
        factors = np.array([n, n, kappa + n + 1.0, -(kappa - n + 1.0)])
    twice_shear_modulus = material.E_hoop / (1.0 + material.poisson)
    return np.asarray(factors * r ** (powers - 1.0) / twice_shear_modulus)


def full_contact_margin(
    pressure: Array, fits: tuple[Lobes, ...], amplitudes: tuple[Array, ...]
) -> Array:
    """Mean pressure less the lobes' amplitudes of pressure [MPa]; positive: contact all round.

    One amplitude [mm] a lobe order; a bound, as the peaks of all orders are added.

    >>> float(full_contact_margin(2.7, (Lobes(order=4, stiffness=59.5, ring_share=0.35),), (0.02,)))
    1.51
    """
    for fit, amplitude in zip(fits, amplitudes, strict=True):
        pressure = pressure - np.abs(amplitude) * fit.stiffness
    return pressure
