"""Rates under any process of one feature, from the intervals in which drawn units work.

With a process F of both seats (normal copula of correlation rho) and intervals [a, b], a unit
holds with probability (F(b1) - F(a1)) (F(b2) - F(a2)) on average over what ties the seats. Sums
over units are sums over histograms of a and b, made once: thousands of processes then cost a few
matrix products.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtrit

from tolsim.answers.window_edges import Edges, Finder, Probe
from tolsim.answers.window_tails import PLAIN, Tails, tails_of
from tolsim.chance.blocks import run_blocks
from tolsim.chance.estimate import estimate
from tolsim.chance.event import event_of
from tolsim.chance.streams import BLOCK, Streams
from tolsim.process.base import Process
from tolsim.process.plain import Normal

__all__ = ["Cell", "Conditional"]

FloatArray = NDArray[np.float64]
_WIDE, _CLOSE = 96, 128  # bins of both seats together: over all sizes, and about the edges
_MOST_FINE = 40_000
_BATCHES = 16  # whose differences give the standard errors
_FREE_DRAWS = 2**19
_CHUNK = 64  # processes whose tables are held at once
_NIL = 1e-9  # rate below which nothing is looked for


@dataclass(frozen=True, slots=True)
class Cell:
    """Rates (n,) of one mode at n processes and their standard errors."""

    rate: FloatArray
    error: FloatArray


@dataclass(frozen=True, slots=True)
class _Free:
    """Share of units that fail whatever the size, by batches, and what these do not show."""

    share: float
    batches: FloatArray
    error: float


@dataclass(slots=True)
class _Sums:
    """Histograms of one build and mode; the last two bins stand for minus and plus infinity."""

    first: list[FloatArray] = field(default_factory=list)  # per batch: +a and -b of both seats
    coarse: FloatArray | None = None  # sizes of the bins of `both`
    both: FloatArray | None = None
    tails: Tails | None = None

    @property
    def more(self) -> float:
        """Units drawn for this mode over those that are plain."""
        return 1.0 if self.tails is None else 1.0 / PLAIN

    def add(self, batch: int, first: FloatArray, both: FloatArray | None) -> None:
        """Count the histograms of one block towards a batch."""
        if len(self.first) <= batch < _BATCHES:
            self.first.append(first)
        else:
            self.first[batch % _BATCHES] += first
        if both is not None:
            self.both = both if self.both is None else self.both + both


class Conditional:
    """Rates of modes over processes of one feature, all else as the probes have it.

    Parameters
    ----------
    probes : sequence of Probe
        One a build.
    narrowest : float
        Least spread that will be asked for [mm]; sets the bins.
    line : sequence of (float, float)
        Mean and spread [mm] of processes in order, of which rates get the smallest that matter.
    targets : dict
        Largest rate by mode; how precise a rate must be depends on it.
    """

    def __init__(
        self,
        probes: Sequence[Probe],
        *,
        seed: int,
        narrowest: float,
        line: Sequence[tuple[float, float]],
        targets: dict[str, float],
        workers: int,
    ) -> None:
        self.probes, self.seed, self.targets, self.workers = probes, seed, targets, workers
        low, high = probes[0].ends
        fine = max(narrowest / 16.0, (high - low) / _MOST_FINE)
        self.fine = _grid(low, fine, math.ceil((high - low) / fine) + 1)
        self.tolerance, self.line = 0.02 * narrowest, line
        self.blocks = 0
        self.sums = [{m: _Sums() for m in p.rows} for p in probes]
        self.free = [{m: self._free(i, m) for m in p.rows} for i, p in enumerate(probes)]

    @property
    def units(self) -> int:
        """Units that the rates rest on so far, of every build."""
        return self.blocks * BLOCK

    def grow(self, blocks: int, tell: Callable[[int, int], None] | None = None) -> None:
        """Find the intervals of so many further blocks of units."""
        for i, probe in enumerate(self.probes):
            if self.blocks == 0:
                self._look(i)
            self._add(i, probe, tuple(probe.rows), blocks)
            for mode, sums in self.sums[i].items():
                if sums.tails is not None:
                    self._add(i, sums.tails.probe, (mode,), blocks, sums.tails)
            if tell is not None:
                tell(i + 1, len(self.probes))
        self.blocks += blocks

    def _look(self, i: int) -> None:
        """Place bins by the intervals of a first block, and see where rates get small."""
        probe = self.probes[i]
        for mode, e in Finder(probe, self.seed, self.tolerance).find(0).items():
            sums = self.sums[i][mode]
            if not probe.one:
                sums.coarse = _bins(probe.ends, e)
            first, _ = self._binned(i, mode, e, None)
            line = [Normal(mean=m, sd=sd) for m, sd in self.line]
            rates = np.concatenate([f @ first for f in _tables(self.fine, line)]) / BLOCK
            free = self.free[i][mode].share
            sums.tails = tails_of(
                probe,
                mode,
                self.line,
                np.clip(rates, 0.0, 1.0),
                least=max(_NIL, 1e-3 * free, 1e-6 * self.targets[mode]),
                seed=self.seed,
            )

    def _add(
        self, i: int, probe: Probe, modes: tuple[str, ...], blocks: int, tails: Tails | None = None
    ) -> None:
        """Blocks of units, plain ones or those beyond them; what they count is the same."""
        beyond = tails is not None
        n = round(BLOCK * (1.0 / PLAIN - 1.0)) if beyond else BLOCK

        def make() -> Callable[[int], dict[str, tuple[FloatArray, FloatArray | None]]]:
            finder = Finder(probe, self.seed, self.tolerance, n)

            def work(block: int) -> dict[str, tuple[FloatArray, FloatArray | None]]:
                if tails is not None:
                    tails.draw(finder, self.seed, f"tails {i} {modes[0]}", block)
                    found = finder.found()
                else:
                    found = finder.find(block)
                out = {}
                for m, e in found.items():
                    own = self.sums[i][m].tails
                    out[m] = self._binned(i, m, e, None if own is None else own.weight(finder))
                return out

            return work

        span = range(self.blocks, self.blocks + blocks)
        for block, found in zip(span, run_blocks(make, span, workers=self.workers), strict=True):
            for mode, (first, both) in found.items():
                self.sums[i][mode].add(block, first, both)

    def _binned(
        self, i: int, mode: str, e: Edges, weight: FloatArray | None
    ) -> tuple[FloatArray, FloatArray | None]:
        probe, coarse = self.probes[i], self.sums[i][mode].coarse
        keep = ~e.anyway
        low, high = e.low[:, keep], e.high[:, keep]
        w = np.ones(low.shape[1]) if weight is None else weight[keep]
        if probe.one:
            low, high = low.max(axis=0, keepdims=True), high.min(axis=0, keepdims=True)
        never = low >= high
        low, high = np.where(never, np.inf, low), np.where(never, np.inf, high)
        # q = F(a) + 1 - F(b); what stands at plus infinity counts 1
        first = np.zeros(self.fine.size + 2)
        for a, b in zip(low, high, strict=True):
            first += _spread_out(self.fine, a, w) - _spread_out(self.fine, b, w)
        first[-1] += w.sum() * len(low)
        return first, None if coarse is None else _together(coarse, low, high, w)

    def _free(self, i: int, mode: str) -> _Free:
        """Share of units that fail whatever the size."""
        probe = self.probes[i]
        rows = list(probe.rows[mode].free)
        if not rows:
            return _Free(0.0, np.zeros(_BATCHES), 0.0)
        recording = probe.recording.select(rows)
        streams = Streams(self.seed, probe.joint.latent)
        reads = list(recording.reads)

        def make() -> Callable[[int], int]:
            run, drawn = recording.runner(BLOCK), np.empty((len(reads), BLOCK))

            def work(block: int) -> int:
                streams.fill(block, drawn, rows=reads)
                run.z[reads] = drawn
                return int(np.count_nonzero((run() < 0.0).any(axis=0)))

            return work

        n = _FREE_DRAWS
        counts = np.array(list(run_blocks(make, n // BLOCK, workers=self.workers)))
        failed = int(counts.sum())
        share = failed / n
        error = math.sqrt(max(failed, 1) * (1.0 - share)) / n
        target = self.targets[mode]
        if error > 0.03 * target and error > 0.03 * share and share < 30.0 * target:
            found = estimate(
                event_of(recording), seed=self.seed, plain_counts=(failed, n), budget=1e6
            )
            if found.trusted:
                share, error = found.value, found.value * found.relative_error
                return _Free(share, np.full(_BATCHES, share), error)
        if failed < 20:  # batches that mostly count none say little of their spread
            return _Free(share, np.full(_BATCHES, share), error)
        return _Free(share, counts.reshape(-1, _BATCHES).mean(axis=0) / BLOCK, 0.0)

    def cells(
        self, processes: Sequence[Sequence[Process]], *, thorough: bool = True
    ) -> dict[str, Cell]:
        """Rates at n processes; `processes[i]` are those of build i.

        Where it is not `thorough`, units that fail at both seats count twice.
        """
        n = len(processes[0])
        parts = min(_BATCHES, self.blocks)  # batches that hold anything; divides _BATCHES
        student = float(stdtrit(parts - 1, 0.975)) / 1.96  # told as if errors were normal
        out = {}
        for mode in self.targets:
            rate, sure = np.zeros(n), 0.0
            batches = np.zeros((n, parts))
            for i, (probe, own) in enumerate(zip(self.probes, processes, strict=True)):
                if mode not in probe.rows:
                    continue
                free, sums = self.free[i][mode], self.sums[i][mode]
                alone, ratio = self._rest(probe, sums, own, thorough)
                rate += probe.share * (free.share + ratio * np.maximum(alone.mean(axis=1), 0.0))
                # builds share draws, so their errors are added batch by batch
                anyway = free.batches.reshape(-1, parts).mean(axis=0)
                batches += probe.share * (anyway + ratio[:, None] * alone)
                sure += probe.share * free.error
            error = student * batches.std(axis=1, ddof=1) / math.sqrt(parts)
            out[mode] = Cell(np.clip(rate, 0.0, 1.0), np.hypot(error, sure))
        return out

    def _rest(
        self, probe: Probe, sums: _Sums, processes: Sequence[Process], thorough: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Share that the size decides by batches, (n, batches); what both seats leave of it."""
        n = self.units * sums.more
        batches = np.array(sums.first) * (len(sums.first) / n)
        alone = np.concatenate([f @ batches.T for f in _tables(self.fine, processes)])
        whole = np.ones(len(processes))
        if sums.both is None or sums.coarse is None or not thorough:
            return alone, whole
        m = sums.both / n
        rows, columns = np.flatnonzero(m.any(axis=1)), np.flatnonzero(m.any(axis=0))
        m = m[np.ix_(rows, columns)]
        both = np.concatenate(
            [
                _joint(f[:, rows], m, f[:, columns], probe.rho)
                for f in _tables(sums.coarse, processes)
            ]
        )
        mean = np.maximum(alone.mean(axis=1), 0.0)
        rest = np.maximum(mean - both, 0.5 * mean)  # both is at most half of it
        return alone, np.divide(rest, mean, out=whole, where=mean > 0.0)


