"""The smallest share of failures that so few parts could prove by themselves, whatever their shape.

Rates far below it rest on the shape of the distribution: no sample of that size shows its tail.
"""

from __future__ import annotations

from dataclasses import dataclass

from tolsim.answers.readings_taken import reading_steps
from tolsim.process.tolerance import provable_share
from tolsim.spec.load import Study

__all__ = ["Provable", "provable"]

_MODES = ("loose", "tight", "misaligned", "bond", "creak")


@dataclass(frozen=True, kw_only=True, slots=True)
class Provable:
    """One measured size: parts of the seat with fewest, the share that they could prove, and the
    smallest target of the study, which lies below it."""

    part: str
    key: str
    parts: int
    share: float
    target: float


def provable(study: Study) -> tuple[Provable, ...]:
    """Measured sizes whose parts are too few to prove the smallest target without a shape."""
    targets = [t for m in _MODES if (t := getattr(study.spec.targets, m)) is not None]
    if not targets:
        return ()
    known = reading_steps(study)
    out: dict[tuple[str, str], Provable] = {}
    for stratum in study.strata:
        for key, readings in stratum.readings.items():
            name = stratum.names[key.partition(".")[0]], key
            parts = min(len(v) for v in readings.by_seat().values())
            share = provable_share(parts, confidence=study.spec.targets.confidence)
            if name in known and min(targets) < share:
                out[name] = Provable(
                    part=name[0], key=key, parts=parts, share=share, target=min(targets)
                )
    return tuple(out.values())
