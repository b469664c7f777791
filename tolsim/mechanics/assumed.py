"""A constant of the physics that is remembered, disputed or weak, with its range and basis."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Assumed"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Assumed:
    """A constant with the range in which it may lie; ``low <= value <= high``.

    `least` and `most` bound what anybody may state in its place; `stated_by` names the study or
    the part that does, None for what is remembered here.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    basis: str
    least: float = 0.0
    most: float = math.inf
    stated_by: str | None = None

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.name}: need low <= value <= high, got {self}")
        if not self.least <= self.low <= self.high <= self.most:
            raise ValueError(f"{self.name}: need least <= low and high <= most, got {self}")
