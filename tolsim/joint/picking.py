"""Selective assembly in a joint: the bore that receives the ring and the ring, picked by class."""

from __future__ import annotations

from dataclasses import replace

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.sizes import SeatSizes
from tolsim.process.base import Process
from tolsim.process.classes import (
    Classes,
    bounded_pairing,
    equal_count,
    equal_width,
    matched_pairing,
)
from tolsim.process.selective import Picked, pick, read_as
from tolsim.record import Array
from tolsim.spec.study import Pick

__all__ = ["picked_sizes"]

_REACH = 3.0  # classes of equal width span this many standard deviations to either side


def picked_sizes(
    latent: Latent, sizes: dict[str, SeatSizes], receives: str, spec: Pick
) -> dict[str, SeatSizes]:
    """Sizes of bore and ring as their classes put them together, seat by seat.

    Classes are read at assembly; in service a picked part goes on settling as any part of its size
    does.

    Raises
    ------
    ValueError
        If either rests on readings or shares a lot, a phase of the tool or a common change with
        other parts, so that it is no single population.
    """
    bore, ring = sizes[receives].population, sizes["bearing.outside"].population
    if bore is None or ring is None:
        raise ValueError(
            "pick: bore and ring need populations of their own (assumed, or from a drawing band), "
            "not readings, a lot, a phase of the tool or a common_sd_um that parts share, a gauge "
            "that rejects units, a film on the sleeve, or sizes gauged as other than the mean"
        )
    read = (read_as(bore, spec.sorting_sd), read_as(ring, spec.sorting_sd))
    classes = (_classes(read[0], spec), _classes(read[1], spec))
    shares = (classes[0].shares(read[0]), classes[1].shares(read[1]))
    if spec.pairing == "matched":
        pairing = matched_pairing(*shares)
    else:
        pairing = bounded_pairing(*shares, reach=spec.reach)
    picked = pick(bore, ring, classes, pairing, sorting_sd=(spec.sorting_sd, spec.sorting_sd))
    seats = [_seat(latent, sizes, receives, picked, k) for k in (1, 2)]
    left = pairing.left_first + pairing.outside_first
    note = (
        f"picked into {spec.classes} classes: {100.0 * left:.3g} % of the bores and "
        f"{100.0 * (pairing.left_second + pairing.outside_second):.3g} % of the rings are left over"
    )
    out = dict(sizes)
    for which, key in enumerate((receives, "bearing.outside")):
        found = sizes[key]
        both = (seats[0][which], seats[1][which])
        late = both
        if found.late is not found.seats:
            late = (
                _aged(both[0], found.seats[0], found.late[0]),
                _aged(both[1], found.seats[1], found.late[1]),
            )
        notes = (*found.notes, note) if key == receives else found.notes
        out[key] = replace(found, seats=both, late=late, notes=notes)
    return out


def _aged(picked: Source, before: Source, after: Source) -> Source:
    """A picked part at the end of life: what it goes on settling does not depend on its class."""
    return lambda z: picked(z) + (after(z) - before(z))


def _classes(read: Process, spec: Pick) -> Classes:
    if spec.by == "count":
        return equal_count(read, spec.classes)
    half = _REACH * read.sd
    return equal_width(read.mean - half, read.mean + half, spec.classes, open_ends=True)


def _seat(
    latent: Latent, sizes: dict[str, SeatSizes], receives: str, picked: Picked, number: int
) -> tuple[Source, Source]:
    rows = []
    for key in (receives, "bearing.outside"):
        own = sizes[key].rows
        rows.append(latent.row(f"{key}@{number}") if own is None else own[number - 1])
    if picked.rows == 4:
        rows += [latent.row(f"{key}.sorting@{number}") for key in (receives, "bearing.outside")]

    def part(which: int) -> Source:
        def size(z: Rows) -> Array:
            return picked.sizes(*(r(z) for r in rows))[which]

        return size

    return part(0), part(1)
