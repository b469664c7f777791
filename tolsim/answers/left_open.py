"""Rates where the parts have the shape that their readings leave open beside the one taken.

Normal parts are taken as long as the readings do not refuse them, which twelve parts hardly ever
do. Skewed parts, as skewed as so few readings allow, are then not refused either: every rate is
counted a second time with them, and its interval holds both.
"""

from __future__ import annotations

from collections.abc import Mapping

from tolsim.answers.judge import Clock, Judge
from tolsim.answers.readings_taken import SizeName, reading_steps, taken_otherwise
from tolsim.answers.tally import tally
from tolsim.joint.assemble import assemble
from tolsim.joint.assumed import Assumptions
from tolsim.joint.model import Joint
from tolsim.spec.load import Study

__all__ = ["OPEN_DRAWS", "open_shapes", "shape_left_open", "with_shapes"]

#: Units that the shape left open is counted on: its interval is that of few parts anyway.
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


def with_shapes(study: Study, shapes: Mapping[SizeName, str]) -> Study:
    """The study with the readings of these sizes taken to have these shapes."""
    for shape in dict.fromkeys(shapes.values()):
        sizes = [name for name, found in shapes.items() if found == shape]
        study = taken_otherwise(study, sizes, shape=shape)
    return study


def shape_left_open(
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
    """The judge of the same study with every shape that readings leave open; None without any.

    `joint` is that of the study, `draws` what it was counted on; at most `OPEN_DRAWS` are drawn.
    """
    shapes = open_shapes(study, joint)
    if not shapes:
        return None
    other = with_shapes(study, shapes)
    again = assemble(other, assumptions)
    counted = tally(again, seed=seed, n=min(draws, OPEN_DRAWS), workers=workers, ranges=False)
    return Judge(other, again, counted, seed, plain=plain, clock=clock)
