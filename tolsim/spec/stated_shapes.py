"""What a route says of the shape or the lots of its readings, held against the readings."""

from __future__ import annotations

from collections.abc import Sequence

from tolsim.errors import Problem
from tolsim.spec.readings import Readings
from tolsim.spec.route_steps import NEEDED, Gauge, Step
from tolsim.spec.route_steps import Readings as ReadingsStep

__all__ = ["refuse_shape"]


def refuse_shape(step: ReadingsStep, readings: Readings, route: Sequence[Step]) -> list[Problem]:
    """Problems where a stated shape, or lots stated as random, cannot be obeyed.

    `key` of each is the key of the step; file and line are the caller's.
    """
    out: list[Problem] = []

    def wrong(key: str, message: str, allowed: str) -> None:
        found = f'{key} = "{getattr(step, key)}"'
        out.append(Problem(file="", key=key, message=message, found=found, allowed=allowed))

    shaped = step.shape not in ("choose", "normal")
    if step.shape in NEEDED:
        fewest = min(len(v) for v in readings.by_seat().values())
        least = NEEDED[step.shape]
        if fewest < least:
            wrong(
                "shape",
                f"{step.shape} needs at least {least} readings of a seat, there are {fewest}",
                f"choose, or {least} readings of each seat",
            )
    if shaped and any(isinstance(s, Gauge) for s in route[1:]):
        wrong("shape", "a gauge after the readings sorts a normal process only", "choose, normal")
    if step.between_lots == "random":
        if shaped:
            wrong("shape", "lots as random effects take parts as normal", "choose, normal")
        lots = 0 if readings.lot is None else len(set(readings.lot))
        if lots < 2:
            wrong(
                "between_lots",
                "no column names the lots" if lots == 0 else "one lot says nothing of the next",
                'lot = "the column of lots", with two lots or more',
            )
    return out
