"""One seat: interference, pressure, clearance and stress of a ring, and its margins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tolsim.joint.latent import Rows, Source
from tolsim.joint.materials import material_of
from tolsim.joint.model import Margin
from tolsim.mechanics import clearance as internal
from tolsim.mechanics import grip
from tolsim.mechanics.interference import effective, load_loss
from tolsim.mechanics.materials import Material
from tolsim.mechanics.rings import Contact, Layer, Stack
from tolsim.mechanics.width import eta, validity
from tolsim.record import Array
from tolsim.spec.parts import Bearing, Bore
from tolsim.spec.study import Limits

__all__ = ["REFERENCE", "PressedSeat", "Ring", "SeatInputs"]

#: Reference temperature of sizes [°C] (ISO 1).
REFERENCE = 20.0

_UM, _MPA, _N, _ARCMIN = 1e3, 1.0, 1.0, 10800.0 / 3.141592653589793


@dataclass(frozen=True, kw_only=True, slots=True)
class SeatInputs:
    """What varies from unit to unit at one seat; every field maps rows to (n,)."""

    bore: Source
    ring: Source
    clearance: Source
    inner_fit: Source | None
    load: Source | None
    friction: Source


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
        d, D = bearing.bore, bearing.outside_diameter
        raceway = bearing.raceway_diameter or internal.raceway_outer(d, D)
        ball = bearing.ball_diameter or 0.3 * (D - d)
        return cls(
            outside=D,
            raceway=raceway,
            inner_raceway=internal.raceway_inner(d, D),
            bore=d,
            width=bearing.width,
            ball=ball,
            pitch=0.5 * (d + D),
            groove=bearing.groove_ratio,
            material=material_of(bearing.material),
        )


class PressedSeat:
    """A ring pressed straight into a shell: constants once, margins for every unit.

    Layers are the ring, as a constant wall between its raceway and its outside, and the shell,
    whose compliance is that of a band as wide as the ring bears.
    """

    def __init__(
        self, bore: Bore, bearing: Bearing, *, smoothing: float, temperatures: tuple[float, ...]
    ) -> None:
        assert bore.diameter.nominal is not None
        self.ring = Ring.of(bearing)
        self.shell = material_of(bore.material)
        self.temperatures = temperatures
        self.width = min(self.ring.width, bore.seat_width)
        self.nominal_difference = self.ring.outside - bore.diameter.nominal
        self.smoothing = smoothing
        self.rz = (bearing.roughness_rz, bore.roughness_rz)
        inner, outer = 0.5 * self.ring.outside, 0.5 * bore.outside_diameter
        factor = eta(self.width, inner, outer, self.shell, bore.edge_distance)
        self.stack = Stack(
            (
                Layer(
                    inner_radius=0.5 * self.ring.raceway,
                    outer_radius=inner,
                    material=self.ring.material,
                ),
                Layer(
                    inner_radius=inner,
                    outer_radius=outer,
                    material=self.shell,
                    width_factor=factor,
                ),
            ),
            (False,),
        )
        self.warnings = validity(self.width, inner, outer, self.shell, bore.edge_distance)
        self._stress_slope = (
            self.shell.E_hoop * self.stack.numbers[1].c11 / inner - self.shell.poisson
        )

    def interference(self, z: Rows, at: SeatInputs) -> Array:
        """Effective diametral interference at the reference temperature, rows (n,) [mm]."""
        raw = at.ring(z) - at.bore(z) + self.nominal_difference
        return effective(raw, *self.rz, self.smoothing)

    def contact(self, interference: Array, temperature: float) -> Contact:
        """Contact of ring and shell at a temperature [°C]."""
        return self.stack.solve([interference], temperature - REFERENCE)

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

    def hoop_stress(self, contact: Contact) -> Array:
        """Hoop stress at the shell's bore [MPa], going on below contact with the gap."""
        below = contact.signed_pressure(0) - contact.pressures[0]
        return contact.hoop_stress(1, "inner") + below * self._stress_slope


