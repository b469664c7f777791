"""Remembered constants over their ranges: what they do to every alternative on common draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import ANY, draw_together
from tolsim.answers.compare_shares import RESAMPLED
from tolsim.answers.results import ModeResult, verdict_of
from tolsim.answers.tally import Event
from tolsim.chance.streams import generator
from tolsim.joint.assemble import assemble_together
from tolsim.joint.assumed import Assumptions
from tolsim.mechanics.assumptions import Assumed

if TYPE_CHECKING:
    from tolsim.answers.compare import Run

__all__ = ["Ranges", "ranges_of"]

FloatArray = NDArray[np.float64]
_DRAWS = 2**16
_MODES = ("loose", "tight", "misaligned", "bond", "creak")
EVENTS: tuple[Event, ...] = (*((m, 0) for m in _MODES), ANY)


@dataclass(frozen=True, slots=True)
class Ranges:
    """Logarithm of each rate's ratio with one constant at the low and high end of its range.

    `ends[event]` has shape (constants, 2, alternatives); `at` (m, constants) are draws of the
    constants, -1 at the low end, 0 at the value, 1 at the high end.
    """

    constants: tuple[Assumed, ...]
    ends: Mapping[Event, FloatArray]
    at: FloatArray

    def factor(self, event: Event, alternative: int, ranged: bool = True) -> FloatArray:
        """What the constants do to a rate in every draw, (m,): straight on the logarithm."""
        if not ranged or not self.constants or event not in self.ends:
            return np.ones(RESAMPLED)
        low, high = self.ends[event][:, 0, alternative], self.ends[event][:, 1, alternative]
        effect = np.maximum(-self.at, 0.0) @ low + np.maximum(self.at, 0.0) @ high
        return np.asarray(np.exp(effect))

    def turning(self, alternative: int, modes: Mapping[str, ModeResult | None]) -> tuple[str, ...]:
        """Constants that could turn a verdict of this alternative within their ranges."""
        out: dict[str, None] = {}
        for name, m in modes.items():
            if m is None or m.target is None or not self.constants:
                continue
            for constant, ends in zip(self.constants, self.ends[name, 0], strict=True):
                for ratio in np.exp(ends[:, alternative]):
                    moved = verdict_of(m.low * ratio, min(1.0, m.high * ratio), m.target)
                    if moved != m.verdict:
                        out[constant.name] = None
        return tuple(out)


def ranges_of(run: Run) -> Ranges:
    """Count 65 536 common units with each constant at either end, beside the constant's value."""
    constants = tuple(a for a in run.joints[0].assumed if a.low < a.high)
    events = [e for e in EVENTS if e in run.together.patterns]
    if not constants:
        return Ranges((), {}, np.zeros((RESAMPLED, 0)))
    base = _rates(run, {}, events)
    ends = {e: np.zeros((len(constants), 2, len(run.names))) for e in events}
    for c, constant in enumerate(constants):
        for k, value in enumerate((constant.low, constant.high)):
            if value == constant.value:
                continue
            moved = _rates(run, {constant.name: value}, events)
            for e in events:
                ends[e][c, k] = np.log((moved[e] + 1.0) / (base[e] + 1.0))
    return Ranges(constants, ends, _draws(constants, run.seed))


def _rates(
    run: Run, overrides: Mapping[str, float], events: list[Event]
) -> dict[Event, FloatArray]:
    joints = assemble_together(list(run.studies.values()), Assumptions(overrides))
    found = draw_together(
        joints,
        seed=run.seed,
        n=_DRAWS,
        workers=1,
        events=[e for e in events if e != ANY],
        keep=False,
    )
    out = {}
    for e in events:
        p = found.patterns[e]
        per_build = p.counts @ p.bits if len(p.counts) else np.zeros(len(found.builds))
        out[e] = np.array([per_build @ found.weights(j) for j in range(len(joints))])
    return out


def _draws(constants: tuple[Assumed, ...], seed: int) -> FloatArray:
    """Places of the constants within their ranges: triangular about their values."""
    out = np.empty((RESAMPLED, len(constants)))
    for c, a in enumerate(constants):
        u = generator(seed, f"constant {a.name}").random(RESAMPLED)
        below = (a.value - a.low) / (a.high - a.low)
        with np.errstate(divide="ignore", invalid="ignore"):
            left = np.sqrt(u / below) - 1.0 if below > 0.0 else np.zeros_like(u)
            right = 1.0 - np.sqrt((1.0 - u) / (1.0 - below)) if below < 1.0 else np.zeros_like(u)
        out[:, c] = np.where(u < below, left, right)
    return out
