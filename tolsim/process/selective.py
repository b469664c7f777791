"""Selective assembly: bores and rings picked by class, two sizes tied per draw.

The bore keeps a row of its own; the ring's row stands for its place within the class (or classes)
that its bore is paired with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr, ndtri

from tolsim.process.base import FloatArray, Process
from tolsim.process.classes import Classes, Pairing
from tolsim.process.functions import normal_quantile, normal_share
from tolsim.process.gauging import thinned
from tolsim.process.plain import Normal
from tolsim.record import Array, Primitive

__all__ = ["Picked", "pick"]

_LEAST = 1e-12  # class pairs rarer than this are dropped


@dataclass(frozen=True, kw_only=True, slots=True)
class _ByClass:
    """Share of each class of the first part that finds a partner."""

    edges: FloatArray
    shares: FloatArray
    sd: float = 0.0

    def share(self, x: FloatArray) -> FloatArray:
        k = np.searchsorted(self.edges, x, side="right") - 1
        inside = (k >= 0) & (k < self.shares.size)
        return np.where(inside, self.shares[np.clip(k, 0, self.shares.size - 1)], 0.0)

    @property
    def limits(self) -> tuple[float, ...]:
        return tuple(float(e) for e in self.edges if math.isfinite(e))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Picked:
    """Two parts drawn as they are picked; made by `pick`.

    Attributes
    ----------
    pairing : Pairing
        Class pairs, left-overs and what lies outside all classes.
    first : Process
        Population of the first part (as read by the sorting gauge) among the pairs [mm].
    """

    pairing: Pairing
    first: Process
    _class: Primitive = field(repr=False)
    _within: Primitive = field(repr=False)
    _second: Process = field(repr=False)
    _behind: tuple[tuple[float, float, float], tuple[float, float, float]] | None = field(
        repr=False
    )

    @property
    def rows(self) -> int:
        """Latent rows that `sizes` reads: two, and two more where the sorting gauge scatters."""
        return 2 if self._behind is None else 4

    def sizes(
        self, z_first: Array, z_second: Array, z_third: Array = 0.0, z_fourth: Array = 0.0
    ) -> tuple[Array, Array]:
        """Sizes [mm] of the two parts of a pair; recordable.

        The map jumps where the class changes; rows three and four are read only where the
        sorting gauge scatters.
        """
        first = self.first.size(z_first)
        place = self._class(z_first) + normal_share(z_second)
        second = self._second.size(self._within(place))
        if self._behind is None:
            return first, second
        (mean_1, gain_1, left_1), (mean_2, gain_2, left_2) = self._behind
        return (
            mean_1 + gain_1 * (first - mean_1) + left_1 * z_third,
            mean_2 + gain_2 * (second - mean_2) + left_2 * z_fourth,
        )


def pick(
    first: Process,
    second: Process,
    classes: tuple[Classes, Classes],
    pairing: Pairing,
    *,
    sorting_sd: tuple[float, float] = (0.0, 0.0),
) -> Picked:
    """Draw two parts as a pairing of their classes puts them together.

    Parameters
    ----------
    first, second : Process
        Populations before sorting [mm].
    classes : (Classes, Classes)
        Classes of either part, edges on the reading [mm].
    pairing : Pairing
        From `classes.matched_pairing` or `classes.bounded_pairing` on the shares of what the
        sorting gauge reads; `read_as` gives that population.
    sorting_sd : (float, float)
        Repeatability of the gauges that sort [mm]; above 0 the part must be normal.

    Raises
    ------
    ValueError
        If no pair is formed, or a part sorted with error is not normal.
    """
    read = (read_as(first, sorting_sd[0]), read_as(second, sorting_sd[1]))
    if pairing.paired <= _LEAST:
        raise ValueError("pick: no class of one part finds a partner")
    made = classes[0].shares(read[0])
    used = pairing.shares.sum(axis=1)
    share = np.where(made > 0.0, used / np.where(made > 0.0, made, 1.0), 0.0)
    left = thinned(read[0], _ByClass(edges=np.asarray(classes[0].edges), shares=share))
    behind = None
    if max(sorting_sd) > 0.0:
        behind = (_regression(first, sorting_sd[0]), _regression(second, sorting_sd[1]))
    return Picked(
        pairing=pairing,
        first=left.process,
        _class=_class_row(used / used.sum()),
        _within=_within_row(pairing.shares, classes[1], read[1]),
        _second=read[1],
        _behind=behind,
    )


def read_as(process: Process, sorting_sd: float) -> Process:
    """Population of the readings of a sorting gauge."""
    if sorting_sd == 0.0:
        return process
    if not isinstance(process, Normal) or process.sd == 0.0:
        raise ValueError("pick: sorting with gauge error is worked for normal parts only")
    return Normal(mean=process.mean, sd=math.hypot(process.sd, sorting_sd))


def _regression(process: Process, sorting_sd: float) -> tuple[float, float, float]:
    """Mean, slope and remaining spread of the true size given its reading."""
    gain = process.sd**2 / (process.sd**2 + sorting_sd**2)
    return process.mean, gain, process.sd * math.sqrt(1.0 - gain)


def _class_row(shares: FloatArray) -> Primitive:
    """Index of the first part's class from its row; flat, so without slope."""
    below = np.cumsum(shares)[:-1]
    above = np.cumsum(shares[::-1])[::-1][1:]
    edges = np.where(below <= above, ndtri(below), -ndtri(np.minimum(above, 1.0)))

    def forward(z: FloatArray, out: FloatArray) -> None:
        out[...] = np.searchsorted(edges, z, side="right")

    return Primitive(forward, np.zeros_like)


def _within_row(shares: FloatArray, classes: Classes, second: Process) -> Primitive:
    """Standard normal of the second part from class index plus share within what it may take."""
    edges = classes.latents(second)
    starts, lows, slopes = [], [], []
    for i, row in enumerate(shares):
        total, at = float(row.sum()), 0.0
        for j, value in enumerate(row.tolist()):
            if total <= _LEAST or value <= _LEAST:
                continue
            part = value / total
            low, high = float(ndtr(edges[j])), float(ndtr(edges[j + 1]))
            starts.append(i + at)
            lows.append(low)
            slopes.append((high - low) / part)
            at += part
    start, low_u, slope_u = np.array(starts), np.array(lows), np.array(slopes)

    def share(s: FloatArray) -> FloatArray:
        k = np.clip(np.searchsorted(start, s, side="right") - 1, 0, start.size - 1)
        return np.asarray(low_u[k] + slope_u[k] * (s - start[k]))

    def forward(s: FloatArray, out: FloatArray) -> None:
        normal_quantile.forward(share(s), out)

    def slope(s: FloatArray) -> FloatArray:
        k = np.clip(np.searchsorted(start, s, side="right") - 1, 0, start.size - 1)
        return np.asarray(slope_u[k] * normal_quantile.slope(share(s)))

    return Primitive(forward, slope)
