"""Routes written in TOML, from the machine to the seat, against a loop part by part."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tolsim.answers.predict import predict
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

N = 200_000

_BORE = """
part = "bore"
title = "made for a test"
basis = "assumed"
material = "steel-4130"
outside_diameter_mm = 46.0
seat_width_mm = 7.0
span_mm = 82.0
{extra}
[diameter]
nominal_mm = 37.0
band_um = [-40, 0]
state = {{ age_h = 2 }}
{route}
"""

_BEARING = """
part = "bearing"
title = "made for a test"
basis = "assumed"
bore_mm = 25.0
outside_diameter_mm = 37.0
width_mm = 7.0
outside = { band_um = [-9, 0], route = [{ step = "machine", mean_um = -4.5, sd_um = 1.5 }] }
clearance = { band_um = [13, 28] }
"""

_STUDY = """
title = "made for a test"
[joint]
kind = "pressed"
bore = "bores/b"
bearing = "bearings/r"
age_at_assembly_h = 50
{joint}
[limits]
loose = {{ interference_um = 10 }}
"""


def _interference(
    tmp_path: Path, route: str, extra: str = "", joint: str = ""
) -> NDArray[np.float64]:
    """Interference [µm] (2, N) of both seats of a study written to disk."""
    (tmp_path / "bores").mkdir(exist_ok=True)
    (tmp_path / "bearings").mkdir(exist_ok=True)
    (tmp_path / "bores" / "b.toml").write_text(_BORE.format(route=route, extra=extra))
    (tmp_path / "bearings" / "r.toml").write_text(_BEARING)
    (tmp_path / "study.toml").write_text(_STUDY.format(joint=joint))
    model = assemble(load_study(tmp_path))
    z = np.random.default_rng(3).standard_normal((len(model.latent), N))
    rows = list(model.builds[0].interference)
    return 1e3 * model.recording.select(rows)(z)


def _agree(got: NDArray[np.float64], expected: NDArray[np.float64]) -> None:
    """Mean, spread and outer quantiles within five standard errors of two samples."""
    se = np.sqrt(got.var() / got.size + expected.var() / expected.size)
    assert abs(got.mean() - expected.mean()) < 5.0 * se
    assert got.std() == pytest.approx(expected.std(), rel=0.015)
    for q in (0.001, 0.02, 0.5, 0.98, 0.999):
        width = np.sqrt(2.0 * q * (1 - q) / got.size)
        low, high = np.quantile(expected, [max(q - 5 * width, 0.0), min(q + 5 * width, 1.0)])
        assert low - 0.02 <= np.quantile(got, q) <= high + 0.02


def _ring(rng: np.random.Generator) -> NDArray[np.float64]:
    return -4.5 + 1.5 * rng.standard_normal(N)


def _correlation(pair: NDArray[np.float64]) -> float:
    """Correlation of the two rows."""
    a, b = (v - v.mean() for v in pair)
    return float(np.dot(a, b) / np.sqrt(np.dot(a, a) * np.dot(b, b)))


def test_wear_strip_coat_gauge_settle(tmp_path: Path) -> None:
    """The composed route equals parts that walk it one by one."""
    route = """
[[diameter.route]]
step = "tool-wear"
mean_um = -10
sd_um = 2
wear_um_per_part = -0.1
parts_between_offsets = 60
offset_resolution_um = 1
[[diameter.route]]
step = "strip"
depth_um = { shape = "lognormal", mean = 2, sd = 0.4 }
[[diameter.route]]
step = "coat"
thickness_um = { shape = "lognormal", mean = 10, sd = 1 }
outward_share = { shape = "uniform", low = 0.3, high = 0.4 }
[[diameter.route]]
step = "gauge"
accept_um = [-18, -8]
repeatability_um = 0.8
guard_band_um = 0.5
[[diameter.route]]
step = "settle"
mean_um = -6
sd_um = 1
time_h = 36
exponent = 0.6
"""
    got = _interference(tmp_path, route)
    rng = np.random.default_rng(11)
    m = 3 * N
    k = rng.integers(0, 60, m)
    x = -10 - 0.1 * (k - 29.5) + rng.uniform(-0.5, 0.5, m) + 2 * rng.standard_normal(m)
    sigma = np.sqrt(np.log1p(0.04))
    x += 2 * 2 * np.exp(rng.normal(-0.5 * sigma**2, sigma, m))
    sigma = np.sqrt(np.log1p(0.01))
    film = 10 * np.exp(rng.normal(-0.5 * sigma**2, sigma, m))
    x -= 2 * film * rng.uniform(0.3, 0.4, m)
    read = x + 0.8 * rng.standard_normal(m)
    x = x[(read >= -17.5) & (read <= -8.5)][:N]
    share = np.exp(-((2 / 36) ** 0.6)) - np.exp(-((50 / 36) ** 0.6))
    x = x + share * (-6 + rng.standard_normal(x.size))
    _agree(got[0], _ring(rng)[: x.size] - x)


def test_unit_gauge_keeps_the_pair(tmp_path: Path) -> None:
    """A gauge that rejects units leaves the dependence that a loop over units leaves."""
    route = """
