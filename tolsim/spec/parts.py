"""The parts of a seat as written in TOML: bore, bearing, sleeve, adhesive."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, PrivateAttr, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.alignment_spec import Alignment, Correlation, Length, LengthUm, TiltDeg
from tolsim.spec.quantities import Band, Distribution, Share, Table, Text, not_negative, scaled
from tolsim.spec.route_steps import Readings, Step

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

Diameter = Annotated[float, Field(ge=1.0, le=500.0)]
Gap = Annotated[float, Field(ge=0.0, le=2000.0)]
Roughness = Annotated[float, Field(ge=0.0, le=200.0), scaled("um")]
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


class State(Table):
    """What the band and the readings refer to."""

    age: Annotated[float, Field(ge=0.0, le=1e6)] = Field(default=0.0, alias="age_h")
    temperature: Annotated[float, Field(ge=-60.0, le=200.0)] = Field(
        default=20.0, alias="temperature_C"
    )
    coated: bool = False
    size: Literal["mean", "two-point", "inscribed", "envelope"] = "mean"


class Feature(Table):
    """A feature of size: nominal, drawing band, state, and the way to the assembled joint."""

    nominal: Diameter | None = Field(default=None, alias="nominal_mm")
    band: Annotated[Band, scaled("um")] | None = Field(default=None, alias="band_um")
    tolerance_class: Text | None = Field(default=None, alias="class")
    capability: Annotated[float, Field(gt=0.0, le=10.0)] = 1.0
    capability_basis: Text | None = None
    state: State | None = None
    route: Annotated[tuple[Step, ...], Field(strict=False, max_length=30)] = ()

    @model_validator(mode="after")
    def _has_a_source(self) -> Feature:
        if self.band is not None and self.tolerance_class is not None:
            raise PydanticCustomError(
                "feature", "band_um and class both give the limits", {"allowed": "one of them"}
            )
        has_band = self.band is not None or self.tolerance_class is not None
        if not has_band and not self.route:
            raise PydanticCustomError(
                "feature",
                "neither a band nor a route says what the parts measure",
                {"allowed": "band_um = [lower, upper], or class, or [[...route]] steps"},
            )
        for i, step in enumerate(self.route):
            if i and step.step in ("machine", "tool-wear", "readings"):
                raise PydanticCustomError(
                    "route",
                    "only the first step of a route can be machine, tool-wear or readings",
                    {"allowed": "mix, strip, coat, gauge, settle, warm, lot, move"},
                )
        starts = ("machine", "tool-wear", "readings", "mix")
        if self.route and self.route[0].step not in starts and not has_band:
            raise PydanticCustomError(
                "route",
                f"a route that starts with {self.route[0].step} needs a band to start from",
                {"allowed": "machine, tool-wear, readings or mix first; or band_um"},
            )
        return self

    @property
    def readings(self) -> Readings | None:
        """The step that names a file of readings, if the route starts with one."""
        first = self.route[0] if self.route else None
        return first if isinstance(first, Readings) else None


class Roundness(Table):
    """Lobes of a bore or a ring: one harmonic, its radial amplitude or the roundness deviation.

    The deviation is that of a roundness tester (RONt), from the least to the greatest radius:
    twice the amplitude.
    """

    lobes: Annotated[int, Field(ge=2, le=12)]
    radial: Annotated[Distribution, AfterValidator(not_negative), scaled("um")] | None = Field(
        default=None, alias="amplitude_um"
    )
    deviation: Annotated[Distribution, AfterValidator(not_negative), scaled("um")] | None = Field(
        default=None, alias="deviation_um"
    )
    _from_readings: bool = PrivateAttr(default=False)

    @model_validator(mode="after")
    def _one(self) -> Roundness:
        if (self.radial is None) == (self.deviation is None):
            raise PydanticCustomError(
                "roundness",
                "the size of the lobes stands in one key",
                {"allowed": "amplitude_um, or deviation_um (twice as much)"},
            )
        return self

    @property
    def amplitude(self) -> Distribution:
        """Radial amplitude [mm]."""
        if self.radial is not None:
            return self.radial
        assert self.deviation is not None
        return self.deviation.scaled(0.5)

    @property
    def from_readings(self) -> bool:
        """Whether angles of the readings show it, which keep rows of evidence for it."""
        return self._from_readings

    @classmethod
    def oval(cls, mean_square: float) -> Roundness:
        """Two lobes from readings: mean square of the radial amplitude [mm²]."""
        sd = (0.5 * mean_square) ** 0.5
        amplitude = Distribution(shape="rayleigh", sd=sd)
        found = cls.model_construct(lobes=2, radial=amplitude)
        found._from_readings = True
        return found


class Sides(Table):
    """How the two seats of one unit go together."""

    diameter: Correlation = 0.0


class Part(Table):
    """What all parts share."""

    title: Text
    basis: Literal["measured", "drawing", "assumed"]
    source: Text | None = None
    note: Annotated[str, Field(max_length=2000)] | None = None
    price_each: Annotated[float, Field(ge=0.0)] | None = None


class Bore(Part):
    """A shell with two bearing bores."""

    part: Literal["bore"]
    material: MaterialRef
    outside_diameter: Diameter = Field(alias="outside_diameter_mm")
    seat_width: Length = Field(alias="seat_width_mm")
    edge_distance: Gap = Field(default=0.0, alias="edge_distance_mm")
    span: Length = Field(alias="span_mm")
    roughness_rz: Roughness = Field(default=0.0, alias="roughness_rz_um")
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


PART_KINDS: dict[str, type[Part]] = {
    "bore": Bore,
    "bearing": Bearing,
    "sleeve": Sleeve,
    "adhesive": Adhesive,
}
