"""Alignment of the two seats of a unit as vectors: angles, offset, tilt of each bearing.

Seat i has a centre offset (x, y) [mm] and an axis tilt (x, y) [rad] against the common datum.
The shaft runs through both centres. Rows are per axis; results are magnitudes.
"""

from __future__ import annotations

import math

import numpy as np

from tolsim.record import Array

__all__ = [
    "PERMISSIBLE_TILT",
    "bearing_tilts",
    "mid_span_offset",
    "mutual_angle",
    "seated_sleeve_tilt",
    "tilt_warnings",
]

#: Tilt of a deep groove ball bearing that makers permit, by clearance and load [rad]: 2 to 10
#: arcmin (SKF, general catalogue, permissible misalignment).
PERMISSIBLE_TILT = (2.0 * math.pi / 10800.0, 10.0 * math.pi / 10800.0)


def mutual_angle(t1x: Array, t1y: Array, t2x: Array, t2y: Array) -> Array:
    """Angle between the two bore axes [rad], the length of t1 - t2.

    >>> float(mutual_angle(3e-3, 0.0, 0.0, 4e-3))
    0.005
    """
    return np.hypot(t1x - t2x, t1y - t2y)


def mid_span_offset(
    o1x: Array,
    o1y: Array,
    o2x: Array,
    o2y: Array,
    t1x: Array,
    t1y: Array,
    t2x: Array,
    t2y: Array,
    span: float,
) -> Array:
    r"""Distance of the two bore axes at mid-span [mm], :math:`|o_2 - o_1 - (t_1+t_2)B/2|`.

    Two seats on one tilted line lie on one axis:

    >>> float(mid_span_offset(0.0, 0.0, 0.1, 0.0, 1e-3, 0.0, 1e-3, 0.0, 100.0))
    0.0
    """
    half = 0.5 * _span(span)
    return np.hypot(o2x - o1x - (t1x + t2x) * half, o2y - o1y - (t1y + t2y) * half)


def bearing_tilts(
    o1x: Array,
    o1y: Array,
    o2x: Array,
    o2y: Array,
    t1x: Array,
    t1y: Array,
    t2x: Array,
    t2y: Array,
    span: float,
) -> tuple[Array, Array]:
    r"""Tilt of each bearing against the shaft [rad], :math:`|t_i - (o_2 - o_1)/B|`.

    >>> [float(t) for t in bearing_tilts(0.0, 0.0, 0.07, 0.0, 0.0, 0.0, 1e-3, 0.0, 70.0)]
    [0.001, 0.0]
    """
    per = 1.0 / _span(span)
    sx, sy = (o2x - o1x) * per, (o2y - o1y) * per
    return np.hypot(t1x - sx, t1y - sy), np.hypot(t2x - sx, t2y - sy)


def seated_sleeve_tilt(seat_tilt: Array, run_out: Array, flange_diameter: float) -> Array:
    """Axis tilt per axis [rad] of a part that seats on a face: the seat's plus run-out/diameter.

    Run-out of the face [mm] (squareness over the flange) with the sign of its direction on this
    axis; diameter of the flange [mm].

    >>> seated_sleeve_tilt(0.0, 0.02, 50.0)
    0.0004
    """
    if not flange_diameter > 0.0:
        raise ValueError(f"flange_diameter must be positive, got {flange_diameter}")
    return seat_tilt + run_out * (1.0 / flange_diameter)


def _span(span: float) -> float:
    if not span > 0.0:
        raise ValueError(f"span must be positive, got {span}")
    return span


def tilt_warnings(limit: float) -> tuple[str, ...]:
    """Whether a limit on the tilt of a bearing [rad] exceeds what makers permit.

    >>> tilt_warnings(0.004)[0]
    'the limit on bearing tilt, 13.8 arcmin, is above the 2 to 10 arcmin that makers permit deep...
    >>> tilt_warnings(0.002)
    ()
    """
    low, high = (t * 10800.0 / math.pi for t in PERMISSIBLE_TILT)
    if limit <= PERMISSIBLE_TILT[1] * (1.0 + 1e-9):
        return ()
    return (
        f"the limit on bearing tilt, {limit * 10800.0 / math.pi:.3g} arcmin, is above the "
        f"{low:.0f} to {high:.0f} arcmin that makers permit deep groove bearings",
    )
