"""What a design holds: bands, what they promise and cost, and why none would do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tolsim.answers.allocation import Allocation
from tolsim.answers.costs import Costing
from tolsim.answers.region import Region
from tolsim.answers.results import ModeResult
from tolsim.spec.load import Study

__all__ = [
    "BandResult",
    "Choice",
    "ClassResult",
    "Constraint",
    "CurvePoint",
    "Design",
    "Remedy",
    "Unreachable",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class BandResult:
    """One band as it goes on the drawing, deviations from nominal [mm] (or a zone [mm, rad]).

    `low` and `high` are None for a zone; `word` is the class and `process` the way of making that
    were chosen; `scrap` is the share of parts that a sorting band rejects.
    """

    path: str
    nominal: float | None
    low: float | None
    high: float | None
    width: float
    unit: str
    scale: float
    follows: str
    capability: float
    basis: str | None
    cost: float
    scrap: float | None
    state: str
    word: str | None = None
    process: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ClassResult:
    """A class of ISO 286-2 near a band, the other bands as found: its own rates and cost."""

    path: str
    designation: str
    low: float
    high: float
    modes: dict[str, ModeResult]
    cost: float

    @property
    def verdict(self) -> str:
        """Of all targets together."""
        given = [m.verdict for m in self.modes.values()]
        return next((w for w in ("missed", "undecided") if w in given), "met")


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """A combination of what is no number, and what came of it.

    `status` is "met" (the cheapest bands found cost `cost`), "out of reach", or "dearer": it was
    not searched to its end, because `cost` and more is above two others.
    """

    label: Mapping[str, str]
    cost: float
    status: Literal["met", "out of reach", "dearer"]
    bands: tuple[BandResult, ...] = ()

    @property
    def name(self) -> str:
        """What was chosen, in one line."""
        return " + ".join(self.label.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class Constraint:
    """What one constraint costs: `change` in words, and what it would save a unit."""

    kind: Literal["target", "range"]
    name: str
    change: str
    saved: float


@dataclass(frozen=True, kw_only=True, slots=True)
class CurvePoint:
    """Least cost a unit under another target; None where nothing meets it."""

    target: float
    cost: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Unreachable:
    """A target in the way, and the best attainable share.

    `best` is the smallest share with the other targets held; with `alone` it is above the target
    even where the others are let go. `cause` names the limit that most of the failures hit.
    """

    mode: str
    target: float
    best: float
    alone: bool
    cause: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Remedy:
    """A change that would make the targets attainable, and by how much.

    `factor` multiplies what `what` names; `before` and `after` are its value where it has one.
    With `enough` False not even `factor` would do.
    """

    kind: Literal["capability", "spread", "middle"]
    what: str
    factor: float
    before: float | None
    after: float | None
    unit: str
    enough: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Design:
    """The answer to `design`; `variant` is the study with its bands set."""

    study: Study
    seed: int
    met: bool
    targets: dict[str, float]
    currency: str
    label: Mapping[str, str]
    bands: tuple[BandResult, ...]
    cost: float | None
    costing: Costing | None
    modes: dict[str, ModeResult]
    draws: int
    verified_seed: int | None
    choices: tuple[Choice, ...]
    warnings: tuple[str, ...]
    variant: Study | None
    evaluations: float
    curve_mode: str | None = None
    classes: tuple[ClassResult, ...] = ()
    constraints: tuple[Constraint, ...] = ()
    curve: tuple[CurvePoint, ...] = ()
    allocations: tuple[Allocation, ...] = ()
    region: Region | None = None
    unreachable: tuple[Unreachable, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    attainable: dict[str, float] | None = None

    @property
    def undecided(self) -> bool:
        """Whether rates come within their targets, but what readings leave open does not."""
        if self.met or self.unreachable or self.attainable is None:
            return False
        within = all(self.attainable.get(m, 0.0) <= t for m, t in self.targets.items())
        return within and any(s.readings for s in self.study.strata)

    @property
    def runner_up(self) -> Choice | None:
        """The cheapest combination that meets the targets beside the chosen one."""
        good = (c for c in self.choices if c.status == "met" and c.label != self.label)
        return next(good, None) if self.met else None
