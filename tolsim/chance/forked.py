"""Blocks shared among processes, where the platform lets a process fork.

Counting is hundreds of short calls a block, between which threads wait for the interpreter's
lock; processes do not. A child inherits everything at the fork and sends back only results.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Generator
from multiprocessing.connection import Connection
from typing import Any, TypeVar

__all__ = ["can_fork", "forked"]

T = TypeVar("T")


def can_fork() -> bool:
    """Whether children may be forked here: on Linux, from the only thread of a main process."""
    return (
        sys.platform == "linux"
        and threading.active_count() == 1
        and multiprocessing.parent_process() is None
    )


def forked(
    make_worker: Callable[[], Callable[[int], T]], indices: range, workers: int
) -> Generator[T, None, None]:
    """Yield the result of every block, in order, each from one of `workers` processes.

    Results are pickled. What a child could not do (it raised, or it was ended from outside for
    want of memory) the caller does itself when it is due, so errors are the caller's own. A full
    pipe holds a child back: little waits, however slow the caller.
    """
    context = multiprocessing.get_context("fork")
    ends: list[Connection[Any, Any]] = []
    children: list[Any] = []
    own: list[Callable[[int], T]] = []
    sys.stdout.flush()
    sys.stderr.flush()
    try:
        for k in range(workers):
            here, there = context.Pipe(duplex=False)
            child = context.Process(
                target=_work, args=(make_worker, indices[k::workers], there, [*ends, here])
            )
            child.daemon = True
            child.start()
            there.close()
            ends.append(here)
            children.append(child)
        lost: set[int] = set()
        for j, i in enumerate(indices):
            k = j % workers
            if k not in lost:
                try:
                    done, result = ends[k].recv()
                except (EOFError, OSError):
                    done, result = False, None
                if done:
                    yield result
                    continue
                lost.add(k)
            if not own:
                own.append(make_worker())
            yield own[0](i)
    finally:
        for end in ends:
            end.close()
        for child in children:
            child.terminate()
            child.join()


def _work(
    make_worker: Callable[[], Callable[[int], T]],
    indices: range,
    there: Connection[Any, Any],
    others: list[Connection[Any, Any]],
) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the caller ends its children itself
    for end in others:
        end.close()  # so that a child whose caller has gone finds its pipe broken
    try:
        work = make_worker()
        for i in indices:
            there.send((True, work(i)))
    except BaseException:
        # the caller repeats the block and sees the error where it is due
        with contextlib.suppress(OSError):  # a broken pipe: nobody listens any more
            there.send((False, None))
    os._exit(0)
