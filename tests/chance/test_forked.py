"""Blocks shared among processes: order, errors, stopping, a child that is lost."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable

import numpy as np
import pytest

from tolsim.chance.blocks import run_blocks
from tolsim.chance.forked import can_fork, forked
from tolsim.chance.streams import Streams

pytestmark = pytest.mark.skipif(not can_fork(), reason="needs a platform that forks")


def _identity() -> Callable[[int], int]:
    return lambda i: i


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_results_come_in_order(workers: int) -> None:
    """Results come in the order of the blocks, from processes other than the caller's."""

    def make() -> Callable[[int], tuple[int, int]]:
        def work(i: int) -> tuple[int, int]:
            time.sleep(0.001 * (i % 3 == 0))
            return i, os.getpid()

        return work

    got = list(forked(make, range(3, 40), workers))
    assert [i for i, _ in got] == list(range(3, 40))
    processes = {pid for _, pid in got}
    assert len(processes) == workers
    assert os.getpid() not in processes


def test_sums_do_not_depend_on_processes() -> None:
    """A sum of floats over a long run is bit for bit the same for one worker and for three."""
    streams = Streams(1, ["a", "b"])

    def make() -> Callable[[int], float]:
        z = np.empty((2, 512))

        def work(i: int) -> float:
            streams.fill(i, z)
            return float((z[0] * z[1]).sum())

        return work

    alone = sum(run_blocks(make, 100, workers=1))
    assert sum(run_blocks(make, 100, workers=3, processes=True)) == alone


def test_an_exception_reaches_the_caller_where_it_is_due() -> None:
    """The caller sees the error itself, after all blocks before it."""
    got: list[int] = []

    def work(i: int) -> int:
        if i == 5:
            raise RuntimeError("block 5")
        return i

    with pytest.raises(RuntimeError, match="block 5"):
        got.extend(forked(lambda: work, range(1000), 2))
    assert got == [0, 1, 2, 3, 4]
    assert multiprocessing.active_children() == []


def test_a_child_that_is_killed_costs_nothing_but_time() -> None:
    """What a child ended from outside left undone is done by the caller."""
    caller = os.getpid()

    def work(i: int) -> int:
        if i == 7 and os.getpid() != caller:
            os.kill(os.getpid(), signal.SIGKILL)
        return i * i

    assert list(forked(lambda: work, range(60), 2)) == [i * i for i in range(60)]


def test_closing_leaves_no_child_behind() -> None:
    """Closing the iterator early ends the children, however much they had left to do."""

    def work(i: int) -> bytes:
        time.sleep(0.001)
        return bytes(100_000)

    run = forked(lambda: work, range(100_000), 2)
    assert len(next(run)) == 100_000
    run.close()
    assert multiprocessing.active_children() == []


def test_an_interrupt_ends_the_children() -> None:
    """KeyboardInterrupt between blocks ends the run with no child behind."""

    def told(done: int, total: int) -> None:
        if done == 4:
            raise KeyboardInterrupt

    got: list[int] = []
    with pytest.raises(KeyboardInterrupt):
        got.extend(run_blocks(_identity, 10_000, workers=2, progress=told, processes=True))
    assert got == [0, 1, 2]
    assert multiprocessing.active_children() == []


def test_no_fork_beside_other_threads() -> None:
    """With another thread alive a fork could inherit its locks: threads are used instead."""
    stop = threading.Event()
    other = threading.Thread(target=stop.wait)
    other.start()
    try:
        assert not can_fork()
        caller = os.getpid()
        pids = set(run_blocks(lambda: lambda _: os.getpid(), 200, workers=2, processes=True))
        assert pids == {caller}
    finally:
        stop.set()
        other.join()
