r"""Where a search begins: least cost to first order, without drawing a unit.

Each margin g is taken as linear in the rows about the nominal unit, so that it lies
:math:`\beta = g / |\partial g/\partial t|` spreads from failure; the cheapest bands that keep each
far enough are near the cheapest that keep the rates. Scatter that acts only by its size (offset
and tilt of the seats) has no slope there: its zones are widened afterwards by counting.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.answers.costs import CostModel
from tolsim.answers.design_cases import Case
from tolsim.answers.design_followers import Band
from tolsim.answers.design_solve import least_cost
from tolsim.answers.design_units import Snapshot, Units, rows_at
from tolsim.chance.streams import BLOCK
from tolsim.errors import SpecError

__all__ = ["first_point", "passing_point"]

FloatArray = NDArray[np.float64]
_STEP = 1e-3  # of slopes by the width, as a share of it
_STARTS = 3
_LOOKS = 5  # halvings of the common factor of the zones


def first_point(
    case: Case, units: Units, costs: CostModel, targets: Mapping[str, float], *, seed: int
) -> FloatArray:
    """A point from which a search may begin; feasible or near to it where such points are."""
    bounds = case.bounds()
    low, high = bounds[:, 0], bounds[:, 1]
    sizes, zones = _kinds(case)
    start = np.sqrt(np.maximum(low, 1e-12) * np.maximum(high, 1e-12))
    start[sizes] = 0.5 * (low + high)[sizes]
    start[zones] = low[zones]
    frozen_high = high.copy()
    frozen_high[zones] = low[zones]
    try:
        snapshot = units.at(start)
    except SpecError:  # a band that lets nothing pass is no place to begin
        start = passing_point(case, start)
        snapshot = units.at(start)
    margins = _Margins(case, snapshot, targets)
    best: tuple[float, float, FloatArray] | None = None
    for k in range(_STARTS if sizes.any() else 1):
        begin = start.copy()
        u = (0.5 + k * _golden(int(sizes.sum()))) % 1.0
        begin[sizes] = low[sizes] + u * (high - low)[sizes]
        if not margins.any:
            break
        found = least_cost(
            costs.fixed_slope, margins.slack, begin, low, frozen_high, steps=30, precision=1e-4
        )
        rank = (max(0.0, -found.slack), found.cost, found.point)
        if best is None or rank[:2] < best[:2]:
            best = rank
        if found.slack >= 0.0:
            break
    theta = start if best is None else best[2]
    return _widened(units, targets, theta, zones, high, seed)


def passing_point(case: Case, theta: FloatArray) -> FloatArray:
    """The same with bands that sort as wide as may be, about where their parts are made."""
    out = theta.copy()
    low, high = case.bounds().T
    for f, (c, w) in zip(case.freedoms, case.places(), strict=True):
        if f.made_at is not None and c is not None and w is not None:
            out[c], out[w] = min(max(f.made_at, low[c]), high[c]), high[w]
    return out


def _kinds(case: Case) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which free numbers are middles, and which the widths of zones."""
    d = len(case.bounds())
    middles, zones = np.zeros(d, dtype=bool), np.zeros(d, dtype=bool)
    for f, (c, w) in zip(case.freedoms, case.places(), strict=True):
        if c is not None:
            middles[c] = True
        if w is not None and f.centre is None:
            zones[w] = True
    return middles, zones


def _golden(dimension: int) -> FloatArray:
    """Steps of the additive lattice from the roots of x**(d + 1) = x + 1."""
    root = 2.0
    for _ in range(50):
        root = (1.0 + root) ** (1.0 / (dimension + 1))
    return np.asarray(root ** -np.arange(1.0, dimension + 1.0))


