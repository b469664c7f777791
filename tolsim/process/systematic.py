"""Whether magnitudes without direction scatter about a point that is not 0."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from tolsim.process.base import FloatArray

__all__ = ["LEAST", "systematic_part", "visible_distance"]

LEAST = 5  #: magnitudes below which a systematic part is not looked for
_SEED = 20_231
_SAMPLES = 40_000
_CELLS = 6_000_000  # magnitudes drawn at most for one null


def systematic_part(values: ArrayLike) -> float:
    r"""Share of samples without a systematic part whose squares are at least as even.

    Without one the squares of magnitudes are exponential, so

    .. math:: G = \frac{\sum r_i^4}{\big(\sum r_i^2\big)^2}

    (Greenwood's statistic) has a distribution that knows no scale, and is simulated. About a
    point at a distance the squares are more even and G is small. Of all tests that know no scale
    this is the most powerful against a small distance: the logarithm of Rice's likelihood falls,
    in the fourth power of the distance, as the sum of the fourth powers of the magnitudes.

    Parameters
    ----------
    values : array_like
        Magnitudes, at least `LEAST`, any unit.

    Returns
    -------
    float
        Between 1 / 40 001 and 1, by 40 000 samples (2000 at least, where magnitudes are many).

    Raises
    ------
    ValueError
        If there are too few, one is negative or not finite, or all are 0.

    References
    ----------
    .. [1] Greenwood, *J. R. Stat. Soc.* 109 (1946) 85-110; Moran, *J. R. Stat. Soc. B* 9 (1947)
       92-98: moments of the statistic (both from memory).

    Examples
    --------
    >>> systematic_part([5.0, 5.4, 4.8, 5.1, 5.3, 4.9, 5.2, 5.0]) < 1e-3
    True
    >>> systematic_part([1.0, 5.4, 2.8, 0.1, 3.3, 4.9, 1.2, 8.0]) > 0.2
    True
    """
    r = np.asarray(values, dtype=np.float64)
    if r.ndim != 1 or r.size < LEAST or not bool(np.all(np.isfinite(r))):
        raise ValueError(f"a systematic part needs at least {LEAST} finite magnitudes")
    if float(r.min()) < 0.0 or float(r.max()) == 0.0:
        raise ValueError("magnitudes are not negative, and not all are 0")
    null = _null(r.size)
    # a tie of rounded magnitudes counts as at least as even
    below = int(np.searchsorted(null, float(_greenwood((r / r.max()) ** 2)) * (1.0 + 1e-12)))
    return (below + 1.0) / (null.size + 1.0)


@lru_cache(maxsize=64)
def visible_distance(n: int, level: float, power: float = 0.8) -> float:
    """Distance of the centre, in spreads of an axis, that n magnitudes show in so many samples.

    >>> 3.0 < visible_distance(12, 0.03) < 4.0
    True
    """
    null = _null(n)
    critical = float(null[max(int(level * (null.size + 1)) - 1, 0)])
    rng = np.random.default_rng([_SEED, n, 1])
    samples = max(min(4000, _CELLS // (2 * n)), 200)
    x, y = rng.standard_normal((2, samples, n))
    low, high = 0.0, 64.0
    for _ in range(14):
        middle = 0.5 * (low + high)
        seen = float(np.mean(_greenwood((x + middle) ** 2 + y * y) <= critical))
        low, high = (low, middle) if seen >= power else (middle, high)
    return high


@lru_cache(maxsize=64)
def _null(n: int) -> FloatArray:
    """Greenwood's statistic of n exponentials, sorted."""
    rng = np.random.default_rng([_SEED, n])
    samples = max(min(_SAMPLES, _CELLS // n), 2000)
    chunk = max(_CELLS // (4 * n), 1)
    parts = [
        _greenwood(rng.exponential(size=(min(chunk, samples - done), n)))
        for done in range(0, samples, chunk)
    ]
    return np.sort(np.concatenate(parts))


def _greenwood(x: FloatArray) -> FloatArray:
    return np.asarray((x * x).sum(axis=-1) / x.sum(axis=-1) ** 2)
