"""Constants of the physics in one run: their values, and which of them the run really used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from tolsim.mechanics.assumptions import ASSUMED, Assumed
from tolsim.mechanics.materials import Material
from tolsim.spec.quantities import Distribution

__all__ = ["Assumptions"]


class Assumptions:
    """Where the joint gets constants that no key of its own states.

    Each is remembered, or stated by the study or a part under ``[[constant]]``. `overrides` sets
    some of them to other values, for a rerun at the end of a range, by the name under which they
    are told. Whoever asks for a constant thereby says that the answer depends on it.
    """

    def __init__(self, overrides: Mapping[str, float] | None = None) -> None:
        self.overrides = dict(overrides or {})
        self._used: dict[str, Assumed] = {}
        self._stated: Mapping[str, Assumed] = {}
        self._asked: set[str] = set()
        # what a part states is told with the part's name behind it
        heads = [name.partition(" (") for name in self.overrides]
        unknown = [h for h, _, part in heads if h not in ASSUMED and not (part and h == "friction")]
        if unknown:
            raise ValueError(f"no such assumption: {', '.join(unknown)}")

    def of(self, stated: Mapping[str, Assumed]) -> Assumptions:
        """The same run for parts that state some constants, by the names they stand in for."""
        own = Assumptions(self.overrides)
        own._used, own._stated = self._used, stated
        return own

    @property
    def used(self) -> tuple[Assumed, ...]:
        """Constants with a range, or remembered, that were asked for, in order."""
        return tuple(a for a in self._used.values() if a.stated_by is None or a.low < a.high)

    @property
    def stated(self) -> tuple[Assumed, ...]:
        """Constants that were asked for and that a study or a part states, in order."""
        return tuple(a for a in self._used.values() if a.stated_by is not None)

    @property
    def idle(self) -> tuple[Assumed, ...]:
        """Constants that are stated here and that nothing asked for."""
        return tuple(a for name, a in self._stated.items() if name not in self._asked)

    def _known(self, name: str) -> Assumed:
        self._asked.add(name)
        known = self._stated.get(name)
        known = ASSUMED[name] if known is None else known
        return self._used.setdefault(known.name, known)

    def value(self, name: str) -> float:
        """The constant's value in this run."""
        known = self._known(name)
        return self.overrides.get(known.name, known.value)

    def spread(self, name: str) -> Distribution:
        """The constant spread over its range, its value the most likely; fixed where overridden."""
        return self.spread_of(self._known(name))

    def spread_of(self, known: Assumed) -> Distribution:
        """The same of a constant that a part brings along."""
        self._used.setdefault(known.name, known)
        if known.name in self.overrides or known.low == known.high:
            value = self.overrides.get(known.name, known.value)
            return Distribution(shape="fixed", value=value)
        return Distribution(shape="triangular", low=known.low, mode=known.value, high=known.high)

    def with_axial_modulus(self, material: Material) -> Material:
        """The material with an axial modulus, where an orthotropic one does not state it."""
        if material.E_axial is not None or material.E_radial == material.E_hoop:
            return material
        return replace(material, E_axial=material.E_hoop * self.value("axial-modulus-ratio"))
