"""Two populations in one lot from readings: the share of each is as uncertain as its size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from tolsim.process.base import FloatArray, Process, normal_density
from tolsim.process.fitting import fit_two
from tolsim.process.mixture import Mixture
from tolsim.process.plain import Normal
from tolsim.process.shaped_evidence import ShapedEvidence, shaped
from tolsim.record import Array, Primitive

__all__ = ["TwoFamily", "two_evidence", "two_quantile"]

_FEWEST = 8
_ROUNDS = 60
_CLOSE = 1e-6  # last step of Newton's: the error left is its square
_HALF_LOG_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_ALIKE = 0.8  # spread of the logarithm of the ratio of both spreads, before anything is read
_APART = 3.0  # spreads that two populations are apart, before anything is read, by order
_LEAST = 0.02  # smallest share of a population


def _below(x: FloatArray, w: FloatArray, d: FloatArray, r: FloatArray) -> FloatArray:
    return np.asarray(w * ndtr(x) + (1.0 - w) * ndtr((x - d) / r))


def _solve(z: FloatArray, w: FloatArray, d: FloatArray, r: FloatArray) -> FloatArray:
    """Sizes below which the share is that of z: Newton on the normal deviate of the share, held
    between the two populations' own quantiles."""
    # in the lower tail, mirrored where z lies above, so that no share rounds to 1
    flip = np.where(z > 0.0, -1.0, 1.0)
    t, e = flip * z, flip * d
    low, high = np.minimum(t, e + r * t), np.maximum(t, e + r * t)
    x = w * t + (1.0 - w) * (e + r * t)
    active = np.arange(x.size)
    for _ in range(_ROUNDS):
        a, b, k, o, q = x[active], t[active], w[active], e[active], r[active]
        share = np.maximum(_below(a, k, o, q), 1e-300)
        off = ndtri(share) - b
        density = k * normal_density(a) + (1.0 - k) * normal_density((a - o) / q) / q
        slope = density / np.maximum(normal_density(off + b), 1e-300)
        low[active] = np.where(off < 0.0, a, low[active])
        high[active] = np.where(off < 0.0, high[active], a)
        step = a - off / np.maximum(slope, 1e-12)
        outside = ~((step > low[active]) & (step < high[active]))
        new = np.where(outside, 0.5 * (low[active] + high[active]), step)
        x[active] = new
        active = active[np.abs(new - a) > _CLOSE * (1.0 + np.abs(a))]
        if not active.size:
            break
    return np.asarray(flip * x)


def _forward(z: FloatArray, w: FloatArray, d: FloatArray, r: FloatArray, out: FloatArray) -> None:
    args = [np.array(np.broadcast_to(v, out.shape)).reshape(-1) for v in (z, w, d, r)]
    out[...] = _solve(*args).reshape(out.shape)


