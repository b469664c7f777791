"""Draw until the printed digits stand: the adaptive procedure of JCGM 101, 7.9."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["AdaptiveResult", "adaptive", "coverage_interval", "numerical_tolerance"]

FloatArray = NDArray[np.float64]
Kind = Literal["symmetric", "shortest"]


@dataclass(frozen=True, kw_only=True, slots=True)
class AdaptiveResult:
    """Mean, standard deviation and coverage interval of a quantity, in its unit.

    Parameters
    ----------
    tolerance : float
        Half a unit of the last significant digit of `sd`.
    settled : bool
        Whether all four are stable to it; False where the blocks ran out.
    """

    mean: float
    sd: float
    low: float
    high: float
    coverage: float
    kind: Kind
    n: int
    tolerance: float
    settled: bool


def numerical_tolerance(sd: float, digits: int = 2) -> float:
    """Half a unit of the last of `digits` significant digits of `sd`, in its unit.

    >>> numerical_tolerance(0.000355)  # 36e-5
    5e-06
    >>> numerical_tolerance(0.000355, 1)
    5e-05
    """
    if not 0.0 < sd < math.inf or digits < 1:
        raise ValueError(f"need sd > 0 and at least one digit, got {sd} and {digits}")
    exponent = int(f"{sd:.{digits - 1}e}".split("e")[1])  # after rounding: 0.0996 has 10e-2
    return 0.5 * 10.0 ** (exponent - digits + 1)


def coverage_interval(
    values: FloatArray, coverage: float, *, kind: Kind = "symmetric"
) -> tuple[float, float]:
    """Ends of the interval that holds `coverage` of the values, (n,), JCGM 101, 7.7.

    Probabilistically symmetric, or the shortest one.
    """
    y = np.sort(values)
    m = y.size
    q = int(coverage * m + 0.5)
    if not 0 < q < m:
        raise ValueError(f"{m} values cannot show a coverage of {coverage}")
    if kind == "symmetric":
        start = int((m - q) / 2 + 0.5) - 1
        start = max(start, 0)
    else:
        start = int(np.argmin(y[q:] - y[: m - q]))
    return float(y[start]), float(y[start + q])


def adaptive(
    draw: Callable[[int, int], FloatArray],
    *,
    digits: int = 2,
    coverage: float = 0.95,
    kind: Kind = "symmetric",
    least_blocks: int = 10,
    most_blocks: int = 1000,
) -> AdaptiveResult:
    """Draw blocks until twice the standard deviation of the four results is below tolerance.

    Parameters
    ----------
    draw : callable
        (block index, size) -> values (size,), independent from block to block.
    digits : int
        Significant digits of the standard deviation that must stand.
    coverage : float
        Of the interval [-].
    least_blocks : int
        Never stop before so many. The rule proper allows 2, where the spread of two blocks is
        small by chance often enough to stop too early [2]_.
    most_blocks : int
        Give up after so many; all values are kept, 8 bytes each.

    Notes
    -----
    Blocks of ``max(100 / (1 - coverage), 10 000)`` values, rounded up.

    References
    ----------
    .. [1] JCGM 101:2008, 7.9.4; clause number from memory.
    .. [2] Wuebbeler, Harris, Cox & Elster, *Metrologia* 47 (2010) 317-324, from memory.
    """
    # 100 / 0.05 is 2000.0000000000018: round off what the subtraction left before rounding up
    size = max(math.ceil(round(100.0 / (1.0 - coverage), 6)), 10_000)
    kept: list[FloatArray] = []
    results: list[tuple[float, float, float, float]] = []
    tolerance, settled = math.inf, False
    while len(kept) < most_blocks and not settled:
        y = draw(len(kept), size)
        kept.append(y)
        results.append(
            (float(y.mean()), float(y.std(ddof=1)), *coverage_interval(y, coverage, kind=kind))
        )
        h = len(results)
        if h < max(2, least_blocks):
            continue
        pooled = math.sqrt(
            float(np.mean([np.var(k) for k in kept])) + float(np.var([r[0] for r in results]))
        )
        if pooled == 0.0:
            tolerance, settled = 0.0, True
            break
        tolerance = numerical_tolerance(pooled, digits)
        spread = np.std(results, axis=0, ddof=1) / math.sqrt(h)
        settled = bool((2.0 * spread <= tolerance).all())
    y = np.concatenate(kept)
    low, high = coverage_interval(y, coverage, kind=kind)
    return AdaptiveResult(
        mean=float(y.mean()),
        sd=float(y.std(ddof=1)),
        low=low,
        high=high,
        coverage=coverage,
        kind=kind,
        n=y.size,
        tolerance=tolerance,
        settled=settled,
    )
