"""Taper and oval of a bore that was read at several depths and angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tolsim.joint.aligned import Scatter, about_zero, form_of, spread_behind
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.readings import Readings

__all__ = ["Form", "form_as_read"]


@dataclass(frozen=True, slots=True)
class Form:
    """Taper and the two components of the oval of the bore, as read; empty where stated."""

    tapers: tuple[Measured, ...] = ()
    oval: tuple[Measured, ...] = ()

    def taper(self, number: int) -> Source | None:
        """Taper of a seat [mm] where it was read."""
        return self.tapers[0].seats[number - 1] if self.tapers else None

    def amplitude(self, number: int) -> Source:
        """Radial amplitude of the oval of a seat [mm]."""
        cosine, sine = (m.seats[number - 1] for m in self.oval)

        def of(z: Rows) -> Array:
            c, s = cosine(z), sine(z)
            return np.sqrt(c * c + s * s + 1e-20)

        return of


def _scatter(read: Readings) -> Scatter:
    """What single readings add to either component of the amplitude."""
    if read.noise is None:
        return Scatter()
    return Scatter(sd=read.noise.amplitude, freedom=read.noise.freedom)


def form_as_read(stratum: Stratum, latent: Latent, kind: str) -> Form:
    """What readings at several places of the bore show of its form, where it is not stated."""
    read, bore = stratum.readings.get("bore.diameter"), stratum.bore
    if read is None or kind not in ("pressed", "sleeved"):
        return Form()
    name = stratum.names["bore"]
    noise = 0.0 if read.noise is None else read.noise.taper
    tapers: tuple[Measured, ...] = ()
    if bore.taper is None and read.taper is not None and kind == "pressed":
        tapers = (form_of(latent, "bore.taper", name, read, read.taper, noise),)
    oval: tuple[Measured, ...] = ()
    if read.oval is not None and bore.roundness is not None and bore.roundness.from_readings:
        # greatest minus least diameter is four times the radial amplitude of two lobes
        magnitudes, components = read.oval / 4.0, read.oval_components
        behind = f"evidence {name} bore.roundness sd"
        spread = spread_behind(latent, behind, magnitudes, components, _scatter(read))
        n = len(read)
        keys = ("bore.roundness_cos", "bore.roundness_sin")
        oval = tuple(about_zero(latent, k, name, spread, n, 0.0) for k in keys)
    return Form(tapers, oval)
