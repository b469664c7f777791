"""Features of size of a part: drawing band, state, route; lobes; how two seats go together."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, PrivateAttr, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.alignment_spec import Correlation
from tolsim.spec.quantities import Band, Distribution, Table, Text, not_negative, scaled
from tolsim.spec.route_steps import Readings, Step

__all__ = ["Diameter", "Feature", "Gap", "Roughness", "Roundness", "Sides", "State"]

Diameter = Annotated[float, Field(ge=1.0, le=500.0)]
Gap = Annotated[float, Field(ge=0.0, le=2000.0)]
Roughness = Annotated[float, Field(ge=0.0, le=200.0), scaled("um")]


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
