"""What service adds to a seat: warmth, age, moisture, removals, form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tolsim.joint.assumed import Assumptions
from tolsim.joint.formed import form_errors
from tolsim.joint.latent import Rows
from tolsim.joint.materials import aged_material, swelling
from tolsim.joint.seat_model import Seat, SeatInputs
from tolsim.mechanics.clearance import ring_temperature_loss
from tolsim.mechanics.form import tapered_interference
from tolsim.mechanics.interference import temperature_loss
from tolsim.mechanics.lobes import Lobes, layered_lobes
from tolsim.mechanics.rings import Stack
from tolsim.mechanics.service import after_removals
from tolsim.mechanics.settling import moisture_growth
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.parts import CustomMaterial
from tolsim.spec.study import StudySpec

__all__ = ["with_service"]

Fits = Callable[[Rows, SeatInputs], list[Array]]


def with_service(seat: Seat, spec: StudySpec, stratum: Stratum, assumptions: Assumptions) -> Seat:
    """The seat with everything that use and time add to it."""
    aged, growth = _aged(seat, spec, stratum, assumptions)
    return replace(
        seat,
        interferences=_fits(seat, spec, stratum, assumptions),
        warm_loss=_warm_loss(seat, spec, assumptions),
        warm_creep=_warm_creep(seat, spec, assumptions),
        aged=aged,
        growth=growth,
        lobes=_lobes(seat, spec, stratum),
    )


def _warm_loss(seat: Seat, spec: StudySpec, assumptions: Assumptions) -> float:
    tight, misaligned = spec.limits.tight, spec.limits.misaligned
    judged = (tight is not None and tight.clearance is not None) or (
        misaligned is not None and misaligned.free_tilt
    )
    if not judged:
        return 0.0
    warmer = spec.service.inner_ring_warmer
    if warmer is None:
        warmer = assumptions.value("rolling-temperature")
    return float(ring_temperature_loss(seat.ring.raceway, warmer))


def _warm_creep(seat: Seat, spec: StudySpec, assumptions: Assumptions) -> float:
    rise, loose = spec.service.bearing_warmer, spec.limits.loose
    if not rise or loose is None or not loose.creep:
        return 0.0
    constant = assumptions.value("ring-temperature")
    return float(temperature_loss(seat.ring.outside, rise, constant))


def _fits(seat: Seat, spec: StudySpec, stratum: Stratum, assumptions: Assumptions) -> Fits:
    """Interferences of a seat that was taken apart before, or whose bore is tapered."""
    plain = seat.interferences
    removals = spec.joint.removals
    read = stratum.readings.get("bore.diameter")
    tapered = stratum.bore.taper is not None or (read is not None and read.taper is not None)
    tapered = tapered and spec.joint.kind == "pressed"
    if not removals and not tapered:
        return plain
    kept = 1.0
    if removals:
        given = spec.joint.removal_retention
        kept = assumptions.value("removal-retention") if given is None else given

    def fits(z: Rows, at: SeatInputs) -> list[Array]:
        first, *rest = plain(z, at)
        if at.taper is not None:
            # below full clearance the margin goes on with the gap of the nearer edge
            taper = at.taper(z)
            first = tapered_interference(first, taper) + np.minimum(
                first + np.abs(taper) * 0.5, 0.0
            )
        if removals:
            first = after_removals(first, removals, kept)
        return [first, *rest]

    return fits


def _references(seat: Seat, stratum: Stratum) -> list[str | CustomMaterial]:
    """Material of each layer as the part names it, from inside to outside."""
    out: list[str | CustomMaterial] = [stratum.bearing.material]
    if stratum.sleeve is not None:
        out.append(stratum.sleeve.material)
    if seat.bonded is not None and stratum.adhesive is not None:
        out.append(stratum.adhesive.material)
    if len(out) < len(seat.stack.layers):
        out.append(stratum.bore.material)
    return out


def _aged(
    seat: Seat, spec: StudySpec, stratum: Stratum, assumptions: Assumptions
) -> tuple[Stack | None, tuple[tuple[float, float], ...] | None]:
    life, moisture = spec.service.life, spec.service.moisture
    references = _references(seat, stratum)
    layers = list(seat.stack.layers)
    changed = False
    if life is not None:
        for i, reference in enumerate(references):
            material = aged_material(assumptions, reference, layers[i].material, life)
            if material != layers[i].material:
                layers[i] = replace(layers[i], material=material)
                changed = True
    growth: list[tuple[float, float]] = []
    for layer, reference in zip(layers, references, strict=True):
        strains = swelling(assumptions, reference, layer.material) if moisture else None
        if moisture and strains is not None:
            inner, outer = moisture_growth(
                layer.inner_radius, layer.outer_radius, layer.material, *strains
            )
            growth.append((moisture * inner, moisture * outer))
        else:
            growth.append((0.0, 0.0))
    wet = any(a or b for a, b in growth)
    if not changed and not wet:
        return None, None
    stack = Stack(tuple(layers), seat.stack.bonded, seat.stack.cure_rise)
    return stack, tuple(growth) if wet else None


def _lobes(seat: Seat, spec: StudySpec, stratum: Stratum) -> tuple[Lobes, ...]:
    """Pressure per lobe of every form error that reaches the ring."""
    walls = [(x.inner_radius, x.outer_radius, x.material) for x in seat.stack.layers]
    return tuple(
        layered_lobes(e.roundness.lobes, walls, seat.stack.bonded, e.interface)
        for e in form_errors(spec.joint.kind, stratum)
    )
