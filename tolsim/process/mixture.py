"""Populations made of several, and readings smoothed into one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr

from tolsim.process.base import FloatArray, Process, Shape, normal_density
from tolsim.process.curve import Curve
from tolsim.process.quantiles import Tabulated
from tolsim.process.trace import trace

__all__ = ["Kernel", "Mixture"]

_NODES = np.linspace(-8.6, 8.6, 87)


@dataclass(frozen=True, kw_only=True, slots=True)
class Mixture(Shape):
    """Parts of several processes in given shares, one map for the whole mixed population.

    Parameters
    ----------
    parts : sequence of (share, Process)
        Shares are positive and add up to 1; parts have spread.

    Notes
    -----
    A mixture ties nothing: which process a part came from is forgotten. Where the origin matters
    further down the route (a lot, a supplier) keep a latent row of its own for it.

    >>> from tolsim.process.plain import Normal
    >>> two = Mixture(parts=((0.8, Normal(mean=0.0, sd=1.0)), (0.2, Normal(mean=2.0, sd=1.0))))
    >>> two.mean, two.sd
    (0.4, 1.280625)
    """

    parts: Sequence[tuple[float, Process]]
    _curve: Curve = field(init=False, repr=False, compare=False)
    _table: Tabulated = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("mixture: needs at least one part")
        shares = [share for share, _ in self.parts]
        if min(shares) <= 0.0 or abs(sum(shares) - 1.0) > 1e-9:
            raise ValueError(f"mixture: shares must be positive and add up to 1, got {shares}")
        if any(p.sd == 0.0 for _, p in self.parts):
            raise ValueError("mixture: every part needs a spread above 0")
        object.__setattr__(self, "parts", tuple(self.parts))
        start = np.concatenate([np.asarray(p.size(_NODES)) for _, p in self.parts])
        ends = [e for _, p in self.parts for e in p.support if math.isfinite(e)]
        start = np.concatenate([start, ends])
        curve = trace(self.tails, self._density, start, spread=self.sd)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the traced curve."""
        return self._curve.at(z)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        lower, upper = np.zeros(np.shape(x)), np.zeros(np.shape(x))
        for share, part in self.parts:
            lower = lower + share * part.cdf(x)
            upper = upper + share * part.sf(x)
        return lower, upper

    def _density(self, x: FloatArray) -> FloatArray:
        total = np.zeros(np.shape(x))
        for share, part in self.parts:
            total = total + share * part.density(x)
        return total

    @property
    def mean(self) -> float:
        """Mean of the means."""
        return sum(share * part.mean for share, part in self.parts)

    @property
    def sd(self) -> float:
        """Spread within and between the parts."""
        mean = self.mean
        return math.sqrt(
            sum(share * (part.sd**2 + (part.mean - mean) ** 2) for share, part in self.parts)
        )

    @property
    def support(self) -> tuple[float, float]:
        """Smallest and largest size of any part."""
        ends = [part.support for _, part in self.parts]
        return min(e[0] for e in ends), max(e[1] for e in ends)


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
    _centres: FloatArray = field(init=False, repr=False, compare=False)
    _width: float = field(init=False, repr=False, compare=False)
    _curve: Curve = field(init=False, repr=False, compare=False)
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
        object.__setattr__(self, "_width", width)
        object.__setattr__(self, "_centres", x.mean() + (x - x.mean()) * pull)
        start = np.concatenate(
            [
                self._centres,
                self._centres.min() - 9.0 * width * np.linspace(0.05, 1.0, 30),
                self._centres.max() + 9.0 * width * np.linspace(0.05, 1.0, 30),
            ]
        )
        curve = trace(self.tails, self._density, start, spread=spread)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the traced curve."""
        return self._curve.at(z)

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        t = (np.asarray(x)[..., None] - self._centres) / self._width
        return ndtr(t).mean(axis=-1), ndtr(-t).mean(axis=-1)

    def _density(self, x: FloatArray) -> FloatArray:
        t = (np.asarray(x)[..., None] - self._centres) / self._width
        return np.asarray(normal_density(t).mean(axis=-1) / self._width)

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
