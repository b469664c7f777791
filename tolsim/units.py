"""The only unit factors of the project: from the suffix of a key to mm, N, MPa, °C, rad, h."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["SUFFIXES", "Unit", "convert", "split_suffix", "suffixes_of"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Unit:
    """A unit that a key may carry: its suffix, its dimension and the factor to the inner unit."""

    suffix: str
    dimension: str
    factor: float


# The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
SUFFIXES: dict[str, Unit] = {
    u.suffix: u
    for u in (
        Unit(suffix="mm", dimension="length", factor=1.0),
        Unit(suffix="um", dimension="length", factor=1e-3),
        Unit(suffix="in", dimension="length", factor=25.4),
        Unit(suffix="thou", dimension="length", factor=0.0254),
        Unit(suffix="N", dimension="force", factor=1.0),
        Unit(suffix="Nm", dimension="torque", factor=1e3),
        Unit(suffix="MPa", dimension="stress", factor=1.0),
        Unit(suffix="GPa", dimension="stress", factor=1e3),
        Unit(suffix="deg", dimension="angle", factor=math.pi / 180.0),
        Unit(suffix="mrad", dimension="angle", factor=1e-3),
        Unit(suffix="arcmin", dimension="angle", factor=math.pi / 10800.0),
        Unit(suffix="C", dimension="temperature", factor=1.0),
        Unit(suffix="K", dimension="temperature difference", factor=1.0),
        Unit(suffix="h", dimension="time", factor=1.0),
        Unit(suffix="per_K", dimension="expansion", factor=1.0),
        Unit(suffix="um_per_m_K", dimension="expansion", factor=1e-6),
    )
}


def suffixes_of(dimension: str) -> tuple[str, ...]:
    """Suffixes that a key of this dimension may carry, in the order of the table."""
    return tuple(u.suffix for u in SUFFIXES.values() if u.dimension == dimension)


def split_suffix(key: str) -> tuple[str, Unit | None]:
    """Split a key into its stem and its unit; None where it carries no known suffix.

    >>> split_suffix("outside_diameter_mm")[1].dimension
    'length'
    >>> split_suffix("title")
    ('title', None)
    """
    for suffix in sorted(SUFFIXES, key=len, reverse=True):
        if key.endswith(f"_{suffix}"):
            return key[: -len(suffix) - 1], SUFFIXES[suffix]
    return key, None


def convert(value: float, unit: str, to: str) -> float:
    """Convert a number between two units of one dimension.

    >>> convert(1.0, "in", "mm")
    25.4
    """
    a, b = SUFFIXES[unit], SUFFIXES[to]
    if a.dimension != b.dimension:
        raise ValueError(f"{unit} is a {a.dimension}, {to} a {b.dimension}")
    return value * (a.factor / b.factor)
