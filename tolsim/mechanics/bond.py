"""Bonded seats: strength against gap and temperature, what tears them, where the sleeve sits.

Gaps are diametral [mm], stresses and pressures [MPa], forces [N]. A pressure is positive in
compression.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.record import Array

__all__ = [
    "GAP_KNOTS",
    "disc",
    "eccentricity",
    "gap_factor",
    "gap_margin",
    "peel_margin",
    "push_out",
    "shear_demand",
    "shear_margin",
    "strength",
    "temperature_factor",
    "tilt_limit",
]

#: Strength against diametral gap: (gap [mm], share of the strength at the best gap). Assumption;
#: the data sheets seen show the same order for the speed of cure.
GAP_KNOTS: tuple[tuple[float, float], ...] = ((0.05, 1.0), (0.10, 0.85), (0.15, 0.65), (0.25, 0.4))


def gap_factor(
    knots: Sequence[tuple[float, float]] = GAP_KNOTS,
    loss: float = ASSUMED["bond-gap-loss"].value,
) -> Callable[[Array], Array]:
    """Strength factor as a function of the gap: straight between knots, level before the first.

    Beyond the last knot the last slope goes on down to 0. `loss` scales how far the factor falls
    below the first knot's.

    Raises
    ------
    ValueError
        Without two knots of increasing gap.

    >>> float(gap_factor()(0.125))
    0.75
    """
    gaps, shares = [g for g, _ in knots], [s for _, s in knots]
    if len(knots) < 2 or any(b <= a for a, b in pairwise(gaps)):
        raise ValueError(f"need at least two knots of increasing gap, got {list(knots)}")
    values = [shares[0] + loss * (s - shares[0]) for s in shares]
    slopes = [(values[i + 1] - values[i]) / (gaps[i + 1] - gaps[i]) for i in range(len(knots) - 1)]
    bends = [slopes[0]] + [b - a for a, b in pairwise(slopes)]

    def factor(gap: Array) -> Array:
        out: Array = values[0]
        for g, bend in zip(gaps, bends, strict=False):
            out = out + np.maximum(gap - g, 0.0) * bend
        return np.maximum(out, 0.0)

    return factor


def temperature_factor(
    temperature: Array, per_kelvin: Array = ASSUMED["bond-strength-per-K"].value
) -> Array:
    """Share of the strength left at a temperature [°C], 1 up to 20 °C, then falling, not below 0.

    >>> float(temperature_factor(45.0))
    0.8
    """
    return np.maximum(1.0 - np.maximum(temperature - 20.0, 0.0) * per_kelvin, 0.0)


def strength(
    shear: Array,
    gap: Array,
    factor: Callable[[Array], Array],
    *,
    wetted: Array = ASSUMED["wetted-share"].value,
    temperature: Array = 20.0,
    substrate: Array = 1.0,
    per_kelvin: Array = ASSUMED["bond-strength-per-K"].value,
) -> Array:
    """Shear strength of the bond as made [MPa]: strength, gap, wetting, surface, temperature.

    >>> float(strength(20.0, 0.05, gap_factor()))
    16.0
    """
    warm = temperature_factor(temperature, per_kelvin)
    return shear * factor(gap) * warm * (wetted * substrate)


def push_out(
    bond_strength: Array,
    diameter: float,
    length: float,
    *,
    pressure: Array = 0.0,
    friction: Array = 0.0,
    bond_share: Array = 1.0,
) -> Array:
    r"""Axial force that moves the sleeve, :math:`(s\,\tau + \mu p)\,\pi D L`.

    Parameters
    ----------
    bond_strength : float or array (n,)
        As made, wetting included [MPa].
    diameter, length : float
        Of the bond [mm].
    pressure, friction : float or array (n,)
        Contact pressure [MPa] and friction of a pressed and glued fit.
    bond_share : float or array (n,)
        Share of the bond that a pressed fit keeps: 1 for a slip fit; when pressed see
        ``ASSUMED["bond-share-pressed"]``, 0 by default, as pressing wipes the adhesive off.

    References
    ----------
    .. [1] Dragoni and Mauri, 2002, superposition in hybrid interference fits (title seen).
    .. [2] Croccolo, De Agostinis and Vincenzi, 2012, no sensible gain (abstract seen).

    Examples
    --------
    >>> push_out(20.0 * 0.8, 41.0, 7.0)
    14426.19
    """
    if not (diameter > 0.0 and length > 0.0):
        raise ValueError(f"diameter and length must be positive, got {diameter}, {length}")
    return (bond_strength * bond_share + friction * pressure) * (math.pi * diameter * length)


def shear_demand(
    diameter: float, length: float, *, radial: Array = 0.0, axial: Array = 0.0, torque: Array = 0.0
) -> Array:
    r"""Greatest shear a seat tied all round must carry [MPa].

    .. math:: \sqrt{\left(\frac{F}{\pi D L} + \frac{2T}{\pi D^2L}\right)^2
        + \left(\frac{F_a}{\pi D L}\right)^2}

    Radial and axial force [N], torque [N mm]. Elementary statics, even shear along the length.

    >>> float(shear_demand(41.0, 7.0, radial=2214.286))
    2.455851
    """
    if not (diameter > 0.0 and length > 0.0):
        raise ValueError(f"diameter and length must be positive, got {diameter}, {length}")
    per_area = 1.0 / (math.pi * diameter * length)
    return np.hypot(radial * per_area + torque * (2.0 * per_area / diameter), axial * per_area)


def shear_margin(bond_strength: Array, demand: Array, safety: float = 1.0) -> Array:
    """Strength over the safety factor less the shear demanded [MPa]; negative: the bond goes.

    >>> shear_margin(16.0, 2.5, 2.0)
    5.5
    """
    if not safety > 0.0:
        raise ValueError(f"safety must be positive, got {safety}")
    return bond_strength * (1.0 / safety) - demand


def peel_margin(
    pressure: Array,
    radial_strength: Array = ASSUMED["peel-strength"].value,
    load_amplitude: Array = 0.0,
) -> Array:
    """Tension the bond line still carries across [MPa]; negative: it peels.

    Pressure of the bonded interface (negative is tension), strength across, amplitude of the
    radial stress a load adds (`tolsim.mechanics.grip.bonded_load_pressure`).

    >>> peel_margin(-4.0, 10.0, 2.5)
    3.5
    """
    return radial_strength + pressure - load_amplitude


def gap_margin(gap: Array, window: tuple[float, float]) -> Array:
    """Distance of the gap to the nearer end of its window [mm], negative outside.

    >>> float(gap_margin(0.03, (0.02, 0.15)))
    0.01
    """
    low, high = window
    if not low < high:
        raise ValueError(f"window needs low < high, got {window}")
    return np.minimum(gap - low, high - gap)


def disc(zx: Array, zy: Array) -> tuple[Array, Array]:
    r"""Map two standard normals to a point uniform in the unit disc, direction kept.

    Squared radius :math:`1 - e^{-(z_x^2+z_y^2)/2}`, smooth at the centre.

    >>> float(disc(3.0, 4.0)[1])
    0.8
    """
    half = (np.square(zx) + np.square(zy)) * 0.5 + 1e-300
    scale = np.sqrt(-np.expm1(-half) / (half * 2.0))
    return zx * scale, zy * scale


def eccentricity(gap: Array, ux: Array, uy: Array, share: float = 1.0) -> tuple[Array, Array]:
    """Offset of the sleeve in its gap per axis [mm]: up to gap/2 times a point of the unit disc.

    `share` of the gap that a fixture leaves free, 1 without one. A press fit has no gap and so
    no offset.

    >>> [float(e) for e in eccentricity(0.1, 0.6, 0.0)]
    [0.03, 0.0]
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"share must be between 0 and 1, got {share}")
    reach = np.maximum(gap, 0.0) * (0.5 * share)
    return reach * ux, reach * uy


def tilt_limit(gap: Array, length: float) -> Array:
    """Greatest tilt of a centred sleeve in its gap [rad], gap over length.

    >>> float(tilt_limit(0.1, 20.0))
    0.005
    """
    if not length > 0.0:
        raise ValueError(f"length must be positive, got {length}")
    return np.maximum(gap, 0.0) * (1.0 / length)
