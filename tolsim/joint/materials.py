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


def default_friction(receiving: str | CustomMaterial) -> Distribution:
    """Friction of a steel ring at press-in over its remembered range, by the seat's material."""
    name = receiving if isinstance(receiving, str) else receiving.name.lower()
    for word, key in (
        ("alumin", "friction-steel-aluminium-press"),
        ("titan", "friction-steel-titanium-press"),
        ("cfrp", "friction-steel-cfrp-press"),
        ("pa66", "friction-steel-polymer-press"),
        ("pom", "friction-steel-polymer-press"),
    ):
        if word in name:
            known = ASSUMED[key]
            break
    else:
        known = ASSUMED["friction-steel-steel-press"]
    return Distribution(shape="triangular", low=known.low, mode=known.value, high=known.high)
