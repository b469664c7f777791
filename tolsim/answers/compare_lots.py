"""Lots that nobody has measured: the rule once more, with what the lots at hand say of the next.

Rates come from all readings of a part as if they were one lot. Where a file names its lots they
are random effects as well: mean, spread between and within lots are drawn from what so few lots
allow, and what the rule then no longer says stays open.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.joint.measured_lots import lots_by_seat
from tolsim.process.lots import lot_evidence, lots_differ
from tolsim.spec.load import Study

__all__ = ["LotsMeasured", "OverLots", "lots_measured", "over_lots"]

FloatArray = NDArray[np.float64]
Feature = tuple[str, str]
_DIFFER = 0.01  # probability below which lots of one process would differ as much
_FAR = 3.0  # standard deviations beyond which the fitted rates are not asked
_FARTHEST = 50.0  # of them that are gone straight on
#: Steps of an additive lattice in three dimensions: powers of the root of x**4 = x + 1.
_STEPS = 1.2207440846057596 ** -np.arange(1.0, 4.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class LotsMeasured:
    """Readings of a part that name two lots or more, and what is to be said of them."""

    part: str
    key: str
    lots: int
    gauge_sd: float
    groups: tuple[tuple[FloatArray, tuple[str, ...]], ...]

    @property
    def text(self) -> str:
        """How many lots, and whether they differ."""
        out = f"{self.part}, {self.lots} lots"
        value, lots = self.groups[0]
        try:
            differ = lots_differ(value, lots).p_value < _DIFFER
        except ValueError:
            differ = False
        if not differ:
            return out
        means = [float(value[np.array(lots) == name].mean()) for name in dict.fromkeys(lots)]
        return (
            f"{out} whose means lie between {1e3 * min(means):.1f} and {1e3 * max(means):.1f} µm, "
            "further apart than parts of one lot would put them"
        )


def lots_measured(study: Study) -> dict[Feature, LotsMeasured]:
    """Every measured size of a study whose file names two lots or more, with parts in them."""
    out: dict[Feature, LotsMeasured] = {}
    for stratum in study.strata:
        for key, readings in stratum.readings.items():
            role, _, field = key.partition(".")
            step = getattr(stratum.parts[role], field).readings
            groups = lots_by_seat(readings)
            if groups:
                name = stratum.names[role]
                out[name, key] = LotsMeasured(
                    part=name,
                    key=key,
                    lots=len(set(groups[0][1])),
                    gauge_sd=0.0 if step is None else step.gauge_sd,
                    groups=groups,
                )
    return out


@dataclass(frozen=True, slots=True)
class OverLots:
    """Coordinates of features over all lots, held within what rates were fitted on.

    `at` is held at the edge, `back` lies a step inside of it along the way that was cut off, and
    `reach` (k,) is the length of that way in steps.
    """

    at: Mapping[Feature, FloatArray]
    back: Mapping[Feature, FloatArray]
    reach: FloatArray

    def beyond(self, edge: FloatArray, inside: FloatArray) -> FloatArray:
        """Rates where the lots are, from those at the edge and a step inside: straight on in
        the normal deviate of the rate, as a size against one limit is in its mean."""
        one, two = (ndtri(np.clip(r, 1e-300, 1.0 - 1e-16)) for r in (edge, inside))
        return np.where(self.reach > 0.0, ndtr(one + (one - two) * self.reach), edge)


def over_lots(
    measured: Mapping[Feature, LotsMeasured], at: Mapping[Feature, FloatArray]
) -> OverLots:
    """Means and spreads of these features over all lots, as far as the lots measured tell them.

    `at` holds the coordinates (p, k) that rates were fitted on. Both seats of a unit come out of
    one lot, so their lots move together.
    """
    found = {f: _coordinates(x, at[f]) for f, x in measured.items()}
    held, scales = {}, {}
    reach = np.zeros(next(iter(found.values())).shape[1])
    for f, x in found.items():
        middle, scales[f] = at[f].mean(axis=1)[:, None], at[f].std(axis=1)[:, None]
        held[f] = np.clip(x, middle - _FAR * scales[f], middle + _FAR * scales[f])
        steps = np.abs(x - held[f]) / np.maximum(scales[f], 1e-12)
        reach = np.maximum(reach, steps.max(axis=0))
    step = np.maximum(reach, 1e-12)
    back = {f: held[f] - (x - held[f]) / step for f, x in found.items()}
    return OverLots(held, back, np.minimum(reach, _FARTHEST))


def _coordinates(lots: LotsMeasured, now: FloatArray) -> FloatArray:
    k = now.shape[1]
    u = (0.5 + _STEPS[:, None] * np.arange(1, k + 1)) % 1.0
    z = ndtri(np.clip(u, 0.5 / k, 1.0 - 0.5 / k))
    rows = []
    for value, names in lots.groups:
        evidence = lot_evidence(value, names, gauge_sd=lots.gauge_sd)
        mean, between, within = evidence.parameters(*z)
        rows += [mean, np.log(np.maximum(np.hypot(between, within), 1e-7))]
    return np.array([*rows[: len(now)], *now[len(rows) :]])
