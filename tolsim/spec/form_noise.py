r"""Scatter of the single readings behind the taper and ovality of bores.

A quantity fitted by least squares to the readings of a bore carries their scatter,

.. math:: \operatorname{cov}(\hat\beta) = \tau^2 (X^\top X)^{-1}

so that the square of a length is too large by the sum of its components' variances: for the two
components of an oval :math:`E(\hat c^2 + \hat s^2) = c^2 + s^2 + \tau^2 (V_{cc} + V_{ss})`, a
round bore looks oval. What follows from the readings takes this out: variances add.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from tolsim.spec.bore_fit import BoreModel
    from tolsim.spec.bore_places import PlacedReading

__all__ = ["Gains", "ReadingNoise", "gains_of", "noise_of"]

LEAST_FREEDOM = 10  # readings beyond the fitted quantities that tell their scatter


@dataclass(frozen=True, kw_only=True, slots=True)
class Gains:
    """Standard deviations of what is fitted to a bore over that of one reading.

    `mean` that of the mean diameter, `taper` of the taper, `wave` of either component of the oval,
    in diameters (root mean square over bores and components). 0 where a file does not tell them.
    """

    mean: float
    taper: float
    wave: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingNoise:
    """Scatter of one reading [mm]; `freedom` degrees behind it, 0 where it is stated."""

    sd: float
    freedom: int
    gains: Gains

    @property
    def taper(self) -> float:
        """Standard deviation [mm] that it gives the taper."""
        return self.sd * self.gains.taper

    @property
    def amplitude(self) -> float:
        """The same of either component of the oval's radial amplitude [mm]: half that in
        diameters."""
        return 0.5 * self.sd * self.gains.wave

    @property
    def looks_oval(self) -> float:
        """Mean ovality [mm] that a round bore would show, both components being told.

        The length of a vector of two normals is on average their spread times root pi/2.
        """
        return 4.0 * self.amplitude * math.sqrt(0.5 * math.pi)

    @property
    def told(self) -> str:
        """Where it comes from."""
        if self.freedom:
            return f"from what the fit leaves, {self.freedom} degrees of freedom"
        return "gauge_sd_um"


def gains_of(model: BoreModel, bores: Sequence[Sequence[PlacedReading]]) -> Gains:
    """Gains of these bores, each with the places that it was read at."""
    found: list[tuple[float, float, float]] = []
    known: dict[tuple[tuple[float | None, float | None], ...], tuple[float, float, float]] = {}
    for bore in bores:
        places = tuple((r.depth, r.angle) for r in bore)
        if places not in known:
            x = model.design([p[0] for p in places], [p[1] for p in places])
            v = np.diag(np.linalg.inv(x.T @ x))
            waves = v[1 + model.taper :]
            known[places] = (
                float(v[0]),
                float(v[1]) if model.taper else 0.0,
                float(waves.mean()) if waves.size else 0.0,
            )
        found.append(known[places])
    mean, taper, wave = np.sqrt(np.mean(np.array(found).reshape(-1, 3), axis=0)).tolist()
    return Gains(mean=mean, taper=taper, wave=wave)


def noise_of(
    gains: Gains | None, gauge_sd: float, residual_sd: float | None, freedom: int
) -> ReadingNoise | None:
    """Scatter of one reading: the gauge's as stated, else what the fit leaves; None where neither
    is known.

    What the fit leaves holds form that taper and oval do not describe beside the gauge's scatter.
    """
    if gains is None:
        return None
    if gauge_sd > 0.0:
        return ReadingNoise(sd=gauge_sd, freedom=0, gains=gains)
    if residual_sd is None or freedom < LEAST_FREEDOM:
        return None
    return ReadingNoise(sd=residual_sd, freedom=freedom, gains=gains)
