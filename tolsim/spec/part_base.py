"""What all parts share."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tolsim.spec.quantities import Table, Text
from tolsim.spec.stated import Constants

__all__ = ["Part"]


class Part(Table):
    """What all parts share."""

    title: Text
    basis: Literal["measured", "drawing", "assumed"]
    source: Text | None = None
    note: Annotated[str, Field(max_length=2000)] | None = None
    price_each: Annotated[float, Field(ge=0.0, le=1e12)] | None = None
    #: What stands in for remembered constants where this part is built in.
    constant: Constants = ()