Judge = Callable[[Rows], Array]


def seat_margins(
    seat: PressedSeat,
    number: int,
    at: SeatInputs,
    limits: Limits,
    *,
    moment_arm: float,
    tilt: Source | None,
) -> tuple[list[Margin], Callable[[Rows], list[Array]]]:
    """Margins of one seat: their descriptions, and the function that computes them all.

    Parameters
    ----------
    seat : PressedSeat
        Constants of the seat.
    number : int
        1 or 2.
    at : SeatInputs
        What varies.
    limits : Limits
        What counts as failed.
    moment_arm : float
        Axial offset of the ball plane from the seat's middle [mm].
    tilt : Source or None
        Tilt of the bearing [rad], for the limit on what its clearance leaves free.
    """
    described: list[Margin] = []
    loose, tight, out_of_line = limits.loose, limits.tight, limits.misaligned
    allowable = seat.shell.hoop_allowable

    def describe(
        cause: str, mode: str, temperature: float | None, limit: str, unit: str, scale: float
    ) -> None:
        described.append(
            Margin(
                cause=cause,
                mode=mode,
                seats=(number,),
                temperature=temperature,
                limit=limit,
                unit=unit,
                scale=scale,
            )
        )

    for t in seat.temperatures:
        if loose is not None and loose.interference is not None:
            describe(
                "interference", "loose", t, f"at least {loose.interference * _UM:g} µm", "µm", _UM
            )
        if loose is not None and loose.separation:
            describe("separation", "loose", t, "pressed all round under load", "MPa", _MPA)
        if loose is not None and loose.creep:
            describe("ring creep", "loose", t, "interference left under load", "µm", _UM)
        if tight is not None and tight.clearance is not None:
            describe("clearance", "tight", t, f"at least {tight.clearance * _UM:g} µm", "µm", _UM)
        if tight is not None and tight.hoop_stress_share is not None and allowable is not None:
            describe(
                "hoop stress",
                "tight",
                t,
                f"at most {tight.hoop_stress_share * allowable:g} MPa",
                "MPa",
                _MPA,
            )
        if out_of_line is not None and out_of_line.free_tilt:
            describe(
                "free tilt", "misaligned", t, "within what the clearance leaves", "arcmin", _ARCMIN
            )
    if tight is not None and tight.press_force is not None:
        describe("press force", "tight", None, f"at most {tight.press_force:g} N", "N", _N)

    def compute(z: Rows) -> list[Array]:
        out: list[Array] = []
        u = seat.interference(z, at)
        load = at.load(z) if at.load is not None else 0.0
        diameter = seat.ring.outside
        for t in seat.temperatures:
            contact = seat.contact(u, t)
            held = contact.interference(0)
            if loose is not None and loose.interference is not None:
                out.append(held - loose.interference)
            if loose is not None and loose.separation:
                out.append(
                    grip.separation_margin(
                        contact.signed_pressure(0), load, load * moment_arm, diameter, seat.width
                    )
                )
            if loose is not None and loose.creep:
                out.append(held - load_loss(diameter, load, seat.ring.width))
            if tight is not None and tight.clearance is not None:
                out.append(seat.operating_clearance(z, at, contact) - tight.clearance)
            if tight is not None and tight.hoop_stress_share is not None and allowable is not None:
                out.append(tight.hoop_stress_share * allowable - seat.hoop_stress(contact))
            if out_of_line is not None and out_of_line.free_tilt:
                assert tilt is not None
                free = seat.free_tilt(seat.operating_clearance(z, at, contact))
                out.append(free - tilt(z))
        if tight is not None and tight.press_force is not None:
            cold = seat.contact(u, REFERENCE)
            force = grip.axial_force(cold.signed_pressure(0), diameter, seat.width, at.friction(z))
            out.append(tight.press_force - force)
        return out

    return described, compute
