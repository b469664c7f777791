"""A measured feature in the shape that its readings ask for, or that it is stated to have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.latent import Latent, Rows
from tolsim.joint.measured import Measured, Parameters, measure
from tolsim.joint.measured_lots import Lots, about_lots, lots_by_seat, over_lots
from tolsim.joint.shape_taken import ShapeTaken, evidence_of, shape_of
from tolsim.joint.shaped_seats import SeatsDensity, both_parameters, both_sizes
from tolsim.process.rounding import spread_ties
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.record import Array
from tolsim.spec.readings import Readings

__all__ = ["measure_shaped"]

FloatArray = NDArray[np.float64]
_END = 2.5  # normal deviate of a size that is called large


def measure_shaped(
    latent: Latent,
    key: str,
    part_name: str,
    readings: Readings,
    *,
    gauge_sd: float,
    correlation: float | None,
    shape: str,
    sorted_later: bool = False,
    any_lot: bool = False,
) -> Measured:
    """The process of a feature from its readings.

    Parameters
    ----------
    latent : Latent
        Registry that gets the rows this feature needs.
    key, part_name : str
        Name of the feature, ``bore.diameter``, and of the part; rows are named after them.
    readings : Readings
        Of the feature.
    gauge_sd : float
        Repeatability of the gauge that made them [mm].
    correlation : float or None
        Of the two seats within a unit; None takes it from the readings.
    shape : str
        A shape, or ``choose``: that which the readings ask for.
    sorted_later : bool
        A gauge follows in the route, which works on normal processes only.
    any_lot : bool
        Lots are random effects of normal parts, where the readings name lots that can tell. Where
        a study states another shape for such readings its reader has refused it.

    Raises
    ------
    ValueError
        If the shape stated cannot be fitted to these readings.
    """
    lots = lots_by_seat(readings) if any_lot else ()
    if lots:
        return _over_lots(
            latent,
            measure(Latent(), key, part_name, readings, gauge_sd=gauge_sd, correlation=correlation),
            lots,
            readings,
            shape=shape,
            gauge_sd=gauge_sd,
        )
    values = _by_seat(readings)
    taken = shape_of(values, shape, gauge_sd=gauge_sd, step=readings.resolution_mm)
    if taken.name != "normal" and sorted_later:
        taken = taken.as_normal("a gauge after the readings sorts a normal process only")
    plain = measure(
        latent if taken.name == "normal" else Latent(),
        key,
        part_name,
        readings,
        gauge_sd=gauge_sd,
        correlation=correlation,
    )
    found = plain
    if taken.name != "normal":
        found = _in_shape(latent, plain, taken, values, readings, gauge_sd=gauge_sd)
    alike = any(float(np.ptp(v)) == 0.0 for v in values)
    alone = "gauge" if sorted_later else "alike" if alike else None
    return replace(found, shape=replace(taken, alone=alone))


def _by_seat(readings: Readings) -> list[FloatArray]:
    """Readings of either seat where the file tells them apart, else of both together."""
    groups = list(readings.by_seat().values())
    return groups if readings.seats is not None and len(groups) == 2 else [readings.deviation]


def _over_lots(
    latent: Latent,
    plain: Measured,
    lots: Lots,
    readings: Readings,
    *,
    shape: str,
    gauge_sd: float,
) -> Measured:
    """Normal parts of any lot; what else their readings ask for is told."""
    taken = shape_of(about_lots(lots), shape, gauge_sd=gauge_sd, step=0.0)
    if taken.name != "normal":
        taken = taken.as_normal("lots are worked for normal parts only")
    found = over_lots(latent, plain, lots, readings, gauge_sd=gauge_sd)
    return replace(found, shape=replace(taken, alone="lots"))


def _in_shape(
    latent: Latent,
    plain: Measured,
    taken: ShapeTaken,
    values: Sequence[FloatArray],
    readings: Readings,
    *,
    gauge_sd: float,
) -> Measured:
    """The feature in another shape than the normal, in place of its readings taken as normal."""
    key = plain.key
    # readings that share a step stand for all sizes within it
    found = [
        evidence_of(spread_ties(v, readings.resolution_mm), taken.name, gauge_sd) for v in values
    ]
    rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))
    base = f"evidence {plain.part_name} {key}"
    both, rho = both_parameters(latent, base, found, readings, plain.correlation)
    first, second = found[0], found[-1]

    def parameters(z: Rows) -> Parameters:
        one, two, r = both(z)
        m1, s1 = first.moments(one)
        m2, s2 = (m1, s1) if two is one else second.moments(two)
        return (m1, m2), (s1, s2), r

    def ends(z: Rows) -> tuple[tuple[Array, Array], ...]:
        one, two, _ = both(z)
        out = [_ends(first, one)]
        return (*out, _ends(second, two)) if two is not one else tuple(out)

    fitted = (first.fitted, second.fitted)
    return replace(
        plain,
        n=(first.n, second.n),
        means=(fitted[0].mean, fitted[1].mean),
        sds=(fitted[0].sd, fitted[1].sd),
        correlation=rho,
        parameters=parameters,
        seats=both_sizes(first, second, both, rows),
        notes=(*plain.notes, f"{key}: {taken.reason}", *(n for e in found for n in e.notes)),
        density=SeatsDensity(first, second, both),
        ends=ends,
        fitted=fitted,
    )


def _ends(found: ShapedEvidence, theta: Sequence[Array]) -> tuple[Array, Array]:
    """A small and a large size [mm] under each set of parameters."""
    at = np.full(np.broadcast_shapes(*(np.shape(t) for t in theta)), _END)
    return found.size(-at, theta), found.size(at, theta)
