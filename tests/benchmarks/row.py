"""One line of the benchmark table, and the timing that fills it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Row", "best", "cpu_seconds", "seconds"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """What was measured against which goal.

    Parameters
    ----------
    what : str
        The quantity, with its settings.
    goal : str
        The goal as text, such as ``>= 0.60``; empty for a plain statement.
    measured : float or None
        None where it could not be measured; `note` says why.
    met : bool or None
        None where there is no goal or no measurement.
    """

    what: str
    goal: str
    measured: float | None
    met: bool | None
    note: str = ""

    @staticmethod
    def at_least(what: str, goal: float, measured: float, note: str = "") -> Row:
        """A ratio that should reach a goal."""
        return Row(
            what=what,
            goal=f">= {goal:g}",
            measured=measured,
            met=measured >= goal,
            note=_missed(note, measured / goal, measured >= goal),
        )

    @staticmethod
    def at_most(what: str, goal: float, measured: float, note: str = "") -> Row:
        """A ratio that should stay below a goal."""
        return Row(
            what=what,
            goal=f"<= {goal:g}",
            measured=measured,
            met=measured <= goal,
            note=_missed(note, measured / goal, measured <= goal),
        )

    @staticmethod
    def skipped(what: str, goal: str, why: str) -> Row:
        """A goal that could not be measured here."""
        return Row(what=what, goal=goal, measured=None, met=None, note=f"skipped: {why}")

    def cells(self) -> tuple[str, str, str, str, str]:
        """As text: what, goal, measured, met, note."""
        value = "-" if self.measured is None else f"{self.measured:.3g}"
        verdict = {True: "yes", False: "NO", None: "-"}[self.met]
        return self.what, self.goal, value, verdict, self.note


def _missed(note: str, ratio: float, met: bool) -> str:
    if met:
        return note
    off = f"missed: {ratio:.2f} of the goal"
    return f"{note}; {off}" if note else off


def seconds(call: Callable[[], object]) -> float:
    """Wall time of one call."""
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def cpu_seconds(call: Callable[[], object]) -> float:
    """Processor time of one call, all threads together: for ratios of work on one thread."""
    began = time.process_time()
    call()
    return time.process_time() - began


def best(
    *calls: Callable[[], object],
    repeats: int = 5,
    clock: Callable[[Callable[[], object]], float] = seconds,
) -> list[float]:
    """Smallest time of each call; calls take turns, so that a slow spell hits all."""
    times = [[clock(c) for c in calls] for _ in range(repeats)]
    return [min(t) for t in zip(*times, strict=True)]
