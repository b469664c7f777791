"""What happens to a size on its way from the machine to the assembled joint, as written in TOML."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, PrivateAttr, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.quantities import (
    Band,
    Distribution,
    ShapeName,
    Share,
    Table,
    Text,
    check_shape,
    not_negative,
    scaled,
)

__all__ = [
    "NEEDED",
    "Coat",
    "Gauge",
    "Lot",
    "Machine",
    "Mix",
    "Move",
    "Readings",
    "Settle",
    "Settled",
    "Step",
    "Strip",
    "ToolWear",
    "TwoAges",
    "Warm",
]

Micro = Annotated[float, scaled("um")]
Spread = Annotated[float, Field(ge=0.0, le=1000.0), scaled("um")]
#: Shapes that readings may be taken to have; `choose` leaves it to them.
ReadShape = Literal["choose", "normal", "skewed", "bounded", "mixture", "kernel"]
#: Fewest readings of a seat that a stated shape can be fitted to.
NEEDED = {"normal": 2, "skewed": 5, "bounded": 5, "mixture": 8, "kernel": 8}


class _Shaped(Table):
    """Parameters of a shape as keys in micrometres from the nominal size."""

    shape: ShapeName = "normal"
    mean: Micro | None = Field(default=None, alias="mean_um")
    sd: Spread | None = Field(default=None, alias="sd_um")
    low: Micro | None = Field(default=None, alias="low_um")
    mode: Micro | None = Field(default=None, alias="mode_um")
    high: Micro | None = Field(default=None, alias="high_um")
    scale: Annotated[float, Field(gt=0.0), scaled("um")] | None = Field(
        default=None, alias="scale_um"
    )
    exponent: Annotated[float, Field(ge=0.5, le=20.0)] | None = None
    skewness: Annotated[float, Field(ge=-2.0, le=2.0)] | None = None
    value: Micro | None = Field(default=None, alias="value_um")

    @model_validator(mode="after")
    def _fits_shape(self) -> _Shaped:
        check_shape(self.shape, self.distribution_parameters(), _key)
        return self

    def distribution_parameters(self) -> dict[str, float]:
        """The parameters of the shape [mm], by name."""
        names = ("mean", "sd", "low", "mode", "high", "scale", "exponent", "skewness", "value")
        return {k: v for k in names if (v := getattr(self, k)) is not None}

    def distribution(self) -> Distribution:
        """The shape with its parameters [mm]."""
        return Distribution(shape=self.shape, **self.distribution_parameters())


def _key(name: str) -> str:
    return name if name in ("exponent", "skewness") else f"{name}_um"


class Machine(_Shaped):
    """The process as a shape around the nominal size.

    Ranges say within which ends the mean and the spread of a normal process may lie where nobody
    has measured it: every value in them is as good as another, and one holds for all parts.
    """

    step: Literal["machine"]
    mean_range: Annotated[Band, scaled("um")] | None = Field(default=None, alias="mean_range_um")
    sd_range: Annotated[Band, scaled("um")] | None = Field(default=None, alias="sd_range_um")

    @model_validator(mode="after")
    def _ranges(self) -> Machine:
        if not self.is_ranged:
            return self
        if self.shape != "normal":
            raise PydanticCustomError(
                "range", "only a normal process has ranges", {"allowed": 'shape = "normal"'}
            )
        for name, value, ends in (
            ("mean_um", self.mean or 0.0, self.mean_range),
            ("sd_um", self.sd or 0.0, self.sd_range),
        ):
            if ends is not None and not ends[0] <= value <= ends[1]:
                raise PydanticCustomError(
                    "range",
                    f"{name} lies outside its range",
                    {"allowed": f"{1e3 * ends[0]:g} to {1e3 * ends[1]:g}"},
                )
        if self.sd_range is not None and self.sd_range[0] <= 0.0:
            raise PydanticCustomError(
                "range", "a spread is above 0 over all its range", {"allowed": "[low, high] > 0"}
            )
        return self

    @property
    def is_ranged(self) -> bool:
        """Whether mean or spread is known within a range only."""
        return self.mean_range is not None or self.sd_range is not None


class ToolWear(Table):
    """A machine whose tool wears between two corrections of its offset.

    ``shared_phase``: the parts of a unit come from one small lot and share the tool's state.
    """

    step: Literal["tool-wear"]
    mean: Micro = Field(alias="mean_um")
    sd: Spread = Field(alias="sd_um")
    wear: Micro = Field(alias="wear_um_per_part")
    parts_between_offsets: Annotated[int, Field(ge=1, le=100_000)]
    offset_resolution: Spread = Field(default=0.0, alias="offset_resolution_um")
    reset_gauge_sd: Spread = Field(default=0.0, alias="reset_gauge_sd_um")
    reset_parts: Annotated[int, Field(ge=1, le=1000)] = 1
    dead_band: Spread = Field(default=0.0, alias="dead_band_um")
    shared_phase: bool = False


class Strip(Table):
    """A depth that etching takes off the surface before a film is laid on."""

    step: Literal["strip"]
    stated_depth: Annotated[Distribution, AfterValidator(not_negative), scaled("um")] | None = (
        Field(default=None, alias="depth_um")
    )

    @property
    def depth(self) -> Distribution:
        """Depth as stated; nothing where it is not."""
        return self.stated_depth or Distribution(shape="fixed", value=0.0)


class Coat(Table):
    """A film of which a share grows outward."""

    step: Literal["coat"]
    thickness: Annotated[Distribution, AfterValidator(not_negative), scaled("um")] = Field(
        alias="thickness_um"
    )
    kind: Literal["type-ii", "type-iii"] = "type-ii"
    stated_share: Annotated[Distribution, AfterValidator(not_negative)] | None = Field(
        default=None, alias="outward_share"
    )

    @property
    def outward_share(self) -> Distribution:
        """Share of the film that grows outward as stated; nothing where it is not."""
        return self.stated_share or Distribution(shape="fixed", value=0.0)


class Gauge(Table):
    """Parts, or whole units, whose reading lies outside these limits are rejected."""

    step: Literal["gauge"]
    accept: Annotated[Band, scaled("um")] = Field(alias="accept_um")
    repeatability: Spread = Field(default=0.0, alias="repeatability_um")
    guard_band: Micro = Field(default=0.0, alias="guard_band_um")
    bias: Micro = Field(default=0.0, alias="bias_um")
    age: Annotated[float, Field(ge=0.0, le=1e6)] | None = Field(default=None, alias="age_h")
    reject: Literal["part", "unit"] = "part"
    name: Text = "gauge"


class Warm(Table):
    """Readings taken warm, corrected to 20 °C."""

    step: Literal["warm"]
    temperature: Annotated[float, Field(ge=-20.0, le=80.0)] = Field(alias="temperature_C")
    expansion: Annotated[float, Field(ge=-1e-3, le=1e-3)] = Field(alias="expansion_per_K")
    master_expansion: Annotated[float, Field(ge=-1e-3, le=1e-3)] = Field(
        default=11.5e-6, alias="master_expansion_per_K"
    )
    temperature_sd: Annotated[float, Field(ge=0.0, le=20.0)] = Field(
        default=0.0, alias="temperature_sd_K"
    )


class Lot(Table):
    """Scatter from lot to lot, which both seats of a unit share."""

    step: Literal["lot"]
    between_sd: Spread = Field(alias="between_sd_um")


class Cavity(_Shaped):
    """One of several populations that are delivered mixed."""

    share: Share
    name: Text | None = None


class Mix(Table):
    """Several suppliers, cavities or lots in one box, each with its share."""

    step: Literal["mix"]
    of: Annotated[tuple[Cavity, ...], Field(strict=False, min_length=2, max_length=20)]

    @model_validator(mode="after")
    def _whole(self) -> Mix:
        total = sum(c.share for c in self.of)
        if abs(total - 1.0) > 1e-6:
            raise PydanticCustomError(
                "shares", f"shares of a mix must add up to 1, they give {total:.6g}", {}
            )
        return self


class Readings(Table):
    """The process as measured: a column of a file beside the part.

    Several readings a bore are reduced to its mean, taper and ovality: columns of ``depth`` and
    ``angle`` (one reading a row), or ``wide`` (places in the names of the columns).
    """

    step: Literal["readings"]
    file: Text
    column: Text | None = None
    depth: Text | None = None
    angle: Text | None = None
    wide: bool = False
    depth_band: Annotated[Band | None, Field(alias="depth_band_mm")] = None
    side: Text | None = None
    unit: Text | None = None
    lot: Text | None = None
    order: Text | None = None
    sheet: Text | None = None
    shape: ReadShape = "choose"
    #: Lots as one, as random effects, or by what the readings say.
    between_lots: Literal["choose", "one", "random"] = "choose"
    gauge_sd: Spread = Field(default=0.0, alias="gauge_sd_um")

    @model_validator(mode="after")
    def _layout(self) -> Readings:
        if self.wide == (self.column is not None):
            raise PydanticCustomError(
                "layout",
                "column names the readings, or wide = true takes places from the columns' names",
                {"allowed": "one of column and wide"},
            )
        if self.wide and (self.depth is not None or self.angle is not None):
            raise PydanticCustomError(
                "layout", "depth and angle stand in the names of the columns of a wide file", {}
            )
        return self

    @property
    def placed(self) -> bool:
        """Whether a bore has several readings, at depths and angles."""
        return self.wide or self.depth is not None or self.angle is not None


class TwoAges(Table):
    """The same parts read at two ages: in one file with a column of ages, or in two files."""

    file: Text
    column: Text
    unit: Text
    age: Text | None = None
    later_file: Text | None = None
    ages: Annotated[Band | None, Field(alias="ages_h")] = None
    side: Text | None = None
    lot: Text | None = None
    sheet: Text | None = None
    gauge_sd: Spread = Field(default=0.0, alias="gauge_sd_um")

    @model_validator(mode="after")
    def _two(self) -> TwoAges:
        if (self.age is None) == (self.later_file is None):
            raise PydanticCustomError(
                "ages",
                "the later readings stand in later_file, or a column of ages tells them apart",
                {"allowed": "one of age and later_file"},
            )
        return self


@dataclass(frozen=True, kw_only=True, slots=True)
class Settled:
    """Whole change [mm] that n parts at two ages showed: their mean and standard deviation.

    ``share`` is the part of the whole change between the two ages; ``gauge_sd`` the scatter that
    reading adds to the whole change [mm].
    """

    n: int
    mean: float
    sd: float
    share: float
    gauge_sd: float
    notes: tuple[str, ...] = ()


class Settle(Table):
    """Change from the moment of making on; the whole of it, of which the ages take their part.

    Size, time and exponent may be left out: remembered ones of the material stand in, with their
    range, as assumptions.
    """

    step: Literal["settle"]
    stated_mean: Micro | None = Field(default=None, alias="mean_um")
    readings: TwoAges | None = None
    sd: Spread = Field(default=0.0, alias="sd_um")
    common_sd: Spread = Field(default=0.0, alias="common_sd_um")
    stated_time: Annotated[float, Field(gt=0.0)] | None = Field(default=None, alias="time_h")
    stated_exponent: Annotated[float, Field(gt=0.0, le=1.0)] | None = Field(
        default=None, alias="exponent"
    )
    law: Literal["kohlrausch", "log-time"] = "kohlrausch"
    #: What the same parts at two ages showed; the reader lays it down.
    _seen: Settled | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _given(self) -> Settle:
        if self.readings is None:
            return self
        lacking = self.stated_time is None
        lacking = lacking or (self.law == "kohlrausch" and self.stated_exponent is None)
        if self.stated_mean is not None or lacking:
            raise PydanticCustomError(
                "settle",
                "readings at two ages show the size of the change; its law of time is stated",
                {"allowed": "readings with time_h and exponent, without mean_um"},
            )
        return self

    @property
    def seen(self) -> Settled | None:
        """What the same parts at two ages showed, as far as read."""
        return self._seen

    def with_seen(self, seen: Settled) -> Settle:
        """The step with what was read; mean and spread of the whole change put in."""
        sd = max(seen.sd**2 - seen.gauge_sd**2, 0.0) ** 0.5
        done = self.model_copy(update={"stated_mean": seen.mean, "sd": sd})
        done._seen = seen
        return done

    @model_validator(mode="after")
    def _end(self) -> Settle:
        if self.law == "log-time" and self.stated_time is None:
            raise PydanticCustomError(
                "settle", "the log-time law needs its end", {"allowed": "time_h"}
            )
        return self

    @property
    def mean(self) -> float:
        """Whole change as stated [mm]; nothing where it is not."""
        return self.stated_mean or 0.0

    @property
    def time(self) -> float:
        """Time constant, or the end of the log-time law, as stated [h]."""
        return self.stated_time or 1.0

    @property
    def exponent(self) -> float:
        """Exponent of the Kohlrausch law as stated."""
        return self.stated_exponent or 1.0


class Move(Table):
    """What if: the process with its mean shifted and its spread about that mean scaled."""

    step: Literal["move"]
    shift: Micro = Field(default=0.0, alias="shift_um")
    spread_factor: Annotated[float, Field(ge=0.0, le=100.0)] = 1.0


Step = Annotated[
    Machine | ToolWear | Readings | Mix | Strip | Coat | Gauge | Settle | Warm | Lot | Move,
    Field(discriminator="step"),
]
