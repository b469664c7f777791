"""A study with the readings of some sizes taken in another way: as another shape, as any lot."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from tolsim.spec.load import Study
from tolsim.spec.route_steps import Readings

__all__ = ["SizeName", "lot_spread_held", "reading_steps", "taken_otherwise"]

#: A measured size: file of the part and key, ``bore.diameter``.
SizeName = tuple[str, str]


def reading_steps(study: Study) -> dict[SizeName, Readings]:
    """The step that every measured size starts with."""
    out = {}
    for stratum in study.strata:
        for key in stratum.readings:
            role, _, field = key.partition(".")
            step = getattr(stratum.parts[role], field).readings
            if step is not None:
                out[stratum.names[role], key] = step
    return out


def taken_otherwise(study: Study, sizes: Collection[SizeName], **how: str) -> Study:
    """The study with these keys of the readings step set for some sizes."""
    strata = []
    for stratum in study.strata:
        parts = dict(stratum.parts)
        for key in stratum.readings:
            role, _, field = key.partition(".")
            if (stratum.names[role], key) in sizes:
                parts[role] = parts[role].model_copy(
                    update={field: _changed(getattr(parts[role], field), how)}
                )
        strata.append(replace(stratum, parts=parts))
    return replace(study, strata=tuple(strata))


def lot_spread_held(study: Study, sizes: Collection[SizeName]) -> Study:
    """The study with the spread between lots of these sizes held at its estimate."""
    strata = []
    for stratum in study.strata:
        readings = dict(stratum.readings)
        for key, found in stratum.readings.items():
            if (stratum.names[key.partition(".")[0]], key) in sizes:
                readings[key] = replace(found, lot_spread_held=True)
        strata.append(replace(stratum, readings=readings))
    return replace(study, strata=tuple(strata))


def _changed(feature: object, how: Mapping[str, str]) -> object:
    route = feature.route  # type: ignore[attr-defined]
    first = route[0].model_copy(update=dict(how))
    return feature.model_copy(update={"route": (first, *route[1:])})  # type: ignore[attr-defined]
