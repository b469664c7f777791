"""Small rates of a window: closed forms far beyond what plain draws reach; integrated mixtures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.window import window
from tolsim.answers.window_axes import axes_of
from tolsim.answers.window_mesh import of_errors
from tolsim.answers.window_tails import without_rows
from tolsim.chance.densities import Mixture, Shaped
from tolsim.spec.load import load_study


def test_small_rates_are_the_closed_form(tmp_path: Path) -> None:
    """Narrow bores whose looseness the ring alone decides, down to 1e-9, in their intervals.

    At each point one seat or the other has no interference: two independent normal gaps. Three
    times each interval's half, of some 25 points.
    """
    write(
        tmp_path,
        bore_route=machine("diameter", -10.0, 2.0),
        ring_route=machine("outside", -4.0, 1.5),
        limits="loose = { interference_um = 0 }\n[targets]\nloose = 0.001\n",
    )
    w = window(
        load_study(tmp_path),
        "bore.diameter.mean",
        "bore.diameter.sd",
        x_range=(-16.0, -9.0),
        y_range=(0.3, 2.0),
        points=8,
    )
    r = w.rates["loose"]
    small = 0
    for j, sd in enumerate(w.y):
        for i, mean in enumerate(w.x):
            gap = (1e3 * float(mean) + 4.0) / np.hypot(1e3 * float(sd), 1.5)
            p = float(stats.norm.cdf(gap))
            exact = 2.0 * p - p * p
            if exact < 1e-9:
                assert r.low[j, i] <= exact <= 3.0 * r.high[j, i]
                continue
            small += int(exact < 1e-5)
            value, low, high = (float(v[j, i]) for v in (r.value, r.low, r.high))
            assert value - 1.5 * (value - low) - 0.01 * exact <= exact
            assert value + 1.5 * (high - value) + 0.01 * exact >= exact
            assert high < 1.5 * value
    assert small >= 10


def test_nil_is_told_as_a_bound() -> None:
    """A share below 1e-9 has an interval from 0 to that, whatever its error seems to be."""
    s = of_errors(np.array([1e-15, 1e-3]), np.array([1e-17, 1e-5]))
    assert s.low[0] == 0.0
    assert s.high[0] == pytest.approx(1e-9)
    assert s.low[1] == pytest.approx(1e-3, rel=0.03)


def test_rows_are_integrated_out_of_a_mixture() -> None:
    """What is left is the normal density of the remaining rows, over that of plain draws."""
    rng = np.random.default_rng(2)
    axes = np.linalg.qr(rng.standard_normal((4, 2)))[0]
    shape = Shaped(mean=rng.standard_normal(4), axes=axes, variances=np.array([0.3, 2.0]))
    whole = Mixture(weights=np.ones(1), points=np.zeros((4, 0)), shaped=(shape,))
    left = without_rows(whole, [1])
    full = np.eye(4) + axes @ np.diag(shape.variances - 1.0) @ axes.T
    (s,) = left.shaped
    found = s.scale * np.eye(3) + s.axes @ np.diag(s.variances - s.scale) @ s.axes.T
    keep = [0, 2, 3]
    assert found == pytest.approx(full[np.ix_(keep, keep)])
    assert s.mean == pytest.approx(shape.mean[keep])
    z = rng.standard_normal((3, 5))
    exact = stats.multivariate_normal.logpdf(z.T, shape.mean[keep], full[np.ix_(keep, keep)])
    plain = stats.norm.logpdf(z).sum(axis=0)
    assert s.log_ratio(z) == pytest.approx(exact - plain)


@pytest.mark.parametrize("target", [1e-3, 1e-5])
def test_a_point_near_a_small_target_is_what_predict_finds_there(
    tmp_path: Path, target: float
) -> None:
    """Where the contour of a target runs, a prediction agrees within both intervals."""
    write(
        tmp_path,
        bore_route=machine("diameter", -14.0, 2.0),
        ring_route=machine("outside", -4.0, 1.5),
        limits=f"loose = {{ interference_um = 0 }}\n[targets]\nloose = {target}\n",
    )
    study = load_study(tmp_path)
    x, y = "bore.diameter.mean", "bore.diameter.sd"
    w = window(study, x, y, x_range=(-20.0, -8.0), y_range=(0.8, 3.0), points=12)
    r = w.rates["loose"]
    near = np.argwhere((r.value > 0.3 * target) & (r.value < 3.0 * target))
    assert len(near) >= 3
    axes = axes_of(study, x, y)
    for j, i in near[:: max(1, len(near) // 4)]:
        p = predict(axes.at(float(w.x[i]), float(w.y[j])), seed=9, glance=False)
        m = p.modes["loose"]
        assert m is not None
        low, high = m.simulation
        assert max(low, float(r.low[j, i])) <= min(high, float(r.high[j, i]))
        assert float(r.high[j, i]) < 1.3 * float(r.value[j, i])