def _slopes(
    z: FloatArray, w: FloatArray, d: FloatArray, r: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    shape = np.broadcast_shapes(*(np.shape(v) for v in (z, w, d, r)))
    z, w, d, r = (np.array(np.broadcast_to(v, shape), dtype=np.float64) for v in (z, w, d, r))
    x = _solve(z, w, d, r)
    u = (x - d) / r
    second = (1.0 - w) * normal_density(u) / r
    density = np.maximum(w * normal_density(x) + second, 1e-12)
    return (
        normal_density(z) / density,
        -(ndtr(x) - ndtr(u)) / density,
        second / density,
        second * u / density,
    )


#: Size for a standard normal of a mixture: a share w of standard normals, the rest about d with
#: spread r. Increasing in the normal. Recordable.
two_quantile = Primitive(_forward, _slopes)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TwoFamily:
    r"""Normal parts of two populations; parameters: share of the first, means and spreads.

    Prior: flat in the share, in the mean of the whole and in the logarithm of its scale; the
    logarithm of the ratio of both spreads is normal about 0 with spread 0.8, the distance of the
    means over their spread, :math:`q`, has density :math:`1/(1 + (q/3)^2)`. A population holds at
    least 2 % of the parts. Gauge error is taken out of both spreads.
    """

    x: FloatArray
    gauge_sd: float = 0.0
    shape: str = "mixture"
    rows: tuple[str, ...] = ("share", "distance", "sd 1", "sd 2", "mean")
    method: str = "likelihood of two normals, share uncertain"
    _mean: float = field(init=False, default=0.0)
    _sd: float = field(init=False, default=1.0)

    def __post_init__(self) -> None:
        if self.x.size < _FEWEST:
            raise ValueError(f"two populations need at least {_FEWEST} readings")
        object.__setattr__(self, "_mean", float(self.x.mean()))
        object.__setattr__(self, "_sd", float(self.x.std(ddof=1)))

    def log_target(self, points: FloatArray) -> FloatArray:
        """Likelihood of the readings times the prior, in coordinates."""
        t = ((self.x - self._mean) / self._sd)[:, None]
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            odds, distance, log_one, log_two, mean = points
            w = _share(odds)
            one, two = np.exp(log_one), np.exp(log_two)
            apart = np.exp(distance)
            low = mean - (1.0 - w) * apart
            a, b = (t - low) / one, (t - low - apart) / two
            first = np.log(w) - log_one - 0.5 * a * a
            second = np.log1p(-w) - log_two - 0.5 * b * b
            log = np.logaddexp(first, second).sum(axis=0)
            scaled = np.exp(distance - 0.5 * (log_one + log_two))
            prior = np.log(w - _LEAST) + np.log(1.0 - _LEAST - w)
            prior = prior - 0.5 * ((log_one - log_two) / _ALIKE) ** 2
            prior = prior + np.log(scaled) - np.log1p((scaled / _APART) ** 2)
            kept = (np.abs(points[1:4]) < 5.0).all(axis=0) & (np.abs(odds) < 8.0)
            return np.asarray(np.where(kept & np.isfinite(log), log + prior, -np.inf))

    def starts(self) -> list[tuple[FloatArray, FloatArray]]:
        """From the most likely pair of populations; narrow and wide about it."""
        found, _ = fit_two((self.x - self._mean) / self._sd)
        assert isinstance(found, Mixture)
        (w, one), (_, two) = sorted(found.parts, key=lambda p: p[1].mean)
        n = self.x.size
        apart = max(two.mean - one.mean, 0.1)
        inner = (w - _LEAST) / (1.0 - 2.0 * _LEAST)
        inner = min(max(inner, 0.02), 0.98)
        centre = np.array(
            [
                math.log(inner / (1.0 - inner)),
                math.log(apart),
                math.log(one.sd),
                math.log(two.sd),
                0,
            ]
        )
        k = n * w, n * (1.0 - w)
        spread = np.diag(
            [
                1.0 / (n * w * (1.0 - w)) + 0.02,
                (one.sd**2 / k[0] + two.sd**2 / k[1]) / apart**2 + 0.01,
                0.5 / max(k[0] - 1.0, 1.0),
                0.5 / max(k[1] - 1.0, 1.0),
                1.0 / n,
            ]
        )
        return [(centre, 1.5 * spread), (centre, 5.0 * spread)]

    def theta(self, coordinates: Sequence[Array]) -> tuple[Array, ...]:
        """Share, mean and spread of the first, mean and spread of the second population [mm]."""
        odds, distance, log_one, log_two, mean = coordinates
        w = _share(odds)
        apart = self._sd * np.exp(np.minimum(distance, 5.0))
        low = self._mean + self._sd * mean - (1.0 - w) * apart
        one, two = (
            self._sd * np.exp(np.minimum(np.maximum(v, -5.0), 5.0)) for v in (log_one, log_two)
        )
        if self.gauge_sd > 0.0:
            floor = (0.02 * self._sd) ** 2
            one, two = (np.sqrt(np.maximum(s * s - self.gauge_sd**2, floor)) for s in (one, two))
        return w, low, one, low + apart, two

    def moments(self, theta: Sequence[Array]) -> tuple[Array, Array]:
        """Mean and spread of the whole."""
        w, m1, s1, m2, s2 = theta
        apart = m2 - m1
        return (
            w * m1 + (1.0 - w) * m2,
            np.sqrt(w * s1 * s1 + (1.0 - w) * s2 * s2 + w * (1.0 - w) * apart * apart),
        )

    def size(self, z: Array, theta: Sequence[Array]) -> Array:
        """Size of a part."""
        w, m1, s1, m2, s2 = theta
        return m1 + s1 * two_quantile(z, w, (m2 - m1) / s1, s2 / s1)

    def tails(self, x: FloatArray, theta: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Shares below and above."""
        w, m1, s1, m2, s2 = theta
        a, b = (x - m1) / s1, (x - m2) / s2
        return w * ndtr(a) + (1.0 - w) * ndtr(b), w * ndtr(-a) + (1.0 - w) * ndtr(-b)

    def log_density(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Density."""
        w, m1, s1, m2, s2 = theta
        a, b = (x - m1) / s1, (x - m2) / s2
        first = np.log(w / s1) - 0.5 * a * a
        second = np.log((1.0 - w) / s2) - 0.5 * b * b
        return np.asarray(np.logaddexp(first, second) - _HALF_LOG_TWO_PI)

    def process(self, theta: Sequence[float]) -> Process:
        """The process."""
        w, m1, s1, m2, s2 = theta
        return Mixture(parts=((w, Normal(mean=m1, sd=s1)), (1.0 - w, Normal(mean=m2, sd=s2))))


def _share(odds: Array) -> Array:
    """Share of the first population of its free coordinate."""
    return _LEAST + (1.0 - 2.0 * _LEAST) / (1.0 + np.exp(-odds))


def two_evidence(values: ArrayLike, *, gauge_sd: float = 0.0) -> ShapedEvidence:
    """What readings [mm], at least 8, allow two populations in one lot to be.

    >>> from tolsim.process.shapes import Mixture
    >>> lot = np.concatenate([np.linspace(-1.0, 1.0, 30), np.linspace(7.0, 9.0, 10)])
    >>> share = two_evidence(lot).sets()[0]
    >>> bool(0.6 < np.quantile(share, 0.05) < 0.75 < np.quantile(share, 0.95) < 0.9)
    True
    """
    x = np.asarray(values, dtype=np.float64)
    if float(np.ptp(x)) == 0.0:
        raise ValueError("all readings are alike")
    return shaped(x, TwoFamily(x=x, gauge_sd=gauge_sd), gauge_sd=gauge_sd)
