"""Parts sorted at a gauge: who passes, what share is scrapped, what population is left."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tolsim.process.base import FloatArray, Process, latent_of, normal_density, shares_of
from tolsim.process.bounded import Bounded, normal_window
from tolsim.process.moved import kinks
from tolsim.process.panels import REACH, exact_sizes
from tolsim.process.plain import Fixed, Normal
from tolsim.process.tabled import Tabled
from tolsim.process.trace import trace

__all__ = ["Acceptance", "Passed", "Sums", "Window", "normal_yield", "passed", "thinned"]

_MIN_ACCEPTED = 1e-9  # below this the limits contradict the process
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    r"""Sizes that a gauge lets pass.

    .. math:: A(x) = \Phi\Big(\frac{U - x}{s}\Big) - \Phi\Big(\frac{L - x}{s}\Big)

    Parameters
    ----------
    low, high : float
        Limits L and U on the reading [mm], guard bands and bias taken in; infinite where there
        is none.
    sd : float
        Repeatability s of the gauge [mm]; 0 sorts without error.
    """

    low: float = -math.inf
    high: float = math.inf
    sd: float = 0.0

    def __post_init__(self) -> None:
        if math.isnan(self.low) or math.isnan(self.high) or not self.low < self.high:
            raise ValueError(f"gauge: need low < high, got {self.low} and {self.high}")
        if not (math.isfinite(self.sd) and self.sd >= 0.0):
            raise ValueError(f"gauge: repeatability must not be negative, got {self.sd}")

    def share(self, x: FloatArray) -> FloatArray:
        """Probability that a part of true size `x` passes."""
        if self.sd == 0.0:
            return np.where((x >= self.low) & (x <= self.high), 1.0, 0.0)
        return normal_window((self.low - x) / self.sd, (self.high - x) / self.sd)

    @property
    def limits(self) -> tuple[float, ...]:
        """The limits that are finite."""
        return tuple(v for v in (self.low, self.high) if math.isfinite(v))


class Acceptance(Protocol):
    """Probability that a part passes, by its size, and where that changes fast."""

    def share(self, x: FloatArray) -> FloatArray:
        """Probability that a part of true size `x` passes."""

    @property
    def limits(self) -> tuple[float, ...]:
        """Sizes about which the probability changes."""

    @property
    def sd(self) -> float:
        """Width of the change; 0 where it is a jump."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Passed:
    """What a gauge leaves: the population that passes and its share of what reached the gauge."""

    process: Process
    accepted: float


def passed(process: Process, window: Window) -> Passed:
    r"""The population that a gauge lets pass.

    .. math:: F'(x) = \frac{1}{Y}\int_{-\infty}^{x} A(t) f(t)\,dt,\qquad Y = \int A f

    Normal or bounded populations at a gauge without error stay in closed form; everything else
    is summed by Gauss panels on either side of each size and traced.

    Raises
    ------
    ValueError
        If less than 1e-9 of the parts pass.

    Examples
    --------
    >>> left = passed(Normal(mean=0.0, sd=1.0), Window(low=-2.0, high=2.0, sd=0.25))
    >>> 1.0 - left.accepted  # scrapped
    0.052345
    """
    if process.sd == 0.0:
        share = float(window.share(np.asarray(process.mean)))
        _check(share, window)
        return Passed(process=Fixed(value=process.mean), accepted=share)
    if window.sd == 0.0:
        return _cut(process, window)
    return thinned(process, window)


def thinned(process: Process, acceptance: Acceptance) -> Passed:
    """The population that passes an acceptance of any form; see `passed`."""
    sums = Sums.of(process, acceptance)
    _check(sums.total, acceptance)
    z = np.linspace(-REACH, REACH, 61)
    around = np.linspace(-9.0, 9.0, 25) * acceptance.sd
    near = [np.clip(limit + around, *process.support) for limit in acceptance.limits]
    start = np.unique(np.concatenate([process.size(z), *near, kinks(process)]))
    curve = trace(sums.shares, start, spread=sums.spread)
    corners = kinks(process)
    if acceptance.sd == 0.0:
        corners = tuple(sorted({*corners, *acceptance.limits}))
    return Passed(process=Tabled(curve, kinks=corners), accepted=sums.total)


def _check(accepted: float, acceptance: Acceptance) -> None:
    if accepted < _MIN_ACCEPTED:
        limits = " and ".join(f"{v:g}" for v in acceptance.limits)
        raise ValueError(f"gauge: only {accepted:.2g} of the parts pass the limits {limits}")


