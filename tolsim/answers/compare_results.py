"""What a comparison holds, as frozen records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tolsim.answers.compare_bag import NextLot
from tolsim.answers.doubts import Doubt
from tolsim.answers.money import Forecast, Money, Outlay
from tolsim.answers.provable import Provable
from tolsim.answers.results import CauseResult, ModeResult
from tolsim.intervals import Interval
from tolsim.mechanics.assumptions import Assumed
from tolsim.spec.load import Study

if TYPE_CHECKING:
    from tolsim.answers.compare_concepts import WholeRange
    from tolsim.answers.compare_condition import Condition
    from tolsim.answers.compare_demand import Demand
    from tolsim.answers.compare_single import Singles
    from tolsim.answers.evidence_plan import EvidencePlan

__all__ = [
    "VERDICTS",
    "AlternativeResult",
    "Comparison",
    "DifferenceResult",
    "Reason",
    "SupplyRates",
    "overall",
]

#: Words of the rule, the strongest first: one that fails beats one that is open.
VERDICTS = ("not acceptable", "not enough evidence", "acceptable")


@dataclass(frozen=True, kw_only=True, slots=True)
class Reason:
    """One thing that was asked of an alternative, and the answer.

    `what` is a mode with a target, "money", or "not worse" where neither is stated. `but_for`
    names what keeps it open although the rates themselves decide.
    """

    what: str
    verdict: str
    but_for: tuple[str, ...] = ()


def overall(reasons: tuple[Reason, ...]) -> str:
    """The verdict of all reasons together: acceptable where none speaks against it.

    >>> overall((Reason(what="creak", verdict="acceptable"),))
    'acceptable'
    """
    given = {r.verdict for r in reasons}
    return next((word for word in VERDICTS if word in given), "acceptable")


@dataclass(frozen=True, kw_only=True, slots=True)
class DifferenceResult:
    """How much more often an alternative fails than the reference, on common draws.

    `simulation` is the error of the draws alone; `low`, `high` hold what the readings leave open
    as well. `same` where both are the same function of the draws.
    """

    value: float
    low: float
    high: float
    simulation: Interval
    same: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyRates:
    """One supply of an alternative alone: its rates, and each against the reference's."""

    name: str
    share: float
    parts: Mapping[str, str]
    modes: dict[str, ModeResult]
    differences: dict[str, DifferenceResult]
    causes: tuple[CauseResult, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class AlternativeResult:
    """One alternative: rates of all units, of each supply and seat, verdict and money."""

    name: str
    study: Study
    changes: tuple[str, ...]
    modes: dict[str, ModeResult | None]
    differences: dict[str, DifferenceResult]
    supply: tuple[SupplyRates, ...]
    #: By mode the rate of either seat, counted: error of the draws alone.
    seats: tuple[dict[str, Interval], dict[str, Interval]]
    causes: tuple[CauseResult, ...]
    reasons: tuple[Reason, ...]
    outlay: Outlay
    money: Money | None
    money_unknown: tuple[str, ...]
    forecast: Forecast | None
    #: Place in the ranking, from 1, and the probability of being the best.
    rank: int
    best: float
    #: The same with remembered constants held at their own values.
    best_without_ranges: float
    #: Names of alternatives that are the same function of the draws.
    same_as: tuple[str, ...]
    could_turn: tuple[str, ...]
    #: What the readings show against a normal process.
    doubts: tuple[Doubt, ...]
    warnings: tuple[str, ...]
    #: Measured sizes whose parts are too few to prove the smallest target without a shape.
    provable: tuple[Provable, ...] = ()
    plan: EvidencePlan | None = None
    conditions: tuple[Condition, ...] = ()
    next_lots: tuple[NextLot, ...] = ()
    whole: tuple[WholeRange, ...] = ()
    demand: Demand | None = None

    @property
    def verdict(self) -> str | None:
        """The rule's word; None where nothing was asked."""
        return overall(self.reasons) if self.reasons else None

    @property
    def worst(self) -> SupplyRates | None:
        """The supply with the largest rate of creak, else of anything; None where there is one."""
        if len(self.supply) < 2:
            return None

        def rate(s: SupplyRates) -> float:
            if "creak" in s.modes:
                return s.modes["creak"].share
            return max((m.share for m in s.modes.values()), default=0.0)

        return max(self.supply, key=rate)


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """The answer to `compare`; the first alternative is the reference."""

    title: str
    seed: int
    draws: int
    confidence: float
    currency: str
    #: Whether sums are those of a year; else of a thousand units.
    yearly: bool
    alternatives: tuple[AlternativeResult, ...]
    #: What the ranking goes by: "cost" of building and claims, or "failing" units at any limit.
    ranked_by: str
    #: Whether only what keeps the targets can be best, and how probable it is that nothing does.
    within_targets: bool
    none_best: float
    #: Single measurements by how much they would tell about which is best.
    singles: Singles
    #: Whether the first is only what the others are measured against, not itself a choice.
    has_reference: bool
    assumed: tuple[Assumed, ...]
    warnings: tuple[str, ...]

    @property
    def choices(self) -> tuple[AlternativeResult, ...]:
        """The alternatives that are to be judged."""
        return self.alternatives[1:] if self.has_reference else self.alternatives

    @property
    def verdict(self) -> str | None:
        """Acceptable where one choice is; not where none can be; else not enough evidence.

        None where nothing was asked of any.
        """
        words = {a.verdict for a in self.choices} - {None}
        if "acceptable" in words or not words:
            return "acceptable" if words else None
        return "not acceptable" if words == {"not acceptable"} else "not enough evidence"
