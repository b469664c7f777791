"""Parts of several processes in one box."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from tolsim.process.base import FloatArray, Process, Shape, shares_of
from tolsim.process.curve import Curve
from tolsim.process.moved import kinks
from tolsim.process.quantiles import Tabulated
from tolsim.process.trace import trace

__all__ = ["Mixture"]

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
        start = np.concatenate([start, self.kinks])
        curve = trace(self.shares, start, spread=self.sd)
        object.__setattr__(self, "_curve", curve)
        self._tabulate()

    def from_normal(self, z: FloatArray) -> FloatArray:
        """Size for a standard normal, from the traced curve."""
        return self._curve.at(z)

    def shares(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shares below and above `x` and the density there."""
        total = np.zeros((3, *np.shape(x)))
        for share, part in self.parts:
            total += share * np.stack(shares_of(part, x))
        lower, upper, density = total
        return lower, upper, density

    def tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        lower, upper, _ = self.shares(x)
        return lower, upper

    def _density(self, x: FloatArray) -> FloatArray:
        return self.shares(x)[2]

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

    @property
    def kinks(self) -> tuple[float, ...]:
        """Edges and corners of any part."""
        return tuple(k for _, part in self.parts for k in kinks(part))
