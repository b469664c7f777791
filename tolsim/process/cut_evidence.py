"""Sorted lots from readings: a cut normal whose edges are as uncertain as its parent."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray, Process
from tolsim.process.bounded import Bounded, normal_window
from tolsim.process.functions import between
from tolsim.process.shaped_evidence import ShapedEvidence, shaped
from tolsim.record import Array, Primitive

__all__ = ["OPEN", "CutFamily", "cut_evidence", "most_likely_cut", "tilted"]

_FEWEST = 5
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)
_LOG_BEND = (math.log(0.03), math.log(400.0))
_FARTHEST = 5.5  # spreads of the parent between its mean and the nearer edge of what is left
OPEN = 7.0  # spreads beyond the readings at which a side that is not sorted ends
_OUTSIDE = 2.5  # spreads of the gauge by which a reading may lie beyond an edge
_BENDS = np.linspace(*_LOG_BEND, 96)
_TURNED = np.linspace(-2.4, 2.4, 257)  # inverse hyperbolic tangents of the mean of u
_HALF_LOG_TWO_PI = 0.5 * math.log(2.0 * math.pi)


@lru_cache(maxsize=1)
def _slopes() -> FloatArray:
    """Slope for each logarithm of the bend (rows) and turned mean of u (columns)."""
    bend = np.broadcast_to(np.exp(_BENDS)[:, None], (_BENDS.size, _TURNED.size))
    wanted = np.tanh(_TURNED)[None, :]
    root = np.sqrt(bend)
    low, high = -root * (_FARTHEST + root), root * (_FARTHEST + root)
    slope = np.clip(wanted * bend, low, high)
    for _ in range(14):
        one, two, _, _ = tilted(slope, bend)[1]
        below = one < wanted
        low, high = np.where(below, slope, low), np.where(below, high, slope)
        step = slope + (wanted - one) / np.maximum(two - one * one, 1e-9)
        inside = (step > low) & (step < high)
        slope = np.where(inside, step, 0.5 * (low + high))
    return np.ascontiguousarray(slope)


def _places(turned: FloatArray, log_bend: FloatArray) -> tuple[FloatArray, ...]:
    table = _slopes()
    width = _TURNED.size
    u = (np.asarray(turned) - _TURNED[0]) / (_TURNED[1] - _TURNED[0])
    v = (np.asarray(log_bend) - _BENDS[0]) / (_BENDS[1] - _BENDS[0])
    u, v = np.clip(u, 0.0, width - 1.000001), np.clip(v, 0.0, _BENDS.size - 1.000001)
    i, j = u.astype(np.intp), v.astype(np.intp)
    at = j * width + i
    flat = table.reshape(-1)
    corners = (flat.take(at), flat.take(at + 1), flat.take(at + width), flat.take(at + width + 1))
    return (u - i, v - j, *corners)


def _slope_forward(turned: FloatArray, log_bend: FloatArray, out: FloatArray) -> None:
    a, b, x00, x10, x01, x11 = _places(turned, log_bend)
    low = x00 + a * (x10 - x00)
    np.add(low, b * (x01 + a * (x11 - x01) - low), out=out)


def _slope_slopes(turned: FloatArray, log_bend: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, x00, x10, x01, x11 = _places(turned, log_bend)
    of_mean = ((1.0 - b) * (x10 - x00) + b * (x11 - x01)) / (_TURNED[1] - _TURNED[0])
    of_bend = ((1.0 - a) * (x01 - x00) + a * (x11 - x10)) / (_BENDS[1] - _BENDS[0])
    return of_mean, of_bend


#: Slope with which u has a mean, given as its inverse hyperbolic tangent, for the logarithm of the
#: bend; within what the parent may be. Recordable.
_slope_of_mean = Primitive(_slope_forward, _slope_slopes)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CutFamily:
    r"""Normal parts of which only sizes between two edges were delivered.

    Between the edges, u from -1 to 1, the density is :math:`e^{\alpha u - \kappa u^2/2}`, the
    exponential family of a cut normal, which stays regular where the parent is far wider than the
    window. Coordinates are the gaps, the parent's spread and the mean of what is left. Prior:
    Jeffreys' of :math:`\alpha` and :math:`\kappa` times the spread of what is left, which is flat
    in mean and logarithm of the spread where nothing is cut; and :math:`1/(1 + g/s)^2` for the gap
    g between an edge and the outermost reading, s the spread of the readings. The parent's mean
    lies at most 5.5 of its spreads beyond an edge.

    Parameters
    ----------
    x : ndarray
        Readings [mm].
    edges : str
        Sides that were sorted: ``both``, ``low`` or ``high``; the other side stays open.
    gauge_sd : float
        Repeatability [mm]: readings may then lie beyond an edge.
    """

    x: FloatArray
    edges: str = "both"
    gauge_sd: float = 0.0
    shape: str = "bounded"
    rows: tuple[str, ...] = ("edge low", "edge high", "parent sd", "mean")
    method: str = "truncated likelihood, edges uncertain"
    _mean: float = field(init=False, default=0.0)
    _sd: float = field(init=False, default=1.0)

    def __post_init__(self) -> None:
        if self.x.size < _FEWEST:
            raise ValueError(f"a sorted lot needs at least {_FEWEST} readings")
        object.__setattr__(self, "_mean", float(self.x.mean()))
        object.__setattr__(self, "_sd", float(self.x.std(ddof=1)))
        side = {"both": ("edge low", "edge high"), "low": ("edge low",), "high": ("edge high",)}
        object.__setattr__(self, "rows", (*side[self.edges], "parent sd", "mean"))

    def _inside(self, coordinates: Sequence[Array]) -> tuple[Array, Array, Array, Array]:
        """Edges in spreads from the mean of the readings, slope and logarithm of the bend."""
        t = (self.x - self._mean) / self._sd
        slack = _OUTSIDE * self.gauge_sd / self._sd
        low: Array = float(t.min()) - OPEN
        high: Array = float(t.max()) + OPEN
        rest = list(coordinates)
        if self.edges != "high":
            low = float(t.min()) + slack - np.exp(rest.pop(0))
        if self.edges != "low":
            high = float(t.max()) - slack + np.exp(rest.pop(0))
        # blurred edges may cross where the draws go far out
        half, middle = np.maximum(0.5 * (high - low), 0.05), 0.5 * (high + low)
        log_bend = 2.0 * (np.log(half) - rest[0])
        log_bend = np.minimum(np.maximum(log_bend, _LOG_BEND[0]), _LOG_BEND[1])
        mean = np.minimum(np.maximum((rest[1] - middle) / half, -0.98), 0.98)
        slope = _slope_of_mean(0.5 * np.log((1.0 + mean) / (1.0 - mean)), log_bend)
        return middle - half, middle + half, slope, log_bend

    def log_target(self, points: FloatArray) -> FloatArray:
        """Likelihood of the readings times the prior, in coordinates."""
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            return self._log_target(points)

    def _log_target(self, points: FloatArray) -> FloatArray:
        t, g = (self.x - self._mean) / self._sd, self.gauge_sd / self._sd
        low, high, slope, log_bend = self._inside(list(points))
        bend = np.exp(log_bend)
        half, middle = 0.5 * (high - low), 0.5 * (high + low)
        free = points[: len(self.rows) - 2]
        root = np.sqrt(bend)
        asked = (points[-1] - middle) / half
        kept = (log_bend > _LOG_BEND[0]) & (log_bend < _LOG_BEND[1]) & (half > 0.06)
        kept &= (np.abs(slope) < 0.999 * root * (_FARTHEST + root)) & (np.abs(asked) < 0.98)
        kept &= (np.abs(free) < 6.0).all(axis=0)
        log_z, moments = tilted(slope, bend)
        if g == 0.0:
            u = t.sum() - t.size * middle
            square = float((t * t).sum()) - 2.0 * middle * t.sum() + t.size * middle**2
            log = slope * u / half - 0.5 * bend * square / half**2
        else:
            log = self._blurred(t, g, low, high, slope, bend)
        log = log - t.size * (log_z + np.log(half))
        m1, m2, m3, m4 = moments
        information = (m2 - m1 * m1) * (m4 - m2 * m2) - (m3 - m1 * m2) ** 2
        # from slope to mean by half times the variance of u, and once the spread of what is left:
        # flat in mean and logarithm of the spread where nothing is cut, so Student's t
        prior = 0.5 * np.log(np.maximum(information, 1e-300)) + log_bend
        prior = prior - 0.5 * np.log(np.maximum(m2 - m1 * m1, 1e-300))
        prior = prior + (free - 2.0 * np.log1p(np.exp(free))).sum(axis=0)
        return np.asarray(np.where(kept & np.isfinite(log), log + prior, -np.inf))

    @staticmethod
    def _blurred(
        t: FloatArray, g: float, low: Array, high: Array, slope: FloatArray, bend: FloatArray
    ) -> FloatArray:
        """Sum of the logarithms of the density of readings with scatter g, normalising left out.

        The product of two normals in the size is one normal in it, cut at the edges.
        """
        half, middle = 0.5 * (high - low), 0.5 * (high + low)
        precision = bend / half**2 + 1.0 / g**2
        root = np.sqrt(precision)
        total = np.zeros(np.shape(slope))
        for y in t.tolist():
            off = y - middle
            centre = (slope / half + off / g**2) / precision
            part = normal_window((-half - centre) * root, (half - centre) * root)
            total += 0.5 * precision * centre**2 - 0.5 * (off / g) ** 2 - np.log(root * g)
            total += np.log(np.maximum(part, 1e-300))
        return total

    def starts(self) -> list[tuple[FloatArray, FloatArray]]:
        """Edges a mean gap beyond the outermost readings, the parent by the moments."""
        t = (self.x - self._mean) / self._sd
        sides = len(self.rows) - 2
        slack = _OUTSIDE * self.gauge_sd / self._sd
        gap = math.log(float(np.ptp(t)) / t.size + slack)
        size = 1.0 / t.size
        low, high, _, _ = self._inside([gap] * sides + [0.0, 0.0])
        half, middle = 0.5 * float(high - low), 0.5 * float(high + low)
        _, bend = most_likely_cut((t[None, :] - middle) / half)
        parent = math.log(half) - 0.5 * math.log(float(np.clip(bend[0], 0.3, 100.0)))
        spread = np.diag([*[0.8 if slack == 0.0 else 0.15] * sides, 0.1 + size, size])
        return [(np.array([*[gap] * sides, parent, 0.0]), spread)]

    def theta(self, coordinates: Sequence[Array]) -> tuple[Array, ...]:
        """Mean and spread of the parent, lower and upper edge [mm]."""
        low, high, slope, log_bend = self._inside(coordinates)
        bend, root = np.exp(log_bend), np.exp(0.5 * log_bend)
        half, middle = 0.5 * (high - low), 0.5 * (high + low)
        return (
            self._mean + self._sd * (middle + half * slope / bend),
            self._sd * half / root,
            self._mean + self._sd * low,
            self._mean + self._sd * high,
        )

    def moments(self, theta: Sequence[Array]) -> tuple[Array, Array]:
        """Moments of what is left of the parent."""
        mean, sd, low, high = (np.asarray(v, dtype=np.float64) for v in theta)
        half, middle = 0.5 * (high - low), 0.5 * (high + low)
        bend = (half / sd) ** 2
        _, (m1, m2, _, _) = tilted((mean - middle) / half * bend, bend)
        return middle + half * m1, half * np.sqrt(np.maximum(m2 - m1 * m1, 0.0))

    def size(self, z: Array, theta: Sequence[Array]) -> Array:
        """Size of a part."""
        mean, sd, low, high = theta
        return mean + sd * between(z, (low - mean) / sd, (high - mean) / sd)

    def tails(self, x: FloatArray, theta: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        mean, sd, low, high = theta
        a, b = (low - mean) / sd, (high - mean) / sd
        t = np.minimum(np.maximum((x - mean) / sd, a), b)
        whole = np.maximum(normal_window(a, b), 1e-300)
        return normal_window(a, t) / whole, normal_window(t, b) / whole

    def log_density(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Density; far below every other beyond the edges."""
        mean, sd, low, high = theta
        t = (x - mean) / sd
        whole = np.log(np.maximum(normal_window((low - mean) / sd, (high - mean) / sd), 1e-300))
        log = -0.5 * t * t - (np.log(sd) + _HALF_LOG_TWO_PI + whole)
        return np.where((x >= low) & (x <= high), log, -300.0)

    def process(self, theta: Sequence[float]) -> Process:
        """The process."""
        mean, sd, low, high = theta
        return Bounded(mean=mean, sd=sd, low=low, high=high)


