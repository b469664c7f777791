"""Small rates at the nodes of a counted window: one set of weighted draws for all nodes.

Mixtures are fitted to the failures at a few nodes, until together they reach every node whose rate
matters. All nodes read the same rows of standard normals, so every draw of any of them serves
every node, at what it is worth under all mixtures together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import events_of
from tolsim.answers.window_mesh import Shares, of_errors
from tolsim.chance.densities import Mixture
from tolsim.chance.event import Spent, Tally, event_of
from tolsim.chance.mixture import MixtureSettings, mixture_run
from tolsim.chance.streams import generator
from tolsim.joint.model import Joint
from tolsim.record import Recording

__all__ = ["SEEN", "sharpened"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SEEN = 400  # counted failures from which a count stands by itself
_DRAWN = 8192  # draws of every mixture
_ANCHORS = 8  # nodes that mixtures are fitted at, at most
_PRECISE = 0.1  # relative error that ends the fitting
_COARSE = 0.3  # and from which a rate is left to its count
_LEAST = 1e-9  # rate below which nothing is looked for
_SETTINGS = MixtureSettings(subset_samples=4000, pilot=4096, rounds=3, least=4096, most=4096)
_BUDGET = 1e6


def sharpened(
    joints: Sequence[Sequence[Joint]],
    table: FloatArray,
    mode: str,
    target: float,
    n: int,
    seed: int,
    tell: Callable[[], None] | None = None,
) -> Shares | None:
    """Rates of a mode at nodes with their intervals, small ones from weighted draws.

    Parameters
    ----------
    joints : sequence of sequence of Joint
        The study at every node, rows by y.
    table : ndarray
        Counted rates and the ends of their intervals, (3, rows, columns).
    mode, target : str, float
        Which rate, and what it must not exceed.
    n : int
        Units that were counted at every node.

    Returns
    -------
    Shares or None
        None where the nodes do not read the same rows, where nothing was found to fit, or where
        counts contradict the weighted draws: the counts then stand.
    """
    flat = [j for row in joints for j in row]
    if any(j.latent != flat[0].latent or len(j.builds) != len(flat[0].builds) for j in flat):
        return None
    counts = table[0].ravel() * n
    floor = max(_LEAST, 1e-3 * target)
    shape = table[0].shape
    value, variance = np.zeros(counts.size), np.zeros(counts.size)
    for b, build in enumerate(flat[0].builds):
        rows = [events_of(j.builds[b]).get((mode, 0)) for j in flat]
        if not all(rows):
            continue
        recordings = [j.recording.select(r or []) for j, r in zip(flat, rows, strict=True)]
        nodes = _Nodes(recordings, shape, seed, f"window {mode} {b}")
        found = nodes.run(counts < SEEN, floor, int(counts.argmin()), tell)
        if found is None:
            return None
        value += build.share * found[0]
        variance += (build.share * found[1]) ** 2
    error = np.sqrt(variance)
    weighted = of_errors(value, error)
    low, high = (v.ravel() for v in table[1:])
    apart = (weighted.high * 1.02 < low) | (weighted.low > 1.02 * high)
    sure = (value > floor) & (error < _COARSE * value)
    # 95 % intervals of some eighty nodes: one or two pairs lie apart by chance
    if np.count_nonzero(apart & sure & (counts >= 20.0)) > 2:
        return None
    use = (counts < SEEN) & (sure | (value <= floor))
    out = Shares(
        np.where(use, value, table[0].ravel()),
        np.where(use, np.where(sure, weighted.low, 0.0), low),
        np.where(use, np.where(sure, weighted.high, 10.0 * floor), high),
    )
    return Shares(*(v.reshape(shape) for v in (out.value, out.low, out.high)))


@dataclass(slots=True)
class _Nodes:
    """The event of one build at every node, and the draws that all of them share."""

    recordings: Sequence[Recording]
    shape: tuple[int, ...]
    seed: int
    label: str

    def run(
        self,
        few: BoolArray,
        floor: float,
        start: int,
        tell: Callable[[], None] | None,
    ) -> tuple[FloatArray, FloatArray] | None:
        """Rates and standard errors at all nodes, (nodes,)."""
        mixtures: list[Mixture] = []
        draws: list[FloatArray] = []
        fails: list[BoolArray] = []
        tried: set[int] = set()
        anchor: int | None = self._first(few, start)
        value = error = np.zeros(few.size)
        while anchor is not None and len(tried) < _ANCHORS:
            tried.add(anchor)
            mixture = self._fitted(anchor)
            if mixture is not None:
                rng = generator(self.seed, f"{self.label} drawn", len(mixtures))
                z, _ = mixture.draw(rng, _DRAWN)
                mixtures.append(mixture)
                draws.append(z)
                fails.append(np.array([(r(z) < 0.0).any(axis=0) for r in self.recordings]))
                value, error = _rates(mixtures, draws, fails)
            if tell is not None:
                tell()
            anchor = self._next(value, error, few, floor, tried)
        return (value, error) if mixtures else None

    def _first(self, few: BoolArray, start: int) -> int | None:
        """The node to begin at: among those of few counts, the one that fails most."""
        if not few.any():
            return None
        rng = generator(self.seed, f"{self.label} look")
        z = rng.standard_normal((self.recordings[0].inputs, _DRAWN))
        nearest = np.array(
            [
                float(np.quantile(r(z).min(axis=0), 1e-3)) if f else np.inf
                for r, f in zip(self.recordings, few, strict=True)
            ]
        )
        return int(nearest.argmin()) if np.isfinite(nearest).any() else start

    def _fitted(self, anchor: int) -> Mixture | None:
        tally = Tally(event_of(self.recordings[anchor]), budget=_BUDGET)
        try:
            run = mixture_run(tally, seed=self.seed, target=_PRECISE, settings=_SETTINGS)
        except Spent:
            return None
        return None if run is None else run.sums.mixture

    def _next(
        self,
        value: FloatArray,
        error: FloatArray,
        few: BoolArray,
        floor: float,
        tried: set[int],
    ) -> int | None:
        """The node whose rate matters and is known worst; one beside those that matter counts."""
        matters = (value > floor).reshape(self.shape)
        beside = matters.copy()
        for axis in (0, 1):
            for step in (-1, 1):
                near = np.roll(matters, step, axis)
                edge = [slice(None)] * 2
                edge[axis] = slice(0, 1) if step == 1 else slice(-1, None)
                near[tuple(edge)] = False
                beside |= near
        relative = np.divide(error, value, out=np.full_like(value, 0.99), where=value > 0.0)
        open_ = few & beside.ravel() & (relative > _PRECISE)
        open_[list(tried)] = False
        if not open_.any():
            return None
        return int(np.where(open_, relative, -1.0).argmax())


def _rates(
    mixtures: Sequence[Mixture], draws: Sequence[FloatArray], fails: Sequence[BoolArray]
) -> tuple[FloatArray, FloatArray]:
    """Shares at every node and their standard errors, each draw weighed by all mixtures together.

    The balance heuristic: Veach & Guibas, *SIGGRAPH* (1995) 419-428, from memory.
    """
    z = np.concatenate(draws, axis=1)
    inverse = np.zeros(z.shape[1])
    for m in mixtures:
        inverse += 1.0 / np.maximum(m.weight(z), 1e-300)
    weight = len(mixtures) / inverse
    hit = np.concatenate(fails, axis=1)
    n = z.shape[1]
    value = hit @ weight / n
    square = hit @ np.square(weight) / n
    return value, np.sqrt(np.maximum(square - value**2, 0.0) / n)
