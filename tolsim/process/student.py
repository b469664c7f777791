"""Non-central t and exact tolerance factors, on the special functions alone."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy.special import chdtrc, gammainccinv, gammaincinv, gammaln, ndtr, ndtri

from tolsim.process.base import FloatArray, normal_density

__all__ = ["noncentral_t", "noncentral_t_quantile", "one_sided_factor", "solve", "two_sided_factor"]

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(200)
_PANELS = 160
_PANEL_X, _PANEL_W = np.polynomial.legendre.leggauss(10)
_TINY = 1e-18  # share of chi-square left out at either end


def solve(function: Callable[[float], float], low: float, high: float) -> float:
    """Root of an increasing function between two ends, by bisection to the last digits."""
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@lru_cache(maxsize=64)
def _spread_nodes(freedom: float) -> tuple[FloatArray, FloatArray]:
    """Gauss nodes of s = sqrt(chi-square / f) with their probabilities."""
    half = 0.5 * freedom
    low = 0.5 * math.log(float(gammaincinv(half, _TINY)) / half)
    high = 0.5 * math.log(float(gammainccinv(half, _TINY)) / half)
    edges = np.linspace(low, high, _PANELS + 1)
    width = 0.5 * (edges[1] - edges[0])
    log_s = (0.5 * (edges[1:] + edges[:-1])[:, None] + width * _PANEL_X).ravel()
    s = np.exp(log_s)
    scale = math.log(2.0) + half * math.log(half) - float(gammaln(half))
    density = np.exp(scale + freedom * log_s - half * s * s)  # of ln s
    weight = np.tile(width * _PANEL_W, _PANELS) * density
    return s, weight / weight.sum()


def noncentral_t(t: float, freedom: float, shift: float) -> float:
    r"""Share of the non-central t below `t`: :math:`P((Z + \delta)/S \le t)`.

    Sum over the chi distribution of ln S by 160 Gauss panels.

    >>> noncentral_t(2.0, 11, 1.0)
    0.810487
    """
    s, weight = _spread_nodes(freedom)
    return float(weight @ ndtr(t * s - shift))


def noncentral_t_quantile(share: float, freedom: float, shift: float) -> float:
    """Value below which a share of the non-central t lies."""
    if not 0.0 < share < 1.0:
        raise ValueError(f"a share lies between 0 and 1, got {share}")
    reach = 10.0 + abs(shift)
    while noncentral_t(-reach, freedom, shift) > share or (
        noncentral_t(reach, freedom, shift) < share
    ):
        reach *= 2.0
        if reach > 1e12:
            raise ArithmeticError("non-central t: no quantile found")
    return solve(lambda t: noncentral_t(t, freedom, shift) - share, -reach, reach)


def _check(n: int, content: float, confidence: float) -> None:
    if n < 2:
        raise ValueError(f"a tolerance interval needs at least 2 parts, got {n}")
    if not (0.0 < content < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError(f"content and confidence lie between 0 and 1: {content}, {confidence}")


def one_sided_factor(n: int, content: float, confidence: float) -> float:
    r"""Factor k of ``mean + k sd``, above which at most 1 - content of a normal process lies.

    .. math:: k = t_{n-1,\,\gamma}(z_p\sqrt n)/\sqrt n

    >>> one_sided_factor(12, 0.95, 0.95)
    2.736343
    """
    _check(n, content, confidence)
    shift = float(ndtri(content)) * math.sqrt(n)
    return noncentral_t_quantile(confidence, n - 1, shift) / math.sqrt(n)


@lru_cache(maxsize=256)
def two_sided_factor(n: int, content: float, confidence: float) -> float:
    r"""Exact factor k of ``mean ± k sd`` that holds `content` of a normal process.

    Solves :math:`\int \varphi_n(x)\,P\big(\chi^2_{n-1} > (n-1) r(x)^2/k^2\big)\,dx = \gamma` with
    :math:`\Phi(x + r) - \Phi(x - r) = p`.

    References
    ----------
    .. [1] Odeh, *Commun. Stat. Simul. Comput.* 7 (1978) 183-201 (from memory).

    Examples
    --------
    >>> two_sided_factor(12, 0.99, 0.95)
    4.155508
    """
    _check(n, content, confidence)
    half = 8.5 / math.sqrt(n)
    x = 0.5 * half * (1.0 + _GAUSS_X)  # the integrand is even
    weight = half * _GAUSS_W * normal_density(x * math.sqrt(n)) * math.sqrt(n)
    r = _holding(x, content)

    def short(k: float) -> float:
        return float(weight @ chdtrc(n - 1, (n - 1) * (r / k) ** 2)) - confidence

    high = 10.0
    while short(high) < 0.0:
        high *= 2.0
    return solve(short, 1e-6, high)


def _holding(x: FloatArray, content: float) -> FloatArray:
    """Half width about x that holds a content of the standard normal, by bisection."""
    low, high = np.zeros_like(x), np.abs(x) + 40.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        short = ndtr(x + middle) - ndtr(x - middle) < content
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high))
