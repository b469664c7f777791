"""The product of two independent positive populations, such as a film and its outward share."""

from __future__ import annotations

import math

import numpy as np

from tolsim.process.base import FloatArray, Process, shares_of
from tolsim.process.moved import kinks, moved
from tolsim.process.panels import REACH, exact_sizes, gauss_nodes
from tolsim.process.tabled import Tabled
from tolsim.process.trace import trace

__all__ = ["multiplied"]


def multiplied(process: Process, factor: Process) -> Process:
    r"""Population of the product of a size and an independent positive factor.

    .. math:: F(x) = \int \varphi(z)\,F_X\big(x / g(z)\big)\,dz

    Raises
    ------
    ValueError
        If the factor can be 0 or negative.

    Examples
    --------
    >>> from tolsim.process.plain import Normal, Uniform
    >>> film = Normal(mean=0.010, sd=0.001)
    >>> multiplied(film, Uniform(low=0.3, high=0.5)).mean
    0.004
    """
    if factor.sd == 0.0:
        return moved(process, scale=factor.mean)
    if factor.support[0] <= 0.0:
        raise ValueError("a factor must be positive")
    if process.sd == 0.0:
        return moved(factor, scale=process.mean)
    mean = process.mean * factor.mean
    square = (process.sd**2 + process.mean**2) * (factor.sd**2 + factor.mean**2)
    sd = math.sqrt(square - mean * mean)
    z, weight = gauss_nodes(np.linspace(-REACH, REACH, 47))
    g = exact_sizes(factor, z)

    def shares(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        lower, upper, density = shares_of(process, x[..., None] / g)
        return lower @ weight, upper @ weight, (density / g) @ weight

    nodes = np.linspace(-8.6, 8.6, 61)
    start = exact_sizes(process, nodes) * exact_sizes(factor, nodes)
    corners = [k * e for k in kinks(process) for e in (*kinks(factor), factor.mean)]
    cross = exact_sizes(process, nodes)[:, None] * exact_sizes(factor, nodes[::20])
    start = np.unique(np.concatenate([start, corners, cross.ravel()]))
    return Tabled(trace(shares, start, spread=sd), mean, sd, tuple(sorted(set(corners))))
