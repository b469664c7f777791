"""Rates over two quantities of any kind: counted on common draws at nodes, drawn out between them.

Between nodes a rate is read from a smooth surface through the normal scores of the counted shares:
shares of normal populations are nearly straight there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.answers.tally import SETS, events_of, evidence_table
from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import BLOCK, Streams
from tolsim.intervals import weighted_counts
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Joint
from tolsim.spec.load import Study

__all__ = ["Shares", "counted", "drawn_out", "of_errors"]

FloatArray = NDArray[np.float64]
_TINY = 1e-15
_NIL = 1e-9  # below this no share is told apart from any other


@dataclass(frozen=True, slots=True)
class Shares:
    """Rates of one mode with the ends of their 95 % intervals, arrays of one shape."""

    value: FloatArray
    low: FloatArray
    high: FloatArray

    def every(self, step: int) -> Shares:
        """Of a grid one point of so many either way, the first and the last among them."""
        return Shares(*(v[::step, ::step] for v in (self.value, self.low, self.high)))


def of_errors(value: FloatArray, error: FloatArray) -> Shares:
    """Intervals from standard errors, normal on the logarithm where the error is small enough.

    A share below 1e-9 is known as such only: its interval goes from 0 to that.
    """
    relative = np.divide(error, value, out=np.full_like(value, np.inf), where=value > 0.0)
    factor = np.exp(1.96 * np.minimum(relative, 3.0))
    plain = relative > 0.5
    low = np.where(plain, np.maximum(value - 1.96 * error, 0.0), value / factor)
    high = np.where(plain, value + 1.96 * error, value * factor)
    nil = value < _NIL
    low, high = np.where(nil, 0.0, low), np.where(nil, np.maximum(high, _NIL), high)
    return Shares(value, low, np.minimum(high, 1.0))


def counted(
    study: Study,
    modes: Sequence[str],
    *,
    seed: int,
    blocks: int,
    workers: int,
    joint: Joint | None = None,
) -> dict[str, tuple[float, float, float]]:
    """Rate of each mode over all supplies with the ends of its interval, by counting.

    Notes
    -----
    The same draws whatever the study, so that rates at neighbouring points differ smoothly.
    """
    joint = joint or assemble(study)
    streams = Streams(seed, joint.latent)
    events = [events_of(b) for b in joint.builds]
    rows = sorted({r for known in events for m in modes for r in known.get((m, 0), [])})
    place = {r: k for k, r in enumerate(rows)}
    recording = joint.recording.select(rows)
    reads = [i for i in recording.reads if i not in joint.evidence]
    table = evidence_table(joint, seed)

    def make() -> Callable[[int], FloatArray]:
        run, drawn = recording.runner(BLOCK), np.empty((len(reads), BLOCK))
        for i in joint.evidence:
            run.z[i] = np.tile(table[i], BLOCK // SETS)

        def work(block: int) -> FloatArray:
            streams.fill(block, drawn, rows=reads)
            run.z[reads] = drawn
            failed = run() < 0.0
            sums = np.zeros((len(modes), 2))
            for k, mode in enumerate(modes):
                weight = np.zeros(BLOCK)
                for build, known in zip(joint.builds, events, strict=True):
                    own = [place[r] for r in known.get((mode, 0), [])]
                    if own:
                        weight += build.share * np.logical_or.reduce(failed[own], axis=0)
                sums[k] = weight.sum(), np.dot(weight, weight)
            return sums

        return work

    total = sum(run_blocks(make, blocks, workers=workers, processes=True))
    assert isinstance(total, np.ndarray)
    n = blocks * BLOCK
    out = {}
    for mode, (first, second) in zip(modes, total, strict=True):
        if first <= 0.5 * n:
            i = weighted_counts(first / n, second / n**2, 1.0 / n)
            out[mode] = (i.value, i.low, min(i.high, 1.0))
        else:
            # counts of good units are the rarer ones: E (1 - v)^2 = 1 - 2 E v + E v^2
            squares = max(0.0, (n - 2.0 * first + second)) / n**2
            i = weighted_counts(max(0.0, 1.0 - first / n), squares, 1.0 / n)
            out[mode] = (1.0 - i.value, max(0.0, 1.0 - i.high), 1.0 - i.low)
    return out


def drawn_out(
    nodes_x: FloatArray, nodes_y: FloatArray, at: Shares, x: FloatArray, y: FloatArray, n: int
) -> Shares:
    """Shares (len(y), len(x)) from those at nodes (len(nodes_y), len(nodes_x)).

    A share of which nothing was counted among `n` units is taken as half a unit. The intervals
    are widened by what leaving out every other node changes, over 8: the error of a cubic falls
    sixteenfold with half the distance, and half of that is left for its kinks.
    """
    least = 0.5 / n

    def score(values: FloatArray) -> FloatArray:
        return np.asarray(ndtri(np.clip(values, max(least, _TINY), 1.0 - max(least, 1e-12))))

    def surface(values: FloatArray) -> FloatArray:
        return _spline(nodes_x, nodes_y, values, x, y)

    middle = score(at.value)
    off = np.zeros_like(middle)
    if len(nodes_x) < len(x) and len(nodes_x) >= 5:
        off += np.abs(_spline(nodes_x[::2], nodes_y, middle[:, ::2], nodes_x, nodes_y) - middle)
    if len(nodes_y) < len(y) and len(nodes_y) >= 5:
        off += np.abs(_spline(nodes_x, nodes_y[::2], middle[::2], nodes_x, nodes_y) - middle)
    # nodes that were used show no error of their own: their neighbours' holds for them
    off = np.max([np.roll(off, k, axis) for k in (-1, 0, 1) for axis in (0, 1)], axis=0) / 8.0
    drawn = surface(middle)
    value = np.asarray(ndtr(drawn))
    # widths are drawn out straight: beside a node that knows little a curve would cross the middle
    down = _spline(nodes_x, nodes_y, middle - score(at.low) + off, x, y, 1)
    up = _spline(nodes_x, nodes_y, score(at.high) - middle + off, x, y, 1)
    low, high = np.asarray(ndtr(drawn - down)), np.asarray(ndtr(drawn + up))
    # nodes without a count lift the surface around them: below ten units only the upper end stands
    low = np.where(value <= 10.0 / n, 0.0, low)
    return Shares(value, np.minimum(low, value), np.maximum(high, value))


def _spline(
    nodes_x: FloatArray,
    nodes_y: FloatArray,
    values: FloatArray,
    x: FloatArray,
    y: FloatArray,
    degree: int = 3,
) -> FloatArray:
    from scipy.interpolate import RectBivariateSpline

    ky, kx = (min(degree, len(v) - 1) for v in (nodes_y, nodes_x))
    return np.asarray(RectBivariateSpline(nodes_y, nodes_x, values, kx=ky, ky=kx)(y, x))