def _cut(process: Process, window: Window) -> Passed:
    low, high = window.low, window.high
    if isinstance(process, Normal):
        left = Bounded(mean=process.mean, sd=process.sd, low=low, high=high)
        return Passed(process=left, accepted=left.accepted)
    if isinstance(process, Bounded):
        low, high = max(low, process.low), min(high, process.high)
        if not low < high:
            _check(0.0, window)
        left = Bounded(mean=process.parent_mean, sd=process.parent_sd, low=low, high=high)
        return Passed(process=left, accepted=left.accepted / process.accepted)
    a, b = (float(v) for v in process.latent(np.array([low, high])))
    share = float(normal_window(a, b))
    _check(share, window)

    def shares(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        lower, upper, f = shares_of(process, x)
        z = np.clip(latent_of(lower, upper), a, b)
        inside = (x >= low) & (x <= high)
        return (
            normal_window(a, z) / share,
            normal_window(z, b) / share,
            np.where(inside, f / share, 0.0),
        )

    corners = tuple(sorted({k for k in kinks(process) if low < k < high} | set(window.limits)))
    z = np.linspace(max(a, -REACH), min(b, REACH), 61)
    start = np.unique(np.clip(np.concatenate([process.size(z), corners]), low, high))
    curve = trace(shares, start, spread=process.sd)
    return Passed(process=Tabled(curve, kinks=corners), accepted=share)


@dataclass(frozen=True, kw_only=True, slots=True)
class Sums:
    """Accepted share between panel edges, summed from either end."""

    process: Process
    window: Acceptance
    edges: FloatArray
    below: FloatArray
    above: FloatArray
    total: float
    spread: float

    @classmethod
    def of(cls, process: Process, window: Acceptance) -> Sums:
        """The sums of what a gauge with this window accepts of a process."""
        around = np.linspace(-9.0, 9.0, 37) * window.sd
        inner = [process.latent(limit + around) for limit in window.limits]
        inner.append(process.latent(np.asarray(kinks(process))))
        edges = np.concatenate([np.arange(-REACH, REACH + 0.1, 0.2), *inner])
        edges = np.unique(edges[np.abs(edges) <= REACH])
        each, x, weight = _accepted(process, window, edges[:-1], edges[1:])
        total = float(each.sum())
        mean = float((weight * x).sum()) / max(total, 1e-300)
        spread = math.sqrt(float((weight * (x - mean) ** 2).sum()) / max(total, 1e-300))
        return cls(
            process=process,
            window=window,
            edges=edges,
            below=np.concatenate([[0.0], np.cumsum(each)]),
            above=np.concatenate([np.cumsum(each[::-1])[::-1], [0.0]]),
            total=total,
            spread=spread,
        )

    def shares(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shares below and above `x` among the parts that pass, and their density."""
        lower, upper, f = shares_of(self.process, x)
        z = np.clip(latent_of(lower, upper), self.edges[0], self.edges[-1])
        k = np.clip(np.searchsorted(self.edges, z, side="right") - 1, 0, len(self.edges) - 2)
        before = _accepted(self.process, self.window, self.edges[k], z)[0]
        after = _accepted(self.process, self.window, z, self.edges[k + 1])[0]
        below, above = self.below[k] + before, self.above[k + 1] + after
        return below / self.total, above / self.total, self.window.share(x) * f / self.total


def _accepted(
    process: Process, window: Acceptance, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Accepted share between z's, one sum a pair; with the nodes' sizes and weights."""
    half = 0.5 * (high - low)[..., None]
    z = 0.5 * (high + low)[..., None] + half * _GAUSS_X
    x = exact_sizes(process, z)
    weight = half * _GAUSS_W * normal_density(z) * window.share(x)
    return weight.sum(axis=-1), x, weight


def normal_yield(mean: float, sd: float, window: Window) -> float:
    """Share of a normal population that passes, exactly: the reading is normal too.

    >>> normal_yield(0.0155, 0.0036, Window(low=0.0, high=0.025, sd=0.0012))
    0.993829
    """
    spread = math.hypot(sd, window.sd)
    if spread == 0.0:
        return float(window.share(np.asarray(mean)))
    return float(normal_window((window.low - mean) / spread, (window.high - mean) / spread))
