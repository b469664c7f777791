"""Margins of one seat: the ring in its seat, the sleeve in the shell, the bond."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tolsim.joint.assumed import Assumptions
from tolsim.joint.latent import Rows, Source
from tolsim.joint.model import Margin
from tolsim.joint.seat_model import REFERENCE, Seat, SeatInputs
from tolsim.mechanics import bond, grip
from tolsim.mechanics.interference import creep_loss
from tolsim.mechanics.rings import Contact
from tolsim.record import Array
from tolsim.spec.study import Limits

__all__ = ["SeatMargins"]

_UM, _ARCMIN = 1e3, 10800.0 / 3.141592653589793


@dataclass(slots=True)
class _State:
    """What the margins of one unit share at one temperature."""

    z: Rows
    at: SeatInputs
    contact: Contact
    load: Array
    held: Array
    clearance: Array
    lobes: Array
    sleeve_lobes: Array


@dataclass(slots=True)
class SeatMargins:
    """Margins of one seat: what they are, and the function that computes them all.

    Parameters
    ----------
    seat : Seat
        Constants of the seat.
    number : int
        1 or 2.
    at : SeatInputs
        What varies.
    limits : Limits
        What counts as failed.
    temperatures : tuple of float
        Service temperatures [°C]; a unit must hold at each.
    moment_arm : float
        Axial offset of the ball plane from the seat's middle [mm].
    tilt : Source or None
        Tilt of the bearing [rad], for the limit on what its clearance leaves free.
    assumptions : Assumptions
        Where remembered constants come from.
    hybrid : float
        Share of the bond's strength that a sleeve pressed and glued keeps.
    late : SeatInputs or None
        What varies, at the end of life; None without a life.
    """

    seat: Seat
    number: int
    at: SeatInputs
    limits: Limits
    temperatures: tuple[float, ...]
    moment_arm: float
    tilt: Source | None
    assumptions: Assumptions
    hybrid: float = 0.0
    late: SeatInputs | None = None
    described: list[Margin] = field(default_factory=list)
    _hot: list[tuple[float, bool, list[Callable[[_State], Array]]]] = field(default_factory=list)
    _cold: list[Callable[[_State], Array]] = field(default_factory=list)

    def __post_init__(self) -> None:
        for t in self.temperatures:
            rows: list[Callable[[_State], Array]] = []
            self._loose(t, rows)
            self._tight(t, rows)
            self._peel(t, rows)
            self._shear(t, rows)
            self._free_tilt(t, rows)
            self._hot.append((t, False, rows))
            if self.late is not None:
                late: list[Callable[[_State], Array]] = []
                for judge in (self._loose, self._tight, self._peel, self._free_tilt):
                    judge(t, late, " at the end of life")
                self._hot.append((t, True, late))
        self._once()

    def compute(self, z: Rows) -> list[Array]:
        """All margins of this seat, in the order of `described`."""
        out: list[Array] = []
        fits = self.seat.interferences(z, self.at)
        later = fits if self.late is None else self.seat.interferences(z, self.late)
        load = self.at.load(z) if self.at.load is not None else 0.0
        for t, late, rows in self._hot:
            state = self._state(z, later if late else fits, load, t, late)
            out.extend(row(state) for row in rows)
        if self._cold:
            state = self._state(z, fits, load, REFERENCE, False)
            out.extend(row(state) for row in self._cold)
        return out

    def _state(
        self, z: Rows, fits: list[Array], load: Array, temperature: float, late: bool
    ) -> _State:
        contact = self.seat.contact(fits, temperature, late=late)
        lobes: Array = 0.0
        sleeve_lobes: Array = 0.0
        for form, amplitude in zip(self.seat.lobes, self.at.lobes, strict=True):
            lobes = lobes + amplitude(z) * form.stiffness
            sleeve_lobes = sleeve_lobes + amplitude(z) * form.sleeve_stiffness
        return _State(
            z=z,
            lobes=lobes,
            sleeve_lobes=sleeve_lobes,
            at=self.at,
            contact=contact,
            load=load,
            held=contact.interference(0),
            clearance=self.seat.operating_clearance(z, self.at, contact),
        )

    def _describe(
        self,
        cause: str,
        mode: str,
        temperature: float | None,
        limit: str,
        unit: str,
        scale: float = 1.0,
    ) -> None:
        self.described.append(
            Margin(
                cause=cause,
                mode=mode,
                seats=(self.number,),
                temperature=temperature,
                limit=limit,
                unit=unit,
                scale=scale,
            )
        )

    def _loose(self, t: float, rows: list[Callable[[_State], Array]], when: str = "") -> None:
        loose, seat = self.limits.loose, self.seat
        if loose is None:
            return
        diameter = seat.ring.outside
        if loose.interference is not None:
            least = loose.interference
            self._describe(
                "interference" + when, "loose", t, f"at least {least * _UM:g} µm", "µm", _UM
            )
            rows.append(lambda s: s.held - least)
        if loose.separation:
            self._describe("separation" + when, "loose", t, "pressed all round under load", "MPa")
            rows.append(
                lambda s: grip.separation_margin(
                    s.contact.signed_pressure(0) - s.lobes,
                    s.load,
                    s.load * self.moment_arm,
                    diameter,
                    seat.width,
                )
            )
        if loose.creep:
            self._describe(
                "ring creep" + when, "loose", t, "interference left under load", "µm", _UM
            )
            constant = self.assumptions.value("ring-creep")
            size = (diameter, seat.ring.width)
            rows.append(
                lambda s: (
                    s.held
                    - creep_loss(size[0], s.load, size[1], constant, seat.ring.static_rating)
                    - seat.warm_creep
                )
            )
        self._slip(t, rows, when)
        k = seat.sleeve_interface
        if k is None:
            return
        if loose.sleeve_interference is not None:
            least_sleeve = loose.sleeve_interference
            self._describe(
                "sleeve interference" + when,
                "loose",
                t,
                f"at least {least_sleeve * _UM:g} µm",
                "µm",
                _UM,
            )
            rows.append(lambda s: s.contact.interference(k) - least_sleeve)
        if loose.separation if loose.sleeve_separation is None else loose.sleeve_separation:
            self._describe(
                "sleeve separation" + when, "loose", t, "pressed all round under load", "MPa"
            )
            rows.append(lambda s: self._sleeve_separation(s, k, t))

    def _slip(self, t: float, rows: list[Callable[[_State], Array]], when: str) -> None:
        """Slip of the ring: local under the load, and as a whole by torque or axial force."""
        loose, seat = self.limits.loose, self.seat
        assert loose is not None
        size = (seat.ring.outside, seat.width)
        if loose.micro_slip:
            self._describe("micro-slip" + when, "loose", t, "stuck under load", "MPa")
            rows.append(
                lambda s: grip.micro_slip_margin(
                    s.contact.signed_pressure(0), s.load, *size, s.at.friction(s.z)
                )
            )
        if loose.slip_torque is None and loose.pull_out is None:
            return
        released = self.assumptions.value("break-out-ratio")
        if loose.slip_torque is not None:
            torque = loose.slip_torque
            self._describe(
                "slip torque" + when, "loose", t, f"at least {1e-3 * torque:g} N m", "N m", 1e-3
            )
            rows.append(
                lambda s: (
                    grip.slip_torque(
                        s.contact.signed_pressure(0), *size, s.at.friction(s.z) * released
                    )
                    - torque
                )
            )
        if loose.pull_out is not None:
            force = loose.pull_out
            self._describe("pull-out" + when, "loose", t, f"at least {force:g} N", "N")
            rows.append(
                lambda s: (
                    grip.axial_force(
                        s.contact.signed_pressure(0), *size, s.at.friction(s.z) * released
                    )
                    - force
                )
            )

    def _sleeve_separation(self, s: _State, k: int, t: float) -> Array:
        seat = self.seat
        margin = grip.separation_margin(
            s.contact.signed_pressure(k) - s.sleeve_lobes,
            s.load,
            s.load * self.moment_arm,
            seat.sleeve_diameter,
            seat.sleeve_width,
        )
        if self.hybrid == 0.0 or self.at.bond is None:
            return margin
        kept = self.at.bond.peel_strength(s.z) * self.at.bond.wetted(s.z)
        return margin + kept * (self.hybrid * self._warm_bond(t))

    def _warm_bond(self, t: float) -> float:
        """Share of the bond's strength left at a temperature [°C]."""
        assert self.at.bond is not None
        given = self.at.bond.loss_per_kelvin
        loss = self.assumptions.value("bond-strength-per-K") if given is None else given
        return float(bond.temperature_factor(t, loss))

    def _tight(self, t: float, rows: list[Callable[[_State], Array]], when: str = "") -> None:
        tight, seat = self.limits.tight, self.seat
        if tight is None:
            return
        if tight.clearance is not None:
            least = tight.clearance
            self._describe(
                "clearance" + when, "tight", t, f"at least {least * _UM:g} µm", "µm", _UM
            )
            rows.append(lambda s: s.clearance - least)
        if tight.hoop_stress_share is None:
            return
        for layer in seat.stressed:
            allowable = seat.stack.layers[layer].material.hoop_allowable
            if allowable is None:
                continue
            most = tight.hoop_stress_share * allowable
            which = "shell" if layer == len(seat.stack.layers) - 1 and layer > 1 else "seat"
            name = "hoop stress" if len(seat.stressed) == 1 else f"hoop stress of the {which}"
            self._describe(name + when, "tight", t, f"at most {most:g} MPa", "MPa")
            rows.append(self._hoop(layer, most))

    def _hoop(self, layer: int, most: float) -> Callable[[_State], Array]:
        return lambda s: most - self.seat.hoop_stress(s.contact, layer)

    def _peel(self, t: float, rows: list[Callable[[_State], Array]], when: str = "") -> None:
        limits, seat, k, glue = self.limits.bond, self.seat, self.seat.bonded, self.at.bond
        if limits is None or not limits.peel or k is None or glue is None:
            return
        self._describe("peel" + when, "bond", t, "radial tension within strength", "MPa")
        rows.append(
            lambda s: bond.peel_margin(
                np.minimum(s.contact.pressures[k], s.contact.pressures[k + 1]),
                glue.peel_strength(s.z) * (self._warm_bond(t) / limits.safety),
                grip.bonded_load_pressure(s.load, seat.sleeve_diameter, seat.sleeve_width),
            )
        )

    def _shear(self, t: float, rows: list[Callable[[_State], Array]]) -> None:
        limits, seat, glue = self.limits.bond, self.seat, self.at.bond
        if limits is None or not limits.shear or seat.bonded is None or glue is None:
            return
        gap = seat.gap
        assert gap is not None
        self._describe("bond shear", "bond", t, "shear within strength", "MPa")
        rows.append(
            lambda s: bond.shear_margin(
                bond.strength(
                    glue.strength(s.z),
                    gap(s.z, self.at),
                    seat.gap_factor,
                    wetted=glue.wetted(s.z) * self._warm_bond(t),
                ),
                bond.shear_demand(seat.sleeve_diameter, seat.sleeve_width, radial=s.load),
                limits.safety,
            )
        )

    def _free_tilt(self, t: float, rows: list[Callable[[_State], Array]], when: str = "") -> None:
        limits, tilt = self.limits.misaligned, self.tilt
        if limits is None or not limits.free_tilt or tilt is None:
            return
        self._describe(
            "free tilt" + when,
            "misaligned",
            t,
            "within what the clearance leaves",
            "arcmin",
            _ARCMIN,
        )
        rows.append(lambda s: self.seat.free_tilt(s.clearance) - tilt(s.z))

    def _once(self) -> None:
        """Margins that are judged at 20 °C only."""
        tight, limits, seat = self.limits.tight, self.limits.bond, self.seat
        if tight is not None and tight.press_force is not None:
            most = tight.press_force
            self._describe("press force", "tight", None, f"at most {most:g} N", "N")
            self._cold.append(
                lambda s: (
                    most
                    - grip.axial_force(
                        s.contact.signed_pressure(0),
                        seat.ring.outside,
                        seat.width,
                        self.at.friction(s.z),
                    )
                )
            )
        if tight is not None and tight.raceway_lobe is not None and seat.lobes:
            largest = tight.raceway_lobe
            self._describe(
                "lobes of the raceway", "tight", None, f"at most {largest * _UM:g} µm", "µm", _UM
            )
            self._cold.append(lambda s: largest - self._raceway_lobe(s))
        k, friction = seat.sleeve_interface, self.at.sleeve_friction
        if tight is not None and tight.sleeve_press_force is not None and k and friction:
            most_sleeve = tight.sleeve_press_force
            self._describe(
                "press force of the sleeve", "tight", None, f"at most {most_sleeve:g} N", "N"
            )
            self._cold.append(
                lambda s: (
                    most_sleeve
                    - grip.axial_force(
                        s.contact.signed_pressure(k),
                        seat.sleeve_diameter,
                        seat.sleeve_width,
                        friction(s.z),
                    )
                )
            )
        if limits is not None and limits.gap is not None and seat.gap is not None:
            low, high = limits.gap
            gap = seat.gap
            text = f"from {low * _UM:g} to {high * _UM:g} µm"
            self._describe("gap too small", "bond", None, text, "µm", _UM)
            self._cold.append(lambda s: gap(s.z, self.at) - low)
            self._describe("gap too large", "bond", None, text, "µm", _UM)
            self._cold.append(lambda s: high - gap(s.z, self.at))

    def _raceway_lobe(self, s: _State) -> Array:
        """Radial lobe amplitude that the raceway takes up from seat and ring [mm], a bound."""
        total: Array = 0.0
        for form, amplitude in zip(self.seat.lobes, self.at.lobes, strict=True):
            total = total + amplitude(s.z) * form.ring_share
        return total
