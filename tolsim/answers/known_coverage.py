"""Where intervals are known to hold the truth less often than they say, from trials.

``coverage.csv`` is written by the campaign ``coverage-readings-shapes``: of 95 % intervals of the
creak share from lots of known populations, the share that held the truth, the lower one of lots
read with and without gauge error. ``chosen alone`` are intervals of the shape chosen without the
one left open, as they are where only a normal process can be worked.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

__all__ = ["Shortfall", "known_shortfall"]

_POPULATION = {"skewed": "skewed", "bounded": "sorted", "mixture": "mixed"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Shortfall:
    """Trials with lots of `parts` parts: share of 95 % intervals that held the truth, by the
    population that the lots came from; only those where it is significantly below."""

    parts: int
    held: dict[str, float]


@lru_cache(maxsize=1)
def _table() -> dict[tuple[str, str, int], tuple[float, bool]]:
    text = files("tolsim.answers").joinpath("coverage.csv").read_text()
    return {
        (r["method"], r["population"], int(r["parts"])): (float(r["held"]), r["short"] == "SHORT")
        for r in csv.DictReader(text.splitlines())
    }


def known_shortfall(
    shape: str, *, stated: bool, parts: int, alone: bool = False
) -> Shortfall | None:
    """What trials say against the intervals of a shape taken from so many parts of a seat.

    A shape that the readings chose may be another one in truth: lots of every population count,
    with the choice in the trials; `alone` where the shape left open is not taken in. A shape that
    was stated is held against lots that truly have it.
    Trials of the next smaller number of parts count.

    >>> found = known_shortfall("normal", stated=False, parts=14, alone=True)
    >>> found.parts, "skewed" in found.held
    (12, True)
    """
    method = "chosen alone" if alone else "chosen"
    asked = [(method, p) for p in ("skewed", "mixed", "sorted")]
    if stated:
        asked = [("own shape", _POPULATION[shape])] if shape in _POPULATION else []
    held: dict[str, float] = {}
    tried = 0
    for method, population in asked:
        sizes = sorted(n for m, p, n in _table() if (m, p) == (method, population))
        at = max((n for n in sizes if n <= parts), default=sizes[0])
        share, short = _table()[method, population, at]
        if short:
            held[population] = share
            tried = at
    return Shortfall(parts=tried, held=held) if held else None