def _tables(sizes: FloatArray, processes: Sequence[Process]) -> Iterator[FloatArray]:
    """Shares at or below every size, (k, bins + 2), a few processes at a time."""
    for start in range(0, len(processes), _CHUNK):
        part = processes[start : start + _CHUNK]
        out = np.zeros((len(part), sizes.size + 2))
        out[:, -1] = 1.0
        if all(isinstance(p, Normal) and p.sd > 0.0 for p in part):
            mean, sd = np.array([p.mean for p in part]), np.array([p.sd for p in part])
            out[:, :-2] = ndtr((sizes - mean[:, None]) / sd[:, None])
        else:
            for row, p in zip(out, part, strict=True):
                row[:-2] = p.cdf(sizes)
        yield out


def _joint(first: FloatArray, m: FloatArray, second: FloatArray, rho: float) -> FloatArray:
    """E[q1 q2] (k,) from shares (k, bins) of each seat and the histogram m of both."""
    if rho == 0.0:
        return np.asarray(np.einsum("kb,kb->k", first @ m, second))
    nodes, weights = _factor(abs(rho))
    z1, z2 = ndtri(first), ndtri(second)
    root, rest = math.sqrt(abs(rho)), math.sqrt(1.0 - abs(rho))
    total = np.zeros(len(first))
    for w, share in zip(nodes, weights, strict=True):
        one = ndtr((z1 - root * w) / rest)
        other = ndtr((z2 - math.copysign(root, rho) * w) / rest)
        total += share * np.einsum("kb,kb->k", one @ m, other)
    return total


