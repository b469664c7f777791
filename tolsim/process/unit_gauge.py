"""A gauge that rejects the whole unit when either of its two seats lies outside.

What passes keeps the dependence of the pair, and gains some: two rows are mapped together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tolsim.process.base import FloatArray, Process
from tolsim.process.bounded import normal_window
from tolsim.process.functions import between, tied
from tolsim.process.gauging import Window, thinned
from tolsim.process.plain import Normal
from tolsim.process.tabled import Tabled
from tolsim.record import Array

__all__ = ["UnitGauge"]

_FAR = 38.0  # stands for an open limit, in standard normals


@dataclass(frozen=True, kw_only=True, slots=True)
class _PartnerPasses:
    """Acceptance of one seat's standard normal: it and its partner lie inside."""

    own: tuple[float, float]
    partner: tuple[float, float]
    rho: float
    sd: float = 0.0

    def share(self, x: FloatArray) -> FloatArray:
        inside = (x >= self.own[0]) & (x <= self.own[1])
        rest = math.sqrt(1.0 - self.rho**2)
        low, high = ((limit - self.rho * x) / rest for limit in self.partner)
        return np.where(inside, normal_window(low, high), 0.0)

    @property
    def limits(self) -> tuple[float, ...]:
        return tuple(v for v in self.own if abs(v) < _FAR)


@dataclass(frozen=True, kw_only=True, slots=True)
class UnitGauge:
    r"""Two seats tied by a Gaussian copula; a unit passes when both seats lie inside.

    The first seat's standard normal is thinned by the probability that its partner passes, the
    second is held between its limits given the first:

    .. math:: f(z_1) \propto \varphi(z_1)\Big[\Phi\Big(\frac{b - \rho z_1}{c}\Big)
        - \Phi\Big(\frac{a - \rho z_1}{c}\Big)\Big],\quad
        z_2 = \rho z_1 + c\,t,\quad c = \sqrt{1 - \rho^2}

    Parameters
    ----------
    seats : (Process, Process)
        Populations of the two seats before the gauge [mm].
    rho : float
        Correlation of their standard normals, -0.999 to 0.999.
    window : Window
        What passes at either seat. With repeatability above 0 the seats must be normal: the
        readings then are, and the true sizes given the readings.

    Attributes
    ----------
    accepted : float
        Share of units that pass, exact.
    """

    seats: tuple[Process, Process]
    rho: float
    window: Window
    accepted: float = field(init=False)
    _first: Tabled = field(init=False, repr=False)
    _limits: tuple[tuple[float, float], tuple[float, float]] = field(init=False, repr=False)
    _read_rho: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not abs(self.rho) <= 0.999:
            raise ValueError(f"unit gauge: need |rho| <= 0.999, got {self.rho}")
        if any(p.sd == 0.0 for p in self.seats):
            raise ValueError("unit gauge: both seats need a spread above 0")
        rho = self.rho
        read: tuple[Process, ...] = self.seats
        if self.window.sd > 0.0:
            normals = [p for p in self.seats if isinstance(p, Normal)]
            if len(normals) < 2:
                raise ValueError("unit gauge: with repeatability both seats must be normal")
            read = tuple(Normal(mean=p.mean, sd=math.hypot(p.sd, self.window.sd)) for p in normals)
            rho *= normals[0].sd * normals[1].sd / (read[0].sd * read[1].sd)
        bounds = np.array([self.window.low, self.window.high])
        first, second = (np.clip(p.latent(bounds), -_FAR, _FAR).tolist() for p in read)
        acceptance = _PartnerPasses(own=tuple(first), partner=tuple(second), rho=rho)
        left = thinned(Normal(mean=0.0, sd=1.0), acceptance)
        assert isinstance(left.process, Tabled)
        object.__setattr__(self, "accepted", left.accepted)
        object.__setattr__(self, "_first", left.process)
        object.__setattr__(self, "_limits", (tuple(first), tuple(second)))
        object.__setattr__(self, "_read_rho", rho)

    @property
    def rows(self) -> int:
        """Latent rows that `sizes` reads: two, and two more where the gauge scatters."""
        return 2 if self.window.sd == 0.0 else 4

    def sizes(
        self, z_1: Array, z_2: Array, z_3: Array = 0.0, z_4: Array = 0.0
    ) -> tuple[Array, Array]:
        """Sizes [mm] of both seats of a unit that passed; recordable."""
        low, high = self._limits[1]
        rest = math.sqrt(1.0 - self._read_rho**2)
        first = self._first.size(z_1)
        centre = self._read_rho * first
        t = between(z_2, (low - centre) / rest, (high - centre) / rest)
        second = centre + rest * t
        if self.window.sd == 0.0:
            return self.seats[0].size(first), self.seats[1].size(second)
        return self._behind(first, second, z_3, z_4)

    def _behind(self, first: Array, second: Array, z_3: Array, z_4: Array) -> tuple[Array, Array]:
        """True sizes behind two readings that passed: regression and what it leaves."""
        s = [p.sd for p in self.seats]
        covariance = np.array([[s[0] ** 2, self.rho * s[0] * s[1]], [0.0, s[1] ** 2]])
        covariance[1, 0] = covariance[0, 1]
        reading = covariance + self.window.sd**2 * np.eye(2)
        gain = covariance @ np.linalg.inv(reading)
        left = covariance - gain @ covariance
        spread = [math.sqrt(max(left[i, i], 0.0)) for i in (0, 1)]
        rho = float(left[0, 1]) / max(spread[0] * spread[1], 1e-300)
        scale = np.sqrt(np.diag(reading))
        d_1, d_2 = float(scale[0]) * first, float(scale[1]) * second
        one = self.seats[0].mean + float(gain[0, 0]) * d_1 + float(gain[0, 1]) * d_2
        two = self.seats[1].mean + float(gain[1, 0]) * d_1 + float(gain[1, 1]) * d_2
        return one + spread[0] * z_3, two + spread[1] * tied(rho, z_3, z_4)
