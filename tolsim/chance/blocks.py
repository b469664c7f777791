"""Work shared among processes or threads block by block, results in the order of the blocks.

Long runs fork where they may. Short ones, and those elsewhere, use threads: numpy releases the
interpreter's lock inside its loops, so threads that hold their own buffers run side by side.
Results come in order whatever the number of workers, so sums do not depend on it.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Generator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

from tolsim.chance.forked import can_fork, forked

__all__ = ["run_blocks"]

T = TypeVar("T")

_AHEAD = 4  # tasks in flight a worker: enough to keep it busy, few enough to keep memory flat
_WORTH_A_FORK = 48  # blocks: a tenth of a second's work, against the hundredth that forking takes
_RUN = 4  # blocks a task of a long run: the caller's thread wakes less often between the workers


def run_blocks(
    make_worker: Callable[[], Callable[[int], T]],
    blocks: int | range,
    *,
    workers: int,
    progress: Callable[[int, int], None] | None = None,
    processes: bool = False,
) -> Generator[T, None, None]:
    """Yield the result of every block, in order.

    Parameters
    ----------
    make_worker : callable
        Called once in each worker; returns the function from block index to result that this
        worker uses, with buffers of its own. A result must not be such a buffer.
    blocks : int or range
        Number of blocks, or their indices.
    workers : int
        Processes or threads; 1 runs in the caller's.
    progress : callable, optional
        Told (blocks done, blocks in all) after each one.
    processes : bool
        Whether long runs may use processes: results can be pickled and nothing else is kept.

    Notes
    -----
    The first exception of a worker is raised when its block is due, after all blocks before it.
    Closing the iterator, or Ctrl-C, waits for the blocks in work and drops the rest.

    Examples
    --------
    >>> list(run_blocks(lambda: lambda i: i * i, 4, workers=2))
    [0, 1, 4, 9]
    """
    if workers < 1:
        raise ValueError(f"need at least one worker, got {workers}")
    indices = range(blocks) if isinstance(blocks, int) else blocks
    if workers == 1:
        results = _alone(make_worker, indices)
    elif processes and len(indices) >= _WORTH_A_FORK and can_fork():
        results = forked(make_worker, indices, workers)
    else:
        results = _shared(make_worker, indices, workers)
    return _told(results, len(indices), progress)


def _told(
    results: Generator[T, None, None], total: int, progress: Callable[[int, int], None] | None
) -> Generator[T, None, None]:
    try:
        for done, result in enumerate(results, start=1):
            if progress is not None:
                progress(done, total)
            yield result
    finally:
        results.close()


def _alone(
    make_worker: Callable[[], Callable[[int], T]], indices: range
) -> Generator[T, None, None]:
    if indices:
        work = make_worker()
        for i in indices:
            yield work(i)


def _shared(
    make_worker: Callable[[], Callable[[int], T]], indices: range, workers: int
) -> Generator[T, None, None]:
    own = threading.local()

    def call(run: range) -> tuple[list[T], BaseException | None]:
        done: list[T] = []
        try:
            if not hasattr(own, "work"):
                own.work = make_worker()
            for i in run:
                done.append(own.work(i))
        except BaseException as error:  # raised by the caller, after the blocks before it
            return done, error
        return done, None

    def due(task: Future[tuple[list[T], BaseException | None]]) -> Generator[T, None, None]:
        done, error = task.result()
        yield from done
        if error is not None:
            raise error

    size = _RUN if len(indices) >= 16 * _RUN * workers else 1
    waiting: deque[Future[tuple[list[T], BaseException | None]]] = deque()
    pool = ThreadPoolExecutor(min(workers, max(1, len(indices))), thread_name_prefix="draws")
    try:
        for start in range(0, len(indices), size):
            waiting.append(pool.submit(call, indices[start : start + size]))
            if len(waiting) >= _AHEAD * workers:
                yield from due(waiting.popleft())
        while waiting:
            yield from due(waiting.popleft())
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
