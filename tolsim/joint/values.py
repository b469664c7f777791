"""What every contributor of a build comes to at either seat, as functions of the rows of normals.

Margins say whether a unit fails; these say where its parts lay when it did.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tolsim.joint.axes import Vector, face_tilts, part_axes, tilted_axes
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.sizes import SeatSizes, process_of
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.parts import Alignment
from tolsim.spec.quantities import Distribution
from tolsim.spec.study import StudySpec

__all__ = ["Values", "contributor_values"]

#: Components of a quantity at seats 1 and 2: one of a size, two of a direction.
Values = tuple[tuple[Source, ...], tuple[Source, ...]]

#: Rows of quantities that have one of their own, by path; `{}` is the seat.
_ROWS = {
    "bore.taper": "bore.taper@{}",
    "bore.roundness.amplitude": "bore.roundness@{}",
    "bearing.inner_fit": "bearing.inner_fit@{}",
    "bearing.roundness.amplitude": "bearing.roundness@{}",
    "sleeve.roundness.amplitude": "sleeve.roundness@{}",
    "sleeve.coating.thickness": "sleeve.film@{}",
    "sleeve.thread.clearance": "thread.clearance@{}",
    "sleeve.thread.torque": "thread.torque@{}",
    "adhesive.strength": "adhesive.strength@{}",
    "adhesive.peel_strength": "adhesive.peel_strength@{}",
    "adhesive.wetted_share": "adhesive.wetted@{}",
    "joint.friction": "friction@{}",
    "service.pedal_force": "pedal_force",
    "service.chain_force": "chain_force",
    "service.seat_load": "seat_load",
}


def contributor_values(
    spec: StudySpec, stratum: Stratum, latent: Latent, sizes: Mapping[str, SeatSizes]
) -> dict[str, Values]:
    """Values of the contributors of one combination of parts, inner units, by path.

    Sizes are deviations [mm], offsets [mm] and tilts [rad] have two components; anything else is
    as stated. What the joint does not read is left out.
    """
    found: dict[str, Values] = {key: ((s.seats[0],), (s.seats[1],)) for key, s in sizes.items()}
    for role in ("bore", "sleeve"):
        part = stratum.parts.get(role)
        alignment = getattr(part, "alignment", None)
        if isinstance(alignment, Alignment) and _read(latent, f"{role}.offset_x@1"):
            axes = part_axes(latent, role, alignment, stratum.names[role])
            found[f"{role}.alignment.offset"] = _vectors(axes.offsets)
            found[f"{role}.alignment.tilt"] = _vectors(axes.tilts)
    seating = getattr(stratum.sleeve, "seating_tilt", None)
    if isinstance(seating, Distribution) and _read(latent, "sleeve.seating_x@1"):
        found["sleeve.seating_tilt"] = _vectors(
            tilted_axes(latent, "sleeve.seating", seating).tilts
        )
    thread = getattr(stratum.sleeve, "thread", None)
    if thread is not None and _read(latent, "thread.face_x@1"):
        faces = face_tilts(latent, thread)
        found["sleeve.thread.face_run_out"] = _vectors(
            (_times(faces[0], thread.flange_outer), _times(faces[1], thread.flange_outer))
        )
    for path, pattern in _ROWS.items():
        role, _, rest = path.partition(".")
        given = _at(stratum.parts.get(role, getattr(spec, role, None)), rest)
        names = [pattern.format(k) for k in (1, 2)]
        if not _read(latent, names[1]):
            names[1] = names[0]  # one film covers a sleeve of one piece
        if isinstance(given, Distribution) and all(_read(latent, n) for n in names):
            process = process_of(given)
            one, two = (_mapped(process.size, latent.row(n)) for n in names)
            found[path] = ((one,), (two,))
    return found


def _read(latent: Latent, name: str) -> bool:
    return name in latent.names


def _at(node: Any, path: str) -> Any:
    for name in path.split("."):
        node = getattr(node, name, None)
    return node


def _mapped(size: Callable[[Array], Array], row: Source) -> Source:
    return lambda z: size(row(z))


def _vectors(pair: tuple[Vector, Vector]) -> Values:
    return _components(pair[0]), _components(pair[1])


def _times(vector: Vector, factor: float) -> Vector:
    def of(z: Rows) -> tuple[Array, Array]:
        x, y = vector(z)
        return x * factor, y * factor

    return of


def _components(vector: Vector) -> tuple[Source, Source]:
    def x(z: Rows) -> Array:
        return vector(z)[0]

    def y(z: Rows) -> Array:
        return vector(z)[1]

    return x, y
