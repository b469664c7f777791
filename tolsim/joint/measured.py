"""A measured feature: its process, and rows for what the readings leave open."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.shape_taken import ShapeTaken
from tolsim.process.base import Process
from tolsim.process.evidence import NormalEvidence, PairEvidence
from tolsim.process.plain import Normal
from tolsim.record import Array
from tolsim.spec.readings import Readings

__all__ = ["MIN_PAIRS", "Measured", "Parameters", "measure", "seats_of"]

FloatArray = NDArray[np.float64]
#: Means, spreads [mm] and correlation of the two seats.
Parameters = tuple[tuple[Array, Array], tuple[Array, Array], Array]

MIN_PAIRS = 4
_NARROW = 1e-7  # spread [mm] below which a density is no longer told from a point


@dataclass(frozen=True, kw_only=True, slots=True)
class Measured:
    """Sizes [mm from nominal] of both seats, drawn from what the readings allow.

    `parameters` maps the rows of normals to means, spreads and correlation; `seats` to the
    sizes at the gauge. `correlation` is the one in use, its basis stands in `notes`. An
    assumption that is known within ranges only takes the same form, with `n` at 0.

    Of a size read from parts `shape` says which shape is taken and why; where that is not the
    normal, `density` is its log density, `fitted` the process of either seat with the likeliest
    parameters, and means and spreads are the moments of the shape.
    """

    part_name: str
    key: str
    n: tuple[int, int]
    means: tuple[float, float]
    sds: tuple[float, float]
    correlation: float
    parameters: Callable[[Rows], Parameters]
    seats: tuple[Source, Source]
    notes: tuple[str, ...]
    shape: ShapeTaken | None = None
    density: Callable[[FloatArray, FloatArray], FloatArray] | None = None
    fitted: tuple[Process, Process] | None = None
    #: Of another shape than the normal: a small and a large size of either seat [mm], which tell
    #: parameters apart that have one mean and spread; of one seat where both are alike.
    ends: Callable[[Rows], tuple[tuple[Array, Array], ...]] | None = None
    #: Whether the correlation follows from the spreads: no parameter of its own.
    follows: bool = False

    @property
    def processes(self) -> tuple[Process, Process]:
        """Process of either seat with the estimates put in, as if they were known."""
        if self.fitted is not None:
            return self.fitted
        one, two = (
            Normal(mean=m, sd=max(s, 1e-9)) for m, s in zip(self.means, self.sds, strict=True)
        )
        return one, two

    def log_density(self, x: FloatArray, table: FloatArray) -> FloatArray:
        """Log density (k, n) of the sizes x (2, n) under each of k sets of rows, table (d, k).

        But for a constant. Of normals the exponent is a quadratic form in both sizes, so all sets
        and sizes are one product of matrices.
        """
        return self.log_densities(table)(x)

    def log_densities(self, table: FloatArray) -> Callable[[FloatArray], FloatArray]:
        """The same for sizes that come a few at a time, under the same sets."""
        if self.density is not None:
            return partial(_of_table, self.density, table)
        (m1, m2), (s1, s2), rho = self.parameters(list(table))
        m1, m2, s1, s2, rho = (
            np.broadcast_to(np.asarray(v, dtype=np.float64), table.shape[1:])
            for v in (m1, m2, s1, s2, rho)
        )
        s1, s2 = np.maximum(s1, _NARROW), np.maximum(s2, _NARROW)
        # about the estimates, so that little cancels
        d, e = m1 - self.means[0], m2 - self.means[1]
        if bool((np.abs(rho) == 1.0).all()):
            # the second seat is the first again
            a = 1.0 / (s1 * s1)
            form = np.array([a, -2.0 * a * d, a * d * d + 2.0 * np.log(s1)])
            return partial(_one_seat, -0.5 * form.T, self.means)
        rest = np.maximum(1.0 - rho * rho, 1e-12)
        a, b, c = 1.0 / (s1 * s1 * rest), -2.0 * rho / (s1 * s2 * rest), 1.0 / (s2 * s2 * rest)
        form = np.array(
            [
                a,
                b,
                c,
                -2.0 * a * d - b * e,
                -2.0 * c * e - b * d,
                a * d * d + b * d * e + c * e * e + 2.0 * np.log(s1 * s2) + np.log(rest),
            ]
        )
        return partial(_two_seats, -0.5 * form.T, self.means)


def _of_table(
    density: Callable[[FloatArray, FloatArray], FloatArray], table: FloatArray, x: FloatArray
) -> FloatArray:
    return density(x, table)


def _one_seat(form: FloatArray, means: tuple[float, float], x: FloatArray) -> FloatArray:
    u = x[0] - means[0]
    return np.asarray(form @ np.array([u * u, u, np.ones_like(u)]))


def _two_seats(form: FloatArray, means: tuple[float, float], x: FloatArray) -> FloatArray:
    u, v = x[0] - means[0], x[1] - means[1]
    return np.asarray(form @ np.array([u * u, u * v, v * v, u, v, np.ones_like(u)]))


def measure(
    latent: Latent,
    key: str,
    part_name: str,
    readings: Readings,
    *,
    gauge_sd: float,
    correlation: float | None,
) -> Measured:
    """The process of a feature from its readings, with rows of evidence for its parameters.

    Seats are told apart where the file names two; their correlation comes from the units that
    have both, else from the part's ``sides``. Rows of evidence are named after the part: two
    studies or supplies that use the same readings share what is not known about them.
    """
    rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))
    base = f"evidence {part_name} {key}"
    notes = list(readings.notes)
    groups = list(readings.by_seat().items())
    if readings.seats is not None and len(groups) == 2:
        singles = [
            _evidence(values, gauge_sd, readings, notes, f"seat {name}") for name, values in groups
        ]
        pairs = readings.pairs()
        if len(pairs) >= MIN_PAIRS and min(s.n for s in singles) >= len(pairs):
            return _paired(latent, key, part_name, base, rows, singles, pairs, notes)
        notes.append(
            f"{key}: {len(pairs)} units with both seats read say nothing about their correlation; "
            f"{correlation or 0.0:g} is taken"
        )
        return _apart(latent, key, part_name, base, rows, singles, correlation or 0.0, notes)
    if readings.side is not None:
        notes.append(f"{key}: readings of one seat only; both seats are taken to be alike")
    pooled = _evidence(readings.deviation, gauge_sd, readings, notes, "")
    return _alike(latent, key, part_name, base, rows, pooled, correlation or 0.0, notes)


def _evidence(
    values: FloatArray, gauge_sd: float, readings: Readings, notes: list[str], who: str
) -> NormalEvidence:
    n = len(values)
    mean, sd = float(values.mean()), float(values.std(ddof=1)) if n > 1 else 0.0
    if n < 2:
        raise ValueError(f"{readings.shown}: {who or 'the column'} has {n} usable reading")
    floor = max(readings.resolution_mm, 1e-6) / math.sqrt(12.0)
    if sd < floor:
        notes.append(
            f"{readings.shown}: all {n} readings{' of ' + who if who else ''} agree within the "
            f"gauge's step of {1e3 * readings.resolution_mm:g} µm; the spread is taken as that of "
            "the step, its interval says nothing"
        )
        sd = floor
    if n < 12:
        notes.append(
            f"{readings.shown}: {n} readings{' of ' + who if who else ''}; at least 12 parts are "
            "customary (common practice, no source)"
        )
    found = NormalEvidence(n=n, mean=mean, sd=sd, gauge_sd=gauge_sd)
    notes.extend(f"{readings.shown}: {text}" for text in found.notes)
    return found


def _paired(
    latent: Latent,
    key: str,
    part_name: str,
    base: str,
    rows: tuple[Source, Source],
    singles: Sequence[NormalEvidence],
    pairs: FloatArray,
    notes: list[str],
) -> Measured:
    d = pairs - pairs.mean(axis=0)
    scale = float(np.sqrt(np.dot(d[:, 0], d[:, 0]) * np.dot(d[:, 1], d[:, 1])))
    r = float(np.dot(d[:, 0], d[:, 1])) / scale if scale > 0.0 else 0.0
    r = max(-0.999999, min(0.999999, r))
    evidence = PairEvidence(seats=(singles[0], singles[1]), correlation=r, pairs=len(pairs))
    names = ("mean@1", "mean@2", "sd@1", "sd@2", "correlation")
    hidden = [latent.row(f"{base} {name}", evidence=True) for name in names]

    def parameters(z: Rows) -> Parameters:
        a, b, c, d, e = (row(z) for row in hidden)
        return evidence.parameters((a, b), (c, d), e)

    return Measured(
        part_name=part_name,
        key=key,
        n=(singles[0].n, singles[1].n),
        means=(singles[0].mean, singles[1].mean),
        sds=(singles[0].process_sd, singles[1].process_sd),
        correlation=r,
        parameters=parameters,
        seats=seats_of(parameters, rows),
        notes=tuple(notes),
    )


def _apart(
    latent: Latent,
    key: str,
    part_name: str,
    base: str,
    rows: tuple[Source, Source],
    singles: Sequence[NormalEvidence],
    correlation: float,
    notes: list[str],
) -> Measured:
    hidden = [
        (
            latent.row(f"{base} mean@{k}", evidence=True),
            latent.row(f"{base} sd@{k}", evidence=True),
        )
        for k in (1, 2)
    ]

    def parameters(z: Rows) -> Parameters:
        one, two = (
            e.parameters(mean(z), sd(z)) for e, (mean, sd) in zip(singles, hidden, strict=True)
        )
        return (one[0], two[0]), (one[1], two[1]), correlation

    return Measured(
        part_name=part_name,
        key=key,
        n=(singles[0].n, singles[1].n),
        means=(singles[0].mean, singles[1].mean),
        sds=(singles[0].process_sd, singles[1].process_sd),
        correlation=correlation,
        parameters=parameters,
        seats=seats_of(parameters, rows),
        notes=tuple(notes),
    )


def _alike(
    latent: Latent,
    key: str,
    part_name: str,
    base: str,
    rows: tuple[Source, Source],
    pooled: NormalEvidence,
    correlation: float,
    notes: list[str],
) -> Measured:
    mean_row = latent.row(f"{base} mean", evidence=True)
    sd_row = latent.row(f"{base} sd", evidence=True)

    def parameters(z: Rows) -> Parameters:
        mean, sd = pooled.parameters(mean_row(z), sd_row(z))
        return (mean, mean), (sd, sd), correlation

    return Measured(
        part_name=part_name,
        key=key,
        n=(pooled.n, pooled.n),
        means=(pooled.mean, pooled.mean),
        sds=(pooled.process_sd, pooled.process_sd),
        correlation=correlation,
        parameters=parameters,
        seats=seats_of(parameters, rows),
        notes=tuple(notes),
    )


def seats_of(
    parameters: Callable[[Rows], Parameters], rows: tuple[Source, Source]
) -> tuple[Source, Source]:
    """Sizes of both seats for their rows and the parameters' own."""

    def first(z: Rows) -> Array:
        (mean, _), (sd, _), _ = parameters(z)
        return mean + sd * rows[0](z)

    def second(z: Rows) -> Array:
        (_, mean), (_, sd), rho = parameters(z)
        if isinstance(rho, float) and rho == 0.0:
            return mean + sd * rows[1](z)
        rest = np.sqrt(np.maximum(1.0 - rho * rho, 0.0))
        return mean + sd * (rho * rows[0](z) + rest * rows[1](z))

    return first, second
