"""What a case costs a unit: parts, assembly, bands, scrap of sorting, claims; with slopes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tolsim.answers.design_cases import Case, Freedom
from tolsim.answers.design_made import made
from tolsim.process.base import Process
from tolsim.process.plain import Normal
from tolsim.spec.choices import BandCost
from tolsim.spec.load import Study
from tolsim.spec.parts import Sleeve

__all__ = ["CostModel", "Costing", "band_cost", "cost_model", "scrap_share"]

FloatArray = NDArray[np.float64]
_STEP = 5e-5  # of the slopes of scrap [mm]
#: Standard normals, evenly apart, and the share of parts that each stands for.
_NODES = np.linspace(-7.0, 7.0, 1401)
_SHARES = np.exp(-0.5 * _NODES**2) / np.exp(-0.5 * _NODES**2).sum()
_SEATS = 2.0  # parts of a sorted feature in one unit


@dataclass(frozen=True, kw_only=True, slots=True)
class Costing:
    """A cost a unit, piece by piece, in the study's currency."""

    parts: float
    assembly: float
    bands: tuple[float, ...]
    scrap: tuple[float, ...]
    claims: float

    @property
    def total(self) -> float:
        """All together."""
        return (
            self.parts
            + self.assembly
            + math.fsum(self.bands)
            + math.fsum(self.scrap)
            + (self.claims)
        )


def band_cost(curve: BandCost | None, width: float, word: str | None = None) -> tuple[float, float]:
    r"""Cost of a band and its slope by the width; the width in the unit of the curve.

    .. math:: c(w) = c_0 + \frac{b}{w^p}

    A table is joined by a curve without overshoot through its points (Fritsch and Carlson, *SIAM
    J. Numer. Anal.* 17 (1980) 238-246) and flat beyond its ends.

    >>> band_cost(BandCost(fixed=1.0, per_width=14.0), 20.0)
    (1.7, -0.035)
    """
    if curve is None:
        return 0.0, 0.0
    if word is not None and curve.classes is not None and word in curve.classes:
        return curve.classes[word], 0.0
    if curve.at is not None:
        from scipy.interpolate import PchipInterpolator

        widths, costs = np.array(curve.at).T
        joined = PchipInterpolator(widths, costs)
        inside = float(min(max(width, widths[0]), widths[-1]))
        slope = float(joined(inside, 1)) if widths[0] <= width <= widths[-1] else 0.0
        return float(joined(inside)), slope
    varying = curve.per_width / width**curve.power
    return curve.fixed + varying, -curve.power * varying / width


@dataclass(frozen=True, slots=True)
class CostModel:
    """Costs of one case at any bands and rates."""

    case: Case
    parts: float
    assembly: float
    #: Cost of a rejected part, and of one unit that fails by mode.
    scrap: float
    claims: Mapping[str, float]
    #: What is made of a sorted feature: share of the supplies and process, by number of the band.
    made: Mapping[int, tuple[tuple[float, Process], ...]]

    def of(self, theta: FloatArray, rates: Mapping[str, float]) -> Costing:
        """Pieces of the cost at a point with these rates."""
        bands, scrap = [], []
        for i, (f, (c, w)) in enumerate(
            zip(self.case.freedoms, self.case.bands(theta), strict=True)
        ):
            bands.append(band_cost(f.cost, w * f.scale, f.word)[0])
            scrap.append(self._scrap(i, f, c, w))
        return Costing(
            parts=self.parts,
            assembly=self.assembly,
            bands=tuple(bands),
            scrap=tuple(scrap),
            claims=math.fsum(v * rates.get(m, 0.0) for m, v in self.claims.items()),
        )

    def _scrap(self, i: int, f: Freedom, centre: float, width: float) -> float:
        if i not in self.made or self.scrap == 0.0:
            return 0.0
        lost = scrap_share(self.made[i], centre, width, f.repeatability)
        return _SEATS * lost / max(1.0 - lost, 1e-6) * self.scrap

    def fixed_slope(self, theta: FloatArray) -> tuple[float, FloatArray]:
        """Cost without claims at a point, and its gradient by the free numbers."""
        out = np.zeros(len(theta))
        total = self.parts + self.assembly
        places = self.case.places()
        for i, (f, (c, w)) in enumerate(
            zip(self.case.freedoms, self.case.bands(theta), strict=True)
        ):
            at_c, at_w = places[i]
            cost, slope = band_cost(f.cost, w * f.scale, f.word)
            scrap = self._scrap(i, f, c, w)
            total += cost + scrap
            if at_w is not None:
                out[at_w] += slope * f.scale
            if i in self.made and self.scrap > 0.0 and at_w is not None and at_c is not None:
                out[at_c] += (self._scrap(i, f, c + _STEP, w) - scrap) / _STEP
                out[at_w] += (self._scrap(i, f, c, w + _STEP) - scrap) / _STEP
        return total, out

    def least(self) -> float:
        """No bands of this case cost less: the widest, nothing scrapped, nothing failed."""
        total = self.parts + self.assembly
        for f in self.case.freedoms:
            w = f.width[1] if f.held is None else f.held[1]
            total += band_cost(f.cost, w * f.scale, f.word)[0]
        return total


def scrap_share(
    made: tuple[tuple[float, Process], ...], centre: float, width: float, repeatability: float
) -> float:
    """Share of the parts that a sorting band rejects, over all supplies; 1 where all are."""
    low, high = centre - 0.5 * width, centre + 0.5 * width
    return math.fsum(
        share * (1.0 - _accepted(process, low, high, repeatability)) for share, process in made
    )


def _accepted(process: Process, low: float, high: float, repeatability: float) -> float:
    """Share of a process that a gauge with these limits and this repeatability accepts."""
    if isinstance(process, Normal):
        sd = math.hypot(process.sd, repeatability)
        ends = ndtr((np.array([low, high]) - process.mean) / sd)
        return float(ends[1] - ends[0])
    if repeatability == 0.0:
        ends = np.asarray(process.cdf([low, high]))
        return float(ends[1] - ends[0])
    sizes = np.asarray(process.size(_NODES))
    passing = ndtr((high - sizes) / repeatability) - ndtr((low - sizes) / repeatability)
    return float(np.dot(_SHARES, passing))


def cost_model(case: Case) -> CostModel:
    """Costs of a case."""
    costs = case.study.spec.costs
    claims: dict[str, float] = {}
    for mode in ("creak", "tight"):
        price = None if costs is None else costs.likeliest(f"{mode}_claim_cost")
        if costs is not None and price is not None:
            share = costs.likeliest(f"{mode}_claim_share")
            claims[mode] = (1.0 if share is None else share) * price
    return CostModel(
        case=case,
        parts=_prices(case.study),
        assembly=0.0 if costs is None else costs.assembly.get(case.study.spec.joint.kind, 0.0),
        scrap=0.0 if costs is None or costs.scrap_cost is None else costs.scrap_cost,
        claims=claims,
        made={i: made(case.study, f.path) for i, f in enumerate(case.freedoms) if f.sorts},
    )


def _prices(study: Study) -> float:
    """Prices of the parts of a unit that have one: one shell, two of the others."""
    total = 0.0
    for s in study.strata:
        for role, part in s.parts.items():
            one = role == "bore" or (isinstance(part, Sleeve) and part.pieces == 1)
            total += s.share * (1.0 if one else 2.0) * (part.price_each or 0.0)
    return total
