"""Materials and friction that a part names or brings along."""

from __future__ import annotations

from tolsim.joint.assumed import Assumptions
from tolsim.mechanics.friction import friction
from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.mechanics.settling import relaxed
from tolsim.spec.parts import CustomMaterial
from tolsim.spec.quantities import Distribution

__all__ = ["aged_material", "default_friction", "material_of", "swelling", "tabled_name"]

#: Words in the name of a part's own material that tell its family, where the part does not.
_WORDS = (
    ("steel", "steel"),
    ("alumin", "aluminium"),
    ("titan", "titanium"),
    ("cfrp", "cfrp"),
    ("carbon", "cfrp"),
    ("adhesive", "adhesive"),
    ("epoxy", "adhesive"),
    ("pa66", "polymer"),
    ("polyamide", "polymer"),
    ("pom", "polymer"),
    ("acetal", "polymer"),
)


def material_of(reference: str | CustomMaterial) -> Material:
    """The material behind a name of the built-in table, or behind a part's own constants."""
    if isinstance(reference, str):
        return MATERIALS[reference]
    base = None if reference.like is None else MATERIALS[reference.like]
    radial = reference.expansion_radial
    return Material(
        name=reference.name,
        E_hoop=reference.young,
        E_radial=reference.young if reference.young_radial is None else reference.young_radial,
        poisson=reference.poisson,
        alpha_hoop=reference.expansion,
        alpha_radial=reference.expansion if radial is None else radial,
        E_axial=reference.young_axial,
        poisson_hoop_axial=reference.poisson_hoop_axial,
        hoop_allowable=reference.hoop_allowable,
        radial_tension=reference.radial_tension,
        proof_stress=reference.proof_stress,
        temperature_range=reference.temperature_range,
        family=_family(reference) if base is None else reference.family or base.family,
        source=reference.source if base is None else f"{reference.source}; else {base.source}",
    )


def tabled_name(reference: str | CustomMaterial) -> str | None:
    """The material of the built-in table that is named, or that a part's own is like."""
    return reference if isinstance(reference, str) else reference.like


def _family(reference: CustomMaterial) -> str:
    """Family as stated, else by the material's name, else none that a table knows."""
    if reference.family is not None:
        return reference.family
    name = reference.name.casefold()
    return next((family for word, family in _WORDS if word in name), "other")


def default_friction(
    assumptions: Assumptions,
    receiving: str | CustomMaterial,
    *,
    inner: str | CustomMaterial = "bearing-steel",
) -> Distribution:
    """Friction at press-in over its remembered range, by the materials of both parts."""
    return assumptions.spread(friction(material_of(inner), material_of(receiving)).name)


def aged_material(
    assumptions: Assumptions, reference: str | CustomMaterial, material: Material, hours: float
) -> Material:
    """The material after a time under strain; metals stay as they are."""
    after = max(hours, 1.0)
    if not isinstance(reference, str) and reference.relaxation is not None:
        return relaxed(material, after, exponent_hoop=reference.relaxation)
    if material.family == "cfrp":
        return relaxed(
            material,
            after,
            exponent_hoop=assumptions.value("relaxation-cfrp-hoop"),
            exponent_radial=assumptions.value("relaxation-cfrp-radial"),
        )
    name = {"polymer": "relaxation-polymer", "adhesive": "relaxation-epoxy"}.get(material.family)
    if name is None:
        return material
    return relaxed(material, after, exponent_hoop=assumptions.value(name))


def swelling(
    assumptions: Assumptions, reference: str | CustomMaterial, material: Material
) -> tuple[float, float] | None:
    """Hoop and radial strain per moisture taken up, stated or remembered; None where neither is."""
    if not isinstance(reference, str) and reference.swelling is not None:
        radial = reference.swelling_radial
        return reference.swelling, reference.swelling if radial is None else radial
    if material.family == "cfrp":
        return assumptions.value("swelling-cfrp-hoop"), assumptions.value("swelling-cfrp-radial")
    if (tabled_name(reference) or "").startswith("pa66-gf"):
        taken_up = assumptions.value("moisture-pa66-gf")
        return (
            assumptions.value("swelling-pa66-gf-hoop") / taken_up,
            assumptions.value("swelling-pa66-gf-radial") / taken_up,
        )
    return None
