"""Remembered constants over their ranges: what they do to every alternative on common draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_draws import ANY
from tolsim.answers.compare_failures import failures
from tolsim.answers.compare_shares import RESAMPLED
from tolsim.answers.results import ModeResult, verdict_of
from tolsim.answers.tally import Event
from tolsim.chance.streams import generator
from tolsim.joint.assemble import assemble_each
from tolsim.joint.assumed import Assumptions
from tolsim.mechanics.assumptions import Assumed

if TYPE_CHECKING:
    from tolsim.answers.compare_run import Run

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
    """Count 65 536 common units with each constant at either end, beside the constant's value.

    An end is counted for those alternatives only that ask for the constant.
    """
    studies = list(run.studies.values())
    # an alternative may state a constant that others remember: each has its own range
    asked = [{a.name: a for a in j.assumed if a.low < a.high} for j in run.joints]
    constants = {a.name: a for known in reversed(asked) for a in known.values()}
    names = [a.name for a in run.assumed if a.name in constants]
    events = [e for e in EVENTS if e in run.together.patterns]
    if not names:
        return Ranges((), {}, np.zeros((RESAMPLED, 0)))
    moved = [
        (j, c, k, {name: value})
        for j, known in enumerate(asked)
        for c, name in enumerate(names)
        if name in known
        for k, value in enumerate((known[name].low, known[name].high))
        if value != known[name].value
    ]
    variants = [(s, Assumptions()) for s in studies]
    variants += [(studies[j], Assumptions(other)) for j, _, _, other in moved]
    counts = failures(assemble_each(variants, tell=False), seed=run.seed, n=_DRAWS, events=events)
    ends = {e: np.zeros((len(names), 2, len(studies))) for e in events}
    for e in events:
        base, others = counts[e][: len(studies)], counts[e][len(studies) :]
        for (j, c, k, _), count in zip(moved, others.tolist(), strict=True):
            ends[e][c, k, j] = np.log((count + 1.0) / (base[j] + 1.0))
    told = tuple(constants[n] for n in names)
    return Ranges(told, ends, _draws(told, run.seed))


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
