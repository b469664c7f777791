"""What holds the seat: press force, slip torque, separation and slip under load.

Lengths [mm], pressures [MPa], forces [N], torques and moments [N mm]. The ring is taken as rigid
and the load as spread over the seat; a thin ring concentrates it under the loaded balls. Treat
separation as a ranking of designs.
"""

from __future__ import annotations

import math

import numpy as np

from tolsim.record import Array

__all__ = [
    "axial_force",
    "bonded_load_pressure",
    "gross_slip_margin",
    "half_contact_pressure",
    "load_pressure",
    "micro_slip_margin",
    "moment_pressure",
    "seat_load",
    "separation_margin",
    "slip_torque",
]


def _area(diameter: float, length: float) -> float:
    """Surface of the seat, pi D L [mm²]."""
    if not (diameter > 0.0 and length > 0.0):
        raise ValueError(f"diameter and length must be positive, got {diameter}, {length}")
    return math.pi * diameter * length


def axial_force(pressure: Array, diameter: float, length: float, friction: Array) -> Array:
    r"""Force to press in or push out, :math:`\mu\,p\,\pi D L`, at full engagement.

    Take friction at press-in for the press and at break-out for the grip.

    >>> axial_force(2.715765, 41.0, 7.0, 0.12)
    293.8361
    """
    return pressure * friction * _area(diameter, length)


def slip_torque(pressure: Array, diameter: float, length: float, friction: Array) -> Array:
    r"""Torque at which the ring turns in its seat, :math:`\mu\,p\,\pi D^2L/2`.

    >>> slip_torque(2.715765, 41.0, 7.0, 0.12)
    6023.64
    """
    return pressure * friction * (_area(diameter, length) * 0.5 * diameter)


def load_pressure(force: Array, diameter: float, length: float) -> Array:
    r"""Pressure a radial load takes off the far side of a full seat, :math:`2F/(\pi D L)`.

    Rigid ring, contact all round, no friction: the change is this times cos(phi). Follows from
    equilibrium of that distribution.

    >>> load_pressure(2214.286, 41.0, 7.0)
    4.911701
    """
    return force * (2.0 / _area(diameter, length))


def half_contact_pressure(force: Array, diameter: float, length: float) -> Array:
    r"""Peak pressure where the seat bears on one half only, :math:`4F/(\pi D L)`.

    >>> half_contact_pressure(2214.286, 41.0, 7.0)
    9.823402
    """
    return force * (4.0 / _area(diameter, length))


def bonded_load_pressure(force: Array, diameter: float, length: float) -> Array:
    r"""Normal and shear amplitude of a seat tied all round, :math:`F/(\pi D L)` each.

    >>> bonded_load_pressure(2214.286, 41.0, 7.0)
    2.455851
    """
    return force * (1.0 / _area(diameter, length))


def moment_pressure(moment: Array, diameter: float, length: float) -> Array:
    r"""Pressure a rocking moment takes off the edge of the seat, :math:`12M/(\pi D L^2)`.

    >>> moment_pressure(2000.0, 41.0, 7.0)
    3.802607
    """
    return moment * (12.0 / (_area(diameter, length) * length))


def separation_margin(
    fit_pressure: Array, force: Array, moment: Array, diameter: float, length: float
) -> Array:
    """Least pressure round the seat under load [MPa]; negative: it lifts off, a creak.

    Give the signed pressure of the contact (`Contact.signed_pressure`) and the margin goes on
    with the gap.

    >>> separation_margin(5.0, 1000.0, 0.0, 41.0, 7.0)
    2.78181
    """
    off = load_pressure(force, diameter, length) + moment_pressure(moment, diameter, length)
    return fit_pressure - off


def micro_slip_margin(
    fit_pressure: Array,
    force: Array,
    diameter: float,
    length: float,
    friction: Array,
    *,
    torque: Array = 0.0,
    axial: Array = 0.0,
) -> Array:
    r"""Friction the fit offers less the shear it must carry at 90 degrees from the load [MPa].

    .. math:: \mu p - \sqrt{\left(\frac{F}{\pi D L} + \frac{2T}{\pi D^2L}\right)^2
        + \left(\frac{F_a}{\pi D L}\right)^2}

    Stuck ring, elementary statics; negative: the seat slips locally in each cycle.

    >>> float(micro_slip_margin(5.0, 300.0, 41.0, 7.0, 0.12))
    0.26727
    """
    area = _area(diameter, length)
    hoop = force * (1.0 / area) + torque * (2.0 / (area * diameter))
    if isinstance(axial, int | float) and axial == 0.0:
        return friction * fit_pressure - np.abs(hoop)
    return friction * fit_pressure - np.hypot(hoop, axial * (1.0 / area))


def gross_slip_margin(
    fit_pressure: Array,
    diameter: float,
    length: float,
    friction: Array,
    *,
    torque: Array = 0.0,
    axial: Array = 0.0,
) -> Array:
    r"""Axial grip left over the resultant of axial force and ring torque [N].

    .. math:: \mu p\,\pi D L - \sqrt{F_a^2 + (2T/D)^2}

    Negative: the ring moves as a whole.

    >>> float(gross_slip_margin(2.715765, 41.0, 7.0, 0.12, torque=1000.0))
    245.056
    """
    hold = axial_force(fit_pressure, diameter, length, friction)
    return hold - np.hypot(axial, torque * (2.0 / diameter))


def seat_load(pedal_force: Array, overhang: float, span: float) -> tuple[Array, Array]:
    r"""Reactions of the near and the far seat, :math:`F(1/2 \pm e/B)`; negative lifts.

    Force at a lateral distance `overhang` e from the mid-plane, `span` B between the seats [mm].
    Strokes alternate between left and right, so each seat is near once a turn. Statics.

    >>> seat_load(1000.0, 120.0, 70.0)
    (2214.286, -1214.286)
    """
    if not span > 0.0:
        raise ValueError(f"span must be positive, got {span}")
    lever = overhang / span
    return pedal_force * (0.5 + lever), pedal_force * (0.5 - lever)
