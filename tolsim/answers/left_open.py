"""What readings leave open beside the way they are taken: the shape of their parts, their lots.

Normal parts are taken as long as the readings do not refuse them, which twelve parts hardly ever
do. Skewed parts, as skewed as so few readings allow, are then not refused either: every rate is
counted a second time with them, and its interval holds both. So it is with the spread between lots
that differ, held at its estimate: with few of them the draws put far means beside large spreads
only. Lots that do not differ are taken as one, though few lots say little of the next: what is
decided must hold over any lot as well.
"""

from __future__ import annotations

from dataclasses import replace

from tolsim.answers.judge import Clock, Judge
from tolsim.answers.lots_taken import lots_taken, with_any_lot
from tolsim.answers.readings_taken import (
    SizeName,
    lot_spread_held,
    reading_steps,
    taken_otherwise,
)
from tolsim.answers.results import ModeResult
from tolsim.answers.tally import tally
from tolsim.joint.assemble import assemble
from tolsim.joint.assumed import Assumptions
from tolsim.joint.model import MODES, Joint
from tolsim.spec.load import Study

__all__ = [
    "OPEN_DRAWS",
    "judge_left_open",
    "kept_open",
    "left_open",
    "lots_left_open",
    "next_lot",
    "open_lots",
    "open_shapes",
]

#: Units that what is left open is counted on: its interval is that of few parts anyway.
OPEN_DRAWS = 2**17


def open_shapes(study: Study, joint: Joint) -> dict[SizeName, str]:
    """Measured sizes whose readings leave another shape open than the one taken, and that shape.

    A shape that the part states is not doubted; a gauge after the readings, and lots as random
    effects, are worked for normal parts only.
    """
    steps = reading_steps(study)
    out = {}
    for build in joint.builds:
        for m in build.measured:
            name = m.part_name, m.key
            if m.shape is None or m.shape.left_open is None or name not in steps:
                continue
            if m.shape.alone or steps[name].between_lots == "random":
                continue
            out[name] = m.shape.left_open
    return out


def open_lots(study: Study) -> set[SizeName]:
    """Measured sizes whose lots are taken as one though their next lot may be another.

    Where the part states how its lots are to be taken nothing is left open; a shape that it states
    is worked for one lot only.
    """
    steps = reading_steps(study)
    return {
        (x.part, x.key)
        for x in lots_taken(study)
        if not x.random and not x.stated and steps[x.part, x.key].shape in ("choose", "normal")
    }


def left_open(study: Study, joint: Joint) -> Study | None:
    """The study with every shape that readings leave open, and with the spread between lots held
    where lots are random effects; None where there is neither."""
    shapes = open_shapes(study, joint)
    lots = {name for name, step in reading_steps(study).items() if step.between_lots == "random"}
    for shape in dict.fromkeys(shapes.values()):
        sizes = [name for name, found in shapes.items() if found == shape]
        study = taken_otherwise(study, sizes, shape=shape)
    return lot_spread_held(study, lots) if shapes or lots else None


def lots_left_open(study: Study) -> Study | None:
    """The study over any lot of what was taken as one; None where nothing is left open."""
    sizes = open_lots(study)
    return with_any_lot(study, sizes) if sizes else None


def judge_left_open(
    study: Study,
    joint: Joint,
    *,
    seed: int,
    draws: int,
    workers: int,
    plain: bool = False,
    clock: Clock | None = None,
    assumptions: Assumptions | None = None,
) -> Judge | None:
    """The judge of the same study with what readings leave open; None where that is nothing.

    `joint` is that of the study, `draws` what it was counted on; at most `OPEN_DRAWS` are drawn.
    """
    other = left_open(study, joint)
    if other is None:
        return None
    again = assemble(other, assumptions)
    counted = tally(again, seed=seed, n=min(draws, OPEN_DRAWS), workers=workers, ranges=False)
    return Judge(other, again, counted, seed, plain=plain, clock=clock)


def next_lot(study: Study, *, seed: int, draws: int, workers: int) -> dict[str, ModeResult]:
    """Modes with targets where lots that were taken as one are random effects after all."""
    later = lots_left_open(study)
    if later is None:
        return {}
    over = assemble(later)
    counted = tally(over, seed=seed, n=min(draws, OPEN_DRAWS), workers=workers, ranges=False)
    judge = Judge(later, over, counted, seed, plain=True)
    everything = [(i, b.share) for i, b in enumerate(over.builds)]
    found = {
        mode: judge.mode((mode, 0), everything, target=True)
        for mode in (*MODES, "creak")
        if any(b.rows_of(mode) for b in over.builds) or mode == "creak"
    }
    return {mode: m for mode, m in found.items() if m.target is not None}


def kept_open(found: ModeResult, later: ModeResult | None) -> ModeResult:
    """A rate whose verdict is open where lots that nobody has measured may not keep it."""
    if later is None or later.verdict == found.verdict:
        return found
    return replace(found, verdict="undecided", open_by_lots=found.verdict != "undecided")
