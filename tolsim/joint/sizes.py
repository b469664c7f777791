"""From a feature as specified to the sizes of the two seats of a unit, deviations in mm."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured, measure
from tolsim.joint.population import Population, population_of_process, population_of_readings
from tolsim.mechanics.settling import kohlrausch, log_time_share
from tolsim.process.base import Process
from tolsim.process.shapes import SHAPES, Mixture, Normal
from tolsim.spec.parts import Feature
from tolsim.spec.quantities import Distribution
from tolsim.spec.readings import Readings
from tolsim.spec.route_steps import Machine, Mix, Move, Settle
from tolsim.spec.route_steps import Readings as ReadingsStep

__all__ = ["SeatSizes", "process_of", "seat_sizes"]


@dataclass(frozen=True, kw_only=True, slots=True)
class SeatSizes:
    """Sizes of one feature at both seats, and what is known of them without drawing."""

    seats: tuple[Source, Source]
    #: The same at the end of life, where the parts go on settling in service.
    late: tuple[Source, Source]
    #: Drawing limits at assembly [mm], settling in; None where the part has no band.
    limits: tuple[float, float] | None
    #: The process as measured, before anything that comes after the gauge; None if not measured.
    measured: Measured | None
    #: Sizes as they were gauged, for the sampling of evidence.
    gauged: tuple[Source, Source]
    #: The parts as they come from the shop, one entry a seat where the readings tell them apart.
    populations: tuple[Population, ...]
    #: What must be said beside results that rest on this feature.
    notes: tuple[str, ...] = ()


def process_of(distribution: Distribution) -> Process:
    """The process of a distribution in inner units."""
    given = distribution.parameters()
    if distribution.shape in ("normal", "skewed", "folded-normal"):
        given.setdefault("mean", 0.0)
    return SHAPES[distribution.shape](**given)


def _first(feature: Feature) -> Process:
    """The process that the route starts from, or the band at its capability."""
    step = feature.route[0] if feature.route else None
    if isinstance(step, Machine):
        return process_of(step.distribution())
    if isinstance(step, Mix):
        return Mixture(parts=tuple((c.share, process_of(c.distribution())) for c in step.of))
    assert feature.band is not None
    low, high = feature.band
    return Normal(mean=0.5 * (low + high), sd=(high - low) / (6.0 * feature.capability))


def seat_sizes(
    latent: Latent,
    key: str,
    feature: Feature,
    *,
    part_name: str,
    readings: Readings | None,
    correlation: float | None,
    age: float,
    tied: tuple[str, float] | None = None,
    life: float | None = None,
) -> SeatSizes:
    """Sizes of a feature at the two seats of a unit.

    Parameters
    ----------
    latent : Latent
        Registry that gets the rows this feature needs.
    key : str
        Name of the feature, ``bore.diameter``; the rows are named after it.
    feature : Feature
        As specified.
    part_name : str
        File of the part; names the rows of evidence, which belong to the part, not to a study.
    readings : Readings or None
        The readings that its route starts with.
    correlation : float or None
        Of the two seats within a unit; None takes it from the readings, 0 where they show none.
    age : float
        Age of the part at assembly [h].
    tied : (str, float), optional
        Another feature of the same part and the correlation with it, seat by seat.
    life : float, optional
        Age at the end of life [h], for the sizes there.
    """
    measured: Measured | None = None
    if readings is not None:
        step = feature.route[0]
        assert isinstance(step, ReadingsStep)
        measured = measure(
            latent, key, part_name, readings, gauge_sd=step.gauge_sd, correlation=correlation
        )
        gauged = measured.seats
        means = measured.means
        populations = population_of_readings(key, part_name, feature.band, readings)
    else:
        a, b = latent.pair(f"{key}@1", f"{key}@2", correlation or 0.0)
        if tied is not None and tied[1] != 0.0:
            a, b = (
                _tied(latent.row(f"{tied[0]}@{k}"), row, tied[1]) for k, row in ((1, a), (2, b))
            )
        process = _first(feature)
        gauged = (_mapped(process, a), _mapped(process, b))
        means = (process.mean, process.mean)
        populations = (population_of_process(key, part_name, feature.band, process),)
    rest = [s for s in feature.route if isinstance(s, Settle)]
    first_age = feature.state.age if feature.state is not None else 0.0
    moved = _moved(gauged, feature, means)
    seats, shift = _settled(latent, key, part_name, moved, rest, first_age, age)
    late = seats
    if life is not None and rest:
        late, _ = _settled(latent, key, part_name, moved, rest, first_age, life)
    limits = None
    if feature.band is not None:
        limits = (feature.band[0] + shift, feature.band[1] + shift)
    notes: tuple[str, ...] = ()
    if not feature.route:
        limits_from = f"class {feature.tolerance_class}" if feature.tolerance_class else "its band"
        notes = (
            f"{part_name}: {key.split('.')[1]} is neither measured nor described; {limits_from} is "
            f"taken at a capability of {feature.capability:g} "
            f"({feature.capability_basis or 'assumed'})",
        )
    return SeatSizes(
        notes=notes,
        late=late,
        seats=seats,
        limits=limits,
        measured=measured,
        gauged=gauged,
        populations=populations,
    )


def _tied(other: Source, own: Source, correlation: float) -> Source:
    rest = math.sqrt(max(0.0, 1.0 - correlation * correlation))
    return lambda z: other(z) * correlation + own(z) * rest


def _mapped(process: Process, row: Source) -> Source:
    return lambda z: process.size(row(z))


def _moved(
    seats: tuple[Source, Source], feature: Feature, means: tuple[float, float]
) -> tuple[Source, Source]:
    """Shift and scale the process about its own mean, step by step."""
    out = list(seats)
    for step in feature.route:
        if isinstance(step, Move):
            out = [
                _about(size, mean, step.shift, step.spread_factor)
                for size, mean in zip(out, means, strict=True)
            ]
            means = (means[0] + step.shift, means[1] + step.shift)
    return out[0], out[1]


def _about(size: Source, mean: float, shift: float, factor: float) -> Source:
    if factor == 1.0:
        return _shifted(size, shift)
    return lambda z: (size(z) - mean) * factor + (mean + shift)


def _settled(
    latent: Latent,
    key: str,
    part_name: str,
    seats: tuple[Source, Source],
    steps: list[Settle],
    first_age: float,
    age: float,
) -> tuple[tuple[Source, Source], float]:
    """Add what settles between the gauge and the assembly; returns the common shift as well."""
    shift = 0.0
    a, b = seats
    for i, step in enumerate(steps):
        share = _settled_share(step, age) - _settled_share(step, first_age)
        if share == 0.0:
            continue
        shift += share * step.mean
        sd, common = abs(share) * step.sd, abs(share) * step.common_sd
        if sd > 0.0:
            one = latent.row(f"{key}.settle{i}@1")
            two = latent.row(f"{key}.settle{i}@2")
            a, b = _plus(a, one, sd), _plus(b, two, sd)
        if common > 0.0:
            both = latent.row(f"evidence {part_name} {key} settle{i}", evidence=True)
            a, b = _plus(a, both, common), _plus(b, both, common)
    if shift == 0.0:
        return (a, b), 0.0
    return (_shifted(a, shift), _shifted(b, shift)), shift


def _settled_share(step: Settle, age: float) -> float:
    """Share of the whole change that is done at an age [h]."""
    if step.law == "log-time":
        return float(min(1.0, log_time_share(age, step.time)))
    return float(kohlrausch(age, step.time, step.exponent))


def _plus(base: Source, row: Source, sd: float) -> Source:
    return lambda z: base(z) + row(z) * sd


def _shifted(base: Source, shift: float) -> Source:
    def moved(z: Rows) -> object:
        return base(z) + shift

    return moved


def root_sum_square(bands: Mapping[str, tuple[float, float]]) -> float:
    """Half-width [mm] of the sum of independent bands, each taken as six standard deviations."""
    return 0.5 * math.sqrt(sum((b[1] - b[0]) ** 2 for b in bands.values()))
