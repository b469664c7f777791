"""Constants that a study or its parts state in place of what is remembered."""

from __future__ import annotations

from dataclasses import replace

from tolsim.mechanics.assumptions import ASSUMED, Assumed
from tolsim.spec.load import Stratum
from tolsim.spec.parts import Part
from tolsim.spec.study import PART_ROLES, StudySpec

__all__ = ["THE_STUDY", "stated_constants", "stated_friction"]

THE_STUDY = "the study"


def stated_constants(spec: StudySpec, stratum: Stratum) -> dict[str, Assumed]:
    """Constants by name as the study states them, else as one of the parts does.

    What a part states holds where the part is built in, so its name tells the part.

    Raises
    ------
    ValueError
        If two parts state the same constant, and the study does not settle it.
    """
    out: dict[str, Assumed] = {}
    for role in PART_ROLES:
        part = stratum.parts.get(role)
        for c in () if part is None else part.constant:
            by = stratum.names[role]
            if c.name in out and c.name not in {s.name for s in spec.constant}:
                raise ValueError(
                    f"{c.name} is stated by {out[c.name].stated_by} and by {by}; state it in one, "
                    "or in the study"
                )
            out[c.name] = replace(
                ASSUMED[c.name],
                name=f"{c.name} ({by})",
                value=c.value,
                low=c.low,
                high=c.high,
                basis=c.source,
                stated_by=by,
            )
    for c in spec.constant:
        out[c.name] = replace(
            ASSUMED[c.name],
            value=c.value,
            low=c.low,
            high=c.high,
            basis=c.source,
            stated_by=THE_STUDY,
        )
    return out


def stated_friction(stratum: Stratum, receiving: str, pressed: str | None) -> Assumed | None:
    """Friction at press-in that a part states: the one that receives, else the one pressed in.

    `receiving` and `pressed` are roles.
    """
    for role in (receiving, pressed):
        part: Part | None = None if role is None else stratum.parts.get(role)
        given = getattr(part, "friction", None)
        if role is not None and given is not None:
            by = stratum.names[role]
            return Assumed(
                name=f"friction ({by})",
                value=given.value,
                low=given.low,
                high=given.high,
                unit="1",
                basis=given.source,
                stated_by=by,
            )
    return None