def _grid(low: float, step: float, count: int) -> FloatArray:
    return np.asarray(low + step * np.arange(count), dtype=np.float64)


def _bins(ends: tuple[float, float], e: Edges) -> FloatArray:
    """Sizes of bins: some everywhere, most where edges of either side are."""
    parts = [np.linspace(*ends, _WIDE)]
    for edge in (e.low, e.high):
        found = edge[np.isfinite(edge)]
        if found.size:
            low, high = float(found.min()), float(found.max())
            room = 0.1 * (high - low)
            parts.append(np.linspace(low - room, high + room, _CLOSE))
    sizes = np.unique(np.clip(np.concatenate(parts), *ends))
    apart = np.concatenate([[True], np.diff(sizes) > 1e-7])  # [mm]
    return np.asarray(sizes[apart])


def _factor(rho: float) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights for a standard normal that two seats share with correlation rho."""
    if rho <= 0.6:
        found = np.polynomial.hermite_e.hermegauss(11)
        nodes, weights = np.asarray(found[0]), np.asarray(found[1])
    else:
        # what is integrated gets as narrow as sqrt(1 - rho): the trapezoid rule follows
        step = 1.0 * math.sqrt((1.0 - rho) / rho)
        half = math.ceil(6.0 / step)
        nodes = _grid(-half * step, step, 2 * half + 1)
        weights = np.asarray(np.exp(-0.5 * nodes * nodes))
    return nodes, weights / weights.sum()


def _place(sizes: FloatArray, x: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Bin below each size and how far into it; beyond the ends, the bins of the infinities."""
    inside = (x >= sizes[0]) & (x < sizes[-1])
    at = np.where(inside, x, sizes[0])
    k = np.minimum(np.searchsorted(sizes, at, side="right") - 1, sizes.size - 2)
    part = np.where(inside, (at - sizes[k]) / (sizes[k + 1] - sizes[k]), 0.0)
    k = np.where(inside, k, np.where(x < sizes[0], sizes.size, sizes.size + 1))
    return k, part


