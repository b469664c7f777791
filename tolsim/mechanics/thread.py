"""Sleeve screwed into the shell until its flange seats: clamp force, axis, loosening.

Lengths [mm], forces [N], torques [N mm], angles [rad]. Thread of 60 degrees (ISO 68-1).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.record import Array

__all__ = [
    "Thread",
    "axis_tilt",
    "clamp_force",
    "flange_gap",
    "flange_radius",
    "loosening_margin",
    "loosening_torque",
    "radial_float",
    "tightening_torque",
    "tilt_capacity",
]

_MU_T = ASSUMED["thread-friction"].value
_MU_F = ASSUMED["flange-friction"].value
_COS_HALF_FLANK = math.cos(math.radians(30.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Thread:
    """Pitch, pitch diameter and engaged length of the thread, flange under its head [mm]."""

    pitch: float
    pitch_diameter: float
    engagement: float
    flange_outer: float
    flange_inner: float

    def __post_init__(self) -> None:
        sizes = (self.pitch, self.pitch_diameter, self.engagement, self.flange_inner)
        if not (min(sizes) > 0.0 and self.flange_inner < self.flange_outer):
            raise ValueError(f"need positive sizes and flange_inner < flange_outer, got {self}")


def flange_radius(thread: Thread) -> float:
    """Effective radius of friction under the flange, even pressure [mm].

    >>> flange_radius(Thread(pitch=1.0, pitch_diameter=44.0, engagement=9.0,
    ...                      flange_outer=52.0, flange_inner=45.0))
    24.3
    """
    a, b = 0.5 * thread.flange_inner, 0.5 * thread.flange_outer
    return 2.0 / 3.0 * (b**3 - a**3) / (b * b - a * a)


def tightening_torque(
    thread: Thread, clamp: Array, thread_friction: Array = _MU_T, flange_friction: Array = _MU_F
) -> Array:
    r"""Torque that gives a clamp force,
    :math:`F\left[\frac{P}{2\pi} + \mu_t\frac{d_2}{2\cos 30°} + \mu_f r_f\right]`.

    Source: VDI 2230 part 1, tightening torque, written for a sleeve.

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=9.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> tightening_torque(sleeve, 5000.0, 0.12, 0.12)
    30613.08
    """
    return clamp * _lever(thread, thread_friction, flange_friction, 1.0)


def clamp_force(
    thread: Thread, torque: Array, thread_friction: Array = _MU_T, flange_friction: Array = _MU_F
) -> Array:
    """Clamp force from a tightening torque, the inverse of `tightening_torque`.

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=9.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> clamp_force(sleeve, tightening_torque(sleeve, 5000.0))
    5000.0
    """
    return torque / _lever(thread, thread_friction, flange_friction, 1.0)


def loosening_torque(
    thread: Thread, clamp: Array, thread_friction: Array = _MU_T, flange_friction: Array = _MU_F
) -> Array:
    r"""Torque that turns the sleeve out, the pitch term helping:
    :math:`F\left[-\frac{P}{2\pi} + \mu_t\frac{d_2}{2\cos 30°} + \mu_f r_f\right]`.

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=9.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> loosening_torque(sleeve, 5000.0, 0.12, 0.12)
    29021.53
    """
    return clamp * _lever(thread, thread_friction, flange_friction, -1.0)


def loosening_margin(
    thread: Thread,
    clamp: Array,
    service_torque: Array,
    thread_friction: Array = _MU_T,
    flange_friction: Array = _MU_F,
) -> Array:
    """Torque that turns the sleeve out less what the bearing and service ask [N mm].

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=9.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> loosening_margin(sleeve, 0.0, 500.0)
    -500.0
    """
    return loosening_torque(thread, clamp, thread_friction, flange_friction) - service_torque


def _lever(thread: Thread, thread_friction: Array, flange_friction: Array, pitch: float) -> Array:
    return (
        thread_friction * (0.5 * thread.pitch_diameter / _COS_HALF_FLANK)
        + flange_friction * flange_radius(thread)
        + pitch * thread.pitch / (2.0 * math.pi)
    )


def radial_float(pitch_clearance: Array) -> Array:
    """How far the sleeve's axis may lie from the thread's until the flange seats [mm].

    Half the clearance on the pitch diameter; an overlap leaves none.

    >>> float(radial_float(0.12))
    0.06
    """
    return np.maximum(pitch_clearance, 0.0) * 0.5


def tilt_capacity(thread: Thread, pitch_clearance: Array) -> Array:
    """Tilt that the clearance lets the sleeve take in the thread [rad], clearance/engagement.

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=9.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> float(tilt_capacity(sleeve, 0.09))
    0.01
    """
    return np.maximum(pitch_clearance, 0.0) * (1.0 / thread.engagement)


def axis_tilt(
    thread: Thread, face_x: Array, face_y: Array, pitch_clearance: Array
) -> tuple[Array, Array]:
    r"""Tilt of the screwed sleeve per axis [rad]: it follows the face as far as the thread lets it.

    The face's tilt against the thread axis is its squareness run-out over the flange diameter,
    plus that of the sleeve's own flange. Within `tilt_capacity` the flange lies flat; beyond, the
    sleeve stops at the thread's limit and touches the face on one side. With no clearance or a
    square face the sleeve keeps the axis of the thread. Rigid parts.

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=10.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> [float(t) for t in axis_tilt(sleeve, 0.003, 0.004, 0.02)]
    [0.0012, 0.0016]
    """
    size = np.hypot(face_x, face_y)
    capacity = tilt_capacity(thread, pitch_clearance)
    share = np.minimum(size, capacity) / np.maximum(size, 1e-15)
    return face_x * share, face_y * share


def flange_gap(thread: Thread, face_x: Array, face_y: Array, pitch_clearance: Array) -> Array:
    """Gap at the far edge of a flange that cannot lie flat [mm]; negative: play left over.

    Signed, so that a margin goes on through the loss of contact.

    >>> sleeve = Thread(pitch=1.0, pitch_diameter=44.0, engagement=10.0,
    ...                 flange_outer=52.0, flange_inner=45.0)
    >>> float(flange_gap(sleeve, 0.003, 0.004, 0.02))
    0.156
    """
    missing = np.hypot(face_x, face_y) - tilt_capacity(thread, pitch_clearance)
    return missing * thread.flange_outer
