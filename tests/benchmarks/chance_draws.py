"""Drawing and evaluating: against drawing alone, two threads against one, against a script."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.benchmarks.row import Row, best, cpu_seconds
from tests.benchmarks.small_joint import MARGINS, NAMES, SEVERITIES, margins
from tolsim.chance.blocks import run_blocks
from tolsim.chance.event import event_of
from tolsim.chance.streams import BLOCK, Streams
from tolsim.record import record

BLOCKS = 120  # 983 040 units
_UNITS = BLOCKS * BLOCK

Work = Callable[[int], int]


def drawing(streams: Streams) -> Callable[[], Work]:
    """Fill the rows, nothing else."""

    def make() -> Work:
        z = np.empty((len(NAMES), BLOCK))

        def work(block: int) -> int:
            streams.fill(block, z)
            return 0

        return work

    return make


def counting(streams: Streams, severity: float) -> Callable[[], Work]:
    """Fill the rows, evaluate all margins, count failures."""
    recording = record(margins(severity), len(NAMES))

    def make() -> Work:
        run = recording.runner(BLOCK)
        least = np.empty(BLOCK)

        def work(block: int) -> int:
            streams.fill(block, run.z)
            np.min(run(), axis=0, out=least)
            return int(np.count_nonzero(least < 0.0))

        return work

    return make


def script(severity: float, n: int) -> int:
    """What a careful user writes: all draws in memory, the same function on whole arrays."""
    z = np.random.default_rng(1).standard_normal((len(NAMES), n))
    failed = np.zeros(n, dtype=np.bool_)
    for m in margins(severity)(list(z)):
        failed |= m < 0.0
    return int(failed.sum())


def rows() -> list[Row]:
    """Ratios of one run."""
    severity = SEVERITIES[1e-3]
    streams = Streams(1, NAMES)
    draw, count = drawing(streams), counting(streams, severity)
    recording = record(margins(severity), len(NAMES))
    event = event_of(recording)
    z = np.random.default_rng(2).standard_normal((len(NAMES), 2048))

    def run(make: Callable[[], Work], workers: int) -> int:
        return sum(run_blocks(make, BLOCKS, workers=workers, processes=True))

    assert event.values_and_gradient is not None
    # what runs on one thread is timed by the processor's clock: other work then only warms it
    alone, one_cpu, whole_cpu = best(
        lambda: run(draw, 1),
        lambda: run(count, 1),
        lambda: script(severity, _UNITS),
        clock=cpu_seconds,
    )
    drawing_one, one, two, drawing_two, whole = best(
        lambda: run(draw, 1),
        lambda: run(count, 1),
        lambda: run(count, 2),
        lambda: run(draw, 2),
        lambda: script(severity, _UNITS),
    )
    values, slopes = best(
        lambda: event.values(z),
        lambda: event.values_and_gradient(z),  # type: ignore[misc]
        repeats=40,
        clock=cpu_seconds,
    )
    size = f"{len(recording.reads)} rows, {MARGINS} margins, {recording.calls} operations"
    unit = 1e9 / _UNITS
    ns = f"{alone * unit:.0f} ns drawing, {one_cpu * unit:.0f} ns with physics, a unit"
    return [
        Row.at_least(
            f"drawing alone / draws and physics, test size ({size})", 0.60, alone / one_cpu, ns
        ),
        Row.at_least(
            "one thread / two threads, draws and physics",
            1.8,
            one / two,
            f"drawing alone {drawing_one / drawing_two:.2f}",
        ),
        Row.at_least(
            "one in-memory numpy script / one thread",
            2.5,
            whole_cpu / one_cpu,
            f"{1e9 * whole_cpu / _UNITS:.0f} ns a unit in the script",
        ),
        Row.at_least("one in-memory numpy script / two threads", 4.5, whole / two),
        Row.at_most(
            "slopes with values / values, 2048 columns (counted at this cost)",
            event.gradient_cost,
            slopes / values,
        ),
    ]
