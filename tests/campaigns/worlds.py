"""Whole worlds for the rule of a comparison: a true process, readings of it, the true answer.

In every world the true rings are known, so it is known whether the economy ring may be accepted.
Rates are closed forms; readings go into a CSV file as a buyer would get it, to 0.1 µm.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["CASES", "CLAIM_RANGE", "CONFIDENCE", "Case", "World", "exact_word", "rate_of_units"]

FloatArray = NDArray[np.float64]
#: Bores that every world has: known, normal [µm from nominal].
BORE = (-20.0, 3.0)
#: The ring that is bought today: known.
TODAY = (-4.0, 1.0)
CONFIDENCE = 0.95
#: Share of loose units that become claims: lowest, likeliest, highest; a triangle.
CLAIM_RANGE = (0.12, 0.15, 0.19)
_SETS = 2000


def rate_of_units(mean: FloatArray | float, sd: FloatArray | float) -> FloatArray:
    """Share of units with a loose ring at either seat, for rings N(mean, sd) [µm]."""
    p = ndtr((BORE[0] - np.asarray(mean)) / np.hypot(BORE[1], sd))
    return np.asarray(1.0 - (1.0 - p) ** 2)


def _of_mixture(parts: list[tuple[float, float, float]]) -> float:
    """The same for rings of several makes (share, mean, sd), each seat from any of them."""
    p = sum(w * float(ndtr((BORE[0] - m) / math.hypot(BORE[1], s))) for w, m, s in parts)
    return 1.0 - (1.0 - p) ** 2


@dataclass(frozen=True, kw_only=True, slots=True)
class World:
    """Readings [µm] with what stands beside them, and the truth: share of units that are loose."""

    readings: FloatArray
    rate: float
    lot: tuple[str, ...] | None = None
    order: bool = False
    gauge_sd: float = 0.0

    def csv(self) -> str:
        """The file of readings."""
        head = ["outside_mm"] + ["lot"] * (self.lot is not None) + ["order"] * self.order
        rows = [",".join(head)]
        for k, x in enumerate(self.readings):
            row = [f"{37.0 + 1e-3 * x:.4f}"]
            if self.lot is not None:
                row.append(self.lot[k])
            if self.order:
                row.append(f"{k + 1}")
            rows.append(",".join(row))
        return "\n".join(rows) + "\n"

    def keys(self) -> str:
        """Keys of the step that reads the file, after the column."""
        out = 'lot = "lot"\n' if self.lot is not None else ""
        out += 'order = "order"\n' if self.order else ""
        return out + (f"gauge_sd_um = {self.gauge_sd}\n" if self.gauge_sd else "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """Worlds of one kind: `ratio` is the true rate over the target, None where money decides."""

    name: str
    make: Callable[[Generator], World]
    ratio: float | None
    on_model: bool = True

    @property
    def money(self) -> bool:
        """Whether claims against a saving are asked instead of a target."""
        return self.ratio is None


_RING = (-11.0, 1.8)  # 0.87 % of units loose


def _normal(n: int, gauge_sd: float = 0.0, stated: bool = True) -> Callable[[Generator], World]:
    def make(rng: Generator) -> World:
        x = rng.normal(*_RING, n) + gauge_sd * rng.standard_normal(n)
        return World(
            readings=x,
            rate=float(rate_of_units(*_RING)),
            gauge_sd=gauge_sd if stated else 0.0,
        )

    return make


def _lots(lots: int, parts: int, named: bool) -> Callable[[Generator], World]:
    """Lots that differ by as much again as the parts of one do."""
    within = between = _RING[1] / math.sqrt(2.0)

    def make(rng: Generator) -> World:
        means = np.repeat(rng.normal(_RING[0], between, lots), parts)
        names = tuple(f"lot {k + 1}" for k in range(lots) for _ in range(parts))
        return World(
            readings=means + rng.normal(0.0, within, lots * parts),
            rate=float(rate_of_units(*_RING)),
            lot=names if named else None,
        )

    return make


def _bag(apart: float) -> Callable[[Generator], World]:
    """A bag of two makes, 70 % and 30 %, `apart` of their spreads from one another."""
    sd = 1.2
    middle = _RING[0] + 0.3 * apart * sd
    parts = [(0.7, middle, sd), (0.3, middle - apart * sd, sd)]

    def make(rng: Generator) -> World:
        second = rng.random(40) < 0.3
        x = rng.normal(0.0, sd, 40) + np.where(second, parts[1][1], parts[0][1])
        return World(readings=x, rate=_of_mixture(parts))

    return make


def _drift(first: float, last: float) -> Callable[[Generator], World]:
    """A grinding wheel that wears by 6 µm from one dressing to the next; read in between."""
    wear, sd = 6.0, 1.0
    places = (np.arange(64) + 0.5) / 64.0 - 0.5
    rate = _of_mixture([(1 / 64, _RING[0] + wear * float(u), sd) for u in places])

    def make(rng: Generator) -> World:
        at = first + (last - first) * (np.arange(40) + 0.5) / 40.0 - 0.5
        x = _RING[0] + wear * at + rng.normal(0.0, sd, 40)
        return World(readings=x, rate=rate, order=True)

    return make


CASES = (
    Case(name="40 readings, truth just above the target", make=_normal(40), ratio=1.02),
    Case(name="40 readings, truth just below the target", make=_normal(40), ratio=1 / 1.02),
    Case(name="12 readings, truth just above the target", make=_normal(12), ratio=1.02),
    Case(name="40 readings, truth a quarter of the target", make=_normal(40), ratio=0.25),
    Case(name="40 readings, truth four times the target", make=_normal(40), ratio=4.0),
    Case(name="24 readings, saving against claims, about even", make=_normal(24), ratio=None),
    Case(
        name="gauge error of 1 µm, stated, truth just above",
        make=_normal(40, gauge_sd=1.0),
        ratio=1.02,
    ),
    Case(
        name="gauge error of 1 µm, not stated, truth just above",
        make=_normal(40, gauge_sd=1.0, stated=False),
        ratio=1.02,
        on_model=False,
    ),
    Case(
        name="gauge error of 1 µm, not stated, truth a quarter",
        make=_normal(40, gauge_sd=1.0, stated=False),
        ratio=0.25,
        on_model=False,
    ),
    Case(
        name="gauge error of 1 µm, not stated, truth just below",
        make=_normal(40, gauge_sd=1.0, stated=False),
        ratio=1 / 1.02,
        on_model=False,
    ),
    Case(name="2 lots of 20, named, truth just above", make=_lots(2, 20, True), ratio=1.02),
    Case(name="2 lots of 20, named, truth just below", make=_lots(2, 20, True), ratio=1 / 1.02),
    Case(name="8 lots of 8, named, truth just above", make=_lots(8, 8, True), ratio=1.02),
    Case(name="8 lots of 8, named, truth a tenth of the target", make=_lots(8, 8, True), ratio=0.1),
    Case(
        name="2 lots of 20, not named, truth just above",
        make=_lots(2, 20, False),
        ratio=1.02,
        on_model=False,
    ),
    Case(name="bag of two makes, truth just above", make=_bag(4.0), ratio=1.02, on_model=False),
    Case(name="bag of two makes, truth a quarter", make=_bag(4.0), ratio=0.25, on_model=False),
    Case(
        name="drift, read over the whole of it, truth just above",
        make=_drift(0.0, 1.0),
        ratio=1.02,
        on_model=False,
    ),
    Case(
        name="drift, read over its better half only, truth just above",
        make=_drift(0.5, 1.0),
        ratio=1.02,
        on_model=False,
    ),
)


def exact_word(world: World, target: float, rng: Generator) -> str:
    """What the promise alone would say, without tolsim: the central interval of the rate over
    mean and spread that normal readings allow (prior 1/sd), against the target; over all lots
    where the readings name them."""
    x = world.readings
    n = len(x)
    s = x.std(ddof=1) * np.sqrt((n - 1) / rng.chisquare(n - 1, _SETS))
    mean = x.mean() + s / math.sqrt(n) * rng.standard_normal(_SETS)
    spread = np.sqrt(np.maximum(s**2 - world.gauge_sd**2, 0.0))
    if world.lot is not None:
        mean, spread = _over_lots(x, world.lot, rng)
    tail = 0.5 * (1.0 - CONFIDENCE)
    low, high = np.quantile(rate_of_units(mean, spread), [tail, 1.0 - tail])
    if high <= target:
        return "acceptable"
    return "not acceptable" if low > target else "not enough evidence"


def _over_lots(
    x: FloatArray, lots: tuple[str, ...], rng: Generator
) -> tuple[FloatArray, FloatArray]:
    """Mean and whole spread of lots as random effects, lots of one size."""
    groups = [x[np.array(lots) == k] for k in dict.fromkeys(lots)]
    a, size = len(groups), len(groups[0])
    means = np.array([g.mean() for g in groups])
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    within = squares / rng.chisquare(a * (size - 1), _SETS)
    of_means = (a - 1) * means.var(ddof=1) / rng.chisquare(a - 1, _SETS)
    mean = means.mean() + np.sqrt(of_means / a) * rng.standard_normal(_SETS)
    return mean, np.sqrt(np.maximum(of_means - within / size, 0.0) + within)
