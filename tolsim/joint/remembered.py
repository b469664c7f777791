"""Steps of a route whose constants a part leaves open: remembered ones stand in, as assumptions."""

from __future__ import annotations

from tolsim.joint.assumed import Assumptions
from tolsim.joint.materials import material_of, tabled_name
from tolsim.spec.parts import CustomMaterial, Feature
from tolsim.spec.route_steps import Coat, Settle, Step, Strip

__all__ = ["with_remembered"]


def with_remembered(
    feature: Feature, material: str | CustomMaterial, assumptions: Assumptions
) -> Feature:
    """The feature with every constant of its route filled in.

    Settling: a share of the diameter by material, taken as shrinkage, after Kohlrausch. Etching:
    a depth. Film: the share of it that grows outward, by kind.

    Raises
    ------
    ValueError
        If a settling leaves its size open and nothing is remembered about the material.
    """
    done = tuple(_filled(s, feature.nominal or 0.0, material, assumptions) for s in feature.route)
    return feature if done == feature.route else feature.model_copy(update={"route": done})


def _filled(
    step: Step, nominal: float, material: str | CustomMaterial, assumptions: Assumptions
) -> Step:
    if isinstance(step, Strip) and step.stated_depth is None:
        return step.model_copy(update={"stated_depth": assumptions.spread("etch")})
    if isinstance(step, Coat) and step.stated_share is None:
        share = assumptions.spread(f"outward-share-{step.kind}")
        return step.model_copy(update={"stated_share": share})
    if not isinstance(step, Settle):
        return step
    update: dict[str, float] = {}
    if step.stated_mean is None:
        update["stated_mean"] = -nominal * assumptions.value(_settling(material))
    if step.stated_time is None:
        update["stated_time"] = assumptions.value("kohlrausch-time")
    if step.stated_exponent is None and step.law == "kohlrausch":
        update["stated_exponent"] = assumptions.value("kohlrausch-exponent")
    return step.model_copy(update=update) if update else step


def _settling(material: str | CustomMaterial) -> str:
    known = material_of(material)
    if known.family in ("aluminium", "cfrp"):
        return f"settling-{known.family}"
    if tabled_name(material) == "pom":
        return "settling-pom"
    raise ValueError(
        f"settle: nothing is remembered about the settling of {known.name}; state mean_um"
    )
