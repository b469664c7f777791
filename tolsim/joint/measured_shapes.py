"""A measured feature whose readings ask for another shape than the normal, or are said to have one.

Same rows and same form as a normal one: sizes come from the shape's monotone map, seats are tied
through their standard normals (Gaussian copula), and each parameter of the shape has a row of
evidence of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import MIN_PAIRS, Measured, Parameters, measure
from tolsim.joint.measured_lots import about_lots, lots_by_seat, over_lots
from tolsim.joint.shape_taken import evidence_of, shape_of
from tolsim.process.functions import tied
from tolsim.process.rounding import spread_ties
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.record import Array
from tolsim.spec.readings import Readings

__all__ = ["measure_shaped"]

FloatArray = NDArray[np.float64]
#: Parameters of the shape at both seats, and the correlation of the seats.
Both = tuple[tuple[Array, ...], tuple[Array, ...], Array]

#: Parameters of both seats, correlations and maps of the seats under each set of rows.
_Sets = tuple[tuple[list[FloatArray], ...], FloatArray, tuple[FloatArray, ...]]
#: Power of the seats' correlation that ties what is not known of their parameters: that of means
#: once, of spreads twice, of skewnesses three times; others are taken as apart.
_TIES = {"mean": 1, "sd": 2, "skewness": 3}
_GRID = np.linspace(-7.0, 7.0, 281)  # normals between which a size is turned back into its own


def measure_shaped(
    latent: Latent,
    key: str,
    part_name: str,
    readings: Readings,
    *,
    gauge_sd: float,
    correlation: float | None,
    shape: str,
    sorted_later: bool = False,
    any_lot: bool = False,
) -> Measured:
    """The process of a feature from its readings, in the shape stated or, with ``choose``, in that
    which the readings ask for.

    `sorted_later`: a gauge follows in the route, which works on normal processes only. `any_lot`:
    lots are random effects of normal parts, where the readings name lots that can tell. Where a
    study states another shape for such readings its reader has refused it.

    Raises
    ------
    ValueError
        If the shape stated cannot be fitted to these readings.
    """
    lots = lots_by_seat(readings) if any_lot else ()
    if lots:
        taken = shape_of(about_lots(lots), shape, gauge_sd=gauge_sd, step=0.0)
        if taken.name != "normal":
            taken = taken.as_normal("lots are worked for normal parts only")
        plain = measure(
            Latent(),
            key,
            part_name,
            readings,
            gauge_sd=gauge_sd,
            correlation=correlation,
        )
        return replace(over_lots(latent, plain, lots, readings, gauge_sd=gauge_sd), shape=taken)
    groups = list(readings.by_seat().values())
    split = readings.seats is not None and len(groups) == 2
    values = groups if split else [readings.deviation]
    taken = shape_of(values, shape, gauge_sd=gauge_sd, step=readings.resolution_mm)
    if taken.name != "normal" and sorted_later:
        taken = taken.as_normal("a gauge after the readings sorts a normal process only")
    plain = measure(
        latent if taken.name == "normal" else Latent(),
        key,
        part_name,
        readings,
        gauge_sd=gauge_sd,
        correlation=correlation,
    )
    if taken.name == "normal":
        return replace(plain, shape=taken)
    # readings that share a step stand for all sizes within it
    found = [
        evidence_of(spread_ties(v, readings.resolution_mm), taken.name, gauge_sd) for v in values
    ]
    notes = [*plain.notes, f"{key}: {taken.reason}", *(n for e in found for n in e.notes)]
    rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))
    both, rho = _parameters(
        latent, f"evidence {part_name} {key}", found, readings, plain.correlation
    )
    first, second = found[0], found[-1]

    def parameters(z: Rows) -> Parameters:
        one, two, r = both(z)
        m1, s1 = first.moments(one)
        m2, s2 = (m1, s1) if two is one else second.moments(two)
        return (m1, m2), (s1, s2), r

    fitted = (first.fitted, second.fitted)
    return Measured(
        part_name=part_name,
        key=key,
        n=(first.n, second.n),
        means=(fitted[0].mean, fitted[1].mean),
        sds=(fitted[0].sd, fitted[1].sd),
        correlation=rho,
        parameters=parameters,
        seats=_seats(first, second, both, rows),
        notes=tuple(notes),
        shape=taken,
        density=_Density(first, second, both),
        fitted=fitted,
    )


def _parameters(
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
        return found[0].parameters(one), found[1].parameters(two), rho

    return paired, r


def _of_scores(pairs: FloatArray) -> float:
    """Correlation of the normal scores of both seats: that of the copula, whatever the shape."""
    n = len(pairs)
    ranks = np.argsort(np.argsort(pairs, axis=0, kind="stable"), axis=0) + 1.0
    scores = ndtri((ranks - 0.375) / (n + 0.25))
    r = float((scores[:, 0] * scores[:, 1]).sum() / (scores[:, 0] ** 2).sum())
    return max(-0.999999, min(0.999999, r))


def _seats(
    first: ShapedEvidence,
    second: ShapedEvidence,
    both: Callable[[Rows], Both],
    rows: tuple[Source, Source],
) -> tuple[Source, Source]:
    def one(z: Rows) -> Array:
        return first.size(rows[0](z), both(z)[0])

    def two(z: Rows) -> Array:
        _, theta, rho = both(z)
        if isinstance(rho, float) and rho == 0.0:
            return second.size(rows[1](z), theta)
        return second.size(tied(rho, rows[0](z), rows[1](z)), theta)

    return one, two


class _Density:
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
