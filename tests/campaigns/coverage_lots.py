"""How often the ends of a rate over any lot hold the truth, with few lots and the spread of more.

Rings of several lots, bores known: the share of seats beyond a limit, for the next lot's parts as
for any. An interval by the draws alone stands beside one that takes in the draws with the spread
between lots held at its estimate, and beside what the commands decide by: the latter where lots
differ; where they do not the readings as one lot, and the draws over any lot, both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tests.campaigns.table import Table
from tolsim.intervals import clopper_pearson
from tolsim.process.evidence import NormalEvidence
from tolsim.process.lots import lot_evidence, lots_differ

__all__ = ["Missed", "lots", "missed"]

FloatArray = NDArray[np.float64]
SEED = 20266
WORLDS = 2000
DRAWS = 1000
TAIL = 0.025
LOTS = (2, 3, 4, 8)
PARTS = 10  # of a lot
BETWEEN = (0.3, 1.0, 3.0)  # spread between lots over that within
RATES = (1e-4, 0.01, 0.1)
DIFFER = 0.01  # probability below which the commands take lots as random effects
BORES = 2.4  # spread of the bores over that within lots


@dataclass(frozen=True, slots=True)
class Missed:
    """Worlds whose truth lies below the lower and above the upper end: by the draws alone, with
    the held spread taken in, and by what the commands decide by."""

    worlds: int
    below: int
    below_held: int
    below_decided: int
    above: int
    above_held: int
    above_decided: int


def missed(count: int, between: float, rate: float, worlds: int, *, draws: int = DRAWS) -> Missed:
    """One cell: `count` lots of ten parts, true `rate`."""
    rng = np.random.default_rng([SEED, count, round(10 * between), round(1e6 * rate)])
    truth = float(ndtri(rate))
    limit = truth * math.sqrt(1.0 + between**2 + BORES**2)
    names = [k for k in range(count) for _ in range(PARTS)]
    below, above = np.zeros(3, dtype=int), np.zeros(3, dtype=int)
    for _ in range(worlds):
        means = between * rng.standard_normal(count)
        x = np.repeat(means, PARTS) + rng.standard_normal(count * PARTS)
        z = rng.standard_normal((3, draws))

        def ends(mean: FloatArray, variance: FloatArray) -> FloatArray:
            deviate = (limit - mean) / np.sqrt(variance + BORES**2)
            return np.asarray(np.quantile(deviate, [TAIL, 1.0 - TAIL]))

        alone, with_held = (
            ends(mean, lot_sd**2 + within**2)
            for mean, lot_sd, within in (
                lot_evidence(x, names, held=held).parameters(*z) for held in (False, True)
            )
        )
        mean, sd = NormalEvidence(n=x.size, mean=x.mean(), sd=x.std(ddof=1)).parameters(*z[:2])
        other = with_held if lots_differ(x, names).p_value < DIFFER else ends(mean, sd**2)
        for k, found in enumerate((alone, with_held, other)):
            below[k] += min(alone[0], found[0]) > truth
            above[k] += max(alone[1], found[1]) < truth
    return Missed(worlds, *below.tolist(), *above.tolist())


def _share(k: int, n: int) -> str:
    found = clopper_pearson(k, n)
    return f"{100 * k / n:.2f} ({100 * found.low:.1f} to {100 * found.high:.1f})"


def lots(*, reduced: bool) -> Table:
    """All cells: 2000 worlds each, 200 when reduced."""
    worlds = WORLDS // 10 if reduced else WORLDS
    rows, over, alone, decided = [], [], [], []
    for count in LOTS:
        for between in BETWEEN:
            for rate in RATES:
                m = missed(count, between, rate, worlds)
                name = f"{count} lots, {between:g}, {100 * rate:g} %"
                alone.append((m.below / worlds, name))
                decided.append((m.below_decided / worlds, name))
                for k, side in ((m.below_held, "below"), (m.above_held, "above")):
                    if clopper_pearson(k, worlds).low > TAIL:
                        over.append(f"{name} ({side})")
                kept = (
                    *(m.below, m.below_held, m.below_decided),
                    *(m.above, m.above_held, m.above_decided),
                )
                rows.append(
                    (
                        f"{count}",
                        f"{between:g}",
                        f"{100 * rate:g}",
                        f"{worlds}",
                        *(_share(k, worlds) for k in kept),
                    )
                )
    (worst, where), (left, there) = max(alone), max(decided)
    return Table(
        title="Rates over any lot, from few lots",
        measured=f"Lots of {PARTS} parts as random effects, {worlds} worlds a cell; bores known, "
        f"their spread {BORES:g} of that within a lot. Worlds in per cent, with exact 95 % "
        f"intervals, whose true rate lies below the lower end or above the upper end of an "
        f"interval; {100 * TAIL:g} % on either side are meant. 'Held' takes in the draws with the "
        "spread between lots at its estimate. The commands decide by that where lots differ "
        f"(p < {DIFFER:g}); where they do not, the readings as one lot and the draws over any lot "
        "must both say so.",
        columns=(
            "lots",
            "spread between over within",
            "true rate [%]",
            "worlds",
            "below, draws alone",
            "below, held taken in",
            "below, as decided",
            "above, draws alone",
            "above, held taken in",
            "above, as decided",
        ),
        rows=rows,
        verdict=[
            f"Draws alone put the truth below the lower end in {100 * worst:.1f} % at worst "
            f"({where}).",
            "With the held spread taken in, significantly above "
            f"{100 * TAIL:g} %: {', '.join(over) or 'none'}; of {2 * len(rows)} comparisons about "
            "one would be by chance.",
            f"As decided: {100 * left:.1f} % below at worst ({there}).",
        ],
    )
