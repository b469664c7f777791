"""The material of a part: a name of the built-in table, or constants of its own."""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.mechanics.materials import MATERIALS, Material
from tolsim.spec.quantities import Band, Table, Text, usual_key
from tolsim.units import split_suffix

__all__ = ["CustomMaterial", "MaterialRef"]

Modulus = Annotated[float, Field(gt=0.0, le=2e6)]
Expansion = Annotated[float, Field(ge=-1e-3, le=1e-3)]


#: What the tables of friction, relaxation and swelling go by.
Family = Literal["steel", "aluminium", "titanium", "cfrp", "polymer", "adhesive", "other"]


#: Constants of a table's material, by the key that states each.
_TABLED = {
    "name": "name",
    "young_MPa": "E_hoop",
    "young_radial_MPa": "E_radial",
    "young_axial_MPa": "E_axial",
    "poisson": "poisson",
    "poisson_hoop_axial": "poisson_hoop_axial",
    "expansion_per_K": "alpha_hoop",
    "expansion_radial_per_K": "alpha_radial",
    "hoop_allowable_MPa": "hoop_allowable",
    "radial_tension_MPa": "radial_tension",
    "proof_stress_MPa": "proof_stress",
}
#: Directions that follow another one where the table holds both alike.
_FOLLOWS = {
    "young_radial_MPa": "young_MPa",
    "young_axial_MPa": "young_MPa",
    "poisson_hoop_axial": "poisson",
    "expansion_radial_per_K": "expansion_per_K",
}


def _with_tabled(raw: dict[str, Any], base: Material) -> dict[str, Any]:
    """The table as written, with the constants of `base` for whatever it does not state."""
    written = {usual_key(key, tuple(_TABLED)): key for key in raw}
    out = dict(raw)
    for key, name in _TABLED.items():
        value = getattr(base, name)
        if key in written or value is None:
            continue
        leader = _FOLLOWS.get(key)
        if leader in written and value == getattr(base, _TABLED[leader]):
            given = raw[written[leader]]
            if isinstance(given, int | float) and not isinstance(given, bool):
                # in the unit that the other direction is written in
                stem = key.removesuffix(_unit(key))
                out[stem + _unit(written[leader])] = given
        else:
            out[key] = value
    if "temperature_range_C" not in raw and base.temperature_range is not None:
        out["temperature_range_C"] = list(base.temperature_range)
    if "family" not in raw and base.family in get_args(Family):
        out["family"] = base.family
    return out


def _unit(key: str) -> str:
    stem, unit = split_suffix(key)
    return "" if unit is None else key.removeprefix(stem)


def _or_like(schema: dict[str, Any]) -> None:
    """In the schema a material states all that is needed, or what it is like."""
    schema["anyOf"] = [{"required": schema.pop("required")}, {"required": ["like", "source"]}]


class CustomMaterial(Table):
    """Constants of a material, with where they come from: all its own, or a table's but for some.

    `like` names a material of the built-in table that gives whatever is not stated here.
    """

    model_config = ConfigDict(json_schema_extra=_or_like)

    name: Text
    like: Text | None = None
    young: Modulus = Field(alias="young_MPa")
    young_radial: Modulus | None = Field(default=None, alias="young_radial_MPa")
    young_axial: Modulus | None = Field(default=None, alias="young_axial_MPa")
    poisson: Annotated[float, Field(ge=0.0, lt=0.5)]
    poisson_hoop_axial: Annotated[float, Field(ge=0.0, lt=1.0)] | None = None
    expansion: Expansion = Field(alias="expansion_per_K")
    expansion_radial: Expansion | None = Field(default=None, alias="expansion_radial_per_K")
    hoop_allowable: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, alias="hoop_allowable_MPa"
    )
    radial_tension: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, alias="radial_tension_MPa"
    )
    proof_stress: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, alias="proof_stress_MPa"
    )
    relaxation: Annotated[float, Field(ge=0.0, le=0.5)] | None = None
    #: Strain per moisture taken up, a share of the mass; radially the same where it is not stated.
    swelling: Annotated[float, Field(ge=0.0, le=2.0)] | None = None
    swelling_radial: Annotated[float, Field(ge=0.0, le=2.0)] | None = None
    temperature_range: Band | None = Field(default=None, alias="temperature_range_C")
    family: Family | None = None
    source: Text

    @model_validator(mode="before")
    @classmethod
    def _filled_in(cls, raw: Any) -> Any:
        """What the material that this one is like gives; the reader tells an unknown one."""
        if not isinstance(raw, dict) or not isinstance(raw.get("like"), str):
            return raw
        return _with_tabled(raw, MATERIALS.get(raw["like"], MATERIALS["steel-4130"]))

    @model_validator(mode="after")
    def _swells(self) -> CustomMaterial:
        if self.swelling_radial is not None and self.swelling is None:
            raise PydanticCustomError(
                "material",
                "swelling_radial needs the swelling along the hoop beside it",
                {"allowed": "swelling, strain per moisture taken up"},
            )
        return self


MaterialRef = Text | CustomMaterial
