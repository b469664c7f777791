"""Lots of the readings: as one, or as random effects where they differ by more than their parts.

Where lots differ every rate is that of any lot, the next one included. Where they do not they are
taken as one; what so few lots leave open is told beside, by the rule that `compare` decides by.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from tolsim.answers.compare_lots import LotsMeasured, lots_measured
from tolsim.answers.readings_taken import SizeName, reading_steps, taken_otherwise
from tolsim.process.lots import lot_evidence, lots_differ
from tolsim.process.posterior import lattice
from tolsim.spec.load import Study

__all__ = ["LotsTaken", "lots_taken", "over_any_lot", "with_any_lot"]

_DIFFER = 0.01  # probability below which lots of one process would differ as much
_SETS = 2048


@dataclass(frozen=True, kw_only=True, slots=True)
class LotsTaken:
    """How the lots of one measured size are taken.

    `p_value` is the share of lots of one process that would differ as much at one of the seats;
    `means` the smallest and largest mean of a lot, `between` the ends at 95 % of the spread
    between lots [mm].
    """

    part: str
    key: str
    lots: int
    random: bool
    stated: bool
    p_value: float
    means: tuple[float, float]
    between: tuple[float, float]
    #: A stated shape that keeps lots together though they differ.
    kept: str | None = None


def lots_taken(study: Study) -> tuple[LotsTaken, ...]:
    """Every measured size whose readings name lots that can tell, and how they are taken."""
    steps = reading_steps(study)
    out = []
    for (part, key), found in lots_measured(study).items():
        step = steps[part, key]
        p = _p_value(found)
        shaped = step.shape not in ("choose", "normal")
        out.append(
            LotsTaken(
                part=part,
                key=key,
                lots=found.lots,
                random=step.between_lots == "random"
                or (step.between_lots == "choose" and p < _DIFFER and not shaped),
                stated=step.between_lots != "choose",
                p_value=p,
                means=_means(found),
                between=_between(found),
                kept=step.shape if shaped and p < _DIFFER else None,
            )
        )
    return tuple(out)


def over_any_lot(study: Study) -> Study:
    """The study with every lot that is taken as a random effect."""
    return with_any_lot(study, {(x.part, x.key) for x in lots_taken(study) if x.random})


def with_any_lot(study: Study, features: Collection[SizeName]) -> Study:
    """The study with the lots of these sizes as random effects."""
    return taken_otherwise(study, features, between_lots="random")


def _p_value(found: LotsMeasured) -> float:
    """Of the seat that tells most, times the number of seats that were asked."""
    values = []
    for value, lots in found.groups:
        try:
            values.append(lots_differ(value, lots).p_value)
        except ValueError:
            values.append(1.0)
    return min(1.0, min(values) * len(values))


def _means(found: LotsMeasured) -> tuple[float, float]:
    means = [
        float(value[np.array(lots) == name].mean())
        for value, lots in found.groups
        for name in dict.fromkeys(lots)
    ]
    return min(means), max(means)


def _between(found: LotsMeasured) -> tuple[float, float]:
    z = ndtri(lattice(3, _SETS))
    ends = []
    for value, lots in found.groups:
        _, between, _ = lot_evidence(value, lots, gauge_sd=found.gauge_sd).parameters(*z)
        ends.append(np.quantile(between, [0.025, 0.975]))
    return float(min(e[0] for e in ends)), float(max(e[1] for e in ends))
