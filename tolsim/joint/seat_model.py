"""What one seat is made of, and what varies in it: records that the builders fill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tolsim.joint.latent import Rows, Source
from tolsim.joint.materials import material_of
from tolsim.mechanics import clearance as internal
from tolsim.mechanics.lobes import Lobes
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Contact, Layer, Stack
from tolsim.record import Array
from tolsim.spec.parts import Bearing

__all__ = ["REFERENCE", "BondInputs", "Ring", "Seat", "SeatInputs"]

#: Reference temperature of sizes [°C] (ISO 1).
REFERENCE = 20.0


@dataclass(frozen=True, kw_only=True, slots=True)
class BondInputs:
    """What varies in a bond from unit to unit."""

    strength: Source
    peel_strength: Source
    wetted: Source
    loss_per_kelvin: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class SeatInputs:
    """What varies from unit to unit at one seat; every field maps rows to (n,).

    Sizes are deviations from nominal [mm] at assembly; the load is [N].
    """

    bore: Source
    ring: Source
    clearance: Source
    inner_fit: Source | None
    load: Source | None
    friction: Source
    inside: Source | None = None
    outside: Source | None = None
    sleeve_friction: Source | None = None
    bond: BondInputs | None = None
    lobes: tuple[Source, ...] = ()
    taper: Source | None = None
    #: At the end of life: what it was when the joint was made.
    made: SeatInputs | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Ring:
    """Section of the bearing's rings, as constants [mm]."""

    outside: float
    raceway: float
    inner_raceway: float
    bore: float
    width: float
    ball: float
    pitch: float
    groove: float
    material: Material
    static_rating: float | None = None

    @classmethod
    def of(cls, bearing: Bearing) -> Ring:
        """Handbook estimates stand in for what the bearing's file does not say."""
        d, outside = bearing.bore, bearing.outside_diameter
        return cls(
            outside=outside,
            raceway=bearing.raceway_diameter or internal.raceway_outer(d, outside),
            inner_raceway=internal.raceway_inner(d, outside),
            bore=d,
            width=bearing.width,
            ball=bearing.ball_diameter or 0.3 * (outside - d),
            pitch=0.5 * (d + outside),
            groove=bearing.groove_ratio,
            material=material_of(bearing.material),
            static_rating=bearing.static_rating,
        )

    def layer(self) -> Layer:
        """The outer ring as a constant wall between its raceway and its outside."""
        return Layer(
            inner_radius=0.5 * self.raceway,
            outer_radius=0.5 * self.outside,
            material=self.material,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Seat:
    """Constants of one seat: its layers, and how sizes become interferences.

    `interferences` maps rows to one diametral interference an interface [mm]; `bearing_fit` to
    the effective interference of the ring as gauged. `sleeve_interface` is the one between sleeve
    and shell where it can open, `bonded` the first of the two bonded ones, None where there are
    none. `stressed` are the layers whose hoop stress is judged.
    """

    ring: Ring
    stack: Stack
    width: float
    sleeve_diameter: float
    sleeve_width: float
    interferences: Callable[[Rows, SeatInputs], list[Array]]
    gap: Callable[[Rows, SeatInputs], Array] | None
    gap_factor: Callable[[Array], Array]
    sleeve_interface: int | None
    bonded: int | None
    stressed: tuple[int, ...]
    warnings: tuple[str, ...]
    #: The stack at the end of life, its viscous layers relaxed; the stack itself otherwise.
    aged: Stack | None = None
    #: Free radial growth of each layer's surfaces by moisture at the end of life [mm].
    growth: tuple[tuple[float, float], ...] | None = None
    #: Clearance that a warmer inner ring takes [mm].
    warm_loss: float = 0.0
    #: Interference at the ring's seat that a bearing warmer than its surroundings loses [mm].
    warm_creep: float = 0.0
    #: Pressure per lobe; one entry a form error that reaches the ring.
    lobes: tuple[Lobes, ...] = ()

    def contact(
        self, interferences: list[Array], temperature: float, *, late: bool = False
    ) -> Contact:
        """Contact of all layers at a temperature [°C], when new or at the end of life."""
        if late and self.aged is not None:
            return self.aged.solve(interferences, temperature - REFERENCE, growth=self.growth)
        return self.stack.solve(interferences, temperature - REFERENCE)

    def operating_clearance(self, z: Rows, at: SeatInputs, contact: Contact) -> Array:
        """Radial clearance left in the mounted bearing, rows (n,) [mm]."""
        left = at.clearance(z) + contact.mechanical(0, "inner") * 2.0 - self.warm_loss
        if at.inner_fit is not None:
            left = left - internal.inner_ring_expansion(
                at.inner_fit(z), self.ring.bore, self.ring.inner_raceway
            )
        return left

    def free_tilt(self, clearance: Array) -> Array:
        """Tilt that the operating clearance leaves free, rows (n,) [rad]."""
        r = self.ring
        return internal.free_tilt(clearance, r.ball, r.pitch, r.groove, r.groove)

    def hoop_stress(self, contact: Contact, layer: int) -> Array:
        """Hoop stress at the bore of a layer [MPa], going on below contact with the gap."""
        stress = contact.hoop_stress(layer, "inner")
        interface = layer - 1
        if self.bonded is not None and interface >= self.bonded:
            return stress
        part, numbers = contact.stack.layers[layer], contact.stack.numbers[layer]
        slope = part.material.E_hoop * numbers.c11 / part.inner_radius - part.material.poisson
        below = contact.signed_pressure(interface) - contact.pressures[interface]
        return stress + below * slope
