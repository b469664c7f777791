"""Plain run of a joint: counts of every way to fail, per seat and per unit, block by block."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.chance.blocks import run_blocks
from tolsim.chance.histogram import Histogram
from tolsim.chance.streams import BLOCK, Streams, generator
from tolsim.errors import InternalError, Interrupted
from tolsim.joint.model import MODES, Build, Joint

__all__ = ["EVENTS", "SETS", "Event", "Kept", "Tally", "events_of", "evidence_table", "tally"]

FloatArray = NDArray[np.float64]

#: Parameter sets that a run draws its units under; a block holds each of them equally often.
SETS = 1024
_KEEP = 48  # failed units kept a block, event and build, for the sampling of evidence
_MOST_KEPT = 2048  # and in all: twice as many are thinned to this, so memory stays flat

#: (mode, seat): seat 0 is the unit.
Event = tuple[str, int]
EVENTS: tuple[Event, ...] = tuple((m, s) for m in (*MODES, "creak") for s in (0, 1, 2))
CREAK = ("loose", "misaligned", "bond")


@dataclass(slots=True)
class Kept:
    """Failed units of one event and build: measured sizes, and how many units each stands for."""

    sizes: list[FloatArray] = field(default_factory=list)
    represented: list[FloatArray] = field(default_factory=list)
    count: int = 0

    def add(self, sizes: FloatArray, weight: float, seed: int, block: int) -> None:
        """Keep sizes (2k, m) that stand for `weight` units each; thin where too many are kept."""
        self.sizes.append(sizes)
        self.represented.append(np.full(sizes.shape[-1], weight))
        self.count += sizes.shape[-1]
        if self.count < 2 * _MOST_KEPT:
            return
        chosen = generator(seed, "thinned", block).choice(self.count, _MOST_KEPT, replace=False)
        chosen.sort()
        stands_for = np.concatenate(self.represented)
        left = stands_for[chosen]
        self.sizes = [np.concatenate(self.sizes, axis=1)[:, chosen]]
        self.represented = [left * (stands_for.sum() / left.sum())]
        self.count = _MOST_KEPT


@dataclass(slots=True)
class Tally:
    """Everything that a plain run counted; `n` units of every build."""

    n: int
    events: dict[tuple[int, Event], int]
    margins: NDArray[np.int64]
    mix: dict[Event, tuple[float, float]]
    kept: dict[tuple[int, Event], Kept]
    interference: dict[tuple[int, int], Histogram]
    #: With `detail`: interference of the loose and of the tight seats, and used share of limits.
    failing: dict[tuple[int, int, str], Histogram] = field(default_factory=dict)
    used: dict[tuple[int, int], Histogram] = field(default_factory=dict)


def events_of(build: Build) -> dict[Event, list[int]]:
    """Outputs of the recording whose failure makes each event; what cannot happen is left out."""
    rows: dict[Event, list[int]] = {}
    for mode in MODES:
        for seat in (0, 1, 2):
            found = build.rows_of(mode, seat or None)
            if found:
                rows[mode, seat] = found
    for seat in (0, 1, 2):
        found = sorted({r for mode in CREAK for r in rows.get((mode, seat), [])})
        if found:
            rows["creak", seat] = found
    return rows


def evidence_table(joint: Joint, seed: int) -> FloatArray:
    """Parameter sets (d, SETS): normals in the rows of evidence, zeros elsewhere.

    A randomly shifted additive lattice: its points cover the rows' joint distribution far more
    evenly than independent draws, so the sets as a whole stand for it. Its axes go by the names of
    the parts, whatever the order in which joints bring them.
    """
    table = np.zeros((len(joint.latent), SETS))
    if joint.evidence:
        names = [joint.latent[i] for i in joint.evidence]
        shift = np.empty((len(names), 1))
        Streams(seed, names).fill(0, shift)
        parts = [name.split(" ")[1] if " " in name else name for name in names]
        axes = np.argsort(np.argsort(parts, kind="stable"))
        steps = _lattice(len(names))[axes, None] * np.arange(1, SETS + 1)
        drawn = ndtri(np.clip((ndtr(shift) + steps) % 1.0, 0.5 / SETS, 1.0 - 0.5 / SETS))
        # centred and scaled, so that the sets as a whole are neither off nor too narrow
        drawn -= drawn.mean(axis=1, keepdims=True)
        drawn /= drawn.std(axis=1, keepdims=True)
        table[list(joint.evidence)] = drawn
    return table


def _lattice(dimension: int) -> FloatArray:
    """Steps of the additive lattice from the roots of x**(d + 1) = x + 1."""
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimension + 1))
    return np.asarray(root ** -np.arange(1.0, dimension + 1.0))


@dataclass(slots=True)
class _BlockResult:
    n: int
    events: dict[tuple[int, Event], int]
    margins: NDArray[np.int64]
    squares: dict[Event, float]
    kept: dict[tuple[int, Event], tuple[FloatArray, float]]
    interference: dict[tuple[int, int], Histogram]
    failing: dict[tuple[int, int, str], Histogram]
    used: dict[tuple[int, int], Histogram]


def tally(
    joint: Joint,
    *,
    seed: int,
    n: int,
    workers: int,
    progress: Callable[[int, int], None] | None = None,
    detail: bool = False,
    ranges: bool = True,
) -> Tally:
    """Count failures of `n` units of every build.

    Parameters
    ----------
    joint : Joint
        The study made runnable.
    seed, n, workers : int
        Seed of all streams, units to draw, threads; the counts do not depend on the threads.
    progress : callable, optional
        Told (blocks done, blocks in all).
    detail : bool
        Count as well what the figures show.
    ranges : bool
        Count interferences too, not only failures.

    Raises
    ------
    InternalError
        If a margin is not finite; names unit, margin and inputs.
    Interrupted
        If the user stopped the run.
    """
    blocks = -(-n // BLOCK)
    events = [events_of(b) for b in joint.builds]
    grids = _grids(joint, seed) if ranges else {}
    worker = _Worker(joint, seed, n, events, grids, detail)
    total = Tally(
        n=n,
        events={},
        margins=np.zeros(joint.recording.outputs, dtype=np.int64),
        mix={},
        kept={},
        interference={key: Histogram(*ends) for key, ends in grids.items()},
    )
    squares: dict[Event, float] = {}
    done = 0
    results = run_blocks(worker.start, blocks, workers=workers, progress=progress, processes=True)
    try:
        for r in results:
            done += r.n
            total.margins += r.margins
            for where, count in r.events.items():
                total.events[where] = total.events.get(where, 0) + count
            for event, value in r.squares.items():
                squares[event] = squares.get(event, 0.0) + value
            for where, (sizes, weight) in r.kept.items():
                total.kept.setdefault(where, Kept()).add(sizes, weight, seed, done)
            for key, histogram in r.interference.items():
                total.interference[key].merge(histogram)
            _merge(total.failing, r.failing)
            _merge(total.used, r.used)
    except KeyboardInterrupt:
        raise Interrupted(f"stopped after {done:,} of {n:,} units; nothing was written") from None
    finally:
        results.close()
    for event in EVENTS:
        counts = [(b.share, total.events.get((i, event), 0)) for i, b in enumerate(joint.builds)]
        share = math.fsum(w * c for w, c in counts) / n
        if event in squares:
            total.mix[event] = (share, squares[event] / n**2)
        else:
            total.mix[event] = (share, math.fsum(w * w * c for w, c in counts) / n**2)
    return total


_K = TypeVar("_K")


def _merge(into: dict[_K, Histogram], more: dict[_K, Histogram]) -> None:
    for key, histogram in more.items():
        if key in into:
            into[key].merge(histogram)
        else:
            into[key] = histogram


def _grids(joint: Joint, seed: int) -> dict[tuple[int, int], tuple[float, float]]:
    """Ends of the histograms of interference, from a first look at half a block."""
    z = np.empty((len(joint.latent), BLOCK // 2))
    Streams(seed, joint.latent).fill(0, z)
    rows = [r for b in joint.builds for r in b.interference]
    values = joint.recording.select(rows)(z)
    ends: dict[tuple[int, int], tuple[float, float]] = {}
    for i in range(len(joint.builds)):
        for seat in (0, 1):
            v = values[2 * i + seat]
            middle = float(np.median(v))
            reach = 4.0 * float(np.ptp(v)) + 1e-6
            ends[i, seat] = (middle - reach, middle + reach)
    return ends


class _Worker:
    """Makes the function that counts one block; each thread gets its own buffers."""

    def __init__(
        self,
        joint: Joint,
        seed: int,
        n: int,
        events: list[dict[Event, list[int]]],
        grids: dict[tuple[int, int], tuple[float, float]],
        detail: bool,
    ) -> None:
        self.joint = joint
        self.seed = seed
        self.n = n
        self.events = events
        self.grids = grids
        self.detail = detail
        reads = set(joint.recording.reads)
        self.rows = [i for i in range(len(joint.latent)) if i in reads and i not in joint.evidence]
        self.streams = Streams(seed, [joint.latent[i] for i in self.rows])
        self.table = evidence_table(joint, seed)
        # Two threads in hundreds of short calls each fight for the interpreter; one of them in
        # short calls and the others in the long ones of drawing do not.
        self.turn = threading.Lock()

    def start(self) -> Callable[[int], _BlockResult]:
        """Buffers of one thread, and its function from block to counts."""
        run = self.joint.recording.runner(BLOCK)
        for i in self.joint.evidence:
            run.z[i] = np.tile(self.table[i], BLOCK // SETS)
        drawn = [run.z[i] for i in self.rows]

        def count(block: int) -> _BlockResult:
            self.streams.fill(block, drawn)
            with self.turn:
                out = run()
                width = min(BLOCK, self.n - block * BLOCK)
                return self._count(block, out[:, :width], run.z)

        return count

    def _count(self, block: int, out: FloatArray, z: FloatArray) -> _BlockResult:
        if not np.isfinite(out.sum()):
            self._refuse(block, out, z)
        failed = out < 0.0
        width = out.shape[1]
        result = _BlockResult(
            n=width,
            events={},
            margins=np.array([np.count_nonzero(row) for row in failed]),
            squares={},
            kept={},
            interference={},
            failing={},
            used={},
        )
        several = len(self.joint.builds) > 1
        weights: dict[Event, FloatArray] = {}
        for i, build in enumerate(self.joint.builds):
            for event, rows in self.events[i].items():
                some = [r for r in rows if result.margins[r]]
                if not some:
                    result.events[i, event] = 0
                    continue
                hit = failed[some[0]] if len(some) == 1 else np.logical_or.reduce(failed[some])
                count = int(np.count_nonzero(hit))
                result.events[i, event] = count
                if several and count:
                    if event not in weights:
                        weights[event] = np.zeros(width)
                    weights[event] += build.share * hit
                if self.detail and count and event[1] and event[0] in ("loose", "tight"):
                    seat = event[1] - 1
                    part = Histogram(*self.grids[i, seat])
                    part.add(out[build.interference[seat]][hit])
                    result.failing[i, seat, event[0]] = part
                if build.measured and count:
                    result.kept[i, event] = self._keep(block, build, hit, count, out)
            for seat, row in enumerate(build.interference if self.grids else ()):
                histogram = Histogram(*self.grids[i, seat])
                histogram.add(out[row])
                result.interference[i, seat] = histogram
            if self.detail:
                self._used(i, build, out, result)
        for event, w in weights.items():
            result.squares[event] = float(np.dot(w, w))
        return result

    @staticmethod
    def _used(i: int, build: Build, out: FloatArray, result: _BlockResult) -> None:
        for k, margin in enumerate(build.margins):
            if margin.bound is not None:
                part = Histogram(0.0, 5.0, bins=1000)
                part.add(1.0 - out[build.first + k] / margin.bound)
                result.used[i, k] = part

    def _keep(
        self, block: int, build: Build, hit: NDArray[np.bool_], count: int, out: FloatArray
    ) -> tuple[FloatArray, float]:
        index = np.flatnonzero(hit)
        if count > _KEEP:
            chosen = generator(self.seed, "kept", block).choice(count, _KEEP, replace=False)
            index = index[np.sort(chosen)]
        rows = [r for pair in build.gauged for r in pair]
        return out[rows][:, index], count / len(index)

    def _refuse(self, block: int, out: FloatArray, z: FloatArray) -> None:
        """End the run at the first number that is none: margins first, then whatever else."""
        names: dict[int, str] = {}
        for i, build in enumerate(self.joint.builds):
            of = f"of build {i + 1} ({', '.join(build.names)})"
            for k, margin in enumerate(build.margins):
                names[build.first + k] = f"margin {margin.cause}, seat {margin.seats} {of}"
            names.update(dict.fromkeys(build.interference, f"margin interference {of}"))
        for row in (*names, *range(len(out))):
            bad = np.flatnonzero(~np.isfinite(out[row]))
            if bad.size:
                unit = int(bad[0])
                inputs = ", ".join(
                    f"{n} = {z[j, unit]:.6g}" for j, n in enumerate(self.joint.latent)
                )
                raise InternalError(
                    f"{names.get(row, 'a size at the gauge')} is {out[row, unit]} at unit "
                    f"{block * BLOCK + unit}; a margin that is no number would count as good, so "
                    f"the run ends. Normals: {inputs}"
                )
