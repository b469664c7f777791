"""Alignment of the two seats as written in TOML: stated, or read from a file beside the part."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, PrivateAttr, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.quantities import Distribution, Table, Text, scaled

if TYPE_CHECKING:
    from tolsim.spec.alignment_readings import AlignmentReadings

__all__ = [
    "Alignment",
    "AlignmentFile",
    "AxisSection",
    "Correlation",
    "Length",
    "LengthUm",
    "TiltDeg",
]

Length = Annotated[float, Field(gt=0.0, le=2000.0)]
Correlation = Annotated[float, Field(ge=-1.0, le=1.0)]
LengthUm = Annotated[Distribution, scaled("um")]
TiltDeg = Annotated[Distribution, scaled("deg")]


class AxisSection(Table):
    """Columns of the axis's coordinates in one section of a seat, and the section's depth."""

    x: Text
    y: Text
    depth: Annotated[float, Field(ge=0.0)] | None = Field(default=None, alias="depth_mm")
    depth_column: Text | None = None

    @model_validator(mode="after")
    def _deep(self) -> AxisSection:
        if (self.depth is None) == (self.depth_column is None):
            raise PydanticCustomError(
                "section",
                "a section has one depth, or a column of depths",
                {"allowed": "one of depth_mm and depth_column"},
            )
        return self


class AlignmentFile(Table):
    """Readings of alignment: coordinates in sections, or figures without direction.

    ``offset``, ``runout``, ``coaxiality``, ``tilt`` and ``parallelism`` (over ``length_mm``) name
    columns of figures; ``sections`` name columns of coordinates.
    """

    file: Text
    side: Text | None = None
    unit: Text | None = None
    lot: Text | None = None
    sheet: Text | None = None
    sections: Annotated[tuple[AxisSection, ...], Field(strict=False, max_length=50)] = ()
    middle: Annotated[float, Field(ge=0.0)] | None = Field(default=None, alias="middle_mm")
    depth_from: Literal["datum", "face"] = "datum"
    offset: Text | None = None
    runout: Text | None = None
    coaxiality: Text | None = None
    tilt: Text | None = None
    parallelism: Text | None = None
    length: Length | None = Field(default=None, alias="length_mm")
    #: Of figures: Rayleigh has no systematic part, Rice has one, its direction unknown.
    shape: Literal["choose", "rayleigh", "rice"] = "choose"

    @model_validator(mode="after")
    def _kind(self) -> AlignmentFile:
        offsets = [c for c in (self.offset, self.runout, self.coaxiality) if c is not None]
        tilts = [c for c in (self.tilt, self.parallelism) if c is not None]
        if bool(self.sections) == bool(offsets or tilts) or max(len(offsets), len(tilts)) > 1:
            raise PydanticCustomError(
                "alignment",
                "need sections of coordinates, or one column of figures for the offset and one "
                "for the tilt",
                {"allowed": "sections; or offset, runout or coaxiality, and tilt or parallelism"},
            )
        if self.sections and self.shape != "choose":
            raise PydanticCustomError(
                "alignment", "shape is that of figures; sections show the directions", {}
            )
        if (self.parallelism is None) != (self.length is None):
            raise PydanticCustomError(
                "alignment", "parallelism and the length_mm over which it holds go together", {}
            )
        return self

    @property
    def shows(self) -> tuple[bool, bool]:
        """Whether the file shows offsets, and tilts."""
        figures = (
            (self.offset, self.runout, self.coaxiality),
            (self.tilt, self.parallelism),
        )
        both = [bool(self.sections) or any(c is not None for c in f) for f in figures]
        return both[0], both[1]


class Alignment(Table):
    """Each seat against the common datum of the pair: two axes of offset, two of tilt."""

    offset: LengthUm | None = Field(default=None, alias="offset_um")
    tilt: TiltDeg | None = Field(default=None, alias="tilt_deg")
    readings: AlignmentFile | None = None
    between_sides: Correlation = 0.0
    between_sides_tilt: Correlation | None = None
    _seen: Any = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _whole(self) -> Alignment:
        shows = (False, False) if self.readings is None else self.readings.shows
        for given, read, key in (
            (self.offset, shows[0], "offset_um"),
            (self.tilt, shows[1], "tilt_deg"),
        ):
            if (given is None) != read:
                what = "is missing" if given is None else "is both stated and read from the file"
                raise PydanticCustomError(
                    "alignment",
                    f"{key} {what}",
                    {"allowed": f"{key}, or columns of [alignment.readings] that show it"},
                )
        return self

    @property
    def seen(self) -> AlignmentReadings | None:
        """Readings of the file, once read."""
        seen: AlignmentReadings | None = self._seen
        return seen

    def with_seen(self, seen: AlignmentReadings) -> Alignment:
        """The same with its readings."""
        done = self.model_copy()
        done._seen = seen
        return done
