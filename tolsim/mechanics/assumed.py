"""A constant of the physics that is remembered, disputed or weak, with its range and basis."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Assumed"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Assumed:
    """A constant with the range in which it may lie; ``low <= value <= high``."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    basis: str

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.name}: need low <= value <= high, got {self}")
