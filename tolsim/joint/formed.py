"""Form of bores and rings: which lobes press on which interface, and what a gauge reads of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.sizes import SeatSizes, process_of
from tolsim.mechanics import form
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.parts import Feature, Roundness

__all__ = ["FormError", "form_errors", "with_form"]

_OUTSIDES = ("bearing.outside", "sleeve.outside")


@dataclass(frozen=True, kw_only=True, slots=True)
class FormError:
    """Lobes of one surface and the interface they press on, 0 the ring's seat."""

    role: str
    roundness: Roundness
    interface: int

    def amplitude(self, latent: Latent, number: int) -> Source:
        """Radial amplitude of the lobes at a seat [mm]; one row, whoever asks."""
        process, row = (
            process_of(self.roundness.amplitude),
            latent.row(f"{self.role}.roundness@{number}"),
        )
        return lambda z: process.size(row(z))


def form_errors(kind: str, stratum: Stratum) -> tuple[FormError, ...]:
    """Form errors that reach the ring, in the order in which a seat lists them.

    The lobes of a bore that receives a sleeve act through it where it is pressed. Adhesive fills
    them where it is glued, and a thread does not feel them.
    """
    bore, sleeve = stratum.bore.roundness, stratum.sleeve
    found = [("bearing", stratum.bearing.roundness, 0)]
    if sleeve is not None:
        found.append(("sleeve", sleeve.roundness, 0))
    if kind in ("pressed", "sleeved"):
        found.append(("bore", bore, 0 if kind == "pressed" else 1))
    return tuple(
        FormError(role=role, roundness=given, interface=interface)
        for role, given, interface in found
        if given is not None
    )


def with_form(
    latent: Latent, sizes: dict[str, SeatSizes], stratum: Stratum
) -> dict[str, SeatSizes]:
    """Sizes as mean diameters, which decide the fit, where a gauge read another kind of size.

    An inscribed or enveloping gauge reads a lobed bore small and a lobed ring large by twice the
    amplitude. Two points read an even number of lobes at a random angle, and do not see an odd one.
    """
    parts = {
        "bore.diameter": (stratum.bore.diameter, stratum.bore.roundness),
        "bearing.outside": (stratum.bearing.outside, stratum.bearing.roundness),
    }
    if stratum.sleeve is not None:
        parts["sleeve.inside"] = (stratum.sleeve.inside, stratum.sleeve.roundness)
        parts["sleeve.outside"] = (stratum.sleeve.outside, None)
    out = dict(sizes)
    for key, (feature, roundness) in parts.items():
        kind = _kind(feature)
        if key not in sizes or kind == "mean":
            continue
        found = sizes[key]
        if roundness is None:
            note = f"{key} was gauged as {_WORDS[kind]}; no roundness is given, taken as the mean"
            out[key] = replace(found, notes=(*found.notes, note))
            continue
        error = FormError(role=key.split(".")[0], roundness=roundness, interface=0)
        seats = [
            _mean(latent, error, key, kind, k, s) for k, s in zip((1, 2), found.seats, strict=True)
        ]
        late = (
            seats
            if found.late is found.seats
            else [
                _mean(latent, error, key, kind, k, s)
                for k, s in zip((1, 2), found.late, strict=True)
            ]
        )
        shift = 0.0
        if kind in ("inscribed", "envelope"):
            typical = process_of(roundness.amplitude).mean
            shift = typical * (-2.0 if key in _OUTSIDES else 2.0)
        limits = found.limits
        both = (seats[0], seats[1])
        out[key] = replace(
            found,
            seats=both,
            late=both if late is seats else (late[0], late[1]),
            population=None,
            limits=None if limits is None else (limits[0] + shift, limits[1] + shift),
        )
    return out


_WORDS = {
    "two-point": "a two-point diameter",
    "inscribed": "an inscribed diameter",
    "envelope": "an envelope",
}


def _kind(feature: Feature | None) -> str:
    return "mean" if feature is None or feature.state is None else feature.state.size


def _mean(
    latent: Latent, error: FormError, key: str, kind: str, number: int, read: Source
) -> Source:
    """The mean diameter behind what was read, rows (n,) [mm from nominal]."""
    amplitude = error.amplitude(latent, number)
    if kind != "two-point":
        sign = -1.0 if key in _OUTSIDES else 1.0
        return lambda z: read(z) + amplitude(z) * (2.0 * sign)
    if error.roundness.lobes % 2:
        return read
    angle: list[Callable[[Rows], Array]] = [
        latent.row(f"{error.role}.gauged_{axis}@{number}") for axis in "xy"
    ]

    def mean(z: Rows) -> Array:
        # cosine of an angle that is uniform over the turn
        x, y = angle[0](z), angle[1](z)
        low, _ = form.two_point(0.0, amplitude(z), error.roundness.lobes)
        return read(z) + low * (x / (x * x + y * y + 1e-300) ** 0.5)

    return mean
