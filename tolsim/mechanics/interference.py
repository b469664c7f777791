"""Interference that acts: after smoothing of the rough surfaces and under load.

Interference is shaft minus bore on the diameter [mm], positive when tight.
"""

from __future__ import annotations

import numpy as np

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.record import Array

__all__ = [
    "creep_loss",
    "effective",
    "effective_handbook",
    "heavy_load_demand",
    "load_loss",
    "temperature_loss",
]

_SMOOTHING = ASSUMED["smoothing-factor"].value
_CREEP = ASSUMED["ring-creep"].value
_UM = 1e-3  # mm
_FORCE_FLOOR = 1e-6  # N: changes the loss by less than 1e-8 of it above 50 N


def effective(
    interference: Array, rz_inner: Array, rz_outer: Array, factor: Array = _SMOOTHING
) -> Array:
    r"""Interference left when the roughness is smoothed, :math:`U - s(Rz_i + Rz_o)`.

    Parameters
    ----------
    interference : float or array (n,)
        Diametral, as measured over the peaks [mm]; a clearance grows by the same amount.
    rz_inner, rz_outer : float or array (n,)
        Mean roughness depth Rz of the shaft and of the bore [mm].
    factor : float or array (n,)
        Smoothing factor s [1]: 0.8 (DIN 7190:2001) or 0.4 (as quoted from DIN 7190-1:2017).

    Returns
    -------
    float or array (n,)
        Effective diametral interference [mm].

    References
    ----------
    .. [1] DIN 7190:2001, Pressverbände; DIN 7190-1:2017 as quoted in public manuals.

    Examples
    --------
    >>> effective(0.020, 0.0016, 0.0063)
    0.01368
    """
    return interference - factor * (rz_inner + rz_outer)


def effective_handbook(interference: Array, diameter: float, *, ground: bool = True) -> Array:
    r"""The bearing handbooks' form, :math:`U d/(d+2)` ground or :math:`U d/(d+3)` machined.

    Diameter d [mm]. Source: NSK, Rolling Bearings, E1102m, eq. (9.4) and (9.5).

    >>> effective_handbook(0.020, 40.0)
    0.01904762
    """
    if not diameter > 0.0:
        raise ValueError(f"diameter must be positive, got {diameter}")
    return interference * (diameter / (diameter + (2.0 if ground else 3.0)))


def load_loss(diameter: float, force: Array, width: float, constant: Array = _CREEP) -> Array:
    r"""Interference lost under a radial load, :math:`0.08\sqrt{d F/B}` µm.

    Parameters
    ----------
    diameter, width : float
        Diameter d of the fit and width B of the ring [mm].
    force : float or array (n,)
        Radial load F [N], not negative; the loss is 0 at 0, with a slope that stays finite
        (below a micronewton it is linear in F).
    constant : float or array (n,)
        0.08; its use on an outer ring, with D for d, is an estimate without a source.

    Returns
    -------
    float or array (n,)
        Loss on the diameter [mm].

    References
    ----------
    .. [1] NSK, Rolling Bearings, E1102m, eq. (9.1), stated for inner rings.

    Examples
    --------
    >>> float(load_loss(40.0, 3000.0, 18.0))
    0.006531973
    """
    if not (diameter > 0.0 and width > 0.0):
        raise ValueError(f"diameter and width must be positive, got {diameter}, {width}")
    smooth = force / np.sqrt(np.abs(force) + _FORCE_FLOOR)  # sqrt(F), finite slope at 0
    return constant * (_UM * (diameter / width) ** 0.5) * smooth


def heavy_load_demand(force: Array, width: float) -> Array:
    r"""Interference a heavily loaded ring asks for, :math:`0.02\,F/B` µm, F above 0.2 C0.

    Force [N], width B [mm], result on the diameter [mm].
    Source: NSK, Rolling Bearings, E1102m, eq. (9.2).

    >>> heavy_load_demand(3000.0, 18.0)
    0.003333333
    """
    if not width > 0.0:
        raise ValueError(f"width must be positive, got {width}")
    return force * (0.02 * _UM / width)


def creep_loss(
    diameter: float,
    force: Array,
    width: float,
    constant: Array = _CREEP,
    static_rating: float | None = None,
) -> Array:
    """Interference that a load calls for before the ring creeps [mm].

    `load_loss`; above a fifth of the static rating [N], where it is known, at least
    `heavy_load_demand` (NSK, E1102m, 9.2).

    >>> float(creep_loss(37.0, 8000.0, 7.0, static_rating=4000.0))
    0.02285714
    >>> float(creep_loss(37.0, 400.0, 7.0, static_rating=4000.0))
    0.003678509
    """
    loss = load_loss(diameter, force, width, constant)
    if static_rating is None:
        return loss
    heavy = np.maximum(loss, heavy_load_demand(force, width))
    return np.where(force > 0.2 * static_rating, heavy, loss)


def temperature_loss(
    diameter: float, rise: Array, constant: Array = ASSUMED["ring-temperature"].value
) -> Array:
    r"""Interference of an inner ring lost in a warm bearing, :math:`0.0015\,d\,\Delta T` µm.

    Diameter d [mm], rise of the bearing above its surroundings [K], result [mm].
    Source: bearing handbook, from memory.

    >>> temperature_loss(40.0, 10.0)
    0.0006
    """
    return constant * (diameter * _UM) * rise
