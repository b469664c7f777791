"""The parts of a seat as written in TOML: bore, bearing, sleeve, adhesive."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.alignment_spec import Alignment, Length, LengthUm
from tolsim.spec.features import Diameter, Feature, Gap, Roughness, Roundness, Sides, State
from tolsim.spec.part_base import Part
from tolsim.spec.part_material import CustomMaterial, MaterialRef
from tolsim.spec.quantities import Text
from tolsim.spec.sleeve import Adhesive, Coating, Sleeve, SleeveThread
from tolsim.spec.stated import StatedFriction

__all__ = [
    "PART_KINDS",
    "Adhesive",
    "Alignment",
    "Bearing",
    "Bore",
    "Coating",
    "CustomMaterial",
    "Feature",
    "Part",
    "Roundness",
    "Sides",
    "Sleeve",
    "SleeveThread",
    "State",
]


class Bore(Part):
    """A shell with two bearing bores."""

    part: Literal["bore"]
    material: MaterialRef
    outside_diameter: Diameter = Field(alias="outside_diameter_mm")
    seat_width: Length = Field(alias="seat_width_mm")
    edge_distance: Gap = Field(default=0.0, alias="edge_distance_mm")
    span: Length = Field(alias="span_mm")
    roughness_rz: Roughness = Field(default=0.0, alias="roughness_rz_um")
    friction: StatedFriction | None = None
    diameter: Feature
    roundness: Roundness | None = None
    taper: LengthUm | None = Field(default=None, alias="taper_um")
    alignment: Alignment | None = None
    sides: Sides | None = None

    @model_validator(mode="after")
    def _wall(self) -> Bore:
        if self.diameter.nominal is None:
            raise PydanticCustomError(
                "nominal", "the bore has no nominal size", {"allowed": "diameter.nominal_mm"}
            )
        if self.outside_diameter <= self.diameter.nominal + 0.2:
            raise PydanticCustomError(
                "wall",
                f"no wall is left around a bore of {self.diameter.nominal:g} mm",
                {"allowed": f"outside_diameter_mm above {self.diameter.nominal + 0.2:g}"},
            )
        return self


class Bearing(Part):
    """A rolling bearing whose outer ring sits in the seat."""

    part: Literal["bearing"]
    bore: Diameter = Field(alias="bore_mm")
    outside_diameter: Diameter = Field(alias="outside_diameter_mm")
    width: Length = Field(alias="width_mm")
    material: MaterialRef = "bearing-steel"
    tolerance_class: Text | None = Field(default=None, alias="class")
    outside: Feature | None = None
    clearance: Text | Feature
    raceway_diameter: Diameter | None = Field(default=None, alias="raceway_diameter_mm")
    ball_diameter: Length | None = Field(default=None, alias="ball_diameter_mm")
    groove_ratio: Annotated[float, Field(gt=0.5, lt=0.6)] = 0.52
    roughness_rz: Roughness = Field(default=0.0, alias="roughness_rz_um")
    friction: StatedFriction | None = None
    static_rating: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, alias="static_rating_N"
    )
    inner_fit: LengthUm | None = Field(default=None, alias="inner_fit_um")
    roundness: Roundness | None = None
    drawn: Literal["per-seat", "per-unit"] = "per-seat"

    @model_validator(mode="after")
    def _ring(self) -> Bearing:
        race = self.raceway_diameter
        if not self.bore < self.outside_diameter:
            raise PydanticCustomError(
                "ring", "the bearing's bore must be below its outside diameter", {}
            )
        if race is not None and not self.bore < race < self.outside_diameter:
            raise PydanticCustomError(
                "ring",
                "the raceway must lie between bore and outside diameter",
                {"allowed": f"{self.bore:g} < raceway_diameter_mm < {self.outside_diameter:g}"},
            )
        if self.outside is None and self.tolerance_class is None:
            raise PydanticCustomError(
                "ring",
                "nothing says what the ring's outside diameter measures",
                {"allowed": 'class = "normal" (ISO 492), or [outside] with band_um or a route'},
            )
        nominal = None if self.outside is None else self.outside.nominal
        if nominal is not None and abs(nominal - self.outside_diameter) > 1e-9:
            raise PydanticCustomError(
                "ring",
                f"outside.nominal_mm = {nominal:g} contradicts outside_diameter_mm",
                {"allowed": f"{self.outside_diameter:g}, or leave it out"},
            )
        if isinstance(self.clearance, Feature) and self.clearance.nominal is not None:
            raise PydanticCustomError("ring", "a clearance has no nominal size", {})
        return self


PART_KINDS: dict[str, type[Part]] = {
    "bore": Bore,
    "bearing": Bearing,
    "sleeve": Sleeve,
    "adhesive": Adhesive,
}
