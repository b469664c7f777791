"""Margins of a sleeve that is screwed into the shell: does it stay, does its flange seat."""

from __future__ import annotations

from collections.abc import Callable

from tolsim.joint.assumed import Assumptions
from tolsim.joint.axes import Vector, thread_of
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.model import Margin
from tolsim.joint.sizes import process_of
from tolsim.mechanics import thread
from tolsim.record import Array
from tolsim.spec.parts import SleeveThread
from tolsim.spec.quantities import Distribution
from tolsim.spec.study import Limits

__all__ = ["screwed_margins"]

_UM = 1e3


def screwed_margins(
    latent: Latent,
    spec: SleeveThread,
    limits: Limits,
    number: int,
    clearance: Source,
    face: Vector,
    assumptions: Assumptions,
) -> tuple[list[Margin], Callable[[Rows], list[Array]]]:
    """Loosening and flange contact of one screwed sleeve; both count as loose.

    Loosening: the torque that turns the sleeve out, from the clamp force that tightening gave,
    over the torque that service puts on it. Friction in thread and under the flange are drawn,
    the same in tightening and loosening.
    """
    described: list[Margin] = []
    functions: list[Callable[[Rows], Array]] = []
    loose = limits.loose
    section = thread_of(spec)
    if loose is not None and loose.loosening:
        torque = _row(latent, f"thread.torque@{number}", spec.torque)
        in_thread = _row(
            latent,
            f"thread.friction@{number}",
            spec.friction or assumptions.spread("thread-friction"),
        )
        under = _row(
            latent,
            f"thread.flange_friction@{number}",
            spec.flange_friction or assumptions.spread("flange-friction"),
        )
        described.append(_margin("loosening", number, "torque left over service", "N m", 1e-3))

        def loosening(z: Rows) -> Array:
            clamp = thread.clamp_force(section, torque(z), in_thread(z), under(z))
            return thread.loosening_margin(
                section, clamp, spec.service_torque, in_thread(z), under(z)
            )

        functions.append(loosening)
    if loose is not None and loose.flange_contact:
        described.append(_margin("flange contact", number, "flange lies flat", "µm", _UM))
        functions.append(lambda z: -thread.flange_gap(section, *face(z), clearance(z)))
    return described, lambda z: [f(z) for f in functions]


def _margin(cause: str, number: int, limit: str, unit: str, scale: float) -> Margin:
    return Margin(
        cause=cause,
        mode="loose",
        seats=(number,),
        temperature=None,
        limit=limit,
        unit=unit,
        scale=scale,
    )


def _row(latent: Latent, name: str, given: Distribution) -> Source:
    process, row = process_of(given), latent.row(name)
    return lambda z: process.size(row(z))
