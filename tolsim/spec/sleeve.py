"""A sleeve between bearing and shell, its film and its thread; and the bond that may hold it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.alignment_spec import Alignment, Correlation, Length, LengthUm, TiltDeg
from tolsim.spec.features import Diameter, Feature, Roughness, Roundness, Sides
from tolsim.spec.part_base import Part
from tolsim.spec.part_material import MaterialRef
from tolsim.spec.quantities import Distribution, Share, Table, not_negative, scaled
from tolsim.spec.stated import StatedFriction

__all__ = ["Adhesive", "Coating", "Sleeve", "SleeveThread"]


class Coating(Table):
    """An anodic film laid on the finished sleeve: one film, so both surfaces share its thickness.

    It changes the diameters of surfaces whose ``state`` says that they were gauged uncoated.
    """

    thickness: Annotated[Distribution, AfterValidator(not_negative), scaled("um")] = Field(
        alias="thickness_um"
    )
    kind: Literal["type-ii", "type-iii"] = "type-ii"
    outward_share: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    surfaces: Literal["both", "inside", "outside"] = "both"
    lost_when_pressed: Share | None = None


class SleeveThread(Table):
    """Thread and flange of a sleeve that is screwed into the shell."""

    pitch: Length = Field(alias="pitch_mm")
    pitch_diameter: Diameter = Field(alias="pitch_diameter_mm")
    engagement: Length = Field(alias="engagement_mm")
    flange_outer: Diameter = Field(alias="flange_outer_mm")
    flange_inner: Diameter = Field(alias="flange_inner_mm")
    clearance: Annotated[Distribution, AfterValidator(not_negative), scaled("um")] = Field(
        alias="clearance_um"
    )
    face_run_out: LengthUm = Field(alias="face_run_out_um")
    torque: Annotated[Distribution, AfterValidator(not_negative), scaled("Nm")] = Field(
        alias="torque_Nm"
    )
    service_torque: Annotated[float, Field(ge=0.0), scaled("Nm")] = Field(
        default=0.0, alias="service_torque_Nm"
    )
    friction: Annotated[Distribution, AfterValidator(not_negative)] | None = None
    flange_friction: Annotated[Distribution, AfterValidator(not_negative)] | None = None

    @model_validator(mode="after")
    def _flange(self) -> SleeveThread:
        if not self.flange_inner < self.flange_outer:
            raise PydanticCustomError(
                "flange", "the flange's inner diameter must be below its outer one", {}
            )
        return self


class Sleeve(Part):
    """A sleeve between bearing and shell: pressed, glued or screwed in."""

    part: Literal["sleeve"]
    material: MaterialRef
    pieces: Annotated[int, Field(ge=1, le=2)] = 2
    length: Length = Field(alias="length_mm")
    inside: Feature
    outside: Feature | None = None
    gauged: Literal["before", "after"] = "before"
    roughness_rz: Roughness = Field(default=0.0, alias="roughness_rz_um")
    outside_roughness_rz: Roughness = Field(default=0.0, alias="outside_roughness_rz_um")
    friction: StatedFriction | None = None
    together: Correlation = 0.0
    sides: Sides | None = None
    alignment: Alignment | None = None
    seating_tilt: TiltDeg | None = Field(default=None, alias="seating_tilt_deg")
    roundness: Roundness | None = None
    coating: Coating | None = None
    thread: SleeveThread | None = None

    @model_validator(mode="after")
    def _wall(self) -> Sleeve:
        if self.inside.nominal is None:
            raise PydanticCustomError(
                "nominal", "the sleeve's bore has no nominal size", {"allowed": "inside.nominal_mm"}
            )
        if self.outside is None and self.thread is None:
            raise PydanticCustomError(
                "outside", "a sleeve needs an [outside], or a [thread]", {"allowed": "[outside]"}
            )
        outer = self.outer_diameter
        if outer is None:
            raise PydanticCustomError(
                "nominal",
                "the sleeve's outside has no nominal size",
                {"allowed": "outside.nominal_mm"},
            )
        if outer <= self.inside.nominal + 0.2:
            raise PydanticCustomError(
                "wall", f"no wall is left between {self.inside.nominal:g} and {outer:g} mm", {}
            )
        if self.pieces == 1 and self.alignment is None:
            raise PydanticCustomError(
                "alignment",
                "a one-piece sleeve carries both seats: its own [alignment] decides",
                {"allowed": "[alignment] with offset_um and tilt_deg of each seat in the sleeve"},
            )
        return self

    @property
    def outer_diameter(self) -> float | None:
        """Nominal outside diameter [mm]; of a screwed sleeve its pitch diameter."""
        if self.outside is not None and self.outside.nominal is not None:
            return self.outside.nominal
        return self.thread.pitch_diameter if self.thread is not None else None


class Adhesive(Part):
    """The bond between sleeve and shell."""

    part: Literal["adhesive"]
    material: MaterialRef = "epoxy-adhesive"
    strength: Annotated[Distribution, AfterValidator(not_negative), scaled("MPa")] | None = Field(
        default=None, alias="strength_MPa"
    )
    peel_strength: Annotated[Distribution, AfterValidator(not_negative), scaled("MPa")] | None = (
        Field(default=None, alias="peel_strength_MPa")
    )
    strength_at_gap: (
        Annotated[
            tuple[Annotated[tuple[float, float], Field(strict=False)], ...],
            Field(strict=False, min_length=2, max_length=20),
        ]
        | None
    ) = Field(default=None, alias="strength_at_gap_um")
    wetted_share: Annotated[Distribution, AfterValidator(not_negative)] | None = None
    loss_per_kelvin: Annotated[float, Field(ge=0.0, le=0.1), scaled("per_K")] | None = Field(
        default=None, alias="loss_per_K"
    )
    cure_temperature: Annotated[float, Field(ge=-20.0, le=250.0)] = Field(
        default=20.0, alias="cure_temperature_C"
    )
    fixture_share: Annotated[float, Field(ge=0.0, le=1.0)] = 1.0
    bond_share: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
