"""A route that starts with readings or an assumed range, so that its parameters are drawn.

Later steps add rows of their own; a gauge cuts a normal whose mean and spread are drawn.
"""

from __future__ import annotations

import numpy as np

from tolsim.joint.changes import change_as_read, with_change
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured
from tolsim.joint.routes import Routed, Seats, mean_shift, settled_share, window_of, worked_step
from tolsim.joint.sources import mapped, plus, scaled
from tolsim.process import steps as worked
from tolsim.process.base import Process
from tolsim.process.functions import between
from tolsim.process.gauging import Window, passed
from tolsim.process.moved import moved
from tolsim.process.multiplied import multiplied
from tolsim.process.plain import Normal
from tolsim.process.route import Scrap
from tolsim.record import Array
from tolsim.spec.parts import Feature
from tolsim.spec.route_steps import Coat, Gauge, Lot, Move, Settle, Strip, Warm

__all__ = ["measured_route"]


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
    """Sizes of a feature whose process is drawn, after the steps that follow.

    Raises
    ------
    ValueError
        If a gauge follows a step that leaves a size no longer normal, or populations are mixed
        in.
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
            seats = [plus(s, scaled(lot, step.between_sd)) for s in seats]
            normal = False
        elif isinstance(step, Gauge):
            if not normal or step.reject == "unit" or step.age is not None:
                raise ValueError(
                    f"{step.name}: a gauge that follows {_what(measured)} stands directly behind, "
                    "rejects parts and has no age of its own"
                )
            seats = [_cut(latent, key, measured, rows, seat, window_of(step)) for seat in (0, 1)]
            plug = [_plug_in(measured, seat) for seat in (0, 1)]
            lost = np.mean([1.0 - passed(p, window_of(step)).accepted for p in plug])
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
                plus(s, mapped(change, latent.row(f"{key}.{step.step}{i}@{k}")))
                for k, s in zip((1, 2), seats, strict=True)
            ]
            means = (means[0] + change.mean, means[1] + change.mean)
            normal = False
        else:
            raise ValueError(
                f"{step.step}: nothing can be mixed into {_what(measured)}; use [[supply]]"
            )
    return Routed(
        seats=(seats[0], seats[1]),
        population=None,
        shift=mean_shift(feature.route[1:], first, age),
        scrap=tuple(scrap),
        changes=tuple(changes),
    )


def _what(measured: Measured) -> str:
    """What the process rests on: readings, or a range that is assumed."""
    return "readings" if any(measured.n) else "a mean or spread given as a range"


def _about(size: Source, mean: float, shift: float, factor: float) -> Source:
    if factor == 1.0:
        return lambda z: size(z) + shift
    return lambda z: (size(z) - mean) * factor + (mean + shift)


def _increment(step: Strip | Coat | Warm, surface: worked.Surface, nominal: float) -> Process:
    """What a step adds to a diameter."""
    done = worked_step(step, surface)
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
        plus(s, mapped(change, latent.row(f"{key}.settle{index}@{k}")))
        for k, s in zip((1, 2), seats, strict=True)
    ]
    common = abs(share) * step.common_sd
    if common > 0.0:
        row = latent.row(f"evidence {part_name} {key} settle{index}", evidence=True)
        out = [plus(s, scaled(row, common)) for s in out]
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
