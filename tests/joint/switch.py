"""What one mechanism of a shipped study does to a margin: on, off, and what theory says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.shipped import FloatArray, Units

__all__ = ["Case", "Formula", "Keys"]

Keys = Mapping[str, Any]
Formula = Callable[[Units], FloatArray | float]


@dataclass(frozen=True, kw_only=True)
class Case:
    """A mechanism on and off, the margin that feels it, and what theory says of both.

    `change` is the margin switched on less that switched off, `plain` the margin without the
    mechanism; both of every unit.
    """

    study: str
    on: Keys
    off: Keys
    cause: str
    change: Formula
    plain: Formula
    source: str
    temperature: float | None = 20.0
    both: Keys = field(default_factory=dict)
    #: Relative error of the formula itself; 0 where it is exact.
    error: float = 0.0
