"""What a reading with uncertainty proves (ISO 14253-1), and the temperature it holds at (ISO 1).

The rule of 2017: conformity is proven where its probability is at least 95 %, which on a wide
tolerance is a guard of 1.645 u (usually written 1.65 u) inside each limit. Earlier editions took
the expanded uncertainty 2 u. The 95 % default is from memory and seen on public pages only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = [
    "REFERENCE_TEMPERATURE",
    "Verdict",
    "Zones",
    "conformance_probability",
    "guard_band",
    "verdict",
    "zones",
]

#: °C; sizes on drawings and in tables hold at it (ISO 1:2022, from memory, universally quoted).
REFERENCE_TEMPERATURE = 20.0

Verdict: TypeAlias = Literal["conforms", "does not conform", "undecided"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Zones:
    """Readings that decide; all in the unit of the limits.

    Inside `conforming` (lower, upper) conformity is proven, outside `open` non-conformity is;
    between the two a reading decides nothing. None where no reading can prove it.
    """

    conforming: tuple[float, float] | None
    open: tuple[float, float] | None


def guard_band(u: float, *, probability: float = 0.95) -> float:
    """Guard ``z u`` between a limit and its zone, for a tolerance that is wide against `u`.

    >>> guard_band(1.0)
    1.644854
    """
    from statistics import NormalDist

    _check(u, probability)
    return NormalDist().inv_cdf(probability) * u


def conformance_probability(reading: float, lower: float, upper: float, u: float) -> float:
    r"""Probability that the true value lies inside the limits, given a reading.

    .. math:: p_c = \Phi\left(\frac{U - y}{u}\right) - \Phi\left(\frac{L - y}{u}\right)

    Gaussian standard uncertainty `u`, flat prior; a limit may be infinite.

    References
    ----------
    .. [1] JCGM 106:2012, sec. 7, from memory.

    >>> conformance_probability(10.0, 8.0, 12.0, 1.0)
    0.9545
    """
    if not (lower < upper and u > 0.0):
        raise ValueError(f"need lower < upper and u > 0, got {lower}, {upper}, {u}")
    a, b = (lower - reading) / u, (upper - reading) / u
    if a > 0.0:  # both limits in the upper tail: mirror, so that small shares keep their digits
        a, b = -b, -a
    return _phi(b) - _phi(a)


def zones(lower: float, upper: float, u: float, *, probability: float = 0.95) -> Zones:
    """Zones in which readings prove conformity or non-conformity; both limits count.

    Raises
    ------
    ValueError
        ``lower < upper``, ``u > 0``, ``0.5 < probability < 1`` or two finite limits fail.

    >>> found = zones(0.0, 25.0, 1.5)
    >>> found.conforming, found.open
    ((2.467281, 22.532719), (-2.467281, 27.467281))
    """
    _check(u, probability)
    if not (math.isfinite(lower) and math.isfinite(upper) and lower < upper):
        raise ValueError(f"need finite limits, lower < upper, got {lower}, {upper}")
    middle, half = 0.5 * (lower + upper), 0.5 * (upper - lower)

    def distance(share: float) -> float | None:
        """How far from the middle the probability of conformity falls to `share`."""
        if conformance_probability(middle, lower, upper, u) < share:
            return None
        near, far = 0.0, half + 40.0 * u
        while far - near > 1e-12 * (half + u):
            at = 0.5 * (near + far)
            if conformance_probability(middle + at, lower, upper, u) >= share:
                near = at
            else:
                far = at
        return near

    proven, refuted = distance(probability), distance(1.0 - probability)
    return Zones(
        conforming=None if proven is None else (middle - proven, middle + proven),
        open=None if refuted is None else (middle - refuted, middle + refuted),
    )


def verdict(
    reading: float, lower: float, upper: float, u: float, *, probability: float = 0.95
) -> Verdict:
    """What one reading proves at a probability of conformity.

    >>> verdict(24.0, 0.0, 25.0, 1.5)
    'undecided'
    """
    _check(u, probability)
    p = conformance_probability(reading, lower, upper, u)
    if p >= probability:
        return "conforms"
    if p <= 1.0 - probability:
        return "does not conform"
    return "undecided"


def _check(u: float, probability: float) -> None:
    if not (u > 0.0 and math.isfinite(u)):
        raise ValueError(f"need a standard uncertainty above 0, got {u}")
    if not 0.5 < probability < 1.0:
        raise ValueError(f"need a probability between 0.5 and 1, got {probability}")


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))
