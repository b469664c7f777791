"""Readings that no shape fits, smoothed: mean and spread are uncertain, their shape is not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Process
from tolsim.process.comb import Kernel
from tolsim.process.moved import moved
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.process.transport import Transport
from tolsim.record import Array

__all__ = ["KernelFamily", "kernel_evidence"]

_FEWEST = 8
_DRAWS = 2048
_GRID = np.linspace(-8.0, 8.0, 1601)
_SEED = 1981


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class KernelFamily:
    r"""Smoothed readings, moved and stretched: :math:`x = m + s\,T(z)`.

    Mean and spread come from the Bayesian bootstrap: readings weighted by Dirichlet numbers, the
    scatter widened by :math:`\sqrt{(n + 1)/(n - 1)}`. The shape itself stays as it was read;
    beyond the outermost readings it is the kernel's own.

    References
    ----------
    .. [1] Rubin, *Ann. Statist.* 9 (1981) 130-134 (from memory).
    """

    x: FloatArray
    gauge_sd: float = 0.0
    shape: str = "kernel"
    rows: tuple[str, ...] = ("sd", "mean")
    method: str = "Bayesian bootstrap of mean and spread"
    standard: Process = field(init=False, repr=False)
    _log: FloatArray = field(init=False, repr=False)
    _sizes: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if self.x.size < _FEWEST:
            raise ValueError(f"smoothed readings need at least {_FEWEST}")
        t = (self.x - self.x.mean()) / self.x.std(ddof=1)
        standard = Kernel(readings=t.tolist())
        sizes = np.asarray(standard.size(_GRID))
        object.__setattr__(self, "standard", standard)
        object.__setattr__(self, "_sizes", sizes)
        object.__setattr__(self, "_log", np.log(np.maximum(standard.density(sizes), 1e-300)))

    def points(self) -> FloatArray:
        """Logarithm of the spread [mm] and mean [mm] of weighted readings, (2, draws)."""
        n = self.x.size
        rng = np.random.default_rng([_SEED, n])
        weight = rng.standard_exponential((_DRAWS, n))
        weight /= weight.sum(axis=1, keepdims=True)
        t = (self.x - self.x.mean()) / self.x.std(ddof=1)
        mean = weight @ t
        log_sd = 0.5 * np.log((weight @ (t * t) - mean * mean) * n / (n - 1.0))
        wider = math.sqrt((n + 1.0) / (n - 1.0))
        return np.array([wider * log_sd, wider * mean])

    def log_target(self, points: FloatArray) -> FloatArray:
        """There is no likelihood; never asked."""
        raise NotImplementedError("smoothed readings are resampled")

    def starts(self) -> list[tuple[FloatArray, FloatArray]]:
        """Nothing to begin with; never asked."""
        raise NotImplementedError("smoothed readings are resampled")

    def theta(self, coordinates: Sequence[Array]) -> tuple[Array, ...]:
        """Mean and spread [mm]."""
        log_sd, mean = coordinates
        own = float(self.x.std(ddof=1))
        sd = own * np.exp(log_sd)
        if self.gauge_sd > 0.0:
            sd = np.sqrt(np.maximum(sd * sd - self.gauge_sd**2, (0.02 * own) ** 2))
        return float(self.x.mean()) + own * mean, sd

    def moments(self, theta: Sequence[Array]) -> tuple[Array, Array]:
        """Mean and spread are parameters themselves."""
        return theta[0], theta[1]

    def size(self, z: Array, theta: Sequence[Array]) -> Array:
        """Size of a part."""
        return theta[0] + theta[1] * self.standard.size(z)

    def tails(self, x: FloatArray, theta: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        z = np.interp((x - theta[0]) / theta[1], self._sizes, _GRID)
        return ndtr(z), ndtr(-z)

    def log_density(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Density."""
        t = (x - theta[0]) / theta[1]
        return np.asarray(np.interp(t, self._sizes, self._log) - np.log(theta[1]))

    def process(self, theta: Sequence[float]) -> Process:
        """The process."""
        return moved(self.standard, shift=theta[0], scale=theta[1])


def kernel_evidence(values: ArrayLike, *, gauge_sd: float = 0.0) -> ShapedEvidence:
    """What readings [mm], at least 8, say of a process whose shape is that of the readings."""
    x = np.asarray(values, dtype=np.float64)
    if float(np.ptp(x)) == 0.0:
        raise ValueError("all readings are alike")
    family = KernelFamily(x=x, gauge_sd=gauge_sd)
    theta = [float(v) for v in family.theta([0.0, 0.0])]
    return ShapedEvidence(
        n=x.size,
        mean=float(x.mean()),
        sd=float(x.std(ddof=1)),
        gauge_sd=gauge_sd,
        family=family,
        fitted=family.process(theta),
        transport=Transport(family.points()),
        notes=(
            "smoothed readings say nothing of sizes beyond the outermost reading; shares there are "
            "those of the smoothing",
        ),
    )
