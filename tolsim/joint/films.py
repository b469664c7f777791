"""One anodic film on both surfaces of a sleeve: bore and outside change together."""

from __future__ import annotations

from dataclasses import replace

from tolsim.joint.assumed import Assumptions
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.sizes import SeatSizes, process_of
from tolsim.mechanics.coating import growth, press_loss
from tolsim.record import Array
from tolsim.spec.parts import Coating, Feature, Sleeve

__all__ = ["with_film"]


def with_film(
    latent: Latent,
    sizes: dict[str, SeatSizes],
    sleeve: Sleeve,
    coating: Coating,
    *,
    pressed: bool,
    assumptions: Assumptions,
) -> dict[str, SeatSizes]:
    """Sizes of a sleeve with its film, where the surface was gauged without it.

    The thickness is one row a sleeve, read by both of its surfaces. Where the sleeve is pressed
    in, a share of the growth of its outside is scraped off again.
    """
    share = coating.outward_share
    if share is None:
        share = assumptions.value(f"outward-share-{coating.kind}")
    process = process_of(coating.thickness)
    out = dict(sizes)
    for key, feature, surface, sign in (
        ("sleeve.inside", sleeve.inside, "inside", -1.0),
        ("sleeve.outside", sleeve.outside, "outside", 1.0),
    ):
        if key not in sizes or not _uncoated(feature):
            continue
        if coating.surfaces not in ("both", surface):
            continue
        lost = 0.0
        if pressed and surface == "outside":
            given = coating.lost_when_pressed
            lost = assumptions.value("film-lost-in-press") if given is None else given
        films = [latent.row(f"sleeve.film@{1 if sleeve.pieces == 1 else k}") for k in (1, 2)]
        seats, late = (
            [
                _grown(size, process.size, row, share, sign, lost)
                for row, size in zip(films, ends, strict=True)
            ]
            for ends in (sizes[key].seats, sizes[key].late)
        )
        both = (seats[0], seats[1])
        shift = sign * float(growth(process.mean, share) - press_loss(process.mean, share, lost))
        limits = sizes[key].limits
        out[key] = replace(
            sizes[key],
            seats=both,
            late=both if sizes[key].late is sizes[key].seats else (late[0], late[1]),
            population=None,
            limits=None if limits is None else (limits[0] + shift, limits[1] + shift),
        )
    return out


def _uncoated(feature: Feature | None) -> bool:
    return feature is not None and (feature.state is None or not feature.state.coated)


def _grown(
    size: Source, thickness: object, row: Source, share: float, sign: float, lost: float
) -> Source:
    assert callable(thickness)

    def coated(z: Rows) -> Array:
        film = thickness(row(z))
        return size(z) + (growth(film, share) - press_loss(film, share, lost)) * sign

    return coated