class _Margins:
    """First-order distances of all margins from failure, less what the targets ask."""

    def __init__(self, case: Case, snapshot: Snapshot, targets: Mapping[str, float]) -> None:
        self.case, self.snapshot = case, snapshot
        self.d = len(snapshot.latent)
        self.any = any(b.recording.outputs for b in snapshot.branches)
        self.asked = []
        for branch in snapshot.branches:
            asked = np.zeros(branch.recording.outputs)
            for mode, rows in branch.events.items():
                # two seats, and other causes beside this one
                asked[rows] = np.maximum(asked[rows], -ndtri(min(0.4, 0.4 * targets[mode])))
            self.asked.append(asked)

    def slack(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distances less those asked, (m,), and their gradients (m, d)."""
        values, slopes = [], []
        bands = self.case.bands(theta)
        for i, branch in enumerate(self.snapshot.branches):
            middle, spread, by_centre, by_width = self._rows(i, bands)
            m = branch.recording.outputs
            g, slope = branch.recording.values_and_gradient(
                np.repeat(middle[:, None], m, axis=1), lambda out: np.eye(len(out))
            )
            g = np.diagonal(g).copy()
            moved = slope * spread[:, None]
            sd = np.sqrt(np.square(moved).sum(axis=0))
            seen = sd > 1e-12
            sd = np.where(seen, sd, 1.0)
            beta = np.clip(np.where(seen, g / sd, 30.0), -30.0, 30.0)
            gradient = np.zeros((m, len(theta)))
            for f, (c, w) in enumerate(self.case.places()):
                if c is not None:
                    gradient[:, c] = np.where(seen, slope.T @ by_centre[f] / sd, 0.0)
                if w is not None:
                    wider = (slope**2).T @ (spread * by_width[f])
                    gradient[:, w] = np.where(seen, -beta / sd**2 * wider, 0.0)
            values.append(beta - self.asked[i])
            slopes.append(gradient)
        return np.concatenate(values), np.concatenate(slopes)

    def _rows(
        self, branch: int, bands: Sequence[Band]
    ) -> tuple[FloatArray, FloatArray, list[FloatArray], list[FloatArray]]:
        """Rows of the nominal unit, their spreads, and how both move with the bands."""

        def at(own: Sequence[Band], t: float) -> FloatArray:
            z = np.full((self.d, 1), t)
            for i in self.snapshot.evidence:
                z[i] = 0.0
            return rows_at(self.snapshot, branch, z, own)[:, 0]

        def spread(own: Sequence[Band]) -> FloatArray:
            return 0.5 * (at(own, 1.0) - at(own, -1.0))

        middle, wide = at(bands, 0.0), spread(bands)
        by_centre, by_width = [], []
        for f, (c, w) in enumerate(bands):
            step = _STEP * w
            moved = [(b if k != f else (c + step, w)) for k, b in enumerate(bands)]
            wider = [(b if k != f else (c, w + step)) for k, b in enumerate(bands)]
            by_centre.append((at(moved, 0.0) - middle) / step)
            by_width.append((spread(wider) - wide) / step)
        return middle, wide, by_centre, by_width


def _widened(
    units: Units,
    targets: Mapping[str, float],
    theta: FloatArray,
    zones: NDArray[np.bool_],
    high: FloatArray,
    seed: int,
) -> FloatArray:
    """Zones widened in common as far as counts stay near their targets."""
    if not zones.any():
        return theta

    def at(share: float) -> FloatArray:
        out = theta.copy()
        out[zones] = theta[zones] ** (1.0 - share) * high[zones] ** share
        return out

    def good(share: float) -> bool:
        snapshot, n = units.at(at(share)), 4 * BLOCK
        found = snapshot.count(seed, range(4))
        for mode, target in targets.items():
            rate = math.fsum(
                b.share * found[i, mode] / n
                for i, b in enumerate(snapshot.branches)
                if (i, mode) in found
            )
            if rate > max(2.0 * target, 5.0 / n):
                return False
        return True

    if good(1.0):
        return at(1.0)
    low, up = 0.0, 1.0
    for _ in range(_LOOKS):
        middle = 0.5 * (low + up)
        low, up = (middle, up) if good(middle) else (low, middle)
    return at(low)
