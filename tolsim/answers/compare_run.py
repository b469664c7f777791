"""Everything drawn for a comparison: common units, common parameter sets, one judge a joint."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_clouds import Cloud
from tolsim.answers.compare_draws import Together, draw_together, tally_of
from tolsim.answers.compare_rule import CommonJudge
from tolsim.answers.compare_shares import EventShares
from tolsim.answers.left_open import OPEN_DRAWS, left_open, lots_left_open
from tolsim.answers.lots_taken import over_any_lot
from tolsim.answers.tally import EVENTS, Event, evidence_table
from tolsim.joint.assemble import assemble_each
from tolsim.joint.assumed import Assumptions
from tolsim.mechanics.assumptions import Assumed
from tolsim.spec.load import Study

__all__ = ["Run"]

FloatArray = NDArray[np.float64]


class Run:
    """Everything drawn for a comparison, and what was computed from it so far.

    `plain` counts only; `alone` leaves out what readings leave open. The parameter sets are common
    to all alternatives. `shape` is the same comparison with the shapes, and the spread between
    lots, that readings leave open beside those taken, `lots` that over any lot, where one lot is
    taken for all.
    """

    def __init__(
        self,
        studies: Mapping[str, Study],
        *,
        seed: int,
        draws: int,
        workers: int,
        plain: bool = False,
        events: Sequence[Event] = EVENTS,
        progress: Callable[[int, int], None] | None = None,
        alone: bool = False,
    ) -> None:
        self.studies = {name: over_any_lot(study) for name, study in studies.items()}
        self.seed, self.plain = seed, plain
        self.names = tuple(self.studies)
        # each asks for constants of its own
        own = [(study, Assumptions()) for study in self.studies.values()]
        self.joints = assemble_each(own)
        self.together: Together = draw_together(
            self.joints, seed=seed, n=draws, workers=workers, events=events, progress=progress
        )
        self.table = evidence_table(self.joints[0], seed)
        self.shape: Run | None = None
        self.lots: Run | None = None
        if not alone:
            beside = map(left_open, self.studies.values(), self.joints)
            lots = map(lots_left_open, self.studies.values())
            self.shape, self.lots = (
                self._again(list(found), draws, workers, events) for found in (beside, lots)
            )
        self._shares: dict[Event, EventShares] = {}
        self._clouds: dict[int, Cloud] = {}
        shared: dict[object, object] = {}
        self.judges = [
            CommonJudge(self, j, study, tally_of(self.together, j), shared)
            for j, study in enumerate(self.studies.values())
        ]

    @property
    def assumed(self) -> tuple[Assumed, ...]:
        """Constants with a range, or remembered, that any alternative asks for, each name once."""
        found: dict[str, Assumed] = {}
        for joint in self.joints:
            for constant in joint.assumed:
                found.setdefault(constant.name, constant)
        return tuple(found.values())

    def _again(
        self,
        found: Sequence[Study | None],
        draws: int,
        workers: int,
        events: Sequence[Event],
    ) -> Run | None:
        """The comparison once more, with what readings leave open; None where that is nothing."""
        if not any(found):
            return None
        pairs = zip(self.studies.items(), found, strict=True)
        return Run(
            {name: other or study for (name, study), other in pairs},
            seed=self.seed,
            draws=min(draws, OPEN_DRAWS),
            workers=workers,
            plain=self.plain,
            events=events,
            alone=True,
        )

    def shares(self, event: Event) -> EventShares:
        """Shares of all builds for one event."""
        if event not in self._shares:
            self._shares[event] = EventShares(
                self.together, event, self.table, rare=not self.plain, clouds=self._clouds
            )
        return self._shares[event]

    def resampled(self, event: Event, alternative: int) -> FloatArray:
        """Rate of one alternative, all supplies together, in every resampled draw, (m,)."""
        return self.shares(event).resampled() @ self.together.weights(alternative)
