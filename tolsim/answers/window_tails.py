"""Where units fail almost whatever their size: densities to draw everything but the size from.

At a narrow process far from the edges the other contributors do it all, further out than plain
draws reach. So mixtures are fitted where rates are small, the rows of the size are integrated out
of them, and part of the units is drawn from what is left, each counted at what it is worth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.answers.window_edges import Finder, Probe, Rows
from tolsim.chance.densities import Mixture, Shaped
from tolsim.chance.event import Event, Spent, Tally, event_of
from tolsim.chance.mixture import MixtureSettings, mixture_run
from tolsim.chance.streams import generator

__all__ = ["PLAIN", "Tails", "of_mode", "tails_of", "without_rows"]

FloatArray = NDArray[np.float64]
PLAIN = 2.0 / 3.0  # share of plain draws among all units of a mode that has tails
_LEVELS = (1e-4, 1e-6, 1e-8)  # rates at which mixtures are fitted
_FITTED = MixtureSettings(subset_samples=3000, pilot=4096, rounds=3, least=2000, most=2000)
_BUDGET = 1e6
_MOST = 20  # components in all
_NARROW = 1e-9


@dataclass(frozen=True, slots=True)
class Tails:
    """Rows by which a size fails, and the density that all units of a mode come from.

    `probe` is the one of that mode alone.
    """

    probe: Probe
    rows: tuple[int, ...]
    everything: Mixture
    beyond: Mixture

    def draw(self, finder: Finder, seed: int, label: str, block: int) -> None:
        """Units from what is not plain, into the buffer of a finder of `probe`."""
        rng = generator(seed, label, block)
        rng.standard_normal(out=finder.buffer)
        own = [finder.drawn.index(r) for r in self.rows]
        finder.buffer[own] = self.beyond.draw(rng, finder.n)[0]

    def weight(self, finder: Finder) -> FloatArray:
        """What each unit in the buffer of a finder counts, whichever drew it, (n,)."""
        own = [finder.drawn.index(r) for r in self.rows]
        return self.everything.weight(finder.buffer[own])


def of_mode(probe: Probe, mode: str, *, free: bool = True) -> Probe:
    """The probe of one mode alone; without what fails whatever the size where not `free`."""
    rows = probe.rows[mode]
    own = sorted(k for side in (*rows.lower, *rows.upper) for k in side)
    own += rows.free if free else ()
    place = {k: i for i, k in enumerate(own)}

    def moved(side: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(place[k] for k in side)

    return replace(
        probe,
        recording=probe.recording.select(own),
        rows={
            mode: Rows(
                moved(rows.free) if free else (),
                (moved(rows.lower[0]), moved(rows.lower[1])),
                (moved(rows.upper[0]), moved(rows.upper[1])),
            )
        },
        gain=probe.gain[own],
    )


def tails_of(
    probe: Probe,
    mode: str,
    processes: Sequence[tuple[float, float]],
    rates: FloatArray,
    *,
    least: float,
    seed: int,
) -> Tails | None:
    """Densities fitted at processes along a line, from a rate of 1e-4 down.

    Parameters
    ----------
    probe, mode : Probe, str
        Of one build.
    processes : sequence of (float, float)
        Mean and spread [mm] in their order along the line.
    rates : ndarray
        What a short look has found for them, (n,); only those above 1e-4 are relied on.
    least : float
        Rate below which nothing matters.

    Returns
    -------
    Tails or None
        None where no rate of the line is small or no failure is met.
    """
    sized = of_mode(probe, mode, free=False)
    reads = sorted(set(sized.recording.reads))
    own = [reads.index(i) for i in probe.index if i is not None and i in reads]
    keep = [k for k in range(len(reads)) if k not in own]
    found: list[Mixture] = []
    for start, way in _starts(rates):
        at, value = start, float(rates[start])
        known = [(at, float(ndtri(value)))]
        for level in _LEVELS:
            if level < least:
                break
            nxt = _further(known, level, way, len(processes))
            if nxt is None or nxt == at:
                break
            at = nxt
            run = _run(sized, reads, processes[at], seed + len(found))
            if run is None:
                break
            mixture, value = run
            found.append(without_rows(mixture, own))
            known.append((at, float(ndtri(min(0.5, max(value, 1e-16))))))
            if value < least:
                break
    if not found:
        return None
    beyond = _together([_beyond(m) for m in found])
    return Tails(
        probe=of_mode(probe, mode),
        rows=tuple(reads[k] for k in keep),
        everything=_with_plain(beyond),
        beyond=beyond,
    )


def _starts(rates: FloatArray) -> list[tuple[int, int]]:
    """Where rates pass 1e-3 on the way down, and in which direction that is."""
    out = []
    low = rates < 1e-3
    for k in range(len(rates) - 1):
        if low[k + 1] and not low[k]:
            out.append((k, 1))
        elif low[k] and not low[k + 1]:
            out.append((k + 1, -1))
    if low.all() and len(rates) > 0:
        # nothing is frequent here: from the most frequent end inwards
        out.append((0, 1) if rates[0] >= rates[-1] else (len(rates) - 1, -1))
    return out


def _further(known: list[tuple[int, float]], level: float, way: int, n: int) -> int | None:
    """Index at which the normal score should reach that of a level, a straight line through two."""
    at, score = known[-1]
    wanted = float(ndtri(level))
    if score <= wanted:
        return None
    if len(known) > 1 and known[-2][0] != at and known[-2][1] > score:
        slope = (score - known[-2][1]) / abs(at - known[-2][0])
        step = math.ceil((wanted - score) / slope)
    else:
        step = max(1, n // 12)
    new = at + way * max(1, min(step, n // 6))
    return new if 0 <= new < n else None


def _run(
    probe: Probe, reads: list[int], process: tuple[float, float], seed: int
) -> tuple[Mixture, float] | None:
    tally = Tally(_event(probe, reads, *process), budget=_BUDGET)
    try:
        run = mixture_run(tally, seed=seed, target=0.1, settings=_FITTED)
    except Spent:
        return None
    return None if run is None else (run.sums.mixture, run.sums.value)


def _event(probe: Probe, reads: list[int], mean: float, sd: float) -> Event:
    """Failure of a probe's units whose sizes are normal, on the rows that it reads."""
    whole = event_of(probe.recording)
    shift, scale = np.zeros((len(reads), 1)), np.ones((len(reads), 1))
    for row, (a, b) in probe.normals(mean, sd).items():
        if row in reads:
            shift[reads.index(row)], scale[reads.index(row)] = a, b

    def full(z: FloatArray) -> FloatArray:
        out = np.zeros((probe.recording.inputs, z.shape[1]))
        out[reads] = shift + scale * z
        return out

    def slope(z: FloatArray, index: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        assert whole.margins_gradient is not None
        g, grad = whole.margins_gradient(full(z), index)
        return g, np.ascontiguousarray(grad[reads] * scale)

    def margins(z: FloatArray) -> FloatArray:
        assert whole.margins is not None
        return whole.margins(full(z))

    return Event(
        dimension=len(reads),
        values=lambda z: whole.values(full(z)),
        margins=margins,
        margins_gradient=slope,
    )


def without_rows(mixture: Mixture, rows: Sequence[int]) -> Mixture:
    """The mixture of everything but some rows, these integrated out.

    Examples
    --------
    >>> whole = Mixture(weights=np.ones(1), points=np.array([[1.0], [2.0]]))
    >>> without_rows(whole, [0]).points
    array([[2.]])
    """
    keep = [k for k in range(mixture.points.shape[0]) if k not in set(rows)]
    return Mixture(
        weights=mixture.weights,
        points=mixture.points[keep],
        shaped=tuple(_marginal(s, keep) for s in mixture.shaped),
    )


def _marginal(s: Shaped, keep: list[int]) -> Shaped:
    """Its covariance over the rows kept: `scale` but for the directions that the axes leave."""
    axes = s.axes[keep]
    if axes.shape[1] == 0:
        return Shaped(mean=s.mean[keep], axes=axes, variances=s.variances, scale=s.scale)
    basis, sizes, _ = np.linalg.svd(axes, full_matrices=False)
    basis = basis[:, sizes > _NARROW]
    part = basis.T @ axes
    extra, turn = np.linalg.eigh((part * (s.variances - s.scale)) @ part.T)
    return Shaped(mean=s.mean[keep], axes=basis @ turn, variances=s.scale + extra, scale=s.scale)


def _beyond(m: Mixture) -> Mixture:
    """Without the plain density, which stands first."""
    return Mixture(weights=m.weights[1:], points=m.points[:, 1:], shaped=m.shaped)


def _together(parts: list[Mixture]) -> Mixture:
    """All of them, each with one share, the heaviest components kept."""
    weights = np.concatenate(
        [m.weights[: m.points.shape[1]] / m.weights.sum() for m in parts]
        + [m.weights[m.points.shape[1] :] / m.weights.sum() for m in parts]
    )
    points = np.concatenate([m.points for m in parts], axis=1)
    shaped = [s for m in parts for s in m.shaped]
    kept = np.sort(np.argsort(-weights, kind="stable")[:_MOST])
    k = points.shape[1]
    return Mixture(
        weights=weights[kept] / weights[kept].sum(),
        points=points[:, kept[kept < k]],
        shaped=tuple(shaped[j - k] for j in kept[kept >= k]),
    )


def _with_plain(beyond: Mixture) -> Mixture:
    origin = np.zeros((beyond.points.shape[0], 1))
    return Mixture(
        weights=np.concatenate([[PLAIN], (1.0 - PLAIN) * beyond.weights]),
        points=np.concatenate([origin, beyond.points], axis=1),
        shaped=beyond.shaped,
    )
