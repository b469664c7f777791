"""What a joint is to the answers: named margins of every build, over shared rows of normals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tolsim.joint.loads import StrokeLoads
from tolsim.joint.measured import Measured
from tolsim.joint.population import Population
from tolsim.mechanics.assumptions import Assumed
from tolsim.record import Recording

__all__ = ["MODES", "Build", "Interference", "Joint", "Margin"]

#: Ways to fail, in the order in which they are told.
MODES = ("loose", "tight", "misaligned", "bond")


@dataclass(frozen=True, kw_only=True, slots=True)
class Margin:
    """One failure cause: a signed distance to a limit, negative = failed.

    `seats` names the seats that it counts for, (1, 2) for what the unit has as a whole;
    `temperature` [°C] is None where the cause does not depend on it; `unit` and `scale` turn the
    margin into a number for people; `bound` is the largest value allowed where the margin is that
    minus the value.
    """

    cause: str
    mode: str
    seats: tuple[int, ...]
    temperature: float | None
    limit: str
    unit: str
    scale: float
    bound: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Interference:
    """What is known of the interference of one seat without drawing, at 20 °C [mm].

    `worst` and `root_sum_square` come from the drawing limits; None where a part has none.
    """

    seat: int
    worst: tuple[float, float] | None
    root_sum_square: tuple[float, float] | None
    why: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Build:
    """One combination of parts: rows of the recording that hold its margins and quantities."""

    key: str
    names: tuple[str, ...]
    share: float
    parts: Mapping[str, str]
    margins: tuple[Margin, ...]
    first: int
    interference: tuple[int, int]
    known: tuple[Interference, Interference]
    measured: tuple[Measured, ...]
    gauged: tuple[tuple[int, int], ...]
    populations: tuple[Population, ...]
    #: Share that each gauge of a route rejects, by feature and gauge.
    scrap: tuple[tuple[str, str, float], ...]
    warnings: tuple[str, ...]
    #: What statics makes of pedal and chain, where the study states them.
    strokes: StrokeLoads | None = None
    #: Outputs of every contributor at seats 1 and 2, by path; empty unless asked for.
    values: Mapping[str, tuple[tuple[int, ...], tuple[int, ...]]] = field(default_factory=dict)

    @property
    def rows(self) -> range:
        """Outputs of the recording that are this build's margins."""
        return range(self.first, self.first + len(self.margins))

    def rows_of(self, mode: str, seat: int | None = None) -> list[int]:
        """Outputs whose failure is this mode, at one seat or anywhere in the unit."""
        return [
            self.first + i
            for i, m in enumerate(self.margins)
            if m.mode == mode and (seat is None or seat in m.seats)
        ]


@dataclass(frozen=True, kw_only=True, slots=True)
class Joint:
    """A study made runnable.

    `latent` names the d rows of standard normals, `evidence` those that stand for what the
    readings leave open. `recording` maps (d, n) to the margins and quantities of all builds.
    """

    latent: tuple[str, ...]
    evidence: tuple[int, ...]
    recording: Recording
    builds: tuple[Build, ...]
    seat_names: tuple[str, str]
    #: Constants that the margins depend on, remembered or known within a range only.
    assumed: tuple[Assumed, ...]
    #: Constants that the margins depend on and that the study or a part states.
    stated: tuple[Assumed, ...]
    warnings: tuple[str, ...]
