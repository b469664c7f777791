"""What happens to a size on its way from the machine to the assembled joint, as written in TOML."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.quantities import (
    Distribution,
    ShapeName,
    Share,
    Table,
    Text,
    check_shape,
    scaled,
)

__all__ = ["Machine", "Mix", "Move", "Readings", "Settle", "Step"]

Micro = Annotated[float, scaled("um")]
Spread = Annotated[float, Field(ge=0.0, le=1000.0), scaled("um")]


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
    exponent: Annotated[float, Field(gt=0.0, le=20.0)] | None = None
    skewness: Annotated[float, Field(ge=-3.0, le=3.0)] | None = None
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
    """The process as a shape around the nominal size."""

    step: Literal["machine"]


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
    """The process as measured: a column of a file beside the part."""

    step: Literal["readings"]
    file: Text
    column: Text
    side: Text | None = None
    unit: Text | None = None
    lot: Text | None = None
    order: Text | None = None
    sheet: Text | None = None
    shape: Literal["normal"] = "normal"
    gauge_sd: Spread = Field(default=0.0, alias="gauge_sd_um")


class Settle(Table):
    """Change from the moment of making on; the whole of it, of which the ages take their part."""

    step: Literal["settle"]
    mean: Micro = Field(alias="mean_um")
    sd: Spread = Field(default=0.0, alias="sd_um")
    common_sd: Spread = Field(default=0.0, alias="common_sd_um")
    time: Annotated[float, Field(gt=0.0)] = Field(alias="time_h")
    exponent: Annotated[float, Field(gt=0.0, le=1.0)] = 0.6
    law: Literal["kohlrausch", "log-time"] = "kohlrausch"


class Move(Table):
    """What if: the process with its mean shifted and its spread about that mean scaled."""

    step: Literal["move"]
    shift: Micro = Field(default=0.0, alias="shift_um")
    spread_factor: Annotated[float, Field(ge=0.0, le=100.0)] = 1.0


Step = Annotated[Machine | Mix | Readings | Settle | Move, Field(discriminator="step")]
