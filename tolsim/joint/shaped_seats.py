"""Both seats of a feature in one shape: parameters over the rows, sizes, and their density.

Sizes come from the shape's monotone map, seats are tied through their standard normals (Gaussian
copula), and each parameter of the shape has a row of evidence of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import MIN_PAIRS
from tolsim.process.functions import tied
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.record import Array
from tolsim.spec.readings import Readings

__all__ = ["Both", "SeatsDensity", "both_parameters", "both_sizes"]

FloatArray = NDArray[np.float64]
#: Parameters of the shape at both seats, and the correlation of the seats.
Both = tuple[tuple[Array, ...], tuple[Array, ...], Array]

#: Parameters of both seats, correlations and maps of the seats under each set of rows.
_Sets = tuple[tuple[list[FloatArray], ...], FloatArray, tuple[FloatArray, ...]]
#: Power of the seats' correlation that ties what is not known of their parameters: that of means
#: once, of spreads twice, of skewnesses three times; others are taken as apart.
_TIES = {"mean": 1, "sd": 2, "skewness": 3}
_MOST_TIED = 0.999
_GRID = np.linspace(-7.0, 7.0, 281)  # normals between which a size is turned back into its own


def both_parameters(
    latent: Latent,
    base: str,
    found: Sequence[ShapedEvidence],
    readings: Readings,
    correlation: float,
) -> tuple[Callable[[Rows], Both], float]:
    """Parameters of both seats over the rows, and the correlation in use."""
    names = found[0].family.rows
    if len(found) == 1:
        own = [latent.row(f"{base} {name}", evidence=True) for name in names]

        def alike(z: Rows) -> Both:
            theta = found[0].parameters([row(z) for row in own])
            return theta, theta, correlation

        return alike, correlation
    hidden = [[latent.row(f"{base} {name}@{k}", evidence=True) for name in names] for k in (1, 2)]
    pairs = readings.pairs()
    if len(pairs) < MIN_PAIRS:

        def apart(z: Rows) -> Both:
            one, two = (
                e.parameters([row(z) for row in rows])
                for e, rows in zip(found, hidden, strict=True)
            )
            return one, two, correlation

        return apart, correlation
    r = _of_scores(pairs)
    fisher, error = float(np.arctanh(r)), 1.0 / np.sqrt(len(pairs) - 3.0)
    # the gauge's scatter, independent at both seats, has weakened what the readings show
    more = float(np.prod([np.hypot(1.0, e.gauge_sd / max(e.fitted.sd, 1e-9)) for e in found]))
    of_rho = latent.row(f"{base} correlation", evidence=True)
    overlap = len(pairs) / float(np.sqrt(found[0].n * found[1].n))

    def paired(z: Rows) -> Both:
        rho = 1.0 - 2.0 / (np.exp(2.0 * (fisher + error * of_rho(z))) + 1.0)
        one = [row(z) for row in hidden[0]]
        two = []
        for name, a, row in zip(names, one, hidden[1], strict=True):
            power = _TIES.get(name, 0)
            b = row(z)
            if power:
                tie = rho * overlap
                for _ in range(power - 1):
                    tie = tie * rho
                b = tied(tie, a, b)
            two.append(b)
        if more > 1.0:
            rho = np.minimum(np.maximum(more * rho, -_MOST_TIED), _MOST_TIED)
        return found[0].parameters(one), found[1].parameters(two), rho

    return paired, max(-_MOST_TIED, min(_MOST_TIED, more * r))


def _of_scores(pairs: FloatArray) -> float:
    """Correlation of the normal scores of both seats: that of the copula, whatever the shape."""
    n = len(pairs)
    ranks = np.argsort(np.argsort(pairs, axis=0, kind="stable"), axis=0) + 1.0
    scores = ndtri((ranks - 0.375) / (n + 0.25))
    r = float((scores[:, 0] * scores[:, 1]).sum() / (scores[:, 0] ** 2).sum())
    return max(-0.999999, min(0.999999, r))


def both_sizes(
    first: ShapedEvidence,
    second: ShapedEvidence,
    both: Callable[[Rows], Both],
    rows: tuple[Source, Source],
) -> tuple[Source, Source]:
    """Sizes of both seats [mm] for their rows and the parameters' own."""

    def one(z: Rows) -> Array:
        return first.size(rows[0](z), both(z)[0])

    def two(z: Rows) -> Array:
        _, theta, rho = both(z)
        if isinstance(rho, float) and rho == 0.0:
            return second.size(rows[1](z), theta)
        return second.size(tied(rho, rows[0](z), rows[1](z)), theta)

    return one, two


class SeatsDensity:
    """Log density (k, n) of the sizes of both seats under k sets of rows.

    The sizes' own normals, which the correlation needs, are read off the map of each set.
    """

    def __init__(
        self, first: ShapedEvidence, second: ShapedEvidence, both: Callable[[Rows], Both]
    ) -> None:
        self.found = (first, second)
        self.both = both
        self._known: tuple[FloatArray, _Sets] | None = None

    def _at(self, table: FloatArray) -> _Sets:
        if self._known is None or self._known[0] is not table:
            k = table.shape[1:]
            one, two, rho = self.both(list(table))
            theta = tuple(
                [np.broadcast_to(np.asarray(t, dtype=np.float64), k) for t in side]
                for side in (one, two)
            )
            ties = np.broadcast_to(np.asarray(rho, dtype=np.float64), k)
            grids: tuple[FloatArray, ...] = ()
            if ties.any() and not bool((np.abs(ties) == 1.0).all()):
                grids = tuple(
                    e.size(_GRID[None, :], [t[:, None] for t in side])
                    for e, side in zip(self.found, theta, strict=True)
                )
            self._known = (table, (theta, ties, grids))
        return self._known[1]

    def __call__(self, x: FloatArray, table: FloatArray) -> FloatArray:
        theta, rho, grids = self._at(table)
        first = self.found[0].log_density(x[0], theta[0])
        if bool((np.abs(rho) == 1.0).all()):
            return first  # the second seat is the first again
        total = first + self.found[1].log_density(x[1], theta[1])
        if not rho.any():
            return total
        u, v = (_normals(x[k], grids[k]) for k in (0, 1))
        rest = np.maximum(1.0 - rho * rho, 1e-12)[:, None]
        r = rho[:, None]
        return np.asarray(
            total
            - 0.5 * np.log(rest)
            - (r * r * (u * u + v * v) - 2.0 * r * (u * v)) / (2.0 * rest)
        )


def _normals(x: FloatArray, grids: FloatArray) -> FloatArray:
    """Normals (k, n) that stand for sizes x (n,), from the map of each set on the grid."""
    out = np.empty((len(grids), x.size))
    for row, line in zip(out, grids, strict=True):
        row[:] = np.interp(x, line, _GRID)
    return out
