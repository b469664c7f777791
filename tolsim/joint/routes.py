"""A feature's route turned into sizes: composed where nothing is tied, rows of its own where it is.

What rests on an assumption is composed once into one population, so it costs nothing per draw.
What rests on readings keeps rows for its parameters, so later steps add rows of their own; a gauge
then cuts a normal whose mean and spread are drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tolsim.joint.changes import change_as_read, with_change
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured
from tolsim.mechanics.settling import kohlrausch, log_time_share
from tolsim.process import steps as worked
from tolsim.process.base import Process
from tolsim.process.functions import between
from tolsim.process.gauging import Window, passed
from tolsim.process.moved import moved
from tolsim.process.multiplied import multiplied
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

__all__ = ["Routed", "assumed_route", "measured_route", "process_of"]

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


def settled_share(step: Settle, age: float) -> float:
    """Share of the whole change that is done at an age [h]."""
    if step.law == "log-time":
        return float(min(1.0, log_time_share(age, step.time)))
    return float(kohlrausch(age, step.time, step.exponent))


def _mapped(process: Process, row: Source) -> Source:
    return lambda z: process.size(row(z))


def _plus(base: Source, more: Source) -> Source:
    return lambda z: base(z) + more(z)


def start_process(feature: Feature) -> tuple[Process, tuple[Step, ...]]:
    """The population that a route starts from, and the steps that follow."""
    first = feature.route[0] if feature.route else None
    if isinstance(first, Machine):
        return process_of(first.distribution()), feature.route[1:]
    if isinstance(first, ToolWear):
        return worn_tool(first).process(), feature.route[1:]
    if isinstance(first, Mix):
        parts = tuple((c.share, process_of(c.distribution())) for c in first.of)
        return Mixture(parts=parts), feature.route[1:]
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


def _window(step: Gauge) -> Window:
    return Window(
        low=step.accept[0] + step.guard_band - step.bias,
        high=step.accept[1] - step.guard_band - step.bias,
        sd=step.repeatability,
    )


def _worked(step: Step, surface: worked.Surface) -> worked.Step:
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
                seats=(population, population), rho=correlation, window=_window(segment)
            )
            scrap.append(Scrap(gauge=f"{segment.name} (units)", share=1.0 - unit_gauge.accepted))
        else:
            if lots or unit_gauge is not None:
                raise ValueError("a lot step and a gauge that rejects units come last in a route")
            route = compose(
                population,
                [_worked(s, surface) for s in segment],
                nominal=feature.nominal or 0.0,
                state_age=before,
                assembly_age=max(age, before),
            )
            population = route.process
            scrap += route.scrap
            notes += route.notes
            common = math.hypot(common, route.common_sd)
    seats: Seats = (_mapped(population, rows[0]), _mapped(population, rows[1]))
    if unit_gauge is not None:
        seats = _gauged_units(latent, key, unit_gauge, rows)
    if lots:
        sd = math.sqrt(sum(s.between_sd**2 for s in lots))
        lot = latent.row(f"{key}.lot")
        seats = (_plus(seats[0], _scaled(lot, sd)), _plus(seats[1], _scaled(lot, sd)))
    if common > 0.0:
        row = latent.row(f"evidence {part_name} {key} settling", evidence=True)
        seats = (_plus(seats[0], _scaled(row, common)), _plus(seats[1], _scaled(row, common)))
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
        shift=_mean_shift((*rest, *(s for _, s in read)), before, age),
        scrap=tuple(scrap),
        notes=tuple(f"{part_name}: {n}" for n in notes),
    )


def _two(seats: Sequence[Source]) -> Seats:
    return seats[0], seats[1]


def _scaled(row: Source, sd: float) -> Source:
    return lambda z: row(z) * sd


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


def _mean_shift(steps: Sequence[Step], first: float, age: float) -> float:
    """Mean change that the drawing band does not know of: settling, film, stripping."""
    total = 0.0
    for step in steps:
        if isinstance(step, Settle):
            total += step.mean * (settled_share(step, age) - settled_share(step, first))
    return total


def measured_route(
    latent: Latent,
    key: str,
    part_name: str,
    feature: Feature,
    measured: Measured,
    rows: Seats,
    *,
    surface: worked.Surface,
    age: float,
) -> Routed:
    """Sizes of a measured feature after the steps that follow its readings.

    Raises
    ------
    ValueError
        If a gauge follows a step that leaves a measured size no longer normal, or populations
        are mixed into readings.
    """
    first = feature.state.age if feature.state is not None else 0.0
    seats = list(measured.seats)
    scrap: list[Scrap] = []
    changes: list[Measured] = []
    means = measured.means
    normal = True
    for i, step in enumerate(feature.route[1:], 1):
        if isinstance(step, Move):
            seats = [
                _about(s, m, step.shift, step.spread_factor)
                for s, m in zip(seats, means, strict=True)
            ]
            means = (means[0] + step.shift, means[1] + step.shift)
            normal = normal and step.spread_factor == 1.0 and step.shift == 0.0
        elif isinstance(step, Lot):
            lot = latent.row(f"{key}.lot")
            seats = [_plus(s, _scaled(lot, step.between_sd)) for s in seats]
            normal = False
        elif isinstance(step, Gauge):
            if not normal or step.reject == "unit" or step.age is not None:
                raise ValueError(
                    f"{step.name}: a gauge that follows readings stands directly after them, "
                    "rejects parts and has no age of its own"
                )
            seats = [_cut(latent, key, measured, rows, seat, _window(step)) for seat in (0, 1)]
            plug = [_plug_in(measured, seat) for seat in (0, 1)]
            lost = np.mean([1.0 - passed(p, _window(step)).accepted for p in plug])
            scrap.append(Scrap(gauge=step.name, share=float(lost)))
            normal = False
        elif isinstance(step, Settle) and step.seen is not None:
            share = settled_share(step, age) - settled_share(step, first)
            changes.append(change_as_read(latent, f"{key}.settle{i}", part_name, step.seen))
            seats = with_change(seats, changes[-1], share)
            normal = False
        elif isinstance(step, Settle):
            seats = _settled(latent, key, part_name, seats, i, step, first, age)
            normal = False
        elif isinstance(step, Strip | Coat | Warm):
            change = _increment(step, surface, feature.nominal or 0.0)
            seats = [
                _plus(s, _mapped(change, latent.row(f"{key}.{step.step}{i}@{k}")))
                for k, s in zip((1, 2), seats, strict=True)
            ]
            means = (means[0] + change.mean, means[1] + change.mean)
            normal = False
        else:
            raise ValueError(f"{step.step}: nothing can be mixed into readings; use [[supply]]")
    return Routed(
        seats=(seats[0], seats[1]),
        population=None,
        shift=_mean_shift(feature.route[1:], first, age),
        scrap=tuple(scrap),
        changes=tuple(changes),
    )


def _about(size: Source, mean: float, shift: float, factor: float) -> Source:
    if factor == 1.0:
        return lambda z: size(z) + shift
    return lambda z: (size(z) - mean) * factor + (mean + shift)


def _increment(step: Strip | Coat | Warm, surface: worked.Surface, nominal: float) -> Process:
    """What a step adds to a diameter."""
    done = _worked(step, surface)
    if isinstance(done, worked.Strip):
        return moved(done.depth, scale=done.per_depth)
    if isinstance(done, worked.Coat):
        return moved(multiplied(done.film, done.share), scale=done.per_film)
    assert isinstance(done, worked.Warm)
    shift, sd = done.change(nominal)
    return Normal(mean=shift, sd=sd)


def _settled(
    latent: Latent,
    key: str,
    part_name: str,
    seats: list[Source],
    index: int,
    step: Settle,
    first: float,
    age: float,
) -> list[Source]:
    share = settled_share(step, age) - settled_share(step, first)
    change = Normal(mean=share * step.mean, sd=abs(share) * step.sd)
    out = [
        _plus(s, _mapped(change, latent.row(f"{key}.settle{index}@{k}")))
        for k, s in zip((1, 2), seats, strict=True)
    ]
    common = abs(share) * step.common_sd
    if common > 0.0:
        row = latent.row(f"evidence {part_name} {key} settle{index}", evidence=True)
        out = [_plus(s, _scaled(row, common)) for s in out]
    return out


def _plug_in(measured: Measured, seat: int) -> Normal:
    return Normal(mean=measured.means[seat], sd=max(measured.sds[seat], 1e-9))


def _cut(
    latent: Latent, key: str, measured: Measured, rows: Seats, seat: int, window: Window
) -> Source:
    """A drawn normal behind a gauge: what is read is cut, the true size follows by regression.

    Seats are tied through their standard normals before the cut.
    """
    extra = latent.row(f"{key}.gauge@{seat + 1}") if window.sd > 0.0 else None

    def size(z: Rows) -> Array:
        means, sds, rho = measured.parameters(z)
        mean, sd = means[seat], sds[seat]
        own = rows[seat](z)
        if seat == 1 and not (isinstance(rho, float) and rho == 0.0):
            own = rho * rows[0](z) + np.sqrt(np.maximum(1.0 - rho * rho, 0.0)) * own
        read = np.sqrt(sd * sd + window.sd**2)
        floor = np.maximum(read, 1e-9)
        t = between(own, (window.low - mean) / floor, (window.high - mean) / floor)
        if extra is None:
            return mean + read * t
        gain = sd * sd / (floor * floor)
        return mean + gain * read * t + sd * np.sqrt(np.maximum(1.0 - gain, 0.0)) * extra(z)

    return size
