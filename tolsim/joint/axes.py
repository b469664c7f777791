"""Where the axes of the two seats lie: shell, sleeve, bond and thread each add their part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.joint.aligned import Vector, read_vectors
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured
from tolsim.joint.sizes import process_of
from tolsim.mechanics import bond, thread
from tolsim.record import Array
from tolsim.spec.parts import Alignment, SleeveThread
from tolsim.spec.quantities import Distribution

__all__ = ["Axes", "Vector", "glued_axes", "part_axes", "screwed_axes", "tilted_axes"]


def _zero(z: Rows) -> tuple[Array, Array]:
    return 0.0, 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Axes:
    """Offset [mm] and tilt [rad] of seats 1 and 2 against the datum, one vector each."""

    offsets: tuple[Vector, Vector] = (_zero, _zero)
    tilts: tuple[Vector, Vector] = (_zero, _zero)
    #: Components that rest on readings.
    measured: tuple[Measured, ...] = ()

    def plus(self, other: Axes) -> Axes:
        """Small deviations add."""
        return Axes(
            offsets=(
                _sum(self.offsets[0], other.offsets[0]),
                _sum(self.offsets[1], other.offsets[1]),
            ),
            tilts=(_sum(self.tilts[0], other.tilts[0]), _sum(self.tilts[1], other.tilts[1])),
            measured=(*self.measured, *other.measured),
        )


def _sum(a: Vector, b: Vector) -> Vector:
    def both(z: Rows) -> tuple[Array, Array]:
        (ax, ay), (bx, by) = a(z), b(z)
        return ax + bx, ay + by

    return both


def _drawn(
    latent: Latent, name: str, distribution: Distribution, together: float
) -> tuple[Vector, Vector]:
    """One vector a seat, each axis drawn from `distribution`, tied between the seats by axis."""
    process = process_of(distribution)
    x = latent.pair(f"{name}_x@1", f"{name}_x@2", together)
    y = latent.pair(f"{name}_y@1", f"{name}_y@2", together)

    def vector(row_x: Source, row_y: Source) -> Vector:
        return lambda z: (process.size(row_x(z)), process.size(row_y(z)))

    return vector(x[0], y[0]), vector(x[1], y[1])


def part_axes(latent: Latent, name: str, spec: Alignment, part_name: str = "") -> Axes:
    """Deviations of a part's two seats, as its alignment states them or as they were read."""
    tilt_together = (
        spec.between_sides if spec.between_sides_tilt is None else spec.between_sides_tilt
    )

    measured: list[Measured] = []

    def of(what: str, stated: Distribution | None, together: float) -> tuple[Vector, Vector]:
        key = f"{name}.{what}"
        if stated is not None:
            return _drawn(latent, key, stated, together)
        assert spec.seen is not None
        vectors, found = read_vectors(latent, key, part_name or name, spec.seen, what, together)
        measured.extend(found)
        return vectors

    offsets = of("offset", spec.offset, spec.between_sides)
    tilts = of("tilt", spec.tilt, tilt_together)
    return Axes(offsets=offsets, tilts=tilts, measured=tuple(measured))


def tilted_axes(latent: Latent, name: str, spec: Distribution) -> Axes:
    """A tilt per axis at each seat, such as that of a sleeve seated in the shell."""
    return Axes(tilts=_drawn(latent, name, spec, 0.0))


def glued_axes(latent: Latent, gaps: Sequence[Source], length: float, fixture_share: float) -> Axes:
    """Eccentricity and tilt of a sleeve in its gap, as far as the fixture leaves it free.

    The centre lies anywhere in the disc that the gap allows, uniformly; the tilt anywhere in what
    is left of the gap over the sleeve's length.
    """
    offsets: list[Vector] = []
    tilts: list[Vector] = []
    for k, gap in enumerate(gaps, 1):
        rows = [
            latent.row(f"bond.{what}_{axis}@{k}") for what in ("centre", "lean") for axis in "xy"
        ]

        def centre(z: Rows, gap: Source = gap, rows: list[Source] = rows) -> tuple[Array, Array]:
            ux, uy = bond.disc(rows[0](z), rows[1](z))
            return bond.eccentricity(gap(z), ux, uy, fixture_share)

        def lean(z: Rows, gap: Source = gap, rows: list[Source] = rows) -> tuple[Array, Array]:
            ux, uy = bond.disc(rows[0](z), rows[1](z))
            vx, vy = bond.disc(rows[2](z), rows[3](z))
            used = (ux * ux + uy * uy + 1e-300) ** 0.5 * fixture_share
            reach = bond.tilt_limit(gap(z), length) * ((1.0 - used) * fixture_share)
            return vx * reach, vy * reach

        offsets.append(centre)
        tilts.append(lean)
    return Axes(offsets=(offsets[0], offsets[1]), tilts=(tilts[0], tilts[1]))


def screwed_axes(
    latent: Latent, spec: SleeveThread, clearances: Sequence[Source], faces: Sequence[Vector]
) -> Axes:
    """Axis of a screwed sleeve: anywhere in the play of the thread, tilted as the face bids."""
    section = thread_of(spec)
    offsets: list[Vector] = []
    tilts: list[Vector] = []
    for k, (clearance, face) in enumerate(zip(clearances, faces, strict=True), 1):
        rows = [latent.row(f"thread.centre_{axis}@{k}") for axis in "xy"]

        def centre(
            z: Rows, clearance: Source = clearance, rows: list[Source] = rows
        ) -> tuple[Array, Array]:
            ux, uy = bond.disc(rows[0](z), rows[1](z))
            reach = thread.radial_float(clearance(z))
            return ux * reach, uy * reach

        def lean(
            z: Rows, clearance: Source = clearance, face: Vector = face
        ) -> tuple[Array, Array]:
            return thread.axis_tilt(section, *face(z), clearance(z))

        offsets.append(centre)
        tilts.append(lean)
    return Axes(offsets=(offsets[0], offsets[1]), tilts=(tilts[0], tilts[1]))


def face_tilts(latent: Latent, spec: SleeveThread) -> tuple[Vector, Vector]:
    """Tilt per axis [rad] of the face that the flange seats on: run-out over its diameter."""
    scaled = spec.face_run_out.scaled(1.0 / spec.flange_outer)
    return _drawn(latent, "thread.face", scaled, 0.0)


def thread_of(spec: SleeveThread) -> thread.Thread:
    """Constants of the thread and its flange."""
    return thread.Thread(
        pitch=spec.pitch,
        pitch_diameter=spec.pitch_diameter,
        engagement=spec.engagement,
        flange_outer=spec.flange_outer,
        flange_inner=spec.flange_inner,
    )
