"""Normals of one spread about many centres: positions of a tool, smoothed readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Shape, normal_density
from tolsim.process.curve import Curve
from tolsim.process.plain import finite
from tolsim.process.quantiles import Tabulated
from tolsim.process.trace import trace

__all__ = ["Comb", "Kernel"]

_BLOCK = 512  # centres summed at a time


@dataclass(frozen=True, slots=True, init=False)
class Comb(Shape):
    """Normals of one spread about several centres, all in equal shares.

    `each_sd` keeps the key `sd`; ``mean`` and ``sd`` are the moments of the whole.

    >>> Comb(centres=(-1.0, 1.0), sd=0.5).sd
    1.118034
    """

    centres: tuple[float, ...]
    each_sd: float
    _curve: Curve = field(repr=False, compare=False)
    _table: Tabulated = field(repr=False, compare=False)

    def __init__(self, *, centres: Sequence[float], sd: float) -> None:
        finite("comb", sd=sd)
        places = np.asarray(centres, dtype=np.float64)
        if places.ndim != 1 or places.size == 0 or not bool(np.all(np.isfinite(places))):
            raise ValueError("comb: needs at least one finite centre")
        if sd <= 0.0:
            raise ValueError(f"comb: sd must be above 0, got {sd}")
        object.__setattr__(self, "centres", tuple(float(c) for c in places))
        object.__setattr__(self, "each_sd", sd)
        few = np.unique(places)[:: max(1, places.size // 200)]
        out = 9.5 * sd * np.linspace(0.05, 1.0, 30)
        start = np.concatenate([few, places.min() - out, places.max() + out])
        curve = trace(self.shares, start, spread=self.sd)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the traced curve."""
        return self._curve.at(z)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        return self._averaged(x, ndtr), self._averaged(x, lambda t: ndtr(-t))

    def _density(self, x: FloatArray) -> FloatArray:
        return self._averaged(x, normal_density) / self.each_sd

    def _averaged(self, x: FloatArray, function: Callable[[FloatArray], FloatArray]) -> FloatArray:
        # rounded readings stand on few places, however many they are
        places, counts = np.unique(self.centres, return_counts=True)
        total = np.zeros(np.shape(x))
        for i in range(0, places.size, _BLOCK):
            t = (np.asarray(x)[..., None] - places[i : i + _BLOCK]) / self.each_sd
            total = total + function(t) @ counts[i : i + _BLOCK].astype(np.float64)
        return np.asarray(total / len(self.centres))

    @property
    def curve(self) -> Curve:
        """The traced curve."""
        return self._curve

    @property
    def mean(self) -> float:
        """Mean of the centres."""
        return float(np.mean(self.centres))

    @property
    def sd(self) -> float:
        """Spread of the centres and about them."""
        return math.hypot(float(np.std(self.centres)), self.each_sd)

    @property
    def support(self) -> tuple[float, float]:
        """The whole line."""
        return -math.inf, math.inf


@dataclass(frozen=True, kw_only=True, slots=True)
class Kernel(Shape):
    r"""Readings smoothed with normals of one width, mean and spread kept.

    .. math:: f(x) = \frac1n \sum_i \frac1b\,\varphi\Big(\frac{x - x_i'}{b}\Big), \qquad
        x_i' = \bar x + (x_i - \bar x)\sqrt{1 - b^2/v^2}

    Parameters
    ----------
    readings : sequence of float
        At least 3, not all equal [mm].
    width : float, optional
        Width b [mm], below the spread v; by default ``1.06 sd n^(-1/5)`` (normal reference).

    Notes
    -----
    v is the standard deviation with divisor n - 1; the readings are pulled in so that the smoothed
    population has exactly that spread. Beyond the outermost readings the tail is the kernel's
    own: nothing was measured there.

    References
    ----------
    .. [1] Silverman, *Density Estimation for Statistics and Data Analysis*, 1986, sec. 3.4.2 and
       6.4.1 (from memory).
    """

    readings: Sequence[float]
    width: float | None = None
    _comb: Comb = field(init=False, repr=False, compare=False)
    _table: Tabulated = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        values = tuple(float(r) for r in self.readings)
        object.__setattr__(self, "readings", values)
        x = np.asarray(values)
        if len(x) < 3 or not bool(np.all(np.isfinite(x))):
            raise ValueError("kernel: needs at least 3 finite readings")
        spread = float(np.std(x, ddof=1))
        if spread == 0.0:
            raise ValueError("kernel: all readings are equal")
        width = 1.06 * spread * len(x) ** -0.2 if self.width is None else self.width
        if not 0.0 < width < spread:
            raise ValueError(f"kernel: width must lie between 0 and the spread {spread:.6g}")
        scatter = float(np.std(x))
        pull = math.sqrt(spread**2 - width**2) / scatter
        centres = x.mean() + (x - x.mean()) * pull
        object.__setattr__(self, "_comb", Comb(centres=centres.tolist(), sd=width))
        object.__setattr__(self, "_table", self._comb._table)

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the traced curve."""
        return self._comb.from_normal(z)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        return self._comb.tails(x)

    def _density(self, x: FloatArray) -> FloatArray:
        return self._comb._density(x)

    @property
    def mean(self) -> float:
        """Mean of the readings."""
        return float(np.mean(self.readings))

    @property
    def sd(self) -> float:
        """Standard deviation of the readings, divisor n - 1."""
        return float(np.std(self.readings, ddof=1))

    @property
    def support(self) -> tuple[float, float]:
        """The whole line."""
        return -math.inf, math.inf
