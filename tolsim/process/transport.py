"""Equally likely parameter sets as a smooth map of standard normals, one row a parameter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from tolsim.process.base import FloatArray
from tolsim.process.quantiles import Tabulated
from tolsim.record import Array

__all__ = ["Transport"]

_SMOOTH = 33  # quantiles that a table goes through
_REACH = 2.6  # normals within which points tell the quantiles; beyond, a straight line
_LEAST = 0.2  # of the spread about the regression: smallest spread anywhere


class Transport:
    r"""Triangular map from independent normals to parameters.

    .. math:: \theta_j = a_j(z_1 \ldots z_{j-1}) + e^{b_j(z_1 \ldots z_{j-1})}\, q_j(z_j)

    `a` is a polynomial of second order, `b` a line, both fitted to the points; `q` runs through
    the quantiles of what they leave, so each parameter keeps its own skewness. Increasing in
    :math:`z_j`, smooth, recordable.

    Parameters
    ----------
    points : ndarray
        Equally likely parameter sets, shape (d, n).

    Examples
    --------
    >>> from tolsim.process.posterior import lattice
    >>> a, b = ndtri(lattice(2, 1000))
    >>> t = Transport(np.array([a, 0.5 * a + np.exp(0.3 * b)]))
    >>> first, second = t(1.0, 0.0)
    >>> bool(abs(first - 1.0) < 0.02), bool(abs(second - 1.5) < 0.03)
    (True, True)
    """

    def __init__(self, points: FloatArray) -> None:
        self.rows: int = points.shape[0]
        n = points.shape[1]
        self._place: list[FloatArray] = []
        self._log_spread: list[FloatArray] = []
        self._table: list[Tabulated] = []
        normals: list[FloatArray] = []
        for row in points:
            terms = _terms(normals, n)
            place = np.linalg.lstsq(terms.T, row, rcond=1e-10)[0]
            rest = row - place @ terms
            line = terms[: len(normals) + 1]
            spread = np.zeros(len(line))
            if normals:
                # ln|rest| has the same slopes as the logarithm of its spread
                log = np.log(np.abs(rest) + 1e-3 * float(rest.std()) + 1e-300)
                spread = np.linalg.lstsq(line.T, log, rcond=1e-10)[0]
                spread[0] = 0.0
                spread = np.clip(spread, -0.7, 0.7)
            scaled = rest / np.exp(spread @ line)
            table = _quantiles(scaled)
            self._place.append(place)
            self._log_spread.append(spread)
            self._table.append(table)
            ranks = np.empty(n)
            ranks[np.argsort(scaled, kind="stable")] = np.arange(n) + 0.5
            normals.append(ndtri(ranks / n))

    def __call__(self, *z: Array) -> list[Array]:
        """Parameters for one row of standard normals each."""
        return self.partial(z)

    def partial(self, z: Sequence[Array]) -> list[Array]:
        """The same of a sequence."""
        out: list[Array] = []
        for j in range(self.rows):
            place, spread = self._place[j], self._log_spread[j]
            value = self._table[j].primitive(z[j])
            if spread[1:].any():
                value = value * np.exp(sum(spread[k + 1] * z[k] for k in range(j)))
            value = value + place[0]
            at = 1
            for k in range(j):
                value = value + place[at] * z[k]
                at += 1
            for k in range(j):
                for i in range(k + 1):
                    value = value + place[at] * (z[k] * z[i])
                    at += 1
            out.append(value)
        return out


def _terms(z: list[FloatArray], n: int) -> FloatArray:
    pairs = [z[k] * z[i] for k in range(len(z)) for i in range(k + 1)]
    return np.array([np.ones(n), *z, *pairs])


def _quantiles(x: FloatArray) -> Tabulated:
    """Increasing map through the quantiles of `x`, straight beyond the outermost."""
    from scipy.interpolate import PchipInterpolator

    spread = max(float(x.std()), 1e-12)
    z = np.linspace(-_REACH, _REACH, _SMOOTH)
    from scipy.special import ndtr

    y = np.quantile(x, ndtr(z), method="hazen")
    # quantiles of equal points: keep the map rising
    y = np.maximum.accumulate(y + 1e-9 * spread * np.arange(_SMOOTH))
    inside = PchipInterpolator(z, y)
    ends = [(y[4] - y[0]) / (z[4] - z[0]), (y[-1] - y[-5]) / (z[-1] - z[-5])]

    def exact(t: FloatArray) -> FloatArray:
        held = np.clip(t, z[0], z[-1])
        beyond = np.where(t < z[0], ends[0], ends[1]) * (t - held)
        return np.asarray(inside(held) + beyond)

    return Tabulated(exact, spread=spread, error=1e-4)
