"""Layers of each kind of joint, and the interferences that hold them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tolsim.joint.latent import Rows, Source
from tolsim.joint.materials import material_of
from tolsim.mechanics import clearance as internal
from tolsim.mechanics.bond import GAP_KNOTS, gap_factor
from tolsim.mechanics.interference import effective
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Contact, Layer, Stack
from tolsim.mechanics.spread import sleeve_factor
from tolsim.mechanics.validity import sleeve_warnings
from tolsim.mechanics.width import eta, validity
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.parts import Bearing

__all__ = ["REFERENCE", "Ring", "Seat", "SeatInputs", "build_seat"]

#: Reference temperature of sizes [°C] (ISO 1).
REFERENCE = 20.0


@dataclass(frozen=True, kw_only=True, slots=True)
class BondInputs:
    """What varies in a bond from unit to unit."""

    strength: Source
    peel_strength: Source
    wetted: Source


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

    def contact(self, interferences: list[Array], temperature: float) -> Contact:
        """Contact of all layers at a temperature [°C]."""
        return self.stack.solve(interferences, temperature - REFERENCE)

    def operating_clearance(self, z: Rows, at: SeatInputs, contact: Contact) -> Array:
        """Radial clearance left in the mounted bearing, rows (n,) [mm]."""
        left = at.clearance(z) + contact.mechanical(0, "inner") * 2.0
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
        part, numbers = self.stack.layers[layer], self.stack.numbers[layer]
        slope = part.material.E_hoop * numbers.c11 / part.inner_radius - part.material.poisson
        below = contact.signed_pressure(interface) - contact.pressures[interface]
        return stress + below * slope


def build_seat(kind: str, stratum: Stratum, smoothing: float) -> Seat:
    """Constants of a seat of the joint's kind.

    Raises
    ------
    ValueError
        If the parts cannot be stacked.
    """
    if kind == "pressed":
        return _pressed(stratum, smoothing)
    if kind == "bonded":
        return _bonded(stratum, smoothing)
    return _sleeved(stratum, smoothing, screwed=kind == "threaded")


def _pressed(stratum: Stratum, smoothing: float) -> Seat:
    bore, bearing = stratum.bore, stratum.bearing
    assert bore.diameter.nominal is not None
    ring = Ring.of(bearing)
    shell = material_of(bore.material)
    width = min(ring.width, bore.seat_width)
    inner, outer = 0.5 * ring.outside, 0.5 * bore.outside_diameter
    factor = eta(width, inner, outer, shell, bore.edge_distance)
    stack = Stack(
        (
            ring.layer(),
            Layer(inner_radius=inner, outer_radius=outer, material=shell, width_factor=factor),
        ),
        (False,),
    )
    step = ring.outside - bore.diameter.nominal
    rz = (bearing.roughness_rz, bore.roughness_rz)

    def fit(z: Rows, at: SeatInputs) -> Array:
        return effective(at.ring(z) - at.bore(z) + step, *rz, smoothing)

    return Seat(
        ring=ring,
        stack=stack,
        width=width,
        sleeve_diameter=ring.outside,
        sleeve_width=width,
        interferences=lambda z, at: [fit(z, at)],
        gap=None,
        gap_factor=gap_factor(),
        sleeve_interface=None,
        bonded=None,
        stressed=(1,),
        warnings=validity(width, inner, outer, shell, bore.edge_distance),
    )


def _sleeved(stratum: Stratum, smoothing: float, *, screwed: bool) -> Seat:
    """A sleeve pressed into the shell, or screwed in.

    Flanks with play hold a screwed sleeve axially, not radially: the ring is held by the sleeve
    alone, which errs towards loose.
    """
    bore, bearing, sleeve = stratum.bore, stratum.bearing, stratum.sleeve
    assert sleeve is not None
    assert bore.diameter.nominal is not None
    assert sleeve.inside.nominal is not None
    assert sleeve.outer_diameter is not None
    ring = Ring.of(bearing)
    width = min(ring.width, sleeve.length)
    seat_width = min(sleeve.length, bore.seat_width)
    contact_diameter = sleeve.outer_diameter if screwed else bore.diameter.nominal
    inner, middle = 0.5 * ring.outside, 0.5 * contact_diameter
    outer, shell = 0.5 * bore.outside_diameter, material_of(bore.material)
    sleeve_material = material_of(sleeve.material)
    warnings = sleeve_warnings(ring.width, sleeve.length)
    layers = [
        ring.layer(),
        Layer(inner_radius=inner, outer_radius=middle, material=sleeve_material),
    ]
    if screwed:
        factor = eta(width, inner, middle, sleeve_material, 0.0)
        layers[1] = Layer(
            inner_radius=inner, outer_radius=middle, material=sleeve_material, width_factor=factor
        )
    else:
        factor = eta(seat_width, middle, outer, shell, bore.edge_distance)
        layers.append(
            Layer(inner_radius=middle, outer_radius=outer, material=shell, width_factor=factor)
        )
        narrow = sleeve_factor(
            layers[1:],
            ring_width=width,
            sleeve_length=max(width, seat_width),
            edge_distance=bore.edge_distance,
        )
        layers[1] = Layer(
            inner_radius=inner, outer_radius=middle, material=sleeve_material, width_factor=narrow
        )
        warnings += validity(seat_width, middle, outer, shell, bore.edge_distance)
    stack = Stack(tuple(layers), (False,) * (len(layers) - 1))
    step = ring.outside - sleeve.inside.nominal
    rz = (bearing.roughness_rz, sleeve.roughness_rz)
    outer_step = sleeve.outer_diameter - bore.diameter.nominal
    outer_rz = (sleeve.outside_roughness_rz, bore.roughness_rz)

    def fit(z: Rows, at: SeatInputs) -> Array:
        assert at.inside is not None
        return effective(at.ring(z) - at.inside(z) + step, *rz, smoothing)

    def both(z: Rows, at: SeatInputs) -> list[Array]:
        held = fit(z, at)
        if screwed:
            return [held]
        assert at.outside is not None
        pressed = effective(at.outside(z) - at.bore(z) + outer_step, *outer_rz, smoothing)
        if sleeve.gauged == "after":
            # back to the free bore: the sleeve's own fit has closed it at the gauge
            closed = stack.receiving(0).solve([pressed], 0.0).displacement(0, "inner")
            held = held + closed * 2.0
        return [held, pressed]

    return Seat(
        ring=ring,
        stack=stack,
        width=width,
        sleeve_diameter=contact_diameter,
        sleeve_width=seat_width,
        interferences=both,
        gap=None,
        gap_factor=gap_factor(),
        sleeve_interface=None if screwed else 1,
        bonded=None,
        stressed=(1,) if screwed else (1, 2),
        warnings=warnings,
    )


def _bonded(stratum: Stratum, smoothing: float) -> Seat:
    bore, bearing = stratum.bore, stratum.bearing
    sleeve, adhesive = stratum.sleeve, stratum.adhesive
    assert sleeve is not None
    assert adhesive is not None
    assert sleeve.outside is not None
    assert bore.diameter.nominal is not None
    assert sleeve.inside.nominal is not None
    assert sleeve.outer_diameter is not None
    ring = Ring.of(bearing)
    width = min(ring.width, sleeve.length)
    seat_width = min(sleeve.length, bore.seat_width)
    outer_step = bore.diameter.nominal - sleeve.outer_diameter
    shift = _middle(bore.diameter.band) - _middle(sleeve.outside.band)
    line = max(outer_step + shift, 0.01)
    inner, glued = 0.5 * ring.outside, 0.5 * sleeve.outer_diameter
    middle, outer = glued + 0.5 * line, 0.5 * bore.outside_diameter
    shell, metal = material_of(bore.material), material_of(sleeve.material)
    body = [
        Layer(inner_radius=inner, outer_radius=glued, material=metal),
        Layer(inner_radius=glued, outer_radius=middle, material=material_of(adhesive.material)),
        Layer(
            inner_radius=middle,
            outer_radius=outer,
            material=shell,
            width_factor=eta(seat_width, middle, outer, shell, bore.edge_distance),
        ),
    ]
    narrow = sleeve_factor(
        body,
        ring_width=width,
        sleeve_length=max(width, seat_width),
        edge_distance=bore.edge_distance,
        bonded=True,
    )
    body[0] = Layer(inner_radius=inner, outer_radius=glued, material=metal, width_factor=narrow)
    cure = adhesive.cure_temperature - REFERENCE
    stack = Stack((ring.layer(), *body), (False, True, True), (0.0, cure, cure))
    step = ring.outside - sleeve.inside.nominal
    rz = (bearing.roughness_rz, sleeve.roughness_rz)
    closed = 0.0
    if sleeve.gauged == "after":
        closed = 2.0 * float(stack.receiving(0).solve([0.0, 0.0], 0.0).displacement(0, "inner"))

    def fit(z: Rows, at: SeatInputs) -> Array:
        assert at.inside is not None
        return effective(at.ring(z) - at.inside(z) + step, *rz, smoothing)

    def gap(z: Rows, at: SeatInputs) -> Array:
        assert at.outside is not None
        return at.bore(z) - at.outside(z) + outer_step

    knots = adhesive.strength_at_gap
    table = GAP_KNOTS if knots is None else tuple((1e-3 * g, f) for g, f in knots)
    return Seat(
        ring=ring,
        stack=stack,
        width=width,
        sleeve_diameter=sleeve.outer_diameter,
        sleeve_width=seat_width,
        interferences=lambda z, at: [fit(z, at) + closed, 0.0, 0.0],
        gap=gap,
        gap_factor=gap_factor(table) if knots is None else gap_factor(table, 1.0),
        sleeve_interface=None,
        bonded=1,
        stressed=(1, 3),
        warnings=sleeve_warnings(ring.width, sleeve.length)
        + validity(seat_width, middle, outer, shell, bore.edge_distance),
    )


def _middle(band: tuple[float, float] | None) -> float:
    return 0.0 if band is None else float(np.mean(band))
