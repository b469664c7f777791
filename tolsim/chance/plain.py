"""Shares from plain counts: no assumption, an exact interval, a bound where nothing failed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import ndtri

from tolsim.intervals import Interval, clopper_pearson

__all__ = ["PlainEstimate", "draws_for", "plain_estimate", "unseen_bound"]


@dataclass(frozen=True, kw_only=True, slots=True)
class PlainEstimate:
    """A share counted among `n` independent draws, with its exact binomial interval."""

    failed: int
    n: int
    interval: Interval

    @property
    def value(self) -> float:
        """Failed over drawn [-]."""
        return self.failed / self.n

    @property
    def relative(self) -> float:
        """Half-width over value [-]; infinite where nothing failed."""
        if self.failed == 0:
            return math.inf
        return 0.5 * (self.interval.high - self.interval.low) / self.value


def plain_estimate(failed: int, n: int, *, confidence: float = 0.95) -> PlainEstimate:
    """Estimate a share from `failed` of `n` draws.

    Examples
    --------
    >>> e = plain_estimate(0, 1_048_576)
    >>> e.value, e.interval.high
    (0.0, 3.518e-06)
    """
    return PlainEstimate(
        failed=failed, n=n, interval=clopper_pearson(failed, n, confidence=confidence)
    )


def unseen_bound(n: int, *, confidence: float = 0.95) -> float:
    """Largest share that `n` draws without a single failure still allow, one-sided.

    ``1 - (1 - confidence)**(1/n)``, about 3/n at 95 %: what a sampler that never saw a region
    cannot exclude.

    >>> unseen_bound(12)
    0.220922
    """
    if n < 1 or not 0.0 < confidence < 1.0:
        raise ValueError(f"need n >= 1 and 0 < confidence < 1, got {n} and {confidence}")
    return -math.expm1(math.log1p(-confidence) / n)


def draws_for(share: float, relative: float, *, confidence: float = 0.95) -> int:
    """Plain draws after which the half-width is about `relative` of the share.

    >>> draws_for(1e-3, 0.1)
    383762
    """
    if not 0.0 < share < 1.0 or relative <= 0.0:
        raise ValueError(f"need 0 < share < 1 and relative > 0, got {share} and {relative}")
    z = float(ndtri(0.5 * (1.0 + confidence)))
    return math.ceil((z / relative) ** 2 * (1.0 - share) / share)
