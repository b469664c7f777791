"""Remembered constants of one run: their values, and which of them the run really used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from tolsim.mechanics.assumptions import ASSUMED, Assumed
from tolsim.mechanics.materials import Material
from tolsim.spec.quantities import Distribution

__all__ = ["Assumptions"]


class Assumptions:
    """Where the joint gets constants that a study does not state.

    `overrides` sets some of them to other values, for a rerun at the end of a range. Whoever asks
    for a constant thereby says that the answer depends on it.
    """

    def __init__(self, overrides: Mapping[str, float] | None = None) -> None:
        self.overrides = dict(overrides or {})
        self._used: dict[str, Assumed] = {}
        unknown = [name for name in self.overrides if name not in ASSUMED]
        if unknown:
            raise ValueError(f"no such assumption: {', '.join(unknown)}")

    @property
    def used(self) -> tuple[Assumed, ...]:
        """Constants that were asked for, in order, each with its range and basis."""
        return tuple(self._used.values())

    def value(self, name: str) -> float:
        """The constant's value in this run."""
        known = self._used.setdefault(name, ASSUMED[name])
        return self.overrides.get(name, known.value)

    def spread(self, name: str) -> Distribution:
        """The constant spread over its range, its value the most likely; fixed where overridden."""
        known = self._used.setdefault(name, ASSUMED[name])
        if name in self.overrides or known.low == known.high:
            return Distribution(shape="fixed", value=self.overrides.get(name, known.value))
        return Distribution(shape="triangular", low=known.low, mode=known.value, high=known.high)

    def with_axial_modulus(self, material: Material) -> Material:
        """The material with an axial modulus, where an orthotropic one does not state it."""
        if material.E_axial is not None or material.E_radial == material.E_hoop:
            return material
        return replace(material, E_axial=material.E_hoop * self.value("axial-modulus-ratio"))
