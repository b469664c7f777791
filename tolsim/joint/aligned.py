"""Alignment as read: components from coordinates, or one spread behind magnitudes alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.aligned_rice import displaced, is_rice, told
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured, Parameters, measure, seats_of
from tolsim.process.evidence import spread_factor
from tolsim.record import Array
from tolsim.spec.alignment_readings import AlignmentReadings
from tolsim.spec.readings import Readings
from tolsim.spec.sifting import left_out

__all__ = [
    "Scatter",
    "Spread",
    "Vector",
    "about_zero",
    "alignment_notes",
    "form_of",
    "read_vectors",
    "spread_behind",
]

#: Two components of a vector across the axis.
Vector = Callable[[Rows], tuple[Array, Array]]
FloatArray = NDArray[np.float64]
_LEAST = 1e-9


@dataclass(frozen=True, slots=True)
class Scatter:
    """What measuring adds to each component [mm or rad]; `freedom` behind it, 0 where known."""

    sd: float = 0.0
    freedom: int = 0


_NONE = Scatter()


def read_vectors(
    latent: Latent,
    key: str,
    part_name: str,
    seen: AlignmentReadings,
    what: str,
    together: float,
) -> tuple[tuple[Vector, Vector], tuple[Measured, Measured]]:
    r"""Offset [mm] or tilt [rad] of either seat, drawn from what the readings allow.

    Coordinates: each component of each seat is a normal process with evidence of its own, the
    seats tied as their pairs show. Magnitudes alone: both components of both seats have one
    spread about 0,

    .. math:: \frac{\sum r_i^2}{\sigma^2} \sim \chi^2_{2n}

    exact for independent components without a systematic part (Rayleigh); `together` ties the
    seats, of which magnitudes say nothing. Where they show a systematic part, or it is stated, see
    `displaced` (Rice).
    """
    components = seen.offset if what == "offset" else seen.tilt
    if components is not None:
        found = [
            measure(
                latent,
                f"{key}_{axis}",
                part_name,
                _component(seen, components[:, k], f"{what} {axis}"),
                gauge_sd=0.0,
                correlation=together,
            )
            for k, axis in enumerate("xy")
        ]
        return (_vector(found, 0), _vector(found, 1)), (found[0], found[1])
    apart = seen.magnitudes(what)
    if is_rice(seen, what):
        two = displaced(latent, key, part_name, apart, together)
        return (_vector(two, 0), _vector(two, 1)), two
    magnitudes = np.concatenate(apart)
    spread = spread_behind(latent, f"evidence {part_name} {key} sd", magnitudes)
    n = len(magnitudes)
    found = [about_zero(latent, f"{key}_{axis}", part_name, spread, n, together) for axis in "xy"]
    return (_vector(found, 0), _vector(found, 1)), (found[0], found[1])


@dataclass(frozen=True, slots=True)
class Spread:
    """Spread [mm or rad] of components about 0: its estimate, and the draw of it."""

    estimate: float
    draw: Source


def about_zero(
    latent: Latent, key: str, part_name: str, spread: Spread, n: int, together: float
) -> Measured:
    """A component of both seats, normal about 0 with a spread that is drawn."""
    rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))

    def parameters(z: Rows) -> Parameters:
        s = spread.draw(z)
        return (0.0, 0.0), (s, s), together

    return Measured(
        part_name=part_name,
        key=key,
        n=(n, n),
        means=(0.0, 0.0),
        sds=(spread.estimate, spread.estimate),
        correlation=together,
        parameters=parameters,
        seats=seats_of(parameters, rows),
        notes=(),
    )


def spread_behind(
    latent: Latent,
    name: str,
    magnitudes: FloatArray,
    components: int = 2,
    scatter: Scatter = _NONE,
) -> Spread:
    r"""Spread of each component behind magnitudes of so many of them, with rows of evidence.

    .. math:: \sigma^2 = \max\Big(\frac{\sum r_i^2}{\chi^2_{kn}} -
        \frac{f s_e^2}{\chi^2_f},\ 0\Big)

    with k components and the scatter :math:`s_e` of measuring, known or with f degrees of freedom:
    the generalised pivotal quantity of Tsui and Weerahandi, J. Am. Stat. Assoc. 84 (1989) 602-607
    (from memory), exact without scatter.
    """
    total = max(math.sqrt(float((magnitudes**2).mean()) / components), _LEAST)
    factor = spread_factor(components * len(magnitudes)).primitive
    row = latent.row(name, evidence=True)
    if scatter.sd == 0.0:
        return Spread(total, lambda z: total * np.exp(factor(row(z))))
    known = scatter.sd**2
    own = latent.row(f"{name} scatter", evidence=True) if scatter.freedom else None
    more = spread_factor(scatter.freedom).primitive if scatter.freedom else None

    def draw(z: Rows) -> Array:
        observed = total * np.exp(factor(row(z)))
        added: Array = known
        if own is not None and more is not None:
            added = known * np.exp(2.0 * more(own(z)))
        return np.sqrt(np.maximum(observed * observed - added, _LEAST**2))

    return Spread(math.sqrt(max(total**2 - known, _LEAST**2)), draw)


def alignment_notes(part_name: str, seen: AlignmentReadings) -> tuple[str, ...]:
    """What must be said beside results that rest on read alignment."""
    head = f"{part_name}: alignment of {len(seen)} seats from {seen.shown}"
    if seen.excluded:
        head += f"; {left_out(seen.excluded, seen.rows_in)}"
    out = [head, *(f"{seen.shown}: {note}" for note in seen.notes)]
    for what in ("offset", "tilt"):
        out += told(part_name, seen, what)
    return tuple(out)


def _vector(found: Sequence[Measured], seat: int) -> Vector:
    x, y = found[0].seats[seat], found[1].seats[seat]
    return lambda z: (x(z), y(z))


def form_of(
    latent: Latent,
    key: str,
    part_name: str,
    readings: Readings,
    values: FloatArray,
    scatter: float,
) -> Measured:
    """A quantity of form, one value a bore, alike and independent at both seats.

    `scatter` [mm] is what measuring adds to its spread.
    """
    alike = replace(
        readings,
        deviation=values,
        exact=tuple(Decimal(repr(float(v))) for v in values),
        side=None,
        seats=None,
        notes=(),
        resolution_mm=0.0,
    )
    return measure(latent, key, part_name, alike, gauge_sd=scatter, correlation=0.0)


def _component(seen: AlignmentReadings, values: FloatArray, column: str) -> Readings:
    """One component of all seats, as readings of a size."""
    return Readings(
        shown=seen.shown,
        column=column,
        nominal_mm=0.0,
        deviation=np.ascontiguousarray(values),
        exact=tuple(Decimal(repr(float(v))) for v in values),
        row=seen.row,
        side=seen.side,
        unit=seen.unit,
        lot=seen.lot,
        order=None,
        seats=seen.seats,
        rows_in=seen.rows_in,
        excluded=seen.excluded,
        understood=seen.understood,
        notes=(),
        sha256=seen.sha256,
        resolution_mm=0.0,
        state=seen.state,
    )
