"""Readings against the NIST StRD univariate sets and NIST dimension data.

Sets and certified values: NIST Statistical Reference Datasets, univariate summary statistics,
public domain, as kept in the repository usnistgov/dataplot (commit 19a6caae, licence NIST-PD).
"""

from __future__ import annotations

import csv
import math
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from tolsim.spec.readings import exact_mean_sd, read_readings
from tolsim.spec.tables import read_table

DATA = Path(__file__).parent / "data"
STRD = DATA / "strd"
with (STRD / "certified.csv").open(newline="") as handle:
    CERTIFIED = {row["name"]: row for row in csv.DictReader(handle)}


def digits(got: float, certified: str) -> float:
    """Number of correct digits: minus log10 of the relative error, at most 15."""
    error = abs(Decimal(repr(got)) - Decimal(certified)) / abs(Decimal(certified))
    return 15.0 if error == 0 else min(15.0, -math.log10(error))


@pytest.mark.parametrize("name", sorted(CERTIFIED))
def test_mean_and_sd_have_fourteen_digits(name: str) -> None:
    """Mean and standard deviation of all nine sets agree with NIST to 14 digits."""
    row = CERTIFIED[name]
    path = STRD / f"{name}.csv"
    table = read_table(path, shown=path.name, wanted=["y"])
    values = [Decimal(cell) for cell in table.cells(0)]
    assert len(values) == int(row["n"])
    mean, sd = exact_mean_sd(values)
    assert digits(float(mean), row["certified_mean"]) >= 14.0
    assert digits(float(sd), row["certified_sd"]) >= 14.0


@pytest.mark.parametrize(
    ("name", "nominal"),
    [
        ("Mavro", 2.0),
        ("Michelso", 300.0),
        ("NumAcc1", 10_000_002.0),
        ("NumAcc2", 1.2),
        ("NumAcc3", 1_000_000.0),
        ("NumAcc4", 10_000_000.0),
    ],
)
def test_floats_of_deviations_keep_the_spread(name: str, nominal: float) -> None:
    """Nominal is taken off in decimals, so even plain float statistics keep 13 digits of the sd.

    Plain floats of the values themselves hold 8 or 9 digits of the sd of NumAcc3 and NumAcc4.
    """
    row = CERTIFIED[name]
    path = STRD / f"{name}.csv"
    got = read_readings(path, shown=path.name, column="y", nominal_mm=nominal)
    mean = Decimal(row["certified_mean"]) - Decimal(repr(nominal))
    assert digits(float(got.deviation.std(ddof=1)), row["certified_sd"]) >= 13.0
    assert digits(got.mean_sd()[1], row["certified_sd"]) >= 14.0
    if mean:
        assert digits(got.mean_sd()[0], str(mean)) >= 14.0


def test_gear_diameters_give_the_published_statistics() -> None:
    """Ten batches of gear diameters: F and Bartlett's statistic as the NIST handbook prints them.

    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.4 and 1.3.5.7 (values from memory):
    F = 2.2969, Bartlett 20.7859. Both are free of unit and nominal. Readings are written in steps
    of 0.001.
    """
    path = DATA / "nist_gear_diameter.csv"
    got = read_readings(path, shown=path.name, column="diameter", nominal_mm=1.0, lot="batch")
    lots = list(got.by_lot().values())
    assert [v.size for v in lots] == [10] * 10
    assert scipy.stats.f_oneway(*lots).statistic == pytest.approx(2.2969, abs=0.5e-4)
    assert scipy.stats.bartlett(*lots).statistic == pytest.approx(20.7859, abs=0.5e-4)
    assert got.resolution_mm == 0.001


def test_machine_diameters_come_in_inches() -> None:
    """A column in inches becomes deviations in mm; the spread scales by exactly 25.4."""
    path = DATA / "nist_machine_diameter_in.csv"
    got = read_readings(
        path, shown=path.name, column="diameter_in", nominal_mm=3.175, lot="machine"
    )
    raw = np.loadtxt(path, delimiter=",", skiprows=1, usecols=4)
    assert len(got) == raw.size == 180
    np.testing.assert_allclose(got.deviation, (raw - 0.125) * 25.4, rtol=0, atol=1e-15)
    assert got.resolution_mm == pytest.approx(0.00254)
    assert "columns not used: day, time_1am_2pm, sample" in got.understood
