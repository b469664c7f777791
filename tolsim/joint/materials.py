"""Materials and friction that a part names or brings along."""

from __future__ import annotations

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.spec.parts import CustomMaterial
from tolsim.spec.quantities import Distribution

__all__ = ["default_friction", "material_of"]


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
        source=reference.source,
    )


def default_friction(
    receiving: str | CustomMaterial, *, inner: str | CustomMaterial = "bearing-steel"
) -> Distribution:
    """Friction at press-in over its remembered range, by the materials of both parts."""
    names = {_family(receiving), _family(inner)}
    if names == {"aluminium", "cfrp"}:
        known = ASSUMED["friction-aluminium-cfrp-press"]
    else:
        other = next((n for n in sorted(names) if n != "steel"), "steel")
        known = ASSUMED[f"friction-steel-{other}-press"]
    return Distribution(shape="triangular", low=known.low, mode=known.value, high=known.high)


def _family(reference: str | CustomMaterial) -> str:
    """Family of materials that the table of friction knows."""
    name = reference if isinstance(reference, str) else reference.name.lower()
    for word, family in (
        ("alumin", "aluminium"),
        ("titan", "titanium"),
        ("cfrp", "cfrp"),
        ("carbon", "cfrp"),
        ("pa66", "polymer"),
        ("pom", "polymer"),
    ):
        if word in name:
            return family
    return "steel"
