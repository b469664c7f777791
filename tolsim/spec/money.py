"""Money in a study: what claims, scrap and assembly cost."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.quantities import Band, Share, Table, Text

__all__ = ["Costs", "Kind"]

Kind = Literal["pressed", "sleeved", "bonded", "threaded"]
Units = Annotated[float, Field(ge=1.0, le=1e12)]


def _from_zero(ends: tuple[float, float]) -> tuple[float, float]:
    if ends[0] < 0.0:
        raise PydanticCustomError("negative", "money is not negative", {"allowed": "0 and above"})
    if ends[1] > 1e12:
        raise PydanticCustomError("money", "too much money", {"allowed": "at most 1e12"})
    return ends


def _shares(ends: tuple[float, float]) -> tuple[float, float]:
    if ends[0] < 0.0 or ends[1] > 1.0:
        raise PydanticCustomError("share", "shares lie between 0 and 1", {"allowed": "0 to 1"})
    return ends


Money = Annotated[float, Field(ge=0.0, le=1e12)]
MoneyRange = Annotated[Band, AfterValidator(_from_zero)]
ShareRange = Annotated[Band, AfterValidator(_shares)]


class Costs(Table):
    """Money, for design and comparison; a claim is made on a unit that fails.

    Ranges are what a share or a cost may be; the value itself is the most likely, or the middle
    of its range where only the range is known.
    """

    currency: Text = "EUR"
    units_per_year: Units | None = None
    creak_claim_share: Share | None = None
    creak_claim_share_range: ShareRange | None = None
    creak_claim_cost: Money | None = None
    creak_claim_cost_range: MoneyRange | None = None
    tight_claim_share: Share | None = None
    tight_claim_share_range: ShareRange | None = None
    tight_claim_cost: Money | None = None
    tight_claim_cost_range: MoneyRange | None = None
    scrap_cost: Money | None = None
    assembly: dict[Kind, Money] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _values_in_ranges(self) -> Costs:
        for mode in ("creak", "tight"):
            self._in_range(f"{mode}_claim_share")
            self._in_range(f"{mode}_claim_cost")
        return self

    def likeliest(self, name: str) -> float | None:
        """A share or a cost: its value, or the middle of its range; None where neither is known.

        >>> Costs(creak_claim_cost_range=(40.0, 60.0)).likeliest("creak_claim_cost")
        50.0
        """
        value, ends = getattr(self, name), getattr(self, f"{name}_range")
        if value is None and ends is not None:
            value = 0.5 * (ends[0] + ends[1])
        return None if value is None else float(value)

    def _in_range(self, name: str) -> None:
        value, ends = getattr(self, name), getattr(self, f"{name}_range")
        if value is not None and ends is not None and not ends[0] <= value <= ends[1]:
            raise PydanticCustomError(
                "range",
                f"{name} = {value:g} lies outside {name}_range",
                {"allowed": f"{ends[0]:g} to {ends[1]:g}"},
            )
