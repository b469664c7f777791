"""Small rates of windows over any two quantities: the closed form, and what `predict` finds."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.studies import write
from tolsim.answers.predict import predict
from tolsim.answers.window import Window, window
from tolsim.answers.window_axes import axes_of
from tolsim.spec.load import Study, load_study

OFFSET, TILT = "bore.alignment.offset.sd", "bore.alignment.tilt.sd"
SPAN = 82.0
LIMIT = 100.0  # micrometres between the axes at mid-span


def _study(folder: Path, target: float) -> Study:
    write(
        folder,
        bore_more="[alignment]\noffset_um = { sd = 10 }\ntilt_deg = { sd = 0.01 }\n",
        limits=f"misaligned = {{ offset_um = {LIMIT} }}\n[targets]\nmisaligned = {target}\n",
    )
    text = (folder / "bores" / "b.toml").read_text()
    head, _, tail = text.partition("[alignment]")
    table, _, rest = tail.partition("[diameter]")
    (folder / "bores" / "b.toml").write_text(f"{head}[diameter]{rest}[alignment]{table}")
    return load_study(folder)


def _exact(offset: float, tilt: float) -> float:
    """Share of units whose axes are too far apart: a Rayleigh distance."""
    tilted = 0.5e3 * SPAN * math.radians(tilt)
    return math.exp(-0.5 * LIMIT**2 / (2.0 * offset**2 + 2.0 * tilted**2))


@pytest.fixture(scope="module", params=[1e-3, 1e-5])
def seen(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Study, Window]:
    """A study with a target on misalignment, and its window over both spreads."""
    study = _study(tmp_path_factory.mktemp("window"), request.param)
    w = window(
        study, OFFSET, TILT, x_range=(8.0, 22.0), y_range=(0.004, 0.02), points=12, workers=1
    )
    return study, w


def test_small_rates_are_the_closed_form(seen: tuple[Study, Window]) -> None:
    """Down to a hundredth of the target every point lies within its interval, widened by half."""
    _, w = seen
    assert "weighted draws" in w.method
    r = w.rates["misaligned"]
    small = 0
    for j, tilt in enumerate(w.y):
        for i, offset in enumerate(w.x):
            exact = _exact(1e3 * float(offset), math.degrees(float(tilt)))
            if exact < 1e-2 * w.targets["misaligned"]:
                continue
            value, low, high = (float(v[j, i]) for v in (r.value, r.low, r.high))
            assert value - 1.6 * (value - low) - 0.03 * exact <= exact
            assert exact <= value + 1.6 * (high - value) + 0.03 * exact
            small += int(exact < 1e-4)
            if exact < 1e-4:
                assert high < 2.5 * value
                assert low > 0.3 * value
    assert small >= 10


def test_a_point_is_what_predict_finds_there(seen: tuple[Study, Window]) -> None:
    """Where the rate is near its target a prediction agrees within both intervals."""
    study, w = seen
    axes = axes_of(study, OFFSET, TILT)
    target = w.targets["misaligned"]
    r = w.rates["misaligned"]
    near = np.argwhere((r.value > 0.3 * target) & (r.value < 3.0 * target))
    assert len(near) >= 3
    for j, i in near[:: max(1, len(near) // 3)]:
        m = predict(axes.at(float(w.x[i]), float(w.y[j])), seed=9, glance=False).modes["misaligned"]
        assert m is not None
        low, high = m.simulation
        assert max(low, float(r.low[j, i])) <= min(high, float(r.high[j, i]))


def test_the_demand_meets_its_target(seen: tuple[Study, Window]) -> None:
    """The box that is demanded meets the target at its corner by the closed form."""
    _, w = seen
    assert w.demand is not None
    offset, tilt = 1e3 * w.demand.box.x[1], math.degrees(w.demand.box.y[1])
    exact = _exact(offset, tilt)
    assert exact <= w.targets["misaligned"]
    assert exact > 0.3 * w.targets["misaligned"]
