"""Rare failures: what a plain run would need for the same error, and what rarity costs."""

from __future__ import annotations

import math
import time

import numpy as np

from tests.benchmarks.row import Row
from tests.benchmarks.small_joint import NAMES, SEVERITIES, margins
from tolsim.chance.estimate import Estimate, estimate
from tolsim.chance.event import event_of
from tolsim.record import record

GOALS = {1e-3: 10.0, 1e-4: 60.0, 1e-5: 350.0, 1e-7: 8000.0}
REPEATS = 20


def rows() -> list[Row]:
    """Gains at four levels, and the cost of the rarest against the most frequent.

    The error is the spread of the repeats about their mean, not the one they claim. Evaluations
    include pilot, slopes at their cost and cross-examination; the plain run that comes first is
    not theirs and is not made.
    """
    out: list[Row] = []
    spent: dict[float, float] = {}
    for level, goal in GOALS.items():
        event = event_of(record(margins(SEVERITIES[level]), len(NAMES)))
        began = time.process_time()
        got: list[Estimate] = [
            estimate(event, seed=900 + k, plain_counts=(0, 1)) for k in range(REPEATS)
        ]
        cpu = (time.process_time() - began) / REPEATS
        value = np.array([e.value for e in got])
        p = float(value.mean())
        error = float(np.log(value).std(ddof=1))
        spent[level] = float(np.mean([e.evaluations for e in got]))
        accepted = sum(e.method == "mixture importance sampling" for e in got)
        out.append(
            Row.at_least(
                f"plain draws for the same error / evaluations, at {p:.2g}",
                goal,
                (1.0 - p) / p / error**2 / spent[level],
                f"{spent[level]:.3g} evaluations, error {100 * error:.1f} %, claimed "
                f"{100 * math.sqrt(np.mean([e.relative_error**2 for e in got])):.1f} %, "
                f"{cpu:.2f} s CPU, {accepted} of {REPEATS} by the mixture",
            )
        )
    out.append(Row.at_most("evaluations at 1e-7 / at 1e-3", 2.0, spent[1e-7] / spent[1e-3]))
    return out
