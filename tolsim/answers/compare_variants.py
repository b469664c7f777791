"""A study with one size of one part made by another process, wherever that part is used."""

from __future__ import annotations

from dataclasses import replace

from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.route_steps import Machine

__all__ = ["machine", "with_process"]


def machine(
    mean: float,
    sd: float,
    *,
    mean_range: tuple[float, float] | None = None,
    sd_range: tuple[float, float] | None = None,
) -> Machine:
    """A normal process [mm], known exactly or within ranges.

    >>> machine(-0.006, 0.002).sd
    0.002
    """
    given: dict[str, object] = {"step": "machine", "mean_um": 1e3 * mean, "sd_um": 1e3 * sd}
    for key, ends in (("mean_range_um", mean_range), ("sd_range_um", sd_range)):
        if ends is not None:
            given[key] = [1e3 * ends[0], 1e3 * ends[1]]
    return Machine.model_validate(given)


def with_process(study: Study, name: str, key: str, step: Machine, label: str) -> Study:
    """The study with a feature of part `name` made by `step`; its own readings of it are left out.

    `key` is ``role.field``; the part is called `label` from then on. Steps after the first stay.
    """
    role, _, field = key.partition(".")
    strata = []
    for stratum in study.strata:
        if stratum.names.get(role) == name:
            part = stratum.parts[role]
            feature: Feature = getattr(part, field)
            changed = feature.model_copy(update={"route": (step, *feature.route[1:])})
            stratum = replace(
                stratum,
                parts={**stratum.parts, role: part.model_copy(update={field: changed})},
                names={**stratum.names, role: label},
                readings={k: v for k, v in stratum.readings.items() if k != key},
            )
        strata.append(stratum)
    return replace(study, strata=tuple(strata))
