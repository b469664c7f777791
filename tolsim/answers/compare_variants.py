"""Studies with a part made by another process, or called by another name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from tolsim.spec.load import Stratum, Study
from tolsim.spec.parts import Feature, Part
from tolsim.spec.route_steps import Machine

__all__ = ["machine", "told_apart", "with_process"]


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


def told_apart(studies: Mapping[str, Study]) -> dict[str, Study]:
    """The studies with unlike parts of one name called after their study as well.

    Rows of normals and readings go by the names of parts; studies of several folders may call
    unlike parts alike. A price makes no other part.
    """
    known: dict[str, tuple[Part, dict[str, str]]] = {}
    return {
        label: replace(study, strata=tuple(_apart(s, label, known) for s in study.strata))
        for label, study in studies.items()
    }


def _apart(stratum: Stratum, label: str, known: dict[str, tuple[Part, dict[str, str]]]) -> Stratum:
    names = {}
    for role, name in stratum.names.items():
        part = stratum.parts[role].model_copy(update={"price_each": None})
        read = {k: r.sha256 for k, r in stratum.readings.items() if k.startswith(f"{role}.")}
        own = part, read
        names[role] = name if known.setdefault(name, own) == own else f"{name} ({label})"
        known.setdefault(names[role], own)
    return replace(stratum, names=names)
