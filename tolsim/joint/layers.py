"""Layers of each kind of joint, and the interferences that hold them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tolsim.joint.assumed import Assumptions
from tolsim.joint.latent import Rows
from tolsim.joint.materials import material_of
from tolsim.joint.seat_model import REFERENCE, Ring, Seat, SeatInputs
from tolsim.joint.service import with_service
from tolsim.mechanics.bond import GAP_KNOTS, gap_factor
from tolsim.mechanics.interference import effective
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Layer, Stack
from tolsim.mechanics.spread import sleeve_factor
from tolsim.mechanics.validity import sleeve_warnings
from tolsim.mechanics.width import eta, validity
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.parts import Bore
from tolsim.spec.study import StudySpec

__all__ = ["build_seat"]


# variants of one study ask for the same sections again and again, and each asks for a beam solved
_sleeve_factor = lru_cache(maxsize=128)(sleeve_factor)


def build_seat(spec: StudySpec, stratum: Stratum, assumptions: Assumptions) -> Seat:
    """Constants of a seat of the joint's kind.

    Raises
    ------
    ValueError
        If the parts cannot be stacked.
    """
    kind = spec.joint.kind
    smoothing = _smoothing(spec, stratum, assumptions)
    if kind == "pressed":
        seat = _pressed(stratum, smoothing, assumptions)
    elif kind == "bonded":
        seat = _bonded(spec, stratum, smoothing, assumptions)
    else:
        seat = _sleeved(stratum, smoothing, assumptions, screwed=kind == "threaded")
    return with_service(seat, spec, stratum, assumptions)


def _smoothing(spec: StudySpec, stratum: Stratum, assumptions: Assumptions) -> float:
    """Smoothing factor; an assumption only where some surface is rough."""
    if spec.joint.smoothing_factor is not None:
        return spec.joint.smoothing_factor
    sleeve = stratum.sleeve
    rough = [stratum.bore.roughness_rz, stratum.bearing.roughness_rz]
    if sleeve is not None:
        rough += [sleeve.roughness_rz, sleeve.outside_roughness_rz]
    return assumptions.value("smoothing-factor") if any(rough) else 0.0


def _shell_factor(
    width: float,
    inner: float,
    outer: float,
    shell: Material,
    edge_distance: float,
    assumptions: Assumptions,
) -> float:
    """Factor of finite width; a composite's plies shear, by how much is an assumption."""
    factor = eta(width, inner, outer, shell, edge_distance)
    if shell.family != "cfrp":
        return factor
    return min(1.0, factor * assumptions.value("interlaminar-compliance"))


def _width_warnings(
    width: float, inner: float, outer: float, shell: Material, bore: Bore
) -> tuple[str, ...]:
    # the shell reaches from seat to seat at least
    length = bore.edge_distance + bore.span + width
    return validity(width, inner, outer, shell, bore.edge_distance, length)


def _pressed(stratum: Stratum, smoothing: float, assumptions: Assumptions) -> Seat:
    bore, bearing = stratum.bore, stratum.bearing
    assert bore.diameter.nominal is not None
    ring = Ring.of(bearing)
    shell = assumptions.with_axial_modulus(material_of(bore.material))
    width = min(ring.width, bore.seat_width)
    inner, outer = 0.5 * ring.outside, 0.5 * bore.outside_diameter
    factor = _shell_factor(width, inner, outer, shell, bore.edge_distance, assumptions)
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
        warnings=_width_warnings(width, inner, outer, shell, bore),
    )


