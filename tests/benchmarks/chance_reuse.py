"""One set of draws for many questions: alternatives, limits, parameter sets."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable, Sequence

import numpy as np

from tests.benchmarks.row import Row, best
from tests.benchmarks.small_joint import MARGINS, NAMES, SEVERITIES, margins
from tolsim.chance.blocks import run_blocks
from tolsim.chance.reweight import ParameterDraws
from tolsim.chance.streams import BLOCK, Streams, generator
from tolsim.record import Array, record

_BLOCKS = 40
_SETS = 1000
_NESTED = 2**21  # draws a set of a nested run
_ROWS = (0, 1, 2, 4, 10, 11, 12, 14)  # bore, ring, sleeve, shell of both seats
_MIXED_BLOCKS = 488  # 4.0e6 draws of the mixture of all sets


def _alternatives(count: int) -> Callable[[], Callable[[int], list[int]]]:
    """Failures of several joints on the same draws: one recording, one output an alternative."""

    def least(z: Sequence[Array]) -> list[Array]:
        joints = [margins(0.9 + 0.01 * k) for k in range(count)]
        return [functools.reduce(np.minimum, joint(z)) for joint in joints]

    recording = record(least, len(NAMES))
    streams = Streams(1, NAMES)

    def make() -> Callable[[int], list[int]]:
        run = recording.runner(BLOCK)

        def work(block: int) -> list[int]:
            streams.fill(block, run.z)
            return [int(np.count_nonzero(m < 0.0)) for m in run()]

        return work

    return make


def _limits(count: int) -> Callable[[], Callable[[int], list[int]]]:
    """Failures under several sets of limits, each margin shifted by a set's own amount."""
    recording = record(margins(SEVERITIES[1e-3]), len(NAMES))
    streams = Streams(1, NAMES)
    shifts = np.random.default_rng(1).uniform(-1.0, 1.0, (count, MARGINS))
    shifts[0] = 0.0

    def make() -> Callable[[int], list[int]]:
        run = recording.runner(BLOCK)
        failed, bad = np.empty(BLOCK, dtype=np.bool_), np.empty(BLOCK, dtype=np.bool_)

        def work(block: int) -> list[int]:
            streams.fill(block, run.z)
            m = run()
            out = []
            for limit in shifts:
                np.less(m[0], limit[0], out=failed)
                for row, at in zip(m[1:], limit[1:], strict=True):
                    np.logical_or(failed, np.less(row, at, out=bad), out=failed)
                out.append(int(np.count_nonzero(failed)))
            return out

        return work

    return make


def _run(make: Callable[[], Callable[[int], object]]) -> object:
    return list(run_blocks(make, _BLOCKS, workers=1))


def _nested(draws: ParameterDraws, which: int, n: int) -> float:
    """Share of failure under one set of parameters by a plain run of its own."""
    recording = record(margins(SEVERITIES[1e-3]), len(NAMES))
    streams, run = Streams(100 + which, NAMES), recording.runner(BLOCK)
    shift, scale = draws.shifts[which][:, None], draws.scales[which][:, None]
    failed, rows = 0, list(_ROWS)
    for block in range(n // BLOCK):
        streams.fill(block, run.z)
        run.z[rows] = shift + scale * run.z[rows]
        failed += int(np.count_nonzero(run().min(axis=0) < 0.0))
    return failed / (n // BLOCK * BLOCK)


def _one_sample(draws: ParameterDraws) -> np.ndarray:
    """Shares under all sets from one sample of their mixture."""
    recording = record(margins(SEVERITIES[1e-3]), len(NAMES))
    streams, run = Streams(7, NAMES), recording.runner(BLOCK)
    failing = []
    for block in range(_MIXED_BLOCKS):
        streams.fill(block, run.z)
        run.z[:] = draws.apply(run.z, generator(7, "owner", block))
        bad = run().min(axis=0) < 0.0
        failing.append(run.z[:, bad])
    return draws.shares(np.concatenate(failing, axis=1), _MIXED_BLOCKS * BLOCK).value


def rows() -> list[Row]:
    """Ratios of one run."""
    one, many, limit, limits = best(
        lambda: _run(_alternatives(1)),
        lambda: _run(_alternatives(16)),
        lambda: _run(_limits(1)),
        lambda: _run(_limits(64)),
        repeats=3,
    )
    rng = np.random.default_rng(3)
    size = (_SETS, len(_ROWS))  # what twelve readings leave open, in units of the sd
    draws = ParameterDraws(
        rows=_ROWS,
        shifts=rng.standard_normal(size) / np.sqrt(12.0),
        scales=np.sqrt(11.0 / rng.chisquare(11.0, size)),
    )
    began = time.perf_counter()
    shares = _one_sample(draws)
    together = time.perf_counter() - began
    checked = list(range(0, _SETS, _SETS // 12))
    began = time.perf_counter()
    nested = np.array([_nested(draws, k, _NESTED) for k in checked])
    apart = (time.perf_counter() - began) / len(checked) * _SETS
    error = np.log(shares[checked] / nested)
    # the nested runs' own counting error is taken off
    own = float(np.mean((1.0 - nested) / (nested * _NESTED)))
    rms = float(np.sqrt(max(0.0, float(np.mean(error**2)) - own)))
    enough = float(np.mean(1.0 / nested)) / max(rms, 0.01) ** 2  # draws for that same error
    return [
        Row.at_most("16 alternatives on common draws / one", 7.0, many / one),
        Row.at_most("64 sets of limits on the same margins / one", 1.6, limits / limit),
        Row.at_least(
            f"{_SETS} parameter sets: nested at {_NESTED:.1e} draws a set / one sample",
            200.0,
            apart / together,
            f"{together:.1f} s against {apart:.0f} s, extrapolated from {len(checked)} sets; "
            f"nested with just enough draws for the same error: "
            f"{apart * enough / _NESTED / together:.0f} times",
        ),
        Row.at_most(f"rms error of the logarithm over {len(checked)} of these sets", 0.1, rms),
    ]
