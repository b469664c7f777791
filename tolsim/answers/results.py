"""What a prediction holds: shares with every uncertainty told apart, as frozen records."""

from __future__ import annotations

from dataclasses import dataclass, field

from tolsim.answers.lots_taken import LotsTaken
from tolsim.answers.provable import Provable
from tolsim.answers.shape_results import ShapeResult
from tolsim.answers.tally import Tally
from tolsim.joint.loads import StrokeLoads
from tolsim.joint.model import Interference, Joint, Margin
from tolsim.joint.population import Population
from tolsim.mechanics.assumptions import Assumed
from tolsim.spec.load import Study

__all__ = [
    "CauseResult",
    "InterferenceRange",
    "ModeResult",
    "Pictures",
    "Prediction",
    "ScrapResult",
    "SeatResult",
    "SupplyResult",
    "verdict_of",
]

Ends = tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class ModeResult:
    """Share of units (or of one seat's units) that fail in one way; fractions, never percent.

    `low`, `high` hold every uncertainty and decide the verdict; `simulation` shrinks with more
    draws, `sample` only with more measured parts. `left_open` is the range where parts have the
    shape that their readings leave open beside the one taken, and where the spread between lots
    that are random effects stays at its estimate; None where there is neither. `method`
    and `draws` name how the share was found, `reason` why not by counting; `unseen` bounds what a
    rare-event method cannot see.
    """

    share: float
    low: float
    high: float
    confidence: float
    target: float | None
    verdict: str | None
    simulation: Ends
    sample: Ends | None
    why: str | None
    method: str
    draws: int
    reason: str | None = None
    unseen: float | None = None
    left_open: Ends | None = None
    #: Whether the lots measured would decide, but lots that nobody has measured keep it open.
    open_by_lots: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class InterferenceRange:
    """Effective interference of one seat of one build at 20 °C [mm]."""

    build: str
    share: float
    known: Interference
    mean: float
    sd: float
    central: Ends
    resolution: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SeatResult:
    """One seat: shares over all supplies, interference of each build."""

    seat: int
    name: str
    modes: dict[str, ModeResult]
    interference: tuple[InterferenceRange, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class CauseResult:
    """Share of units that fail at one limit, over all supplies."""

    margin: Margin
    share: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyResult:
    """One supply: its share of the units, and its own rates."""

    name: str
    share: float
    parts: dict[str, str]
    modes: dict[str, ModeResult]
    causes: tuple[CauseResult, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class ScrapResult:
    """Share of the parts of one feature that a gauge rejects; exact, not drawn."""

    build: str
    feature: str
    gauge: str
    share: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Pictures:
    """Counts that only the figures show."""

    joint: Joint
    counted: Tally


@dataclass(frozen=True, kw_only=True, slots=True)
class Prediction:
    """The answer to `predict`, with everything that a page needs."""

    study: Study
    seed: int
    draws: int
    modes: dict[str, ModeResult | None]
    seats: tuple[SeatResult, SeatResult]
    causes: tuple[CauseResult, ...]
    supply: tuple[SupplyResult, ...]
    populations: tuple[tuple[str, Population], ...]
    scrap: tuple[ScrapResult, ...]
    pictures: Pictures | None
    #: Remembered constants that the answer depends on, and the verdicts each could turn.
    assumed: tuple[Assumed, ...]
    turning: dict[str, tuple[str, ...]]
    #: Constants that the answer depends on and that the study or a part states.
    stated: tuple[Assumed, ...]
    warnings: tuple[str, ...]
    #: The shape that each measured size was taken to have.
    shapes: tuple[ShapeResult, ...] = ()
    #: How the lots of each measured size were taken.
    lots: tuple[LotsTaken, ...] = ()
    #: Modes with targets over all lots, where some that do not differ were taken as one.
    next_lot: dict[str, ModeResult] = field(default_factory=dict)
    #: Measured sizes whose parts are too few to prove the smallest target without a shape.
    provable: tuple[Provable, ...] = ()
    #: What statics makes of pedal and chain, by build.
    loads: tuple[tuple[str, StrokeLoads], ...] = ()

    @property
    def verdict(self) -> str | None:
        """Of all targets together: missed beats undecided beats met; None without targets."""
        given = [m.verdict for m in self.modes.values() if m is not None and m.verdict]
        for word in ("missed", "undecided", "met"):
            if word in given:
                return word
        return None


def verdict_of(low: float, high: float, target: float | None) -> str | None:
    """Met when the upper end is at or below the target, missed when the lower end is above it.

    >>> verdict_of(0.001, 0.002, 0.002), verdict_of(0.001, 0.003, 0.002)
    ('met', 'undecided')
    """
    if target is None:
        return None
    if high <= target:
        return "met"
    return "missed" if low > target else "undecided"
