"""The material of a part: a name of the built-in table, or constants of its own."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.quantities import Band, Table, Text

__all__ = ["CustomMaterial", "MaterialRef"]

Modulus = Annotated[float, Field(gt=0.0, le=2e6)]
Expansion = Annotated[float, Field(ge=-1e-3, le=1e-3)]


#: What the tables of friction, relaxation and swelling go by.
Family = Literal["steel", "aluminium", "titanium", "cfrp", "polymer", "adhesive", "other"]


class CustomMaterial(Table):
    """Constants of a material that the built-in table lacks, with where they come from."""

    name: Text
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
    family: (
        Literal["steel", "aluminium", "titanium", "cfrp", "polymer", "adhesive", "other"] | None
    ) = None
    source: Text

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
