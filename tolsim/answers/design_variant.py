"""A study with other parts, or with a band set: what follows the band, and what sorts by it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from tolsim.joint.routes import process_of, start_process
from tolsim.process.base import Process
from tolsim.spec.freedoms import value_at
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature, Part, Sides
from tolsim.spec.quantities import Distribution
from tolsim.spec.readings import Readings
from tolsim.spec.route_steps import Gauge, Machine
from tolsim.spec.variants import with_feature

if TYPE_CHECKING:
    from tolsim.answers.design_cases import Freedom

__all__ = ["changed", "changed_value", "feature_at", "with_parts", "zone_of"]

_STARTS = ("machine", "tool-wear", "readings", "mix")
_OPEN = 1.0  # limits [mm] that let everything pass


def feature_at(study: Study, path: str) -> Feature | Distribution | None:
    """The size or scatter at a path, in the first supply that has it."""
    found = (value_at(s.parts, path) for s in study.strata)
    return next((value for value in found if value is not None), None)


def zone_of(process: Process) -> float:
    """Width from the 0.135 to the 99.865 % point; from 0 on for what cannot be negative.

    >>> from tolsim.process.plain import Normal
    >>> zone_of(Normal(mean=0.0, sd=1.0))
    5.999954
    """
    low, high = (float(v) for v in process.quantile([0.00135, 0.99865]))
    return high if process.support[0] >= 0.0 else high - low


def with_parts(
    study: Study,
    options: Mapping[str, tuple[Part, Mapping[str, Readings]]],
    chosen: Mapping[str, str],
) -> Study:
    """The study with the chosen parts in every supply."""
    strata = []
    for s in study.strata:
        parts, names = dict(s.parts), dict(s.names)
        readings = dict(s.readings)
        for role, name in chosen.items():
            part, own = options[name]
            parts[role], names[role] = part, name
            readings = {k: v for k, v in readings.items() if not k.startswith(f"{role}.")}
            readings |= {f"{role}.{k}": v for k, v in own.items()}
        strata.append(replace(s, parts=parts, names=names, readings=readings))
    return replace(study, strata=tuple(strata))


def changed(
    study: Study, f: Freedom, band: tuple[float, float], *, sorted_out: bool = True
) -> Study:
    """The study with one band set; without `sorted_out` a band that sorts lets everything pass."""
    out = with_feature(study, f.path, lambda value: changed_value(value, f, band, sorted_out))
    return _on_drawing(out, f) if f.follows == "process" else out


def changed_value(
    value: Feature | Distribution, f: Freedom, band: tuple[float, float], sorted_out: bool = True
) -> Any:
    """The size or scatter with its band set."""
    centre, width = band
    if isinstance(value, Distribution):
        return value.scaled(width / (f.capability * zone_of(process_of(value))))
    limits = (centre - 0.5 * width, centre + 0.5 * width)
    update: dict[str, Any] = {"band": limits, "tolerance_class": f.word}
    if f.follows == "gauge":
        update["route"] = _sorted(value, f, limits, sorted_out)
    else:
        step = Machine.model_validate(
            {"step": "machine", "mean_um": 1e3 * centre, "sd_um": 1e3 * f.sd(width)}
        )
        started = bool(value.route) and value.route[0].step in _STARTS
        rest = value.route[1:] if started else value.route
        update |= {
            "route": (step, *rest),
            "capability": f.capability,
            "capability_basis": f.basis,
        }
    return value.model_copy(update=update)


def _sorted(
    value: Feature, f: Freedom, limits: tuple[float, float], sorted_out: bool
) -> tuple[Any, ...]:
    """The route with a gauge where the process ends."""
    start: tuple[Any, ...] = value.route[:1]
    rest = value.route[1:]
    if not value.route or value.route[0].step not in _STARTS:
        process, _ = start_process(value)  # what the old band stood for stays the process
        made = {"step": "machine", "mean_um": 1e3 * process.mean, "sd_um": 1e3 * process.sd}
        start, rest = (Machine.model_validate(made),), value.route
    if not sorted_out and not (value.readings is not None and f.repeatability > 0.0):
        return (*start, *rest)
    ends = limits if sorted_out else (limits[0] - _OPEN, limits[1] + _OPEN)
    gauge = {
        "step": "gauge",
        "accept_um": [1e3 * e for e in ends],
        "repeatability_um": 1e3 * f.repeatability,
        "name": "drawing band",
    }
    return (*start, Gauge.model_validate(gauge), *rest)


def _on_drawing(study: Study, f: Freedom) -> Study:
    """Parts whose process follows a band rest on that band, no longer on readings.

    The correlation of the two seats that the readings showed stays with the part.
    """
    role = f.path.partition(".")[0]
    strata = []
    for s in study.strata:
        if role not in s.parts:
            strata.append(s)
            continue
        parts, readings = dict(s.parts), dict(s.readings)
        found = readings.pop(f.path, None)
        update: dict[str, Any] = {"basis": "drawing"}
        if found is not None and getattr(parts[role], "sides", None) is None:
            rho = _correlation(found)
            if rho is not None:
                update["sides"] = Sides(diameter=rho)
        parts[role] = parts[role].model_copy(update=update)
        strata.append(replace(s, parts=parts, readings=readings))
    return replace(study, strata=tuple(strata))


def _correlation(readings: Readings) -> float | None:
    """Of the two seats, where at least four units have both read."""
    pairs = readings.pairs()
    if len(pairs) < 4:
        return None
    d = pairs - pairs.mean(axis=0)
    scale = math.sqrt(float(d[:, 0] @ d[:, 0]) * float(d[:, 1] @ d[:, 1]))
    r = float(d[:, 0] @ d[:, 1]) / scale if scale > 0.0 else 0.0
    return max(-1.0, min(1.0, r))