def _spread_out(sizes: FloatArray, x: FloatArray, w: FloatArray) -> FloatArray:
    """Histogram (bins + 2) whose sum with F is the sum of w F(x) by linear interpolation."""
    k, part = _place(sizes, x)
    n = sizes.size + 2
    part *= w
    out = np.bincount(k, w - part, minlength=n)
    inner = part > 0.0
    return np.asarray(out + np.bincount(k[inner] + 1, part[inner], minlength=n))


def _together(
    sizes: FloatArray, low: FloatArray, high: FloatArray, weight: FloatArray
) -> FloatArray:
    """Weighted sum over units of the outer product of both seats' signed edges, (bins + 2) each."""
    n = sizes.size + 2
    entries: list[list[tuple[NDArray[np.intp], FloatArray]]] = [[], []]
    for seat in (0, 1):
        for x, sign in ((low[seat], 1.0), (high[seat], -1.0)):
            k, part = _place(sizes, x)
            entries[seat].append((k, sign * (1.0 - part)))
            beside = np.where(k < sizes.size - 1, k + 1, k)
            entries[seat].append((beside, sign * part))
        entries[seat].append((np.full(low.shape[1], n - 1), np.ones(low.shape[1])))
    out = np.zeros(n * n)
    for k1, w1 in entries[0]:
        own = weight * w1
        for k2, w2 in entries[1]:
            out += np.bincount(k1 * n + k2, own * w2, minlength=n * n)
    return out.reshape(n, n)
