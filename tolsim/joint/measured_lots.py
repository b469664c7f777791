"""A measured feature whose readings name their lots: parts of any lot, the next one included.

Lots are random effects. Each seat has a mean, a spread between lots and one within them, drawn from
what so few lots allow; both seats of a unit come out of one lot and share its offset, so their
sizes are tied by it besides their own correlation within a lot.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.latent import Latent, Rows
from tolsim.joint.measured import MIN_PAIRS, Measured, Parameters, seats_of
from tolsim.process.lots import LotEvidence, lot_evidence
from tolsim.record import Array
from tolsim.spec.readings import Readings

__all__ = ["Lots", "about_lots", "lots_by_seat", "over_lots"]

FloatArray = NDArray[np.float64]
#: Sizes [mm] of a seat and the lot of each, seat by seat.
Lots = tuple[tuple[FloatArray, tuple[str, ...]], ...]
_NARROW = 1e-7


def lots_by_seat(readings: Readings) -> Lots:
    """Sizes and lots of each seat; none where the lots say nothing of lots.

    That is one lot, a lot for each part, lots with one mean to the last digit or without spread.
    Seats of one unit are alike and would count twice together.
    """
    if readings.lot is None:
        return ()
    lots = np.array(readings.lot)
    side = np.array(readings.side) if readings.side is not None else np.full(len(lots), "")
    names = readings.seats or (str(side[0]),)
    if readings.seats is None:
        side = np.full(len(lots), names[0])
    out = []
    for name in names:
        at = np.flatnonzero(side == name)
        found = tuple(lots[at].tolist())
        if not 2 <= len(set(found)) < len(found):
            return ()
        value = readings.deviation[at]
        if len(np.unique(value)) < 3 or _alike(value, found):
            return ()
        out.append((value, found))
    return tuple(out)


def _alike(value: FloatArray, lots: tuple[str, ...]) -> bool:
    means = {float(value[np.array(lots) == name].mean()) for name in set(lots)}
    spread = any(np.ptp(value[np.array(lots) == name]) > 0.0 for name in set(lots))
    return len(means) < 2 or not spread


def about_lots(lots: Lots) -> list[FloatArray]:
    """Sizes of each seat with the differences of the lots' means taken out [mm]."""
    out = []
    for value, names in lots:
        x, where = value.copy(), np.array(names)
        for name in set(names):
            x[where == name] += value.mean() - x[where == name].mean()
        out.append(x)
    return out


def over_lots(
    latent: Latent, plain: Measured, lots: Lots, readings: Readings, *, gauge_sd: float
) -> Measured:
    """The feature over all lots, measured or not, in place of its readings taken as one lot.

    Means and spreads between lots move together at both seats, as the lots do.
    """
    base = f"evidence {plain.part_name} {plain.key} lots"
    mean, between, within = (
        latent.row(f"{base} {name}", evidence=True) for name in ("mean", "between", "within")
    )
    found = [
        lot_evidence(value, names, gauge_sd=gauge_sd, held=readings.lot_spread_held)
        for value, names in lots
    ]
    first, second = found[0], found[-1]
    tie = plain.correlation if len(found) == 1 else _within(readings, plain.correlation)

    def parameters(z: Rows) -> Parameters:
        rows = mean(z), between(z), within(z)
        m1, b1, w1 = first.parameters(*rows)
        m2, b2, w2 = second.parameters(*rows) if second is not first else (m1, b1, w1)
        s1, s2 = _whole(b1, w1), _whole(b2, w2)
        return (m1, m2), (s1, s2), (b1 * b2 + tie * w1 * w2) / (s1 * s2)

    rows = (latent.row(f"{plain.key}@1"), latent.row(f"{plain.key}@2"))
    sds = tuple(float(np.hypot(e.between_sd, _known(e))) for e in (first, second))
    return replace(
        plain,
        means=(first.mean, second.mean),
        sds=(sds[0], sds[1]),
        parameters=parameters,
        seats=seats_of(parameters, rows),
        follows=len(readings.pairs()) < MIN_PAIRS,
    )


def _known(e: LotEvidence) -> float:
    return float(np.sqrt(max(e.within_sd**2 - e.gauge_sd**2, 0.0)))


def _whole(between: Array, within: Array) -> Array:
    return np.sqrt(np.maximum(between * between + within * within, _NARROW**2))


def _within(readings: Readings, correlation: float) -> float:
    """Correlation of the seats of a unit about the means of its lot; the part's own where fewer
    than four units tell it."""
    assert readings.lot is not None
    at = readings.paired_rows()
    if len(at) < MIN_PAIRS:
        return correlation
    lots = np.array(readings.lot)[at[:, 0]]
    x = readings.deviation[at].copy()
    for name in set(lots.tolist()):
        x[lots == name] -= x[lots == name].mean(axis=0)
    scale = float(np.sqrt((x[:, 0] ** 2).sum() * (x[:, 1] ** 2).sum()))
    return float((x[:, 0] * x[:, 1]).sum()) / scale if scale > 0.0 else 0.0