def tilted(slope: FloatArray, bend: FloatArray) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Logarithm of the integral of exp(slope u - bend u²/2) over u from -1 to 1, and the first
    four moments of u."""
    u = _NODES
    log = slope[..., None] * u - 0.5 * bend[..., None] * (u * u)
    top = log.max(axis=-1, keepdims=True)
    weight = _WEIGHTS * np.exp(log - top)
    total = weight.sum(axis=-1)
    moments = tuple((weight @ u**k) / total for k in (1, 2, 3, 4))
    return np.log(total) + top[..., 0], moments


def most_likely_cut(u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Most likely slope and bend of lots (…, n) between edges -1 and 1.

    The bend is the best of a grid, each with the slope that has the mean of the readings.
    """
    one, two = u.mean(axis=-1)[..., None], (u * u).mean(axis=-1)[..., None]
    turned = np.arctanh(np.clip(one, -0.98, 0.98))
    slope = np.asarray(_slope_of_mean(turned, _BENDS))
    bend = np.exp(_BENDS)
    value = slope * one - 0.5 * bend * two - tilted(slope, np.broadcast_to(bend, slope.shape))[0]
    best = np.argmax(value, axis=-1)
    return np.take_along_axis(slope, best[..., None], axis=-1)[..., 0], bend[best]


def cut_evidence(
    values: ArrayLike, *, edges: str = "both", gauge_sd: float = 0.0
) -> ShapedEvidence:
    """What readings [mm], at least 5, of a lot sorted at these sides allow its process to be.

    >>> found = cut_evidence(np.linspace(-1.0, 1.0, 40))
    >>> theta = found.sets()
    >>> bool((theta[2] <= -1.0).all() and (theta[3] >= 1.0).all())
    True
    """
    x = np.asarray(values, dtype=np.float64)
    if float(np.ptp(x)) == 0.0:
        raise ValueError("all readings are alike")
    family = CutFamily(x=x, edges=edges, gauge_sd=gauge_sd)
    return shaped(x, family, gauge_sd=gauge_sd)
