"""Costs of bands: curves, tables, classes, and the scrap of a gauge against its exact share."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import integrate, stats

from tolsim.answers.costs import band_cost, scrap_share
from tolsim.process.gauging import Window, passed
from tolsim.process.plain import Normal, Uniform
from tolsim.spec.choices import BandCost


def test_a_table_goes_through_its_points_and_stays_flat_beyond() -> None:
    """Costs of a table at its points, monotone between, flat outside."""
    curve = BandCost(at=((8.0, 4.0), (16.0, 2.0), (40.0, 1.5)))
    for width, cost in ((8.0, 4.0), (16.0, 2.0), (40.0, 1.5), (4.0, 4.0), (60.0, 1.5)):
        assert band_cost(curve, width)[0] == pytest.approx(cost)
    between = [band_cost(curve, w)[0] for w in np.linspace(8.0, 40.0, 50)]
    assert all(b <= a + 1e-12 for a, b in itertools.pairwise(between))


def test_a_class_costs_what_is_listed() -> None:
    """A class by its name; a width that belongs to none by the formula."""
    curve = BandCost(fixed=1.0, per_width=10.0, classes={"P6": 2.5})
    assert band_cost(curve, 16.0, "P6") == (2.5, 0.0)
    assert band_cost(curve, 10.0)[0] == pytest.approx(2.0)


def test_scrap_of_a_noisy_gauge_on_a_normal_process() -> None:
    """The reading is normal too: variances add."""
    lost = scrap_share(((1.0, Normal(mean=0.0, sd=3e-3)),), 1e-3, 8e-3, 1e-3)
    sd = math.hypot(3.0, 1.0)
    exact = stats.norm.cdf(-3.0 / sd) + stats.norm.sf(5.0 / sd)
    assert lost == pytest.approx(float(exact), rel=1e-9)


def test_scrap_of_a_noisy_gauge_on_another_process() -> None:
    """Against adaptive integration, and against the process that the gauge lets through."""
    process, low, high, sd = Uniform(low=-6e-3, high=6e-3), -4e-3, 5e-3, 0.8e-3

    def passing(x: float) -> float:
        return float(stats.norm.cdf((high - x) / sd) - stats.norm.cdf((low - x) / sd)) / 12e-3

    exact, _ = integrate.quad(passing, -6e-3, 6e-3, epsabs=1e-10)
    lost = scrap_share(((1.0, process),), 0.5e-3, 9e-3, sd)
    assert lost == pytest.approx(1.0 - exact, rel=2e-3)
    assert lost == pytest.approx(
        1.0 - passed(process, Window(low=low, high=high, sd=sd)).accepted, rel=2e-3
    )


def test_supplies_are_sorted_each_by_itself() -> None:
    """Shares of the supplies weigh what each of them loses."""
    good, bad = Normal(mean=0.0, sd=1e-3), Normal(mean=9e-3, sd=1e-4)
    lost = scrap_share(((0.75, good), (0.25, bad)), 0.0, 6e-3, 0.0)
    assert lost == pytest.approx(0.25 + 0.75 * 2.0 * float(stats.norm.sf(3.0)), rel=1e-6)
