"""What an alternative saves and what it costs in claims: two lines that two budgets pay.

Prices are booked when a unit is built; claims come later and go to somebody else. Both are told,
and the share of failed units that must become a claim for the two to be equal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.chance.streams import generator
from tolsim.joint.model import Joint
from tolsim.spec.load import Study
from tolsim.spec.money import Costs
from tolsim.spec.parts import Sleeve

__all__ = [
    "ClaimDraws",
    "Forecast",
    "Line",
    "Money",
    "Outlay",
    "claim_draws",
    "forecast",
    "money",
    "outlay",
]

FloatArray = NDArray[np.float64]
#: Why no share of claims makes the two equal: nobody knows what one costs, or it pays whatever
#: the share, or never, or nothing differs.
NoEven = Literal["no price", "always", "never", "equal"]
#: Modes whose failures may become claims.
CLAIMED = ("creak", "tight")
_PER = 1000.0  # units that sums refer to where no yearly number is given


@dataclass(frozen=True, kw_only=True, slots=True)
class Outlay:
    """What one unit costs to build, in the study's currency; `unknown` names what has no price.

    Parts of one unit: two bearings, two sleeves or one in one piece, adhesive for two seats, one
    shell; `scrap` is what its gauges reject on the way. `amounts` says how many of each a unit
    takes on average over the supplies.
    """

    parts: float
    assembly: float
    scrap: float
    prices: Mapping[str, float | None]
    amounts: Mapping[str, float]
    unknown: tuple[str, ...]

    @property
    def total(self) -> float:
        """All three."""
        return self.parts + self.assembly + self.scrap


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """A sum of money with its interval."""

    value: float
    low: float
    high: float

    def holding(self, other: Line) -> Line:
        """The same with a band that holds that of another."""
        return replace(self, low=min(self.low, other.low), high=max(self.high, other.high))


@dataclass(frozen=True, kw_only=True, slots=True)
class Forecast:
    """Claims of one alternative over the units of `Money.units`: number and money, with bands.

    The bands hold what is not known of the rates and of the claims, and the chance of one year.
    """

    claims: Line
    cost: Line


@dataclass(frozen=True, kw_only=True, slots=True)
class Money:
    """One alternative against the reference, over `units` units.

    `saving` is what building costs less (negative: more), `claims` what claims cost more; `net`
    is saving less claims; `before_creak` is what is left before claims on creaking units.
    `break_even` is the share of creaking units that become claims at which nothing is left: below
    it an alternative pays that leaves something before them, above it one that creaks less; None
    for the reason `no_even`. `pays` is the probability that something is left; `priced` names the
    modes whose claims count.
    """

    units: float
    yearly: bool
    saving: float
    claims: Line
    net: Line
    break_even: Line | None
    pays: float
    before_creak: float
    no_even: NoEven | None
    priced: tuple[str, ...]

    def holding(self, other: Money) -> Money:
        """The same with bands that hold those of another, and the lesser probability to pay."""
        return replace(
            self,
            claims=self.claims.holding(other.claims),
            net=self.net.holding(other.net),
            break_even=(
                None
                if self.break_even is None
                else self.break_even.holding(other.break_even or self.break_even)
            ),
            pays=min(self.pays, other.pays),
        )


@dataclass(frozen=True, slots=True)
class ClaimDraws:
    """Share of failed units that become claims and cost of one, by mode: value and draws (m,)."""

    share: Mapping[str, tuple[float, FloatArray]]
    cost: Mapping[str, tuple[float, FloatArray]]

    @property
    def modes(self) -> tuple[str, ...]:
        """Modes whose claims have a price."""
        return tuple(self.cost)

    def per_failure(self, mode: str) -> tuple[float, FloatArray]:
        """What one failed unit costs in claims: value and draws (m,)."""
        (share, shares), (cost, costs) = self.share[mode], self.cost[mode]
        return share * cost, shares * costs


def outlay(study: Study, joint: Joint, costs: Costs) -> Outlay:
    """What a unit of a study costs to build, over its supplies.

    `costs` are those of the comparison, so that all alternatives are paid for alike. A rejected
    part is made again: of what a gauge passes, `share / (1 - share)` were lost.
    """
    parts = scrap = 0.0
    prices: dict[str, float | None] = {}
    amounts: dict[str, float] = {}
    for stratum in study.strata:
        for role, part in stratum.parts.items():
            number = 1.0 if role == "bore" else 2.0
            if isinstance(part, Sleeve) and part.pieces == 1:
                number = 1.0
            name = stratum.names[role]
            prices[name] = part.price_each
            amounts[name] = amounts.get(name, 0.0) + stratum.share * number
            parts += stratum.share * number * (part.price_each or 0.0)
        build = next(b for b in joint.builds if stratum.name in b.names)
        for _, gauge, share in build.scrap:
            number = 1.0 if gauge.endswith("(units)") else 2.0
            lost = number * share / max(1.0 - share, 1e-6)
            scrap += stratum.share * lost * (costs.scrap_cost or 0.0)
    kind = study.spec.joint.kind
    return Outlay(
        parts=parts,
        assembly=costs.assembly.get(kind, 0.0),
        scrap=scrap,
        prices=prices,
        amounts=amounts,
        unknown=tuple(n for n, p in prices.items() if p is None),
    )


def unknown_between(a: Outlay, b: Outlay, kinds: tuple[str, str], costs: Costs) -> tuple[str, ...]:
    """What has no price and does not cancel: the two would be compared without it."""
    names = [
        n
        for n in (*a.unknown, *b.unknown)
        if not math.isclose(a.amounts.get(n, 0.0), b.amounts.get(n, 0.0))
    ]
    out = dict.fromkeys(names)
    if kinds[0] != kinds[1]:
        out.update({f"assembly of a {k} joint": None for k in kinds if k not in costs.assembly})
    return tuple(out)


def claim_draws(costs: Costs | None, *, seed: int, n: int) -> ClaimDraws | None:
    """Claims as the study states them: each range a triangle about its value; None without any."""
    if costs is None:
        return None
    share: dict[str, tuple[float, FloatArray]] = {}
    cost: dict[str, tuple[float, FloatArray]] = {}
    for mode in CLAIMED:
        found = _triangle(
            getattr(costs, f"{mode}_claim_cost"),
            getattr(costs, f"{mode}_claim_cost_range"),
            seed,
            f"{mode} claim cost",
            n,
        )
        if found is None:
            continue
        cost[mode] = found
        shares = _triangle(
            getattr(costs, f"{mode}_claim_share"),
            getattr(costs, f"{mode}_claim_share_range"),
            seed,
            f"{mode} claim share",
            n,
        )
        # where nothing is said every failed unit comes back
        share[mode] = shares or (1.0, np.ones(n))
    return ClaimDraws(share, cost) if cost else None


def _triangle(
    value: float | None, ends: tuple[float, float] | None, seed: int, label: str, n: int
) -> tuple[float, FloatArray] | None:
    if ends is None:
        return None if value is None else (value, np.full(n, value))
    low, high = ends
    mode = 0.5 * (low + high) if value is None else value
    u = generator(seed, label).random(n)
    at = (mode - low) / (high - low)
    rising = low + np.sqrt(u * (high - low) * (mode - low))
    falling = high - np.sqrt((1.0 - u) * (high - low) * (high - mode))
    return mode, np.where(u < at, rising, falling)


def _line(value: float, draws: FloatArray, confidence: float) -> Line:
    tail = 0.5 * (1.0 - confidence)
    low, high = (float(q) for q in np.quantile(draws, [tail, 1.0 - tail]))
    return Line(value=value, low=min(low, value), high=max(high, value))


def units_of(costs: Costs) -> tuple[float, bool]:
    """Units that sums refer to, and whether they are those of a year."""
    return (costs.units_per_year, True) if costs.units_per_year else (_PER, False)


def money(
    costs: Costs,
    claims: ClaimDraws | None,
    saving_each: float,
    difference: Mapping[str, tuple[float, FloatArray]],
    *,
    confidence: float,
) -> Money:
    """Saving and extra claims of an alternative.

    Parameters
    ----------
    costs, claims : Costs, ClaimDraws or None
        What the study states.
    saving_each : float
        What a unit costs less to build than one of the reference.
    difference : mapping
        By mode: share of units that fail more often than in the reference, value and draws (m,).
    confidence : float
        Of the bands.
    """
    units, yearly = units_of(costs)
    value, draws = 0.0, np.zeros(1)
    other, other_draws = 0.0, np.zeros(1)
    for mode in claims.modes if claims else ():
        if mode not in difference:
            continue
        assert claims is not None
        each, each_draws = claims.per_failure(mode)
        d, d_draws = difference[mode]
        value += units * d * each
        draws = draws + units * d_draws * each_draws
        if mode != "creak":
            other += units * d * each
            other_draws = other_draws + units * d_draws * each_draws
    saving = units * saving_each
    net = saving - draws
    return Money(
        units=units,
        yearly=yearly,
        saving=saving,
        claims=_line(value, draws, confidence),
        net=_line(saving - value, net, confidence),
        break_even=_break_even(
            claims, difference, saving - other, saving - other_draws, units, confidence
        ),
        pays=float(np.mean(net > 0.0) + 0.5 * np.mean(net == 0.0)),
        before_creak=saving - other,
        no_even=_no_even(claims, difference, saving - other),
        priced=() if claims is None else claims.modes,
    )


def _no_even(
    claims: ClaimDraws | None,
    difference: Mapping[str, tuple[float, FloatArray]],
    left: float,
) -> NoEven | None:
    """Why there is no share at which claims and saving are equal; None where there is one."""
    if claims is None or "creak" not in difference or claims.cost.get("creak", (0.0,))[0] <= 0.0:
        return "no price"
    d = difference["creak"][0]
    if left * d > 0.0:
        return None
    if left == 0.0 == d:
        return "equal"
    return "always" if left >= 0.0 and d <= 0.0 else "never"


def _break_even(
    claims: ClaimDraws | None,
    difference: Mapping[str, tuple[float, FloatArray]],
    left: float,
    left_draws: FloatArray,
    units: float,
    confidence: float,
) -> Line | None:
    """Share of creaking units at which claims and saving are equal."""
    if claims is None or _no_even(claims, difference, left) is not None:
        return None
    cost, costs = claims.cost["creak"]
    d, d_draws = difference["creak"]
    # where the claims go the other way no share makes them equal
    against = np.maximum(math.copysign(1.0, d) * d_draws, 1e-12)
    at = math.copysign(1.0, d) * left_draws / (units * costs * against)
    found = _line(left / (units * d * cost), np.clip(at, 0.0, 1e3), confidence)
    return Line(value=found.value, low=max(0.0, found.low), high=found.high)


def forecast(
    costs: Costs,
    claims: ClaimDraws,
    rates: Mapping[str, tuple[float, FloatArray]],
    *,
    seed: int,
    confidence: float,
) -> Forecast:
    """Claims to expect from one alternative, with the band of a single year.

    `rates` gives by mode the share of units that fail, value and draws (m,).
    """
    units, _ = units_of(costs)
    rng = generator(seed, "claims of one year")
    number = cost = 0.0
    numbers, sums = np.zeros(1), np.zeros(1)
    for mode in claims.modes:
        if mode not in rates:
            continue
        rate, rate_draws = rates[mode]
        (share, shares), (each, eaches) = claims.share[mode], claims.cost[mode]
        number += units * rate * share
        cost += units * rate * share * each
        drawn = rng.poisson(np.minimum(units * rate_draws * shares, 1e15)).astype(np.float64)
        numbers, sums = numbers + drawn, sums + drawn * eaches
    return Forecast(claims=_line(number, numbers, confidence), cost=_line(cost, sums, confidence))


def worth_of_knowing(net: FloatArray, decided: FloatArray) -> float:
    """Expected gain from deciding by `decided` (net expected after measuring) instead of now.

    >>> worth_of_knowing(np.array([-4.0, 2.0]), np.array([-4.0, 2.0]))
    1.0
    """
    now = max(0.0, float(net.mean()))
    return max(0.0, float(np.maximum(decided, 0.0).mean()) - now)
