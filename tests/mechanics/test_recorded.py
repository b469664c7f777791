"""Functions on the path of a draw: recorded replay and gradients."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.mechanics import (
    alignment,
    bond,
    clearance,
    coating,
    crank,
    form,
    grip,
    interference,
    service,
    settling,
    thread,
    yielding,
)
from tolsim.mechanics import (
    lobes as mech_lobes,
)
from tolsim.mechanics.materials import MATERIALS
from tolsim.mechanics.rings import Layer, Stack, free_interference
from tolsim.record import record

STEEL, ALLOY = MATERIALS["bearing-steel"], MATERIALS["aluminium-6061-t6"]
CFRP, EPOXY = MATERIALS["cfrp-quasi-isotropic"], MATERIALS["epoxy-adhesive"]

SCREW = thread.Thread(
    pitch=1.0, pitch_diameter=44.35, engagement=8.0, flange_outer=52.0, flange_inner=45.0
)
CRANK = crank.Crank(overhang=60.0, span=82.0, chain_line=45.0)
ASKEW = crank.Crank(overhang=60.0, span=82.0, chain_line=45.0, chain_angle=1.0, drive=1)
LOBES = (mech_lobes.Lobes(order=2, stiffness=2.45, ring_share=0.35),)
FACTOR = bond.gap_factor()


def build(radii: Sequence[float], names: Sequence[Any], bonded: tuple[bool, ...]) -> Stack:
    layers = tuple(
        Layer(inner_radius=a, outer_radius=b, material=m)
        for a, b, m in zip(radii, radii[1:], names, strict=False)
    )
    return Stack(layers, bonded)


PRESSED = build([17.0, 18.5, 23.0], [STEEL, ALLOY], (False,))
SLEEVED = build([17.0, 18.5, 20.5, 23.0], [STEEL, ALLOY, CFRP], (False, False))
THREE = build([17.0, 18.5, 19.5, 20.5, 23.0], [STEEL, ALLOY, STEEL, CFRP], (False,) * 3)
BONDED = build([17.0, 18.5, 20.0, 20.1, 23.0], [STEEL, ALLOY, EPOXY, CFRP], (False, True, True))


def contact_rows(stack: Stack) -> Callable[[Sequence[Any]], list[Any]]:
    """Everything a contact can be asked for, at a drawn temperature."""

    def rows(z: Sequence[Any]) -> list[Any]:
        count = len(stack.bonded)
        u = [0.0 if b else x * 0.01 + 0.004 for x, b in zip(z, stack.bonded, strict=False)]
        contact = stack.solve(u, z[count] * 15.0)
        out = [*contact.pressures, *contact.gaps]
        for j, tied in enumerate(stack.bonded):
            out.append(contact.signed_pressure(j))
            if not tied:
                out.append(contact.interference(j))
        for k in range(len(stack.layers)):
            for side in ("inner", "outer"):
                out.append(contact.hoop_stress(k, side))
                out.append(contact.displacement(k, side) * 1e3)
        return out

    return rows


def gauged(z: Sequence[Any]) -> list[Any]:
    fit = z[1] * 0.01
    free = free_interference(z[0] * 0.01 + 0.01, SLEEVED, 0, [fit])
    return list(SLEEVED.pressures([free, fit], -20.0)[0])


def seats(z: Sequence[Any]) -> list[Any]:
    o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y = z
    return [
        alignment.mutual_angle(t1x, t1y, t2x, t2y),
        alignment.mid_span_offset(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, 82.0),
        *alignment.bearing_tilts(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, 82.0),
        alignment.seated_sleeve_tilt(o1x, o1y, 50.0),
    ]


CASES: dict[str, tuple[int, Callable[[Sequence[Any]], Sequence[Any]]]] = {
    "pressed": (2, contact_rows(PRESSED)),
    "sleeved": (3, contact_rows(SLEEVED)),
    "three sleeves": (4, contact_rows(THREE)),
    "bonded": (4, contact_rows(BONDED)),
    "gauged in place": (2, gauged),
    "interference": (
        4,
        lambda z: [
            interference.effective(z[0] * 0.01, z[1], z[2], 0.4 + z[3] * 0.1),
            interference.effective_handbook(z[0], 37.0),
            interference.load_loss(37.0, np.exp(z[1]) * 300.0, 7.0),
            interference.load_loss(37.0, np.abs(z[1]), 7.0, 0.08 + z[2] * 0.01),
            interference.heavy_load_demand(z[0], 7.0),
            interference.temperature_loss(25.0, z[1], 0.0015 + z[3] * 1e-4),
            service.after_removals(z[0] * 0.01, 3, 0.85 + z[1] * 0.01),
        ],
    ),
    "clearance": (
        3,
        lambda z: [
            clearance.outer_ring_contraction(z[0] * 0.01, 37.0, 34.6, 46.0),
            clearance.inner_ring_expansion(z[0] * 0.01, 25.0, 27.4, 20.0),
            clearance.ring_temperature_loss(34.6, z[1]),
            clearance.operating(z[0], z[1], z[2], z[0]),
            clearance.axial_play(z[0] * 0.05, 3.5),
            clearance.free_tilt(z[0] * 0.1, 3.5, 31.0),
        ],
    ),
    "grip": (
        4,
        lambda z: [
            grip.axial_force(z[0], 37.0, 7.0, z[1]),
            grip.slip_torque(z[0], 37.0, 7.0, z[1]),
            grip.half_contact_pressure(z[0], 37.0, 7.0),
            grip.bonded_load_pressure(z[0], 37.0, 7.0),
            grip.separation_margin(z[0], z[1] * 300.0, z[2] * 500.0, 37.0, 7.0),
            grip.micro_slip_margin(z[0], z[1] * 300.0, 37.0, 7.0, 0.12 + z[2] * 0.01),
            grip.micro_slip_margin(z[0], z[1], 37.0, 7.0, 0.1, torque=z[2], axial=z[3]),
            grip.gross_slip_margin(z[0], 37.0, 7.0, 0.1, torque=z[2], axial=z[3]),
            *grip.seat_load(z[0], 60.0, 82.0),
            *crank.worst_loads(CRANK, z[0] * 300.0, z[1] * 500.0),
            *crank.worst_loads(ASKEW, z[2] * 300.0, z[3] * 500.0),
        ],
    ),
    "alignment": (
        8,
        seats,
    ),
    "form": (
        3,
        lambda z: [
            *form.two_point(z[0], z[1], 2),
            *form.two_point(z[0], z[1], 3),
            form.max_inscribed(z[0], z[1]),
            mech_lobes.full_contact_margin(z[0], LOBES, (z[1],)),
            form.tapered_interference(z[0], z[1]),
            form.engaged_share(z[0], z[1]),
            *form.slices(z[0], z[1], 3),
        ],
    ),
    "bond": (
        5,
        lambda z: [
            FACTOR(0.1 + z[0] * 0.08),
            bond.strength(20.0 + z[1], 0.1 + z[0] * 0.03, FACTOR, temperature=20.0 + z[2] * 30.0),
            bond.push_out(z[0], 41.0, 7.0, pressure=z[1], friction=z[2], bond_share=z[3]),
            bond.shear_demand(41.0, 7.0, radial=z[0], axial=z[1], torque=z[2]),
            bond.shear_margin(z[0], z[1], 1.5),
            bond.peel_margin(z[0], 10.0, z[1]),
            bond.gap_margin(0.08 + z[0] * 0.1, (0.02, 0.15)),
            *bond.disc(z[0], z[1]),
            *bond.eccentricity(z[2] * 0.1, *bond.disc(z[0], z[1])),
            bond.tilt_limit(z[0], 12.0),
        ],
    ),
    "thread": (
        4,
        lambda z: [
            thread.clamp_force(SCREW, z[0], 0.15 + z[1] * 0.01, 0.15 + z[2] * 0.01),
            thread.tightening_torque(SCREW, z[0], 0.15 + z[1] * 0.01),
            thread.loosening_margin(SCREW, z[0], z[1]),
            thread.radial_float(z[0] * 0.05),
            *thread.axis_tilt(SCREW, z[0] * 2e-3, z[1] * 2e-3, 0.01 + z[2] * 0.01),
            thread.flange_gap(SCREW, z[0] * 2e-3, z[1] * 2e-3, 0.01 + z[2] * 0.01),
        ],
    ),
    "time and surface": (
        3,
        lambda z: [
            settling.kohlrausch(np.exp(z[0]) * 30.0),
            settling.log_time(np.exp(z[0]), np.exp(z[1]) + 10.0, 0.003 + z[2] * 1e-3),
            settling.log_time_share(np.exp(z[0]), 1000.0),
            settling.settled_between(z[0], z[1], z[2]),
            coating.bore_after(z[0], z[1], z[2]),
            coating.outside_after(z[0], z[1], z[2]),
            coating.etched_bore(z[0], z[1]),
            coating.etched_outside(z[0], z[1]),
            coating.press_loss(z[0], z[1], z[2]),
            yielding.von_mises_bore(z[0], 37.0, 46.0),
            yielding.mises(z[0], z[1]),
        ],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_replay_gives_what_the_plain_call_gives(name: str) -> None:
    """Arrays and a recording agree to rounding, draws far out included."""
    d, rows = CASES[name]
    z = np.random.default_rng(21).standard_normal((d, 500)) * 2.0
    plain = np.array([np.broadcast_to(np.asarray(y, dtype=float), 500) for y in rows(list(z))])
    assert_allclose(record(rows, d)(z), plain, rtol=1e-12, atol=1e-13)


@pytest.mark.parametrize("name", CASES)
def test_gradients_are_those_of_finite_differences(name: str) -> None:
    """One backward sweep equals central differences at points away from kinks."""
    d, rows = CASES[name]
    recording = record(rows, d)
    z = np.random.default_rng(22).standard_normal((d, 200)) * 1.5
    h = 1e-5
    for k in range(recording.outputs):
        weights = np.zeros((recording.outputs, z.shape[1]))
        weights[k] = 1.0
        exact = recording.gradient(z, weights)
        for i in range(d):
            step = np.zeros_like(z)
            step[i] = h
            up, mid, down = recording(z + step)[k], recording(z)[k], recording(z - step)[k]
            # where both one-sided slopes agree there is no kink within the step
            left, right = (mid - down) / h, (up - mid) / h
            scale = np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-9)
            smooth = np.abs(left - right) < 1e-3 * scale + 1e-7
            assert smooth.mean() > 0.9, (name, k, i)
            assert_allclose(
                exact[i][smooth],
                0.5 * (left + right)[smooth],
                rtol=2e-3,
                atol=2e-6 * max(1.0, float(np.max(np.abs(exact)))),
            )


def test_further_temperatures_cost_little() -> None:
    """Rows of sizes are combined once: a further temperature costs two thirds of the first."""

    def at(*rises: float) -> int:
        def rows(z: Sequence[Any]) -> list[Any]:
            out: list[Any] = []
            for rise in rises:
                out += SLEEVED.solve([z[0], z[1]], rise).pressures
            return out

        return record(rows, 2).calls

    one, three = at(0.0), at(0.0, -30.0, 25.0)
    assert 3 * (three - one) <= 4 * one
    assert at(0.0, 0.0) == one
