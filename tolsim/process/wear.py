"""A tool that wears between two corrections of its offset."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from tolsim.process.added import added
from tolsim.process.base import FloatArray, Process, normal_density
from tolsim.process.comb import Comb
from tolsim.process.mixture import Mixture
from tolsim.process.moved import moved
from tolsim.process.plain import Normal, Uniform, finite
from tolsim.process.tabled import Tabled
from tolsim.record import Array, Primitive

__all__ = ["ToolWear"]

_MOST_PARTS = 20_000


@dataclass(frozen=True, kw_only=True, slots=True)
class ToolWear:
    r"""Sizes from a machine whose offset is corrected every N parts.

    .. math:: x_k = m + w\,\Big(k - \frac{N - 1}{2}\Big) + o + s z,\qquad k = 0 \ldots N - 1

    Parameters
    ----------
    mean : float
        Mean size m over an interval [mm].
    sd : float
        Scatter s from part to part at one state of the tool [mm].
    wear : float
        Change of size w from one part to the next [mm]; a wearing tool makes bores smaller
        (negative) and turned outsides larger.
    parts : int
        Parts N between two corrections.
    resolution : float
        Smallest step of the offset [mm]; the correction is off by up to half of it.
    reset_gauge_sd, reset_parts : float, int
        Repeatability of the gauge the correction rests on [mm], and how many parts are read.
    dead_band : float
        Full width of the band within which nothing is corrected [mm].

    Notes
    -----
    The offset o (resolution, gauge and dead band) is one draw an interval and so common to its
    parts. `process` is the population of a long run, phase and offset sampled with every part; a
    small lot shares them: use `in_phase`. Wear is taken as steady and independent of the part.
    Within an interval the drift is uniform: variance w² (N² - 1)/12.

    Examples
    --------
    >>> worn = ToolWear(mean=0.0, sd=0.002, wear=-0.0001, parts=100).process()
    >>> worn.sd
    0.003512
    """

    mean: float
    sd: float
    wear: float
    parts: int
    resolution: float = 0.0
    reset_gauge_sd: float = 0.0
    reset_parts: int = 1
    dead_band: float = 0.0

    def __post_init__(self) -> None:
        finite(
            "tool wear",
            mean=self.mean,
            sd=self.sd,
            wear=self.wear,
            resolution=self.resolution,
            reset_gauge_sd=self.reset_gauge_sd,
            dead_band=self.dead_band,
        )
        if min(self.sd, self.resolution, self.reset_gauge_sd, self.dead_band) < 0.0:
            raise ValueError("tool wear: spreads, resolution and dead band must not be negative")
        if not 1 <= self.parts <= _MOST_PARTS or self.reset_parts < 1:
            raise ValueError(
                f"tool wear: parts count 1 to {_MOST_PARTS}, reset_parts at least 1, got "
                f"{self.parts} and {self.reset_parts}"
            )

    @property
    def offset(self) -> Process:
        """Population of the offset's error, one draw an interval."""
        gauge = Normal(mean=0.0, sd=self.reset_gauge_sd / math.sqrt(self.reset_parts))
        half, band = 0.5 * self.resolution, 0.5 * self.dead_band
        steps = added(gauge, Uniform(low=-half, high=half))
        return added(steps, Uniform(low=-band, high=band))

    def process(self) -> Process:
        """Population of a long run, exact: every position of the interval counts alike."""
        sd = math.hypot(self.sd, self.reset_gauge_sd / math.sqrt(self.reset_parts))
        places = self.mean + self.wear * (np.arange(self.parts) - 0.5 * (self.parts - 1))
        steps = added(
            Uniform(low=-0.5 * self.resolution, high=0.5 * self.resolution),
            Uniform(low=-0.5 * self.dead_band, high=0.5 * self.dead_band),
        )
        if self.parts == 1 or self.wear == 0.0:
            return added(Normal(mean=self.mean, sd=sd), steps)
        if sd > 0.0:
            comb = Comb(centres=places.tolist(), sd=sd)
            # its curve is cheaper to sum over than its many centres
            return added(Tabled(comb.curve, comb.mean, comb.sd), steps) if steps.sd > 0.0 else comb
        if steps.sd == 0.0:
            raise ValueError("tool wear: steps of wear without any scatter leave no population")
        return Mixture(
            parts=tuple((1.0 / self.parts, moved(steps, shift=float(p))) for p in places)
        )

    def position(self, z_phase: Array, *, ahead: int = 0) -> Array:
        """Deviation by wear [mm] of a part, and of those made `ahead` parts later.

        One row stands for the place of the first part within the interval; past its end the
        tool is fresh again. The slope is that of a steady drift, for searches along gradients.
        """
        if self.parts == 1 or self.wear == 0.0:
            return 0.0 * z_phase
        n, wear = self.parts, self.wear
        sign = 1.0 if wear > 0.0 else -1.0  # increasing in z whichever way the tool wears

        def forward(z: FloatArray, out: FloatArray) -> None:
            k = np.minimum(np.floor(ndtr(sign * z) * n), n - 1.0)
            out[...] = wear * (np.mod(k + ahead, n) - 0.5 * (n - 1))

        def slope(z: FloatArray) -> FloatArray:
            return abs(wear) * n * normal_density(z)

        return Primitive(forward, slope)(z_phase)

    def in_phase(self, z: Array, z_phase: Array, z_offset: Array, *, ahead: int = 0) -> Array:
        """Size [mm] of a part for its own row and the two that its lot shares."""
        common = self.mean + self.position(z_phase, ahead=ahead) + self.offset.size(z_offset)
        return common + self.sd * z
