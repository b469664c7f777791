r"""Form error of bore and ring: sizes of a lobed circle, pressure round the seat, taper.

:math:`r(\theta) = R + a_n\cos n\theta`; amplitudes are radial [mm], sizes diametral [mm].
Letters of the sizes after ISO 14405-1.
"""

from __future__ import annotations

import math

import numpy as np

from tolsim.mechanics.materials import Material
from tolsim.record import Array

__all__ = [
    "amplitude_of_roundness",
    "engaged_share",
    "lobe_compliance",
    "max_inscribed",
    "min_circumscribed",
    "roundness",
    "slices",
    "tapered_interference",
    "thin_ring_compliance",
    "two_point",
]


def _order(n: int) -> int:
    if n < 2:
        raise ValueError(f"a form error has at least 2 lobes, got {n}")
    return n


def two_point(mean_diameter: Array, amplitude: Array, n: int) -> tuple[Array, Array]:
    """Least and greatest two-point size (LP): 2R -+ 2a for an even number of lobes, else 2R.

    >>> two_point(41.0, 0.008, 2)
    (40.984, 41.016)
    >>> two_point(41.0, 0.008, 3)
    (41.0, 41.0)
    """
    if _order(n) % 2:
        return mean_diameter, mean_diameter
    return mean_diameter - amplitude * 2.0, mean_diameter + amplitude * 2.0


def max_inscribed(mean_diameter: Array, amplitude: Array) -> Array:
    """Greatest inscribed diameter of a bore (GX), 2(R - a).

    >>> max_inscribed(41.0, 0.008)
    40.984
    """
    return mean_diameter - amplitude * 2.0


def min_circumscribed(mean_diameter: Array, amplitude: Array) -> Array:
    """Least circumscribed diameter of a ring (GN), 2(R + a).

    >>> min_circumscribed(41.0, 0.008)
    41.016
    """
    return mean_diameter + amplitude * 2.0


def roundness(amplitude: Array) -> Array:
    """Roundness deviation RONt about the least-squares circle (GG = 2R), 2a for one lobe term.

    >>> roundness(0.004)
    0.008
    """
    return amplitude * 2.0


def amplitude_of_roundness(deviation: Array) -> Array:
    """Radial amplitude from a roundness deviation RONt, its half.

    >>> amplitude_of_roundness(0.008)
    0.004
    """
    return deviation * 0.5


def lobe_compliance(
    n: int, inner_radius: float, outer_radius: float, material: Material, *, loaded: str
) -> float:
    r"""Radial displacement of a ring's surface per pressure :math:`p\cos n\theta` on it [mm/MPa].

    Michell's plane stress solution without shear on either surface,
    :math:`\phi = (Ar^n + Br^{-n} + Cr^{n+2} + Dr^{2-n})\cos n\theta`.

    Parameters
    ----------
    n : int
        Number of lobes, at least 2.
    inner_radius, outer_radius : float
        Radii [mm].
    material : Material
        Isotropic; of an orthotropic one the hoop modulus is taken, which decides bending.
    loaded : {"inner", "outer"}
        Surface that carries the pressure.

    Raises
    ------
    ValueError
        For fewer than 2 lobes, radii that do not order, or another surface.

    References
    ----------
    .. [1] Barber, *Elasticity*, Michell's solution, tables of stresses and displacements.

    Examples
    --------
    >>> steel = Material.of_isotropic("steel", 208e3, 0.3, 11.9e-6)
    >>> lobe_compliance(2, 18.6, 20.5, steel, loaded="outer")
    0.14415
    """
    _order(n)
    if not 0.0 < inner_radius < outer_radius:
        raise ValueError(f"need 0 < inner_radius < outer_radius, got {inner_radius, outer_radius}")
    if loaded not in ("inner", "outer"):
        raise ValueError(f"loaded is inner or outer, got {loaded!r}")
    scale = math.sqrt(inner_radius * outer_radius)
    powers = (n, -n, n + 2, 2 - n)

    def radial(r: float) -> list[float]:
        """f'/r - n² f/r² of each term, r scaled."""
        return [(m - n * n) * r ** (m - 2) for m in powers]

    def shear(r: float) -> list[float]:
        return [n * (m - 1) * r ** (m - 2) for m in powers]

    a, b = inner_radius / scale, outer_radius / scale
    load = [-1.0, 0.0] if loaded == "inner" else [0.0, -1.0]
    terms = np.linalg.solve(
        np.array([radial(a), radial(b), shear(a), shear(b)]), np.array([*load, 0.0, 0.0])
    )
    r = a if loaded == "inner" else b
    kappa = (3.0 - material.poisson) / (1.0 + material.poisson)  # plane stress
    shapes = np.array(
        [
            -n * r ** (n - 1),
            n * r ** (-n - 1),
            (kappa - n - 1) * r ** (n + 1),
            (kappa + n - 1) * r ** (1 - n),
        ]
    )
    twice_shear_modulus = material.E_hoop / (1.0 + material.poisson)
    u = float(shapes @ terms) * scale / twice_shear_modulus
    return u if loaded == "inner" else -u


def thin_ring_compliance(n: int, mean_radius: float, wall: float, young: float) -> float:
    r"""The same for a thin ring in bending, :math:`12R^4/(E t^3(n^2-1)^2)` [mm/MPa].

    >>> thin_ring_compliance(2, 19.55, 1.9, 208e3)
    0.1365
    """
    _order(n)
    return 12.0 * mean_radius**4 / (young * wall**3 * (n * n - 1) ** 2)


def slices(interference: Array, taper: Array, count: int) -> tuple[Array, ...]:
    """Interference of `count` equal slices across the width of a tapered seat [mm].

    `taper` is the change of the interference from one edge to the other [mm].

    >>> slices(0.010, 0.008, 4)
    (0.007, 0.009, 0.011, 0.013)
    """
    if count < 1:
        raise ValueError(f"need at least one slice, got {count}")
    return tuple(interference + taper * ((i + 0.5) / count - 0.5) for i in range(count))


def _clamped(interference: Array, taper: Array) -> tuple[Array, Array]:
    half = np.abs(taper) * 0.5 + 1e-12
    return np.maximum(np.minimum(interference, half), -half), half


def tapered_interference(interference: Array, taper: Array) -> Array:
    r"""Mean over the width of the interference where it is positive [mm].

    The limit of many slices that do not stiffen one another: with :math:`h = |taper|/2`,
    :math:`(U+h)^2/(4h)` while part of the width gapes, U when none does, 0 when all does.
    Pressure, press force and slip torque are proportional to it.

    >>> float(tapered_interference(0.002, 0.008))
    0.00225
    """
    inside, half = _clamped(interference, taper)
    return np.square(inside + half) / (half * 4.0) + np.maximum(interference - half, 0.0)


def engaged_share(interference: Array, taper: Array) -> Array:
    """Share of the width on which a tapered seat bears, 0 to 1.

    >>> float(engaged_share(0.002, 0.008))
    0.75
    """
    inside, half = _clamped(interference, taper)
    return (inside + half) / (half * 2.0)
