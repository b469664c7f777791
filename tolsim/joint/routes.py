"""A feature's route turned into sizes: composed where nothing is tied, rows of its own where it is.

What rests on an assumption is composed once into one population, so it costs nothing per draw.
What rests on readings goes the way of `measured_route`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from tolsim.joint.changes import change_as_read, with_change
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured
from tolsim.joint.sources import mapped, plus, scaled
from tolsim.mechanics.settling import kohlrausch, log_time_share
from tolsim.process import steps as worked
from tolsim.process.base import Process
from tolsim.process.gauging import Window
from tolsim.process.moved import moved
from tolsim.process.plain import Normal
from tolsim.process.route import Scrap, compose
from tolsim.process.shapes import SHAPES, Mixture
from tolsim.process.unit_gauge import UnitGauge
from tolsim.process.wear import ToolWear as WornTool
from tolsim.record import Array
from tolsim.spec.parts import Feature
from tolsim.spec.quantities import Distribution
from tolsim.spec.route_steps import (
    Coat,
    Gauge,
    Lot,
    Machine,
    Mix,
    Move,
    Settle,
    Step,
    Strip,
    ToolWear,
    Warm,
)

__all__ = [
    "Routed",
    "Seats",
    "assumed_route",
    "mean_shift",
    "process_of",
    "settled_share",
    "start_process",
    "window_of",
    "worked_step",
]

Seats = tuple[Source, Source]


@dataclass(frozen=True, kw_only=True, slots=True)
class Routed:
    """Sizes of both seats at the end of a route [mm from nominal], and what was lost on the way.

    `shift` is the mean change after the state that the drawing band refers to.
    """

    seats: Seats
    population: Process | None
    shift: float
    scrap: tuple[Scrap, ...] = ()
    notes: tuple[str, ...] = ()
    #: Changes of size that rest on readings, as the whole change of either seat.
    changes: tuple[Measured, ...] = ()


def process_of(distribution: Distribution) -> Process:
    """The process of a distribution in inner units."""
    return _process(distribution.shape, tuple(sorted(distribution.parameters().items())))


@lru_cache(maxsize=256)
def _process(shape: str, parameters: tuple[tuple[str, float], ...]) -> Process:
    # a process never changes, and tabulating one costs more than recording a whole joint
    given = dict(parameters)
    if shape in ("normal", "skewed", "folded-normal"):
        given.setdefault("mean", 0.0)
    return SHAPES[shape](**given)


@lru_cache(maxsize=64)
def _mixture(parts: tuple[tuple[float, Process], ...]) -> Mixture:
    return Mixture(parts=parts)


def settled_share(step: Settle, age: float) -> float:
    """Share of the whole change that is done at an age [h]."""
    if step.law == "log-time":
        return float(min(1.0, log_time_share(age, step.time)))
    return float(kohlrausch(age, step.time, step.exponent))


def start_process(feature: Feature) -> tuple[Process, tuple[Step, ...]]:
    """The population that a route starts from, and the steps that follow."""
    first = feature.route[0] if feature.route else None
    if isinstance(first, Machine):
        return process_of(first.distribution()), feature.route[1:]
    if isinstance(first, ToolWear):
        return worn_tool(first).process(), feature.route[1:]
    if isinstance(first, Mix):
        parts = tuple((c.share, process_of(c.distribution())) for c in first.of)
        return _mixture(parts), feature.route[1:]
    assert feature.band is not None
    low, high = feature.band
    sd = (high - low) / (6.0 * feature.capability)
    return Normal(mean=0.5 * (low + high), sd=sd), feature.route


def worn_tool(step: ToolWear) -> WornTool:
    """The machine behind a ``tool-wear`` step."""
    return WornTool(
        mean=step.mean,
        sd=step.sd,
        wear=step.wear,
        parts=step.parts_between_offsets,
        resolution=step.offset_resolution,
        reset_gauge_sd=step.reset_gauge_sd,
        reset_parts=step.reset_parts,
        dead_band=step.dead_band,
    )


def window_of(step: Gauge) -> Window:
    """What a gauge lets pass, as it reads."""
    return Window(
        low=step.accept[0] + step.guard_band - step.bias,
        high=step.accept[1] - step.guard_band - step.bias,
        sd=step.repeatability,
    )


def worked_step(step: Step, surface: worked.Surface) -> worked.Step:
    """The step as `process.route` works it."""
    if isinstance(step, Strip):
        return worked.Strip(depth=process_of(step.depth), surface=surface)
    if isinstance(step, Coat):
        share = process_of(step.outward_share)
        return worked.Coat(film=process_of(step.thickness), outward=share, surface=surface)
    if isinstance(step, Gauge):
        return worked.Gauge(
            low=step.accept[0],
            high=step.accept[1],
            repeatability=step.repeatability,
            guard_low=step.guard_band,
            guard_high=step.guard_band,
            bias=step.bias,
            age=step.age,
            name=step.name,
        )
    if isinstance(step, Settle):
        return worked.Settle(
            mean=step.mean,
            sd=step.sd,
            common_sd=step.common_sd,
            progress=lambda age: settled_share(step, age),
        )
    if isinstance(step, Warm):
        return worked.Warm(
            temperature=step.temperature,
            expansion=step.expansion,
            master_expansion=step.master_expansion,
            temperature_sd=step.temperature_sd,
        )
    if isinstance(step, Mix):
        others = tuple((c.share, process_of(c.distribution())) for c in step.of)
        return worked.Mix(others=others)
    raise ValueError(f"{step.step}: cannot stand here")


def assumed_route(
    latent: Latent,
    key: str,
    part_name: str,
    feature: Feature,
    rows: Seats,
    *,
    surface: worked.Surface,
    correlation: float,
    age: float,
) -> Routed:
    """Sizes of a feature that rests on assumptions or on its drawing band."""
    first = feature.route[0] if feature.route else None
    if isinstance(first, ToolWear) and first.shared_phase:
        return _in_phase(latent, key, first, feature.route[1:], rows)
    start, rest = start_process(feature)
    read = [(i, s) for i, s in enumerate(rest) if isinstance(s, Settle) and s.seen is not None]
    if read and any(isinstance(s, Gauge) for s in rest[read[0][0] :]):
        raise ValueError("a gauge cannot follow settling that was read from parts at two ages")
    rest = tuple(s for s in rest if not (isinstance(s, Settle) and s.seen is not None))
    population = start
    scrap: list[Scrap] = []
    notes: list[str] = []
    common = 0.0
    unit_gauge: UnitGauge | None = None
    lots: list[Lot] = []
    before = feature.state.age if feature.state is not None else 0.0
    for segment in _segments(rest):
        if isinstance(segment, Move):
            population = moved(
                population,
                shift=population.mean * (1.0 - segment.spread_factor) + segment.shift,
                scale=segment.spread_factor,
            )
        elif isinstance(segment, Lot):
            lots.append(segment)
        elif isinstance(segment, Gauge):
            unit_gauge = UnitGauge(
                seats=(population, population), rho=correlation, window=window_of(segment)
            )
            scrap.append(Scrap(gauge=f"{segment.name} (units)", share=1.0 - unit_gauge.accepted))
        else:
            if lots or unit_gauge is not None:
                raise ValueError("a lot step and a gauge that rejects units come last in a route")
            route = compose(
                population,
                [worked_step(s, surface) for s in segment],
                nominal=feature.nominal or 0.0,
                state_age=before,
                assembly_age=max(age, before),
            )
            population = route.process
            scrap += route.scrap
            notes += route.notes
            common = math.hypot(common, route.common_sd)
    seats: Seats = (mapped(population, rows[0]), mapped(population, rows[1]))
    if unit_gauge is not None:
        seats = _gauged_units(latent, key, unit_gauge, rows)
    if lots:
        sd = math.sqrt(sum(s.between_sd**2 for s in lots))
        lot = latent.row(f"{key}.lot")
        seats = (plus(seats[0], scaled(lot, sd)), plus(seats[1], scaled(lot, sd)))
    if common > 0.0:
        row = latent.row(f"evidence {part_name} {key} settling", evidence=True)
        seats = (plus(seats[0], scaled(row, common)), plus(seats[1], scaled(row, common)))
    changes: list[Measured] = []
    for i, step in read:
        assert step.seen is not None
        share = settled_share(step, max(age, before)) - settled_share(step, before)
        changes.append(change_as_read(latent, f"{key}.settle{i}", part_name, step.seen))
        seats = _two(with_change(seats, changes[-1], share))
    return Routed(
        seats=seats,
        population=None if read or lots or unit_gauge is not None or common > 0.0 else population,
        changes=tuple(changes),
        shift=mean_shift((*rest, *(s for _, s in read)), before, age),
        scrap=tuple(scrap),
        notes=tuple(f"{part_name}: {n}" for n in notes),
    )


def _two(seats: Sequence[Source]) -> Seats:
    return seats[0], seats[1]


def _segments(steps: Sequence[Step]) -> list[list[Step] | Move | Lot | Gauge]:
    """Runs of steps that compose into one population, and the steps between them that do not."""
    out: list[list[Step] | Move | Lot | Gauge] = []
    run: list[Step] = []
    for step in steps:
        alone = isinstance(step, Move | Lot) or (isinstance(step, Gauge) and step.reject == "unit")
        if alone:
            if run:
                out.append(run)
                run = []
            assert isinstance(step, Move | Lot | Gauge)
            out.append(step)
        else:
            run.append(step)
    return [*out, run] if run else out


def _gauged_units(latent: Latent, key: str, gauge: UnitGauge, rows: Seats) -> Seats:
    # the gauge ties the seats itself: it takes independent rows
    own = [latent.row(f"{key}@{k}") for k in (1, 2)]
    more = [latent.row(f"{key}.gauge@{k}") for k in (1, 2)] if gauge.rows == 4 else []
    del rows

    def size(seat: int) -> Source:
        def of(z: Rows) -> Array:
            extra = [r(z) for r in more]
            return gauge.sizes(own[0](z), own[1](z), *extra)[seat]

        return of

    return size(0), size(1)


def _in_phase(
    latent: Latent, key: str, step: ToolWear, rest: Sequence[Step], rows: Seats
) -> Routed:
    if any(not isinstance(s, Move) for s in rest):
        raise ValueError("tool-wear with a shared phase is the last step but for move")
    tool = worn_tool(step)
    phase, offset = latent.row(f"{key}.phase"), latent.row(f"{key}.offset")
    shift = sum(s.shift for s in rest if isinstance(s, Move))

    def seat(row: Source) -> Source:
        return lambda z: tool.in_phase(row(z), phase(z), offset(z)) + shift

    return Routed(seats=(seat(rows[0]), seat(rows[1])), population=None, shift=0.0)


def mean_shift(steps: Sequence[Step], first: float, age: float) -> float:
    """Mean change that the drawing band does not know of: settling, film, stripping."""
    total = 0.0
    for step in steps:
        if isinstance(step, Settle):
            total += step.mean * (settled_share(step, age) - settled_share(step, first))
    return total
