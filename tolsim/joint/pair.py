"""The two seats of a unit against each other: angle, offset, tilt of each bearing."""

from __future__ import annotations

from collections.abc import Callable

from tolsim.joint.axes import Axes
from tolsim.joint.latent import Rows, Source
from tolsim.joint.model import Margin
from tolsim.mechanics import alignment
from tolsim.record import Array
from tolsim.spec.study import Misaligned

__all__ = ["Pair", "pair_margins"]

_UM, _DEG, _ARCMIN = 1e3, 180.0 / 3.141592653589793, 10800.0 / 3.141592653589793


class Pair:
    """The two seats of a unit, `span` [mm] apart."""

    def __init__(self, axes: Axes, span: float) -> None:
        self.axes = axes
        self.span = span

    def _all(self, z: Rows) -> tuple[Array, Array, Array, Array, Array, Array, Array, Array]:
        (o1x, o1y), (o2x, o2y) = self.axes.offsets[0](z), self.axes.offsets[1](z)
        (t1x, t1y), (t2x, t2y) = self.axes.tilts[0](z), self.axes.tilts[1](z)
        return o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y

    def angle(self, z: Rows) -> Array:
        """Angle between the two bore axes, rows (n,) [rad]."""
        return alignment.mutual_angle(*self._all(z)[4:])

    def offset(self, z: Rows) -> Array:
        """Distance of the two bore axes at mid-span, rows (n,) [mm]."""
        return alignment.mid_span_offset(*self._all(z), self.span)

    def bearing_tilts(self, z: Rows) -> tuple[Array, Array]:
        """Tilt of each bearing against the line through the centres, rows (n,) [rad]."""
        return alignment.bearing_tilts(*self._all(z), self.span)

    def bearing_tilt(self, seat: int) -> Source:
        """Tilt of one bearing, seat 1 or 2."""
        return lambda z: self.bearing_tilts(z)[seat - 1]


def pair_margins(
    pair: Pair, limits: Misaligned
) -> tuple[list[Margin], Callable[[Rows], list[Array]]]:
    """Margins of the unit as a whole and of each bearing's tilt."""
    described: list[Margin] = []

    def describe(cause: str, seats: tuple[int, ...], bound: float, unit: str, scale: float) -> None:
        between = "" if unit == "°" else " "
        described.append(
            Margin(
                cause=cause,
                mode="misaligned",
                seats=seats,
                temperature=None,
                limit=f"at most {bound * scale:g}{between}{unit}",
                unit=unit,
                scale=scale,
                bound=bound,
            )
        )

    if limits.angle is not None:
        describe("angle of the seats", (1, 2), limits.angle, "°", _DEG)
    if limits.offset is not None:
        describe("offset of the seats", (1, 2), limits.offset, "µm", _UM)
    if limits.bearing_tilt is not None:
        for seat in (1, 2):
            describe("bearing tilt", (seat,), limits.bearing_tilt, "arcmin", _ARCMIN)

    def compute(z: Rows) -> list[Array]:
        out: list[Array] = []
        if limits.angle is not None:
            out.append(limits.angle - pair.angle(z))
        if limits.offset is not None:
            out.append(limits.offset - pair.offset(z))
        if limits.bearing_tilt is not None:
            out.extend(limits.bearing_tilt - t for t in pair.bearing_tilts(z))
        return out

    return described, compute
