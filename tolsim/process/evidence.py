"""What the readings of n parts allow the mean and spread of a normal process to be.

The parameters are drawn afresh from rows of standard normals of their own, so that sample
uncertainty is one more cause of scatter and the predictive distribution is Student's t.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from scipy.special import gammainccinv, gammaincinv, ndtr, polygamma

from tolsim.process.base import FloatArray
from tolsim.process.plain import Normal, finite
from tolsim.process.quantiles import Tabulated
from tolsim.record import Array

__all__ = ["NormalEvidence", "PairEvidence", "log_normal_density", "spread_factor"]

_MIN_PAIRS = 4  # Fisher's z needs n - 3 > 0
_HALF_LOG_TWO_PI = 0.5 * math.log(2.0 * math.pi)


@lru_cache(maxsize=256)
def spread_factor(freedom: int) -> Tabulated:
    r"""Table of :math:`\tfrac12\ln(f/\chi^2_f)` against a standard normal, increasing.

    The logarithm keeps the error relative: at most 5e-7 of its own spread.
    """
    half = 0.5 * freedom

    def exact(z: FloatArray) -> FloatArray:
        chi2 = 2.0 * np.where(
            z > 0.0, gammaincinv(half, ndtr(-z)), gammainccinv(half, np.minimum(ndtr(z), 0.5))
        )
        return np.asarray(0.5 * np.log(freedom / chi2))

    return Tabulated(exact, spread=0.5 * math.sqrt(float(polygamma(1, half))))


def log_normal_density(x: Array, mean: Array, sd: Array) -> Array:
    """Logarithm of the normal density [1/mm] at `x`; the arguments broadcast."""
    t = (x - mean) / sd
    return -0.5 * t * t - np.log(sd) - _HALF_LOG_TWO_PI


def _check(name: str, n: int, mean: float, sd: float, gauge_sd: float) -> None:
    finite(name, mean=mean, sd=sd, gauge_sd=gauge_sd)
    if n < 2:
        raise ValueError(f"{name}: a spread needs at least 2 parts, got n = {n}")
    if sd < 0.0 or gauge_sd < 0.0:
        raise ValueError(f"{name}: sd and gauge_sd must not be negative")
    if sd == 0.0:
        raise ValueError(f"{name}: {n} equal readings say nothing about the spread")


@dataclass(frozen=True, kw_only=True, slots=True)
class NormalEvidence:
    r"""Mean and spread that n readings allow a normal process to have.

    .. math:: \sigma_o = s\sqrt{\frac{n-1}{\chi^2_{n-1}}},\qquad
        \mu = \bar x + \frac{\sigma_o}{\sqrt n} z_1,\qquad
        \sigma = \sqrt{\max(\sigma_o^2 - \sigma_g^2,\ 0)}

    Parameters
    ----------
    n : int
        Parts measured, at least 2.
    mean, sd : float
        Mean and standard deviation (divisor n - 1) of the readings [mm].
    gauge_sd : float
        Repeatability of the gauge that made them [mm], taken as known. It is taken out of the
        spread of the process, not out of the uncertainty of the mean.

    Notes
    -----
    Exact for normal readings without gauge error: :math:`\mu + \sigma z` over fresh draws of all
    three is :math:`\bar x + s\sqrt{1 + 1/n}\,t_{n-1}` (prior 1/sigma, and the frequentist
    prediction interval). With gauge error it is the generalised pivotal quantity of Tsui and
    Weerahandi, J. Am. Stat. Assoc. 84 (1989) 602-607 (from memory): draws whose variance falls
    below that of the gauge have no spread of their own.

    Examples
    --------
    >>> bore = NormalEvidence(n=12, mean=0.0155, sd=0.0041)
    >>> mean, sd = bore.parameters(np.zeros(1), np.array([1.644854]))  # 95 % end of the spread
    >>> mean, sd
    (array([0.0155]), array([0.006357]))
    """

    n: int
    mean: float
    sd: float
    gauge_sd: float = 0.0
    _factor: Tabulated = field(init=False, repr=False, compare=False)

    rows = 2  #: latent rows that `parameters` reads

    def __post_init__(self) -> None:
        _check("evidence", self.n, self.mean, self.sd, self.gauge_sd)
        object.__setattr__(self, "_factor", spread_factor(self.n - 1))

    def parameters(self, z_mean: Array, z_sd: Array) -> tuple[Array, Array]:
        """Mean and spread of the process [mm] for two rows of standard normals."""
        observed = self.sd * np.exp(self._factor.primitive(z_sd))
        mean = self.mean + observed * z_mean / math.sqrt(self.n)
        if self.gauge_sd == 0.0:
            return mean, observed
        return mean, np.sqrt(np.maximum(observed * observed - self.gauge_sd**2, 0.0))

    def size(self, z: Array, z_mean: Array, z_sd: Array) -> Array:
        """Size of a part [mm] for its own row and the two of the parameters."""
        mean, sd = self.parameters(z_mean, z_sd)
        return mean + sd * z

    def log_density(self, x: Array, mean: Array, sd: Array) -> Array:
        """Logarithm of the density [1/mm] of true sizes `x` for given parameters."""
        return log_normal_density(x, mean, sd)

    @property
    def process_sd(self) -> float:
        """Spread of the process [mm] with the gauge's taken out; 0 where the gauge explains all."""
        return math.sqrt(max(self.sd**2 - self.gauge_sd**2, 0.0))

    def plug_in(self) -> Normal:
        """The normal process with the estimates put in, as if they were known."""
        return Normal(mean=self.mean, sd=self.process_sd)

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be said beside results that rest on this evidence."""
        if self.gauge_sd >= self.sd:
            return (
                f"the gauge's repeatability ({self.gauge_sd * 1e3:.3g} µm) is not below the spread "
                f"of the readings ({self.sd * 1e3:.3g} µm): the spread of the process cannot be "
                "told from 0",
            )
        return ()


@dataclass(frozen=True, kw_only=True, slots=True)
class PairEvidence:
    r"""Evidence for the two seats of a unit, measured on the same units.

    Each seat alone is its `NormalEvidence`, so its predictive is exactly Student's t. The means
    are tied by the correlation of the seats, the spreads by its square (Gaussian copula), each
    scaled by the share of complete pairs; the correlation itself is drawn through Fisher's z,
    :math:`\operatorname{artanh}\rho = \operatorname{artanh} r + z/\sqrt{n - 3}`.

    Parameters
    ----------
    seats : (NormalEvidence, NormalEvidence)
        Evidence of either seat.
    correlation : float
        Correlation r of the readings of the complete pairs.
    pairs : int
        Number of units with both seats read, at least 4.

    Notes
    -----
    Gauge error of the two readings is independent: it weakens the observed correlation, and is
    taken out of it as it is out of the spreads. The joint draw of the spreads and the correlation
    is an approximation; the marginals are not.

    References
    ----------
    .. [1] Fisher, *Metron* 1 (1921) 3-32 (from memory).
    """

    seats: tuple[NormalEvidence, NormalEvidence]
    correlation: float
    pairs: int

    rows = 5  #: latent rows that `parameters` reads

    def __post_init__(self) -> None:
        if not -1.0 < self.correlation < 1.0:
            raise ValueError(f"pair evidence: need -1 < correlation < 1, got {self.correlation}")
        if self.pairs < _MIN_PAIRS:
            raise ValueError(
                f"pair evidence: a correlation needs at least {_MIN_PAIRS} complete pairs, "
                f"got {self.pairs}"
            )
        if self.pairs > min(s.n for s in self.seats):
            raise ValueError("pair evidence: more pairs than readings of a seat")

    def parameters(
        self, z_mean: tuple[Array, Array], z_sd: tuple[Array, Array], z_rho: Array
    ) -> tuple[tuple[Array, Array], tuple[Array, Array], Array]:
        """Means, spreads [mm] and correlation for five rows of standard normals.

        Returns ``(mean_1, mean_2), (sd_1, sd_2), rho``.
        """
        fisher = math.atanh(self.correlation) + z_rho / math.sqrt(self.pairs - 3.0)
        seen = 1.0 - 2.0 / (np.exp(2.0 * fisher) + 1.0)  # tanh in ufuncs that can be recorded
        first, second = self.seats
        overlap = self.pairs / math.sqrt(first.n * second.n)
        tied_mean = _tie(seen * overlap, z_mean)
        tied_sd = _tie(seen * seen * overlap, z_sd)
        mean_1, sd_1 = first.parameters(z_mean[0], z_sd[0])
        mean_2, sd_2 = second.parameters(tied_mean, tied_sd)
        if first.gauge_sd == 0.0 and second.gauge_sd == 0.0:
            return (mean_1, mean_2), (sd_1, sd_2), seen
        # covariance is free of gauge error: only the spreads below it shrink
        all_1 = np.sqrt(sd_1 * sd_1 + first.gauge_sd**2)
        all_2 = np.sqrt(sd_2 * sd_2 + second.gauge_sd**2)
        floor = 1e-6 * first.sd * second.sd
        true = seen * all_1 * all_2 / np.maximum(sd_1 * sd_2, floor)
        return (mean_1, mean_2), (sd_1, sd_2), np.minimum(np.maximum(true, -0.999), 0.999)

    def sizes(
        self,
        z: tuple[Array, Array],
        z_mean: tuple[Array, Array],
        z_sd: tuple[Array, Array],
        z_rho: Array,
    ) -> tuple[Array, Array]:
        """Sizes of the two seats [mm] for their own rows and the five of the parameters."""
        (mean_1, mean_2), (sd_1, sd_2), rho = self.parameters(z_mean, z_sd, z_rho)
        return mean_1 + sd_1 * z[0], mean_2 + sd_2 * _tie(rho, z)


def _tie(rho: Array, z: tuple[Array, Array]) -> Array:
    """Second of two rows, tied to the first by the correlation `rho`."""
    return rho * z[0] + np.sqrt(np.maximum(1.0 - rho * rho, 0.0)) * z[1]
