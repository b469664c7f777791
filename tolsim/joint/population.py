"""The parts of one feature as they come from a shop: what a box plot shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tolsim.process.base import Process
from tolsim.spec.readings import Readings

__all__ = ["Population", "population_of_process", "population_of_readings"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Population:
    """Five numbers of a feature [mm from nominal] at the gauge, with its drawing band.

    `low`, `q1`, `median`, `q3`, `high`: of readings the smallest and largest within 1.5 times
    the quartile distance, with `beyond` the others; of an assumed process its 0.135, 25, 50, 75
    and 99.865 % points. `n` is the number of readings, None for an assumption.
    """

    feature: str
    part: str
    seat: str | None
    band: tuple[float, float] | None
    n: int | None
    low: float
    q1: float
    median: float
    q3: float
    high: float
    beyond: tuple[float, ...] = ()


def population_of_readings(
    feature: str, part: str, band: tuple[float, float] | None, readings: Readings
) -> tuple[Population, ...]:
    """One population a seat, quartiles by linear interpolation between order statistics."""
    out = []
    for seat, values in readings.by_seat().items():
        q1, median, q3 = (float(q) for q in np.quantile(values, [0.25, 0.5, 0.75]))
        reach = 1.5 * (q3 - q1)
        inside = values[(values >= q1 - reach) & (values <= q3 + reach)]
        beyond = values[(values < q1 - reach) | (values > q3 + reach)]
        out.append(
            Population(
                feature=feature,
                part=part,
                seat=seat or None,
                band=band,
                n=len(values),
                low=float(inside.min()),
                q1=q1,
                median=median,
                q3=q3,
                high=float(inside.max()),
                beyond=tuple(float(v) for v in np.sort(beyond)),
            )
        )
    return tuple(out)


def population_of_process(
    feature: str, part: str, band: tuple[float, float] | None, process: Process
) -> Population:
    """The population that a process stands for."""
    low, q1, median, q3, high = (
        float(v) for v in process.quantile([0.00135, 0.25, 0.5, 0.75, 0.99865])
    )
    return Population(
        feature=feature,
        part=part,
        seat=None,
        band=band,
        n=None,
        low=low,
        q1=q1,
        median=median,
        q3=q3,
        high=high,
    )
