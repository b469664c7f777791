"""Materials and friction that a part names or brings along."""

from __future__ import annotations

from tolsim.joint.assumed import Assumptions
from tolsim.mechanics.assumptions import ASSUMED
from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.mechanics.settling import relaxed
from tolsim.spec.parts import CustomMaterial
from tolsim.spec.quantities import Distribution

__all__ = ["aged_material", "default_friction", "material_of", "proof_stress", "swelling"]


def material_of(reference: str | CustomMaterial) -> Material:
    """The material behind a name of the built-in table, or behind a part's own constants."""
    if isinstance(reference, str):
        return MATERIALS[reference]
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
        temperature_range=reference.temperature_range,
        source=reference.source,
    )


def default_friction(
    assumptions: Assumptions,
    receiving: str | CustomMaterial,
    *,
    inner: str | CustomMaterial = "bearing-steel",
) -> Distribution:
    """Friction at press-in over its remembered range, by the materials of both parts."""
    names = {_family(receiving), _family(inner)}
    if names == {"aluminium", "cfrp"}:
        return assumptions.spread("friction-aluminium-cfrp-press")
    if "steel" in names or len(names) == 1:
        other = next((n for n in sorted(names) if n != "steel"), "steel")
        name = f"friction-steel-{other}-press"
        if name in ASSUMED:
            return assumptions.spread(name)
    return assumptions.spread("friction-other-press")


def aged_material(
    assumptions: Assumptions, reference: str | CustomMaterial, material: Material, hours: float
) -> Material:
    """The material after a time under strain; metals stay as they are."""
    if not isinstance(reference, str) and reference.relaxation is not None:
        return relaxed(material, max(hours, 1.0), exponent_hoop=reference.relaxation)
    family = _family(reference)
    if family == "cfrp":
        return relaxed(
            material,
            max(hours, 1.0),
            exponent_hoop=assumptions.value("relaxation-cfrp-hoop"),
            exponent_radial=assumptions.value("relaxation-cfrp-radial"),
        )
    if family in ("polymer", "epoxy"):
        name = "relaxation-polymer" if family == "polymer" else "relaxation-epoxy"
        return relaxed(material, max(hours, 1.0), exponent_hoop=assumptions.value(name))
    return material


def swelling(
    assumptions: Assumptions, reference: str | CustomMaterial
) -> tuple[float, float] | None:
    """Hoop and radial strain per moisture taken up; None for what takes up none."""
    family = _family(reference)
    if family == "cfrp":
        return assumptions.value("swelling-cfrp-hoop"), assumptions.value("swelling-cfrp-radial")
    return None


def _family(reference: str | CustomMaterial) -> str:
    """Family of materials that the table of friction knows."""
    name = reference if isinstance(reference, str) else reference.name.lower()
    for word, family in (
        ("alumin", "aluminium"),
        ("titan", "titanium"),
        ("cfrp", "cfrp"),
        ("carbon", "cfrp"),
        ("epoxy", "epoxy"),
        ("pa66", "polymer"),
        ("pom", "polymer"),
    ):
        if word in name:
            return family
    return "steel"


def proof_stress(reference: str | CustomMaterial, material: Material) -> float | None:
    """Proof stress [MPa] where it is known; the hoop allowable of a metal stands in for it."""
    if not isinstance(reference, str):
        return reference.proof_stress
    return material.hoop_allowable if material.E_radial == material.E_hoop else None