[[diameter.route]]
step = "machine"
mean_um = -20
sd_um = 3
[[diameter.route]]
step = "gauge"
accept_um = [-24, -17]
reject = "unit"
"""
    got = _interference(tmp_path, route, "sides = { diameter = 0.7 }")
    rng = np.random.default_rng(5)
    m = 3 * N
    a = rng.standard_normal(m)
    b = 0.7 * a + np.sqrt(1 - 0.49) * rng.standard_normal(m)
    x = -20 + 3 * np.array([a, b])
    x = x[:, ((x >= -24) & (x <= -17)).all(axis=0)][:, :N]
    expected = np.array([_ring(rng)[: x.shape[1]], _ring(rng)[: x.shape[1]]]) - x
    _agree(got[0], expected[0])
    _agree(got[1], expected[1])
    r, wanted = _correlation(got), _correlation(expected)
    assert abs(r - wanted) < 5.0 * np.sqrt(2.0 / x.shape[1])


def test_lot_scatter_is_shared(tmp_path: Path) -> None:
    """Both seats of a unit move with their lot: their correlation is the lot's variance share."""
    route = """
[[diameter.route]]
step = "machine"
mean_um = -20
sd_um = 2
[[diameter.route]]
step = "lot"
between_sd_um = 3
"""
    got = _interference(tmp_path, route)
    wanted = 9.0 / (9.0 + 4.0 + 1.5**2)  # the ring's own scatter dilutes it
    assert abs(_correlation(got) - wanted) < 5.0 / np.sqrt(N)


def test_shared_tool_phase(tmp_path: Path) -> None:
    """Seats from one small lot share the state of the tool."""
    route = """
[[diameter.route]]
step = "tool-wear"
mean_um = -20
sd_um = 1
wear_um_per_part = -0.2
parts_between_offsets = 50
shared_phase = true
"""
    got = _interference(tmp_path, route)
    drift = 0.2**2 * (50**2 - 1) / 12
    wanted = drift / (drift + 1.0 + 1.5**2)
    assert abs(_correlation(got) - wanted) < 5.0 / np.sqrt(N)


@pytest.mark.parametrize("count", [2, 4])
def test_selective_assembly(tmp_path: Path, count: int) -> None:
    """Picked pairs scatter as published for equal-count classes of equal spreads.

    Within-class variances of a normal in k classes of equal probability, k = 2: 0.363380,
    k = 4: 0.139441 (computed; Cox 1957 and Max 1960 give the optimal classes).
    """
    route = '[[diameter.route]]\nstep = "machine"\nmean_um = -20\nsd_um = 1.5\n'
    joint = f'pick = {{ classes = {count}, by = "count" }}'
    got = _interference(tmp_path, route, joint=joint)
    within = {2: 0.363380, 3: 0.206771, 4: 0.139441}[count]
    assert got[0].var() == pytest.approx(2.0 * within * 1.5**2, rel=0.02)


def test_scrap_is_exact(tmp_path: Path) -> None:
    """The scrap of a gauge on a plain normal is the normal's own tail."""
    from scipy.special import ndtr

    route = """
[[diameter.route]]
step = "machine"
mean_um = -20
sd_um = 2
[[diameter.route]]
step = "gauge"
accept_um = [-22, -17]
"""
    _interference(tmp_path, route)
    p = predict(load_study(tmp_path), draws=2**14, workers=1, plain=True, glance=False)
    assert p.scrap[0].share == pytest.approx(ndtr(-1.0) + ndtr(-1.5), abs=1e-9)


def test_tool_wear_needs_its_first_place(tmp_path: Path) -> None:
    """A second machine in a route is a fault with its line."""
    from tolsim.errors import SpecError

    route = """
[[diameter.route]]
step = "machine"
mean_um = -20
sd_um = 2
[[diameter.route]]
step = "tool-wear"
mean_um = 0
sd_um = 1
wear_um_per_part = 0.1
parts_between_offsets = 10
"""
    with pytest.raises(SpecError, match="only the first step"):
        _interference(tmp_path, route)
