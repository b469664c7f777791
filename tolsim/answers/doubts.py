"""What the readings themselves say against a normal process: a drift, two makes, a sorted lot."""

from __future__ import annotations

from dataclasses import dataclass

from tolsim.answers.readings_taken import SizeName, reading_steps
from tolsim.joint.model import Joint
from tolsim.process.detection import Finding, detect
from tolsim.spec.load import Study
from tolsim.spec.readings import Readings

__all__ = ["OF_LOTS", "Doubt", "doubts_of", "explains", "findings_of", "shapes_of", "unexplained"]

_AGAINST = ("mixture", "shape", "hollow middle", "sorted edge", "drift", "change")
#: Departures from the normal that a shape itself accounts for.
_EXPLAINED = {
    "skewed": {"shape", "sorted edge"},
    "bounded": {"shape", "sorted edge", "mixture"},
    "mixture": {"shape", "mixture", "hollow middle", "sorted edge"},
    "kernel": {"shape", "mixture", "hollow middle", "sorted edge"},
}

#: Departures that say that a lot holds two populations.
_OF_TWO = ("mixture", "hollow middle")

#: Departures that lots which differ show when they are taken together.
OF_LOTS = {"shape", "mixture", "hollow middle", "sorted edge"}


def explains(shape: str, kind: str) -> bool:
    """Whether a shape accounts for a departure from the normal.

    >>> explains("skewed", "shape"), explains("skewed", "drift")
    (True, False)
    """
    return kind in _EXPLAINED.get(shape, ())


@dataclass(frozen=True, kw_only=True, slots=True)
class Doubt:
    """Something in the readings of a part that a normal process would hardly show."""

    part: str
    key: str
    kind: str
    text: str


def doubts_of(study: Study) -> tuple[Doubt, ...]:
    """Everything seen in the readings of a study that speaks against a normal process."""
    out: dict[Doubt, None] = {}
    for stratum in study.strata:
        for key, readings in stratum.readings.items():
            name = stratum.names[key.partition(".")[0]]
            for f in findings_of(readings):
                if f.verdict == "seen" and f.kind in _AGAINST:
                    out[Doubt(part=name, key=key, kind=f.kind, text=f.text)] = None
    return tuple(out)


def shapes_of(joint: Joint) -> dict[SizeName, str]:
    """The shape that each measured size was taken to have."""
    return {
        (m.part_name, m.key): m.shape.name
        for build in joint.builds
        for m in build.measured
        if m.shape is not None
    }


def unexplained(study: Study, joint: Joint, *, next_lot: bool = False) -> tuple[Doubt, ...]:
    """What is seen in the readings and neither the shape taken accounts for nor lots that differ.

    `study` has the lots as random effects that are taken so. `next_lot`: two populations in one lot
    are not accounted for unless the part states them, since its next lot may be one of the two.
    """
    shapes, steps = shapes_of(joint), reading_steps(study)
    out = []
    for d in doubts_of(study):
        name = d.part, d.key
        apart = name in steps and steps[name].between_lots == "random"
        if apart and d.kind in OF_LOTS:
            continue  # lots that differ look like that when they are thrown together
        unstated = name in steps and steps[name].shape == "choose"
        open_lot = next_lot and unstated and d.kind in _OF_TWO
        if open_lot or not explains(shapes.get(name, "normal"), d.kind):
            out.append(d)
    return tuple(out)


def findings_of(readings: Readings) -> list[Finding]:
    """Findings of either seat by itself, the more telling one of each kind."""
    best: dict[str, Finding] = {}
    for values in readings.by_seat().values():
        if len(values) < 2:
            continue
        x = values
        ordered = readings.order is not None and readings.side is None
        if ordered and readings.order is not None:
            x = readings.deviation[list(readings.order)]
        for f in detect(x, ordered=ordered, step=readings.resolution_mm):
            known = best.get(f.kind)
            if known is None or _weight(f) > _weight(known):
                best[f.kind] = f
    return list(best.values())


def _weight(f: Finding) -> tuple[bool, bool, float]:
    return f.verdict == "seen", f.verdict == "cannot tell", f.ratio
