"""The freedom that design has, as written in ``[[choose]]``."""

from __future__ import annotations

import itertools
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.quantities import Band, Table, Text, scaled

__all__ = ["BandCost", "Choose", "MachineChoice"]

Money = Annotated[float, Field(ge=0.0, le=1e12)]
Texts = Annotated[tuple[Text, ...], Field(strict=False, min_length=1, max_length=50)]
Capability = Annotated[float, Field(gt=0.0, le=10.0)]
Width = Annotated[Band, scaled("um")]
Angle = Annotated[Band, scaled("deg")]
Point = Annotated[tuple[float, float], Field(strict=False)]


def _above_zero(ends: tuple[float, float]) -> tuple[float, float]:
    if ends[0] <= 0.0:
        raise PydanticCustomError("width", "a width is above 0", {"allowed": "[least, most] > 0"})
    return ends


class BandCost(Table):
    """What a band costs a unit, in the study's currency.

    ``fixed + per_width / width^power`` with the width in µm (or degrees), or a table: ``at`` holds
    [width, cost] pairs, ``classes`` the cost of classes by name.
    """

    fixed: Money = 0.0
    per_width: Money = 0.0
    power: Annotated[float, Field(gt=0.0, le=10.0)] = 1.0
    at: Annotated[tuple[Point, ...], Field(strict=False, min_length=2, max_length=50)] | None = None
    classes: dict[str, Money] | None = None

    @model_validator(mode="after")
    def _table(self) -> BandCost:
        if self.at is None:
            return self
        widths, costs = [p[0] for p in self.at], [p[1] for p in self.at]
        if min(widths) <= 0.0 or any(b <= a for a, b in itertools.pairwise(widths)):
            raise PydanticCustomError(
                "at",
                "widths of a table of costs are above 0 and rise",
                {"allowed": "[[10, 2.4], [16, 1.9]]"},
            )
        if min(costs) < 0.0 or any(b > a for a, b in itertools.pairwise(costs)):
            raise PydanticCustomError(
                "at",
                "a wider band costs no more than a narrower one",
                {"allowed": "costs that fall"},
            )
        if self.per_width or self.fixed:
            raise PydanticCustomError(
                "at", "a table and a formula both give the cost", {"allowed": "at, or per_width"}
            )
        return self


class MachineChoice(Table):
    """One of several ways to make a feature, with the widths it can hold and what they cost."""

    name: Text
    width: Annotated[Width, AfterValidator(_above_zero)] | None = Field(
        default=None, alias="width_um"
    )
    width_angle: Annotated[Angle, AfterValidator(_above_zero)] | None = Field(
        default=None, alias="width_deg"
    )
    capability: Capability | None = None
    capability_basis: Text | None = None
    cost: BandCost | None = None


class Choose(Table):
    """A freedom that design has: a band, one of several parts, or one of several joints.

    `feature` is a path such as ``bore.diameter`` (a size: centre and width of its band, or one of
    its `classes`) or ``bore.alignment.tilt`` (a scatter: the width of its zone, from its 0.135 to
    its 99.865 % point at a capability of 1). `process` lists ways to make it. `part` is a role
    with the options that may fill it. `alternatives` names ``[[alternative]]`` tables, of which
    one or none is taken.
    """

    feature: Text | None = None
    part: Literal["bore", "bearing", "sleeve", "adhesive"] | None = None
    options: Texts | None = None
    alternatives: Texts | None = None
    classes: Texts | None = None
    centre: Width | None = Field(default=None, alias="centre_um")
    width: Annotated[Width, AfterValidator(_above_zero)] | None = Field(
        default=None, alias="width_um"
    )
    width_angle: Annotated[Angle, AfterValidator(_above_zero)] | None = Field(
        default=None, alias="width_deg"
    )
    follows: Literal["process", "gauge"] = "process"
    capability: Capability | None = None
    capability_basis: Text | None = None
    repeatability: Annotated[float, Field(ge=0.0), scaled("um")] = Field(
        default=0.0, alias="repeatability_um"
    )
    cost: BandCost | None = None
    process: Annotated[tuple[MachineChoice, ...], Field(strict=False, max_length=20)] = ()

    @model_validator(mode="after")
    def _one_kind(self) -> Choose:
        given = [k for k in ("feature", "part", "alternatives") if getattr(self, k) is not None]
        if len(given) != 1:
            raise PydanticCustomError(
                "choose",
                "a choice names a feature, a part or alternatives",
                {"allowed": "one of feature, part, alternatives"},
            )
        if self.part is not None and self.options is None:
            raise PydanticCustomError(
                "choose", "a choice of parts needs its options", {"allowed": "options = [...]"}
            )
        if self.feature is not None and not self._has_width():
            raise PydanticCustomError(
                "choose",
                "a band that is free needs the range of its width",
                {"allowed": "width_um = [least, most], width_deg, or classes"},
            )
        if self.classes is not None and (self.centre or self.width or self.width_angle):
            raise PydanticCustomError(
                "choose", "classes fix the limits of a band", {"allowed": "classes, or width_um"}
            )
        return self

    def _has_width(self) -> bool:
        if self.classes is not None or self.width is not None or self.width_angle is not None:
            return True
        return bool(self.process) and all(
            p.width is not None or p.width_angle is not None for p in self.process
        )
