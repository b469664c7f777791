"""The two seats of a unit against each other: angle, offset, tilt of each bearing."""

from __future__ import annotations

from collections.abc import Callable

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.model import Margin
from tolsim.joint.sizes import process_of
from tolsim.mechanics import alignment
from tolsim.record import Array
from tolsim.spec.parts import Alignment
from tolsim.spec.study import Misaligned

__all__ = ["Pair", "pair_margins"]

_UM, _DEG, _ARCMIN = 1e3, 180.0 / 3.141592653589793, 10800.0 / 3.141592653589793


class Pair:
    """Offsets and tilts of both seats as vectors, rows of normals behind each component."""

    def __init__(self, latent: Latent, spec: Alignment, span: float) -> None:
        self.span = span
        tilt_together = (
            spec.between_sides if spec.between_sides_tilt is None else spec.between_sides_tilt
        )
        self.components: list[Source] = []
        columns: dict[str, Source] = {}
        for name, distribution, together in (
            ("offset", spec.offset, spec.between_sides),
            ("tilt", spec.tilt, tilt_together),
        ):
            process = process_of(distribution)
            for axis in "xy":
                rows = latent.pair(f"bore.{name}_{axis}@1", f"bore.{name}_{axis}@2", together)
                for side, row in zip((1, 2), rows, strict=True):
                    columns[f"{name}_{axis}@{side}"] = _mapped(process.size, row)
        order = ("offset_x@1", "offset_y@1", "offset_x@2", "offset_y@2")
        tilts = ("tilt_x@1", "tilt_y@1", "tilt_x@2", "tilt_y@2")
        self.offsets = [columns[k] for k in order]
        self.tilts = [columns[k] for k in tilts]

    def angle(self, z: Rows) -> Array:
        """Angle between the two bore axes, rows (n,) [rad]."""
        return alignment.mutual_angle(*(t(z) for t in self.tilts))

    def offset(self, z: Rows) -> Array:
        """Distance of the two bore axes at mid-span, rows (n,) [mm]."""
        o1x, o1y, o2x, o2y = (o(z) for o in self.offsets)
        t1x, t1y, t2x, t2y = (t(z) for t in self.tilts)
        return alignment.mid_span_offset(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, self.span)

    def bearing_tilts(self, z: Rows) -> tuple[Array, Array]:
        """Tilt of each bearing against the line through the centres, rows (n,) [rad]."""
        o1x, o1y, o2x, o2y = (o(z) for o in self.offsets)
        t1x, t1y, t2x, t2y = (t(z) for t in self.tilts)
        return alignment.bearing_tilts(o1x, o1y, o2x, o2y, t1x, t1y, t2x, t2y, self.span)

    def bearing_tilt(self, seat: int) -> Source:
        """Tilt of one bearing, seat 1 or 2."""
        return lambda z: self.bearing_tilts(z)[seat - 1]


def _mapped(size: Callable[[Array], Array], row: Source) -> Source:
    return lambda z: size(row(z))


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
