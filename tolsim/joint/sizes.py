"""From a feature as specified to the sizes of the two seats of a unit, deviations in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tolsim.joint.assumed import Assumptions
from tolsim.joint.latent import Latent, Source
from tolsim.joint.measured import Measured
from tolsim.joint.measured_route import measured_route
from tolsim.joint.measured_shapes import measure_shaped
from tolsim.joint.population import Population, population_of_process, population_of_readings
from tolsim.joint.ranged import ranged
from tolsim.joint.remembered import with_remembered
from tolsim.joint.routes import (
    Routed,
    assumed_route,
    process_of,
    start_process,
)
from tolsim.joint.sources import mapped
from tolsim.process.base import Process
from tolsim.process.gauge_share import gauge_note
from tolsim.process.route import Scrap
from tolsim.process.steps import Surface
from tolsim.spec.parts import CustomMaterial, Feature
from tolsim.spec.readings import Readings
from tolsim.spec.route_steps import Gauge, Machine, Settle
from tolsim.spec.route_steps import Readings as ReadingsStep

__all__ = ["SeatSizes", "process_of", "seat_sizes"]

_OUTSIDES = ("bearing.outside", "sleeve.outside")


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
    #: The whole population at assembly where it is one map of one row, None where rows are tied.
    population: Process | None = None
    #: Standard normals of both seats that the population is a map of, tied as the seats are.
    rows: tuple[Source, Source] | None = None
    #: Share of the parts that each gauge of the route rejects.
    scrap: tuple[Scrap, ...] = ()
    #: What must be said beside results that rest on this feature.
    notes: tuple[str, ...] = ()
    #: Changes of size that rest on readings of their own.
    changes: tuple[Measured, ...] = ()


def seat_sizes(
    latent: Latent,
    key: str,
    feature: Feature,
    *,
    part_name: str,
    material: str | CustomMaterial,
    assumptions: Assumptions,
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
    material : str or CustomMaterial
        Of the part, for what its route leaves open.
    assumptions : Assumptions
        Where remembered constants come from.
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
    feature = with_remembered(feature, material, assumptions)
    surface: Surface = "outside" if key in _OUTSIDES else "bore"
    rows = latent.pair(f"{key}@1", f"{key}@2", correlation or 0.0)
    measured: Measured | None = None
    if readings is not None:
        step = feature.route[0]
        assert isinstance(step, ReadingsStep)
        measured = measure_shaped(
            latent,
            key,
            part_name,
            readings,
            gauge_sd=readings.gauge_of_mean(step.gauge_sd),
            correlation=correlation,
            shape=step.shape,
            sorted_later=any(isinstance(s, Gauge) for s in feature.route[1:]),
            any_lot=step.between_lots == "random",
        )
        rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))
        populations = population_of_readings(key, part_name, feature.band, readings)
        gauged = measured.seats
    elif isinstance(first := next(iter(feature.route), None), Machine) and first.is_ranged:
        measured = ranged(
            latent,
            key,
            part_name,
            first,
            correlation=correlation or 0.0,
            tied=tied is not None and tied[1] != 0.0,
        )
        rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))
        start, _ = start_process(feature)
        populations = (population_of_process(key, part_name, feature.band, start),)
        gauged = measured.seats
    else:
        if tied is not None and tied[1] != 0.0:
            other, rho = tied
            rows = (
                _tied(latent.row(f"{other}@1"), rows[0], rho),
                _tied(latent.row(f"{other}@2"), rows[1], rho),
            )
        start, _ = start_process(feature)
        populations = (population_of_process(key, part_name, feature.band, start),)
        gauged = (mapped(start, rows[0]), mapped(start, rows[1]))

    def at_age(hours: float) -> Routed:
        if measured is not None:
            return measured_route(
                latent, key, part_name, feature, measured, rows, surface=surface, age=hours
            )
        return assumed_route(
            latent,
            key,
            part_name,
            feature,
            rows,
            surface=surface,
            correlation=correlation or 0.0,
            age=hours,
        )

    routed = at_age(age)
    late = routed.seats
    if life is not None and any(isinstance(s, Settle) for s in feature.route):
        late = at_age(max(life, age)).seats
    limits = None
    if feature.band is not None:
        limits = (feature.band[0] + routed.shift, feature.band[1] + routed.shift)
    notes = routed.notes
    for step in feature.route:
        if isinstance(step, Settle) and step.seen is not None:
            notes += step.seen.notes
    notes += _gauge_notes(part_name, key, feature, readings)
    if not feature.route:
        limits_from = f"class {feature.tolerance_class}" if feature.tolerance_class else "its band"
        notes += (
            f"{part_name}: {key.split('.')[1]} is neither measured nor described; {limits_from} is "
            f"taken at a capability of {feature.capability:g} "
            f"({feature.capability_basis or 'assumed'})",
        )
    return SeatSizes(
        seats=routed.seats,
        late=late,
        limits=limits,
        measured=measured,
        gauged=gauged,
        populations=populations,
        population=routed.population,
        rows=rows,
        scrap=routed.scrap,
        notes=notes,
        changes=routed.changes,
    )


def _gauge_notes(
    part_name: str, key: str, feature: Feature, readings: Readings | None
) -> tuple[str, ...]:
    """Gauges of a route that take too much of the band."""
    found = []
    for step in feature.route:
        sd, whose = 0.0, ""
        if isinstance(step, Gauge):
            sd, whose = step.repeatability, f", step {step.name}"
        elif isinstance(step, ReadingsStep) and readings is not None:
            sd, whose = readings.gauge_of_mean(step.gauge_sd), ", readings"
        text = gauge_note(sd, feature.band)
        if text is not None:
            found.append(f"{part_name}: {key}{whose}: {text}")
    return tuple(found)


def _tied(other: Source, own: Source, correlation: float) -> Source:
    rest = math.sqrt(max(0.0, 1.0 - correlation * correlation))
    return lambda z: other(z) * correlation + own(z) * rest
