"""Intervals of sizes: inside them real units hold, outside they fail, unit by unit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tolsim.answers.window_axes import axes_of
from tolsim.answers.window_edges import Finder, NotOneWay, probe_of, why_not
from tolsim.chance.streams import BLOCK
from tolsim.spec.load import load_study

STUDIES = Path(__file__).parents[2] / "studies"
MODES = ("loose", "tight", "misaligned", "creak")


@pytest.mark.parametrize("name", ["north-seat", "sleeved-alloy", "steel-all-year"])
def test_intervals_say_which_units_fail(name: str) -> None:
    """Every unit whose sizes lie in its intervals holds, every other one fails.

    Sizes within the tolerance of an edge may fall to either side: 2 of 10 000 may differ.
    """
    axes = axes_of(load_study(STUDIES / name), "bore.diameter.mean", "bore.diameter.sd")
    today = axes.today()[0]
    mean, sd = today.x[0] + today.y[0], 2.0 * today.y[0]
    study = axes.at(mean, sd)
    (probe,) = probe_of(study, "bore.diameter", MODES, (mean - 6 * sd, mean + 6 * sd), 1)
    finder = Finder(probe, 1, 1e-6)
    found = finder.find(3)
    z = np.random.default_rng(4).standard_normal((2, BLOCK))
    tied = probe.rho * z[0] + np.sqrt(1.0 - probe.rho**2) * z[1]
    sizes = mean + sd * np.array([z[0], tied])
    probe.set(finder.run.z, sizes[0], sizes[1])
    out = finder.run()
    failures = 0
    for mode in MODES:
        rows = probe.rows[mode]
        own = [*rows.free, *(k for side in (*rows.lower, *rows.upper) for k in side)]
        fails = (out[own] < 0.0).any(axis=0)
        e = found[mode]
        outside = ((sizes < e.low) | (sizes > e.high)).any(axis=0)
        assert np.count_nonzero(fails != (e.anyway | outside)) <= 2
        failures += int(np.count_nonzero(fails))
    assert failures > 60


def test_margins_of_both_seats_do_not_split() -> None:
    """A glued sleeve lies in the gap that both bores leave: no interval of one seat says it."""
    axes = axes_of(load_study(STUDIES / "bonded-carbon"), "bore.diameter.mean", "bore.diameter.sd")
    study = axes.at(0.0, 0.01)
    assert why_not(study, "bore.diameter") is None
    with pytest.raises(NotOneWay):
        probe_of(study, "bore.diameter", MODES, (-0.06, 0.06), 1)


def test_what_ties_sizes_to_other_things_is_said() -> None:
    """Readings, parts picked to match and a sleeve tied to itself rule the intervals out."""
    study = load_study(STUDIES / "sleeved-alloy")
    assert why_not(study, "sleeve.inside") == "inside and outside of the sleeve are tied"
    (stratum,) = study.strata
    sleeve = stratum.parts["sleeve"].model_copy(update={"together": 0.0})
    free = replace(study, strata=(replace(stratum, parts={**stratum.parts, "sleeve": sleeve}),))
    assert why_not(free, "sleeve.inside") is None
    measured = load_study(STUDIES / "north-seat")
    assert why_not(measured, "bore.diameter") == "the process rests on readings"
    assert why_not(measured, "bore.alignment.tilt") is not None
