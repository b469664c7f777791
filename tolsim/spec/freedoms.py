"""Sizes and scatters that a band of design may set, by their paths: ``bore.diameter``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tolsim.spec.parts import Feature, Part
from tolsim.spec.quantities import Distribution, Table
from tolsim.units import split_suffix

__all__ = ["Freeable", "freeable", "value_at"]

_NOT_MADE = ("state", "material")  # tables whose numbers no process makes


@dataclass(frozen=True, kw_only=True, slots=True)
class Freeable:
    """Something that a band may set: a size about a nominal, or a scatter about nothing.

    `unit` is the suffix in which its width is written: "um" or "deg".
    """

    path: str
    is_size: bool
    unit: str


def value_at(parts: Mapping[str, Part], path: str) -> Feature | Distribution | None:
    """The size or scatter at a path such as ``bore.alignment.tilt``; None where there is none."""
    role, _, rest = path.partition(".")
    node: object = parts.get(role)
    for name in rest.split("."):
        node = getattr(node, name, None)
    return node if isinstance(node, Feature | Distribution) else None


def freeable(kind: str, parts: Mapping[str, Part]) -> dict[str, Freeable]:
    """Everything that a band may set in a joint of this kind from these parts, by its path."""
    out: dict[str, Freeable] = {}
    for role, part in parts.items():
        _collect(part, f"{role}.", out)
    if kind == "threaded":  # the crest of a thread sizes no fit
        out.pop("bore.diameter", None)
    return out


def _collect(table: Table, prefix: str, out: dict[str, Freeable]) -> None:
    for name, field in type(table).model_fields.items():
        value, path = getattr(table, name), f"{prefix}{name}"
        if isinstance(value, Feature):
            out[path] = Freeable(path=path, is_size=True, unit="um")
        elif isinstance(value, Distribution):
            unit = split_suffix(field.alias or name)[1]
            if value.shape != "fixed" and unit is not None and unit.suffix in ("um", "deg"):
                out[path] = Freeable(path=path, is_size=False, unit=unit.suffix)
        elif isinstance(value, Table) and name not in _NOT_MADE:
            _collect(value, f"{path}.", out)
