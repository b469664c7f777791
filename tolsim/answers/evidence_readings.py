"""Readings that have not been made: drawn from a truth, added to those at hand, evaluated anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tolsim.answers.compare_surface import coordinates
from tolsim.joint.latent import Latent
from tolsim.joint.measured import Measured, measure
from tolsim.spec.parts import Feature
from tolsim.spec.readings import Readings
from tolsim.spec.states import MeasuredState

if TYPE_CHECKING:
    from tolsim.answers.compare_run import Run

__all__ = ["Simulator", "simulator_of"]

FloatArray = NDArray[np.float64]
_GOLDEN = 0.6180339887498949


@dataclass(frozen=True, slots=True)
class Simulator:
    """Simulates readings of one feature and says what the parameters may then be.

    `truth` holds means and spreads of both seats and their correlation under every set, (5, k);
    `table` the rows of normals of the sets that stand for what is left open.
    """

    feature: tuple[str, str]
    supplies: tuple[str, ...]
    n: int
    paired: bool
    readings: Readings | None
    gauge_sd: float
    correlation: float
    truth: FloatArray
    latent: tuple[str, ...]
    table: FloatArray

    @property
    def features(self) -> tuple[tuple[str, str], ...]:
        """What is read: this feature alone."""
        return (self.feature,)

    def after(self, truth: int, parts: int, rng: Generator) -> dict[tuple[str, str], FloatArray]:
        """Coordinates (p, k) of the feature once `parts` more are read, with set `truth` true."""
        return {self.feature: coordinates(self.measured(truth, parts, rng), self.table)}

    def measured(self, truth: int, parts: int, rng: Generator) -> Measured:
        """The feature after the further readings, as `measure` makes it."""
        m1, m2, s1, s2, rho = self.truth[:, truth]
        z = rng.standard_normal((2, parts))
        noise = self.gauge_sd * rng.standard_normal((2, parts))
        first = m1 + s1 * z[0] + noise[0]
        second = m2 + s2 * (rho * z[0] + np.sqrt(max(0.0, 1.0 - rho * rho)) * z[1]) + noise[1]
        latent = Latent()
        for name in self.latent:
            latent.row(name)
        return measure(
            latent,
            self.feature[1],
            self.feature[0],
            _with(self.readings, first, second if self.paired else None),
            gauge_sd=self.gauge_sd,
            correlation=self.correlation,
        )


def _with(readings: Readings | None, first: FloatArray, second: FloatArray | None) -> Readings:
    """Readings with further ones added: both seats of each unit, or one value a part."""
    base = readings if readings is not None else _none()
    values = first if second is None else np.concatenate([first, second])
    step = base.resolution_mm
    if step > 0.0:
        values = np.round(values / step) * step
    side, unit = base.side, base.unit
    count = len(first)
    if second is not None and base.seats is not None:
        names = tuple(f"further {k}" for k in range(count))
        side = (*(side or ()), *(base.seats[0],) * count, *(base.seats[1],) * count)
        unit = (*(unit or ()), *names, *names)
    elif side is not None:
        side = (*side, *(side[0],) * count)
    return replace(
        base,
        deviation=np.concatenate([base.deviation, values]),
        exact=(*base.exact, *(Decimal(v) for v in values.tolist())),
        side=side,
        unit=unit,
        lot=None,
        order=None,
    )


def _none() -> Readings:
    return Readings(
        shown="further readings",
        column="",
        nominal_mm=0.0,
        deviation=np.empty(0),
        exact=(),
        row=(),
        side=None,
        unit=None,
        lot=None,
        order=None,
        seats=None,
        rows_in=0,
        excluded=(),
        understood=(),
        notes=(),
        sha256="",
        resolution_mm=0.0,
        state=MeasuredState(),
    )


def simulator_of(
    run: Run, feature: tuple[str, str], sets: Sequence[int] | NDArray[np.intp]
) -> Simulator | None:
    """The simulator of one feature of a run; None where it is not a normal size."""
    measured: Measured | None = None
    supplies: dict[str, None] = {}
    readings: Readings | None = None
    gauge_sd = 0.0
    for study, joint in zip(run.studies.values(), run.joints, strict=True):
        for build in joint.builds:
            for m in build.measured:
                if (m.part_name, m.key) == feature:
                    measured = m
                    supplies.update(dict.fromkeys(build.names))
        role, _, name = feature[1].partition(".")
        for stratum in study.strata:
            if stratum.names.get(role) != feature[0]:
                continue
            readings = stratum.readings.get(feature[1], readings)
            given = getattr(stratum.parts[role], name, None)
            if not isinstance(given, Feature):
                return None  # alignment, form or settling
            step = given.readings
            if step is not None and readings is not None:
                gauge_sd = readings.gauge_of_mean(step.gauge_sd)
    if measured is None or (measured.shape is not None and measured.shape.name != "normal"):
        return None
    k = run.table.shape[1]
    (m1, m2), (s1, s2), rho = measured.parameters(list(run.table))
    truth = np.array(
        [np.broadcast_to(np.asarray(v, dtype=float), (k,)) for v in (m1, m2, s1, s2, rho)]
    )
    paired = readings is not None and readings.seats is not None and m1 is not m2
    latent, table = _rows_for(run, feature, np.asarray(sets))
    return Simulator(
        feature=feature,
        supplies=tuple(supplies),
        n=0 if readings is None else len(readings),
        paired=paired,
        readings=readings,
        gauge_sd=gauge_sd,
        correlation=measured.correlation,
        truth=truth,
        latent=latent,
        table=table,
    )


def _rows_for(
    run: Run, feature: tuple[str, str], sets: NDArray[np.intp]
) -> tuple[tuple[str, ...], FloatArray]:
    """Names and rows of the sets, with those that readings in place of a range would add."""
    names = list(run.joints[0].latent)
    table = run.table[:, sets]
    for what in ("mean", "sd"):
        name = f"evidence {feature[0]} {feature[1]} {what}"
        if name not in names and f"{name}@1" not in names:
            names.append(name)
            # no other row is spread like it: another start of the same even spread
            places = (
                (np.arange(sets.size) * 0.6180339887 + 0.37 * len(names)) % 1.0 + 1e-6
            ) * 0.999
            from scipy.special import ndtri

            table = np.vstack([table, ndtri(places)])
    return tuple(names), table