def _sleeved(
    stratum: Stratum, smoothing: float, assumptions: Assumptions, *, screwed: bool
) -> Seat:
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
    outer, shell = (
        0.5 * bore.outside_diameter,
        assumptions.with_axial_modulus(material_of(bore.material)),
    )
    sleeve_material = assumptions.with_axial_modulus(material_of(sleeve.material))
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
        factor = _shell_factor(seat_width, middle, outer, shell, bore.edge_distance, assumptions)
        layers.append(
            Layer(inner_radius=middle, outer_radius=outer, material=shell, width_factor=factor)
        )
        narrow = _sleeve_factor(
            tuple(layers[1:]),
            ring_width=width,
            sleeve_length=max(width, seat_width),
            edge_distance=bore.edge_distance,
        )
        layers[1] = Layer(
            inner_radius=inner, outer_radius=middle, material=sleeve_material, width_factor=narrow
        )
        warnings += _width_warnings(seat_width, middle, outer, shell, bore)
    stack = Stack(tuple(layers), (False,) * (len(layers) - 1))
    step = ring.outside - sleeve.inside.nominal
    rz = (bearing.roughness_rz, sleeve.roughness_rz)
    outer_step = sleeve.outer_diameter - bore.diameter.nominal
    outer_rz = (sleeve.outside_roughness_rz, bore.roughness_rz)

    def fit(z: Rows, at: SeatInputs) -> Array:
        assert at.inside is not None
        return effective(at.ring(z) - at.inside(z) + step, *rz, smoothing)

    def pressed(z: Rows, at: SeatInputs) -> Array:
        assert at.outside is not None
        return effective(at.outside(z) - at.bore(z) + outer_step, *outer_rz, smoothing)

    def both(z: Rows, at: SeatInputs) -> list[Array]:
        held = fit(z, at)
        if screwed:
            return [held]
        if sleeve.gauged == "after":
            # back to the free bore: the sleeve's own fit has closed it at the gauge
            then = pressed(z, at.made or at)
            held = held + stack.receiving(0).solve([then], 0.0).displacement(0, "inner") * 2.0
        return [held, pressed(z, at)]

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


def _bonded(spec: StudySpec, stratum: Stratum, smoothing: float, assumptions: Assumptions) -> Seat:
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
    shell = assumptions.with_axial_modulus(material_of(bore.material))
    metal = assumptions.with_axial_modulus(material_of(sleeve.material))
    body = [
        Layer(inner_radius=inner, outer_radius=glued, material=metal),
        Layer(inner_radius=glued, outer_radius=middle, material=material_of(adhesive.material)),
        Layer(
            inner_radius=middle,
            outer_radius=outer,
            material=shell,
            width_factor=_shell_factor(
                seat_width, middle, outer, shell, bore.edge_distance, assumptions
            ),
        ),
    ]
    coupled, sliding = (
        _sleeve_factor(
            tuple(body),
            ring_width=width,
            sleeve_length=max(width, seat_width),
            edge_distance=bore.edge_distance,
            bonded=bonded,
        )
        for bonded in (True, False)
    )
    coupling = assumptions.value("bond-coupling") if coupled != sliding else 1.0
    narrow = sliding + coupling * (coupled - sliding)
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

    def moved(z: Rows, at: SeatInputs) -> list[Array]:
        """What sleeve and shell have settled since they were glued, pressed into the bond."""
        made = at.made
        if made is None or made.outside is None or at.outside is None:
            return [0.0, 0.0]
        return [
            0.0 if at.outside is made.outside else at.outside(z) - made.outside(z),
            0.0 if at.bore is made.bore else made.bore(z) - at.bore(z),
        ]

    knots = adhesive.strength_at_gap
    shear = spec.limits.bond is not None and spec.limits.bond.shear
    loss = assumptions.value("bond-gap-loss") if knots is None and shear else 1.0
    table = GAP_KNOTS if knots is None else tuple((1e-3 * g, f) for g, f in knots)
    return Seat(
        ring=ring,
        stack=stack,
        width=width,
        sleeve_diameter=sleeve.outer_diameter,
        sleeve_width=seat_width,
        interferences=lambda z, at: [fit(z, at) + closed, *moved(z, at)],
        gap=gap,
        gap_factor=gap_factor(table, loss),
        sleeve_interface=None,
        bonded=1,
        stressed=(1, 3),
        warnings=sleeve_warnings(ring.width, sleeve.length)
        + _width_warnings(seat_width, middle, outer, shell, bore),
    )


def _middle(band: tuple[float, float] | None) -> float:
    return 0.0 if band is None else float(np.mean(band))
