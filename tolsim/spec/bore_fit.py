"""Readings at several depths and angles of one bore, reduced to mean, taper and ovality."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BoreModel", "bore_model"]

_RIGHT_ANGLE_WITHIN = math.radians(2.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class BoreModel:
    r"""What the readings of a file can tell of a bore.

    .. math:: D(z, \alpha) = m + k\,(z - z_0)/b + c\cos 2\alpha + s\sin 2\alpha

    with :math:`z_0` the middle of the band of depths of length :math:`b`: ``m`` is the mean
    diameter, ``k`` the taper over the band, and the greatest minus the least diameter of the
    oval is :math:`2\sqrt{c^2 + s^2}` (4 times the radial amplitude of two lobes).

    ``taper`` and ``oval`` say what is identified. ``oval`` is "both" for three angles or more,
    "across" for two at a right angle (their difference, which is at most the ovality), else
    "none". Two-point diameters; a three-lobed form does not show in them.
    """

    taper: bool
    oval: str
    middle: float
    band: float
    first_angle: float

    @property
    def unknowns(self) -> int:
        """Number of quantities that are fitted."""
        return 1 + self.taper + {"both": 2, "across": 1, "none": 0}[self.oval]

    def design(
        self, depth: Sequence[float | None], angle: Sequence[float | None]
    ) -> NDArray[np.float64]:
        """Matrix (m, unknowns) of the model at these depths [mm] and angles [rad]."""
        columns = [np.ones(len(depth))]
        if self.taper:
            columns.append((np.array(depth, dtype=float) - self.middle) / self.band)
        if self.oval != "none":
            twice = 2.0 * (np.array(angle, dtype=float) - self.first_angle)
            columns.append(np.cos(twice))
            if self.oval == "both":
                columns.append(np.sin(twice))
        return np.column_stack(columns)

    def fit(
        self,
        depth: Sequence[float | None],
        angle: Sequence[float | None],
        value: NDArray[np.float64],
    ) -> tuple[float, float, float, float, int] | None:
        """Mean, taper, ovality, sum of squared residuals and degrees of freedom.

        Least squares; values [mm] of one bore, shape (m,). None where these places do not tell
        the quantities apart. Taper and ovality are NaN where the model has none.
        """
        matrix = self.design(depth, angle)
        rows, unknowns = matrix.shape
        if rows < unknowns or np.linalg.matrix_rank(matrix, tol=1e-6) < unknowns:
            return None
        solution = np.linalg.lstsq(matrix, value, rcond=None)[0]
        rest = value - matrix @ solution
        taper = float(solution[1]) if self.taper else math.nan
        waves = solution[1 + self.taper :]
        oval = 2.0 * float(np.hypot.reduce(waves)) if waves.size else math.nan
        return float(solution[0]), taper, oval, float(rest @ rest), rows - unknowns


def bore_model(
    depth: Sequence[float | None],
    angle: Sequence[float | None],
    band_mm: tuple[float, float] | None = None,
) -> BoreModel:
    """The richest model that these depths [mm] and angles [rad] can tell.

    >>> bore_model([2.0, 5.0], [None, None]).taper
    True
    >>> import math
    >>> bore_model([None] * 3, [0.0, math.pi / 3, 2 * math.pi / 3]).oval
    'both'
    """
    depths = sorted({d for d in depth if d is not None})
    low, high = band_mm or ((depths[0], depths[-1]) if depths else (0.0, 0.0))
    # a two-point diameter is the same half a turn on; angles within 0.1 degrees are one
    tenths = sorted({round(math.degrees(a) * 10.0) % 1800 for a in angle if a is not None})
    angles = [math.radians(t / 10.0) for t in tenths]
    oval = "none"
    if len(angles) >= 3:
        oval = "both"
    elif len(angles) == 2 and abs(angles[1] - angles[0] - math.pi / 2) < _RIGHT_ANGLE_WITHIN:
        oval = "across"
    return BoreModel(
        taper=len(depths) >= 2,
        oval=oval,
        middle=(low + high) / 2.0,
        band=high - low or 1.0,
        first_angle=angles[0] if angles else 0.0,
    )
