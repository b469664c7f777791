"""Sentences where the physics is used outside what it holds for; nothing inside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.latent import Rows
from tolsim.joint.seat_model import Seat, SeatInputs
from tolsim.mechanics.alignment import tilt_warnings
from tolsim.mechanics.materials import temperature_warnings
from tolsim.mechanics.service import BASIS
from tolsim.mechanics.validity import load_warnings, wall_warnings
from tolsim.mechanics.width import is_plain
from tolsim.mechanics.yielding import mises, yield_warnings
from tolsim.spec.load import Stratum
from tolsim.spec.study import StudySpec

__all__ = ["doubts"]

#: Standard deviations of the tight fit and the heavy load that are looked at, and in words.
_FAR, _HOW_OFTEN = 3.0, "1 of 740 units"

FloatArray = NDArray[np.float64]


def doubts(
    seat: Seat, spec: StudySpec, stratum: Stratum, inputs: Sequence[SeatInputs], rows: int
) -> tuple[str, ...]:
    """Everything that is doubtful about one seat.

    Parameters
    ----------
    seat, spec, stratum, inputs
        The seat, the study, its parts and what varies at either seat.
    rows : int
        Number of rows of normals that `inputs` read from.
    """
    out = list(_parts(seat, spec, stratum))
    names = _names(seat, stratum)
    at = inputs[0]  # fits are alike at both seats, loads need not be
    out += _yield(seat, at, names, spec.service.temperature, rows)
    rating = stratum.bearing.static_rating
    loads = [x.load for x in inputs if x.load is not None]
    if rating is not None and loads:
        out += load_warnings(max(_extreme(x, rows) for x in loads), rating, _HOW_OFTEN)
    return tuple(out)


def _names(seat: Seat, stratum: Stratum) -> list[str]:
    names = ["bearing ring", *(["sleeve"] if stratum.sleeve is not None else [])]
    if seat.bonded is not None:
        names.append("adhesive")
    return names + ["shell"] * (len(seat.stack.layers) - len(names))


def _parts(seat: Seat, spec: StudySpec, stratum: Stratum) -> Iterable[str]:
    """What the parts and the study say by themselves."""
    for name, layer in zip(_names(seat, stratum), seat.stack.layers, strict=True):
        if name in ("shell", "sleeve"):
            bore, outside = 2.0 * layer.inner_radius, 2.0 * layer.outer_radius
            yield from wall_warnings(name, bore, outside, plain=is_plain(layer.material))
        yield from temperature_warnings(name, layer.material, spec.service.temperature)
    if stratum.bore.roundness is not None and spec.joint.kind in ("bonded", "threaded"):
        how = "adhesive fills them" if spec.joint.kind == "bonded" else "the thread lies between"
        yield f"lobes of the shell's bore do not reach the ring: {how}"
    if stratum.bore.taper is not None and spec.joint.kind != "pressed":
        yield "taper is not carried through a sleeve: it has no effect here"
    if spec.joint.removals:
        yield f"{spec.joint.removals} removals: {BASIS}"
    limits = spec.limits.misaligned
    if limits is not None and limits.bearing_tilt is not None:
        yield from tilt_warnings(limits.bearing_tilt)


def _yield(
    seat: Seat, at: SeatInputs, names: list[str], temperatures: Sequence[float], rows: int
) -> Iterable[str]:
    """Layers that yield in the tight tail of the fit, at their bore or outside."""
    for k, (name, layer) in enumerate(zip(names, seat.stack.layers, strict=True)):
        proof = layer.material.proof_stress
        if proof is None:
            continue
        reached = {t: _extreme(partial(_equivalent, seat, at, t, k), rows) for t in temperatures}
        beyond = {t: stress for t, stress in reached.items() if stress > proof}
        if beyond:
            told = ", ".join(f"{t:g}" for t in beyond)
            yield from yield_warnings(
                f"{name} at {told} °C", max(beyond.values()), proof, _HOW_OFTEN
            )


def _equivalent(seat: Seat, at: SeatInputs, temperature: float, layer: int, z: Rows) -> FloatArray:
    """Greater equivalent stress of a layer's two surfaces, rows (n,) [MPa]."""
    contact = seat.contact(seat.interferences(z, at), temperature)
    pressures = [0.0, *contact.pressures, 0.0]
    inside = mises(contact.hoop_stress(layer, "inner"), -pressures[layer])
    outside = mises(contact.hoop_stress(layer, "outer"), -pressures[layer + 1])
    return np.asarray(np.maximum(inside, outside), dtype=np.float64)


def _extreme(quantity: Callable[[Rows], object], rows: int) -> float:
    """Value of a quantity three standard deviations up its steepest direction from the middle.

    Its 99.87 % quantile, to first order (first-order reliability method).
    """
    around = np.concatenate([np.zeros((rows, 1)), np.eye(rows), -np.eye(rows)], axis=1)
    values = np.broadcast_to(np.asarray(quantity(list(around))), (2 * rows + 1,))
    slope = 0.5 * (values[1 : rows + 1] - values[rows + 1 :])
    length = float(np.hypot.reduce(slope))
    if length == 0.0:
        return float(values[0])
    far = list((_FAR / length) * slope[:, None])
    return float(np.asarray(quantity(far)).ravel()[0])
