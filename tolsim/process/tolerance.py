"""Statistical tolerance intervals, and what the smallest and largest of n parts prove."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import betainc

from tolsim.process.student import one_sided_factor, two_sided_factor

__all__ = [
    "ToleranceInterval",
    "content_of_range",
    "normal_tolerance",
    "parts_for_range",
    "provable_share",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class ToleranceInterval:
    """Sizes [mm] between which at least `content` of the process lies, with `confidence`."""

    low: float
    high: float
    content: float
    confidence: float
    factor: float
    method: str


def normal_tolerance(
    n: int,
    mean: float,
    sd: float,
    *,
    content: float = 0.99,
    confidence: float = 0.95,
    side: str = "both",
) -> ToleranceInterval:
    """Tolerance interval of a normal process, exact.

    Parameters
    ----------
    n : int
        Parts measured.
    mean, sd : float
        Of the readings [mm]. The gauge's repeatability is in `sd`: the interval is then for the
        readings, a little wide for the parts.
    content, confidence : float
        Share of the process to be held, and how surely.
    side : str
        ``both``, ``below`` (an upper end only) or ``above`` (a lower end only).

    Examples
    --------
    >>> found = normal_tolerance(43, 97.07, 0.0268, content=0.90, confidence=0.99)
    >>> found.low, found.high
    (97.010428, 97.129572)
    """
    if sd < 0.0:
        raise ValueError(f"sd must not be negative, got {sd}")
    if side == "both":
        k = two_sided_factor(n, content, confidence)
        low, high = mean - k * sd, mean + k * sd
    elif side in ("below", "above"):
        k = one_sided_factor(n, content, confidence)
        low = -math.inf if side == "below" else mean - k * sd
        high = mean + k * sd if side == "below" else math.inf
    else:
        raise ValueError(f"side is both, below or above, got {side}")
    return ToleranceInterval(
        low=low,
        high=high,
        content=content,
        confidence=confidence,
        factor=k,
        method="normal, exact",
    )


def content_of_range(n: int, content: float, *, both: bool = True) -> float:
    """Confidence that smallest to largest of n parts (or one of them) hold a content.

    Any continuous process: ``1 - n p^(n-1) + (n-1) p^n``, one-sided ``1 - p^n``.

    References
    ----------
    .. [1] Wilks, *Ann. Math. Stat.* 12 (1941) 91-96 (from memory).

    >>> content_of_range(12, 0.9)
    0.340998
    """
    if n < 2 or not 0.0 < content < 1.0:
        raise ValueError(f"need n >= 2 and 0 < content < 1, got {n}, {content}")
    if not both:
        return 1.0 - content**n
    return float(1.0 - betainc(n - 1.0, 2.0, content))


def parts_for_range(content: float, confidence: float, *, both: bool = True) -> int:
    """Smallest number of parts whose range (or largest) holds a content with a confidence.

    >>> parts_for_range(0.95, 0.95), parts_for_range(0.95, 0.95, both=False)
    (93, 59)
    """
    if not (0.0 < content < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError(f"content and confidence lie between 0 and 1: {content}, {confidence}")
    n = 2
    while content_of_range(n, content, both=both) < confidence:
        n += 1
        if n > 10_000_000:
            raise ArithmeticError("more than ten million parts")
    return n


def provable_share(n: int, *, confidence: float = 0.95) -> float:
    """Smallest share of bad parts that n good ones rule out, whatever the shape.

    ``1 - (1 - confidence)^(1/n)``: the one-sided exact binomial end at no failure.

    >>> provable_share(12)
    0.220922
    """
    if n < 1 or not 0.0 < confidence < 1.0:
        raise ValueError(f"need n >= 1 and 0 < confidence < 1, got {n}, {confidence}")
    return -math.expm1(math.log1p(-confidence) / n)
