"""What a study or a part states in place of a constant that is remembered otherwise."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.spec.quantities import Band, Table, Text

__all__ = ["Constants", "StatedConstant", "StatedFriction"]


class _Stated(Table):
    """A number, the range in which it may lie, and where both come from.

    Without a range the number is taken as known.
    """

    value: float
    ends: Band | None = Field(default=None, alias="range")
    source: Text

    @model_validator(mode="after")
    def _within(self) -> _Stated:
        if self.ends is not None and not self.ends[0] <= self.value <= self.ends[1]:
            raise PydanticCustomError(
                "range",
                f"value = {self.value:g} lies outside its own range",
                {"allowed": f"{self.ends[0]:g} to {self.ends[1]:g}"},
            )
        return self

    @property
    def low(self) -> float:
        """Lower end of the range, the value itself where there is none."""
        return self.value if self.ends is None else self.ends[0]

    @property
    def high(self) -> float:
        """Upper end of the range, the value itself where there is none."""
        return self.value if self.ends is None else self.ends[1]

    def bounded(self, least: float, most: float, what: str) -> None:
        """Refuse ends that the constant cannot have."""
        if not least <= self.low <= self.high <= most:
            raise PydanticCustomError(
                "range",
                f"{what} cannot be {self.low:g}"
                + ("" if self.ends is None else f" to {self.high:g}"),
                {"allowed": f"at least {least:g}" + (f", at most {most:g}" if most < 1e9 else "")},
            )


class StatedFriction(_Stated):
    """Friction at press-in of what is pressed into, or with, the part that states it."""

    @model_validator(mode="after")
    def _sensible(self) -> StatedFriction:
        self.bounded(0.001, 2.0, "friction")
        return self


def _known(name: str) -> str:
    if name not in ASSUMED:
        raise PydanticCustomError(
            "literal_error", "unknown constant", {"expected": ", ".join(sorted(ASSUMED))}
        )
    return name


class StatedConstant(_Stated):
    """A constant by the name under which pages tell it, in the unit in which they tell it."""

    name: Annotated[Text, AfterValidator(_known)]
    unit: Text = "1"

    @model_validator(mode="after")
    def _in_its_unit(self) -> StatedConstant:
        known = ASSUMED[self.name]
        if self.unit != known.unit:
            raise PydanticCustomError(
                "unit",
                f"{self.name} is told in another unit",
                {"allowed": f'unit = "{known.unit}"'},
            )
        self.bounded(known.least, known.most, self.name)
        return self


def _once(constants: tuple[StatedConstant, ...]) -> tuple[StatedConstant, ...]:
    names = [c.name for c in constants]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise PydanticCustomError(
            "twice", f"{' and '.join(twice)} stated twice", {"allowed": "each constant once"}
        )
    return constants


Constants = Annotated[
    tuple[StatedConstant, ...], Field(strict=False, max_length=60), AfterValidator(_once)
]
