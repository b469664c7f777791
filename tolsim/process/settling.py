"""A gauge that stands in the middle of settling: what passes goes on changing."""

from __future__ import annotations

import math

import numpy as np

from tolsim.process.added import added
from tolsim.process.base import FloatArray, Process
from tolsim.process.bounded import normal_window
from tolsim.process.gauging import Passed, Window, passed
from tolsim.process.moved import kinks, moved
from tolsim.process.panels import REACH, chunks, gauss_nodes, panels
from tolsim.process.plain import Normal
from tolsim.process.tabled import Tabled
from tolsim.process.trace import trace

__all__ = ["passed_while_settling"]


def passed_while_settling(
    process: Process, change: Normal, before: float, after: float, window: Window
) -> Passed:
    r"""Population at the end of parts that pass a gauge part-way through their settling.

    The reading sees :math:`y = x + a\,d`, the end is :math:`y + b\,d` with the same change d of
    the same part: what passes is no longer independent of what it will still do.

    Parameters
    ----------
    process : Process
        Sizes x before any of the change [mm].
    change : Normal
        Whole change d [mm] from part to part.
    before, after : float
        Shares a and b of it before and after the gauge.
    window : Window
        What the gauge lets pass.

    Notes
    -----
    Exact for normal sizes: b d given y is a straight line in y and an independent normal. Other
    populations are summed over what the reading adds to x, see `_averaged`.
    """
    rest = Normal(mean=after * change.mean, sd=abs(after) * change.sd)
    if before == 0.0 or after == 0.0 or change.sd == 0.0:
        at_gauge = added(process, Normal(mean=before * change.mean, sd=abs(before) * change.sd))
        left = passed(at_gauge, window)
        return Passed(process=added(left.process, rest), accepted=left.accepted)
    if isinstance(process, Normal):
        return _normal(process, change, before, after, window)
    return _averaged(process, change, before, after, window)


def _normal(process: Normal, change: Normal, before: float, after: float, window: Window) -> Passed:
    mean = process.mean + before * change.mean
    variance = process.sd**2 + (before * change.sd) ** 2
    slope = after * before * change.sd**2 / variance
    left = passed(Normal(mean=mean, sd=math.sqrt(variance)), window)
    straight = moved(left.process, shift=after * change.mean - slope * mean, scale=1.0 + slope)
    residual = abs(after) * change.sd * math.sqrt(process.sd**2 / variance)
    return Passed(process=added(straight, Normal(mean=0.0, sd=residual)), accepted=left.accepted)


def _averaged(
    process: Process, change: Normal, before: float, after: float, window: Window
) -> Passed:
    r"""Any population: :math:`r = a d + e` is all that the reading adds to x.

    Given r the part passes for :math:`L - r \le x \le U - r`, sharply, and its whole change is
    :math:`c r` and a normal remainder that is independent of x and of passing. So
    :math:`t = x + c r` is summed over r by Gauss panels that end where the limits and the corners
    of x fall, and the remainder is added.
    """
    whole = before + after
    spread = math.hypot(before * change.sd, window.sd)
    c = whole * before * change.sd**2 / spread**2
    row = Normal(mean=before * change.mean, sd=spread)
    remainder = Normal(
        mean=whole * change.mean - c * row.mean,
        sd=math.sqrt(max((whole * change.sd) ** 2 - (c * spread) ** 2, 0.0)),
    )
    edges = panels(row, 0.3 * process.sd)
    corners = np.asarray(kinks(process))
    limits = np.asarray(window.limits)

    def passing(z: FloatArray, top: FloatArray) -> FloatArray:
        r = row.mean + row.sd * z
        low, high = process.latent(window.low - r), process.latent(window.high - r)
        return normal_window(low, np.clip(process.latent(top), low, high))

    def total() -> float:
        fixed = [(v - k - row.mean) / row.sd for v in limits for k in corners]
        own = np.unique(np.clip(np.concatenate([edges, fixed]), -REACH, REACH))
        z, weight = gauss_nodes(own)
        return float(passing(z, np.full(z.shape, np.inf)) @ weight)

    accepted = total()
    if accepted < 1e-9:
        raise ValueError(f"gauge: only {accepted:.2g} of the parts pass")

    def shares(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        out = np.empty((3, t.size))
        for part in chunks(t.size, 8 * (len(edges) + 3 * len(corners) + 2)):
            s = t.ravel()[part, None]
            breaks = [np.broadcast_to(edges, (s.size, len(edges)))]
            if c != 0.0:
                breaks.append(((s - corners) / c - row.mean) / row.sd)
            if c != 1.0:
                breaks.append(((s - limits) / (c - 1.0) - row.mean) / row.sd)
            for limit in limits:
                own = ((limit - corners) - row.mean) / row.sd
                breaks.append(np.broadcast_to(own, (s.size, own.size)))
            z, weight = gauss_nodes(
                np.sort(np.clip(np.concatenate(breaks, axis=1), -REACH, REACH), axis=1)
            )
            r = row.mean + row.sd * z
            x = s - c * r
            a, b = process.latent(window.low - r), process.latent(window.high - r)
            at = np.clip(process.latent(x), a, b)
            inside = (x >= window.low - r) & (x <= window.high - r)
            out[0, part] = (normal_window(a, at) * weight).sum(axis=1)
            out[1, part] = (normal_window(at, b) * weight).sum(axis=1)
            out[2, part] = (np.where(inside, process.density(x), 0.0) * weight).sum(axis=1)
        lower, upper, density = out.reshape(3, *t.shape) / accepted
        return lower, upper, density

    nodes = np.linspace(-8.6, 8.6, 61)
    wide = process.size(nodes) + c * (row.mean + row.sd * nodes)
    still = process.size(nodes) + c * row.mean
    start = np.unique(np.concatenate([wide, still, limits, corners + c * row.mean]))
    curve = trace(shares, start, spread=math.hypot(process.sd, c * row.sd))
    return Passed(process=added(Tabled(curve), remainder), accepted=accepted)
