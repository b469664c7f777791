"""Sentences where a study asks for what its joint cannot show: a limit that judges nothing."""

from __future__ import annotations

from collections.abc import Iterable

from tolsim.joint.assumed import Assumptions
from tolsim.joint.materials import material_of, swelling
from tolsim.joint.seat_model import Seat
from tolsim.joint.stated import THE_STUDY
from tolsim.spec.load import Stratum
from tolsim.spec.study import Limits, StudySpec

__all__ = ["idle", "idle_constants"]

_METALS = ("steel", "aluminium", "titanium")


def idle(seat: Seat, spec: StudySpec, stratum: Stratum) -> tuple[str, ...]:
    """Limits and keys that have no effect on this joint, nor on any alternative beside it."""
    kinds: set[str] = {spec.joint.kind, *(a.kind for a in spec.alternative if a.kind is not None)}
    out = [*_targets(spec), *_limits(spec.limits, kinds)]
    tight = spec.limits.tight
    if (
        tight is not None
        and tight.raceway_lobe is not None
        and not (seat.lobes or spec.alternative)
    ):
        out.append(
            "limits.tight.raceway_lobe_um judges nothing: no roundness given reaches the ring"
        )
    return (*out, *_service(spec), *_moisture(spec, stratum), *_parts(spec, stratum))


def idle_constants(spec: StudySpec, assumptions: Assumptions) -> tuple[str, ...]:
    """Constants that the study states and that nothing in this joint asks for."""
    if spec.alternative:
        return ()  # an alternative may ask for them
    return tuple(
        f"constant {a.name} of the study has no effect: nothing that is judged asks for it"
        for a in assumptions.idle
        if a.stated_by == THE_STUDY
    )


def _targets(spec: StudySpec) -> Iterable[str]:
    """Targets for what no limit judges, of the study or of an alternative."""
    limits = [spec.limits, *(a.limits for a in spec.alternative if a.limits is not None)]
    judged = set().union(*(x.judged() for x in limits))
    for mode in ("loose", "tight", "misaligned", "bond", "creak"):
        if getattr(spec.targets, mode) is not None and mode not in judged:
            yield f"targets.{mode} judges nothing: no limit says when a unit fails so"


def _limits(limits: Limits, kinds: set[str]) -> Iterable[str]:
    """Limits on what only another kind of joint has."""
    loose, tight = limits.loose, limits.tight
    if limits.bond is not None and "bonded" not in kinds:
        yield "limits.bond judges nothing: only a bonded joint has a bond line of its own"
    asked = []
    if loose is not None and "threaded" not in kinds:
        asked += [k for k in ("loosening", "flange_contact") if getattr(loose, k)]
    if asked:
        yield f"limits.loose.{' and '.join(asked)}: nothing to judge, no sleeve is screwed in"
    asked = []
    if "sleeved" not in kinds:
        if loose is not None and loose.sleeve_interference is not None:
            asked.append("limits.loose.sleeve_interference_um")
        if loose is not None and loose.sleeve_separation:
            asked.append("limits.loose.sleeve_separation")
        if tight is not None and tight.sleeve_press_force is not None:
            asked.append("limits.tight.sleeve_press_force_N")
    if asked:
        yield f"{' and '.join(asked)}: nothing to judge, no sleeve is pressed in"


def _service(spec: StudySpec) -> Iterable[str]:
    service, loose = spec.service, spec.limits.loose
    if service.bearing_warmer and not (loose is not None and loose.creep):
        yield "service.bearing_warmer_K acts on ring creep alone, which limits.loose leaves out"
    separates = loose is not None and (loose.separation or bool(loose.sleeve_separation))
    if service.ball_plane_offset and not separates:
        yield "service.ball_plane_offset_mm acts on separation alone, which limits.loose leaves out"


def _moisture(spec: StudySpec, stratum: Stratum) -> Iterable[str]:
    """Moisture that acts on nothing, or on a material of which no swelling is known."""
    service = spec.service
    if not service.moisture:
        return
    if service.life is None:
        yield "service.moisture acts at the end of life: without service.life_h it has no effect"
        return
    acts = False
    for role in ("sleeve", "adhesive", "bore"):
        part = stratum.parts.get(role)
        reference = getattr(part, "material", None)
        if reference is None or (role == "bore" and spec.joint.kind == "threaded"):
            continue
        material = material_of(reference)
        # a throwaway record of constants: nothing here makes the answer depend on one
        if swelling(Assumptions(), reference, material) is not None:
            acts = True
        elif material.family not in _METALS:
            yield (
                f"service.moisture leaves {material.name} as it is: nothing is remembered about "
                "how it swells, and its material states no swelling"
            )
            acts = True
    if not acts:
        yield "service.moisture has no effect: every part is of metal"


def _parts(spec: StudySpec, stratum: Stratum) -> Iterable[str]:
    adhesive, sleeve = stratum.adhesive, stratum.sleeve
    if adhesive is not None and adhesive.bond_share is not None and spec.joint.kind == "bonded":
        yield "bond_share is of a sleeve pressed and glued: in a bonded joint it has no effect"
    if sleeve is not None and sleeve.pieces == 1 and sleeve.seating_tilt is not None:
        yield "seating_tilt_deg has no effect: a sleeve in one piece carries both seats in its axis"
