"""Blocks shared among threads: order, errors, stopping, memory."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np
import pytest

from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import Streams


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_results_come_in_order(workers: int) -> None:
    """Late blocks that finish early wait for their turn, and every block is told once."""
    told: list[tuple[int, int]] = []

    def make() -> Callable[[int], int]:
        def work(i: int) -> int:
            time.sleep(0.001 * (i % 3 == 0))
            return i

        return work

    got = list(
        run_blocks(make, range(3, 40), workers=workers, progress=lambda k, n: told.append((k, n)))
    )
    assert got == list(range(3, 40))
    assert told == [(k, 37) for k in range(1, 38)]


@pytest.mark.parametrize("workers", [1, 3])
def test_sums_do_not_depend_on_workers(workers: int) -> None:
    """A sum of floats over blocks is bit for bit the same for one worker and for three."""
    streams = Streams(1, ["a", "b"])

    def make() -> Callable[[int], float]:
        z = np.empty((2, 512))

        def work(i: int) -> float:
            streams.fill(i, z)
            return float((z[0] * z[1]).sum())

        return work

    alone = sum(run_blocks(make, 20, workers=1))
    assert sum(run_blocks(make, 20, workers=workers)) == alone


def test_each_thread_makes_one_worker() -> None:
    """The maker of buffers is called at most once a thread."""
    made: list[int] = []

    def make() -> Callable[[int], int]:
        made.append(threading.get_ident())
        return lambda i: i

    list(run_blocks(make, 100, workers=3))
    assert 1 <= len(made) <= 3
    assert len(set(made)) == len(made)


@pytest.mark.parametrize("workers", [1, 2])
def test_an_exception_reaches_the_caller(workers: int) -> None:
    """What a worker raises is raised where its block is due, after the blocks before it."""
    got: list[int] = []

    def work(i: int) -> int:
        if i == 5:
            raise RuntimeError("block 5")
        return i

    with pytest.raises(RuntimeError, match="block 5"):
        got.extend(run_blocks(lambda: work, 1000, workers=workers))
    assert got == [0, 1, 2, 3, 4]


def test_closing_stops_the_work() -> None:
    """Closing the iterator early leaves most blocks unstarted and no thread behind."""
    started: list[int] = []

    def work(i: int) -> int:
        started.append(i)
        return i

    before = threading.active_count()
    run = run_blocks(lambda: work, 10_000, workers=2)
    assert [next(iter(run)) for _ in range(3)] == [0, 1, 2]
    run.close()
    assert len(started) < 100
    assert threading.active_count() == before


def test_an_interrupt_in_the_consumer_stops_the_work() -> None:
    """KeyboardInterrupt raised between blocks ends the run with no thread behind."""
    before = threading.active_count()

    def told(done: int, total: int) -> None:
        if done == 4:
            raise KeyboardInterrupt

    got: list[int] = []
    with pytest.raises(KeyboardInterrupt):
        got.extend(run_blocks(lambda: lambda i: i, 10_000, workers=2, progress=told))
    assert got == [0, 1, 2]
    assert threading.active_count() == before


@pytest.mark.parametrize("blocks", [100, 2000])
def test_look_ahead_is_bounded(blocks: int) -> None:
    """However slow the consumer, only a few results wait: memory does not grow with blocks."""
    started: list[int] = []

    def work(i: int) -> int:
        started.append(i)
        return i

    for done, _ in enumerate(run_blocks(lambda: work, blocks, workers=2), start=1):
        assert len(started) <= done + 40


def test_no_blocks_and_no_workers() -> None:
    """No blocks give no results; no workers are refused."""
    assert list(run_blocks(lambda: lambda i: i, 0, workers=2)) == []
    with pytest.raises(ValueError, match="at least one worker, got 0"):
        list(run_blocks(lambda: lambda i: i, 4, workers=0))
