"""Scatter of single readings in taper and ovality: how much of it, and that it is taken out."""

from __future__ import annotations

import math
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from tolsim.spec.form_noise import Gains, noise_of
from tolsim.spec.measured_parts import read_bore_or_size
from tolsim.spec.readings import Readings
from tolsim.spec.route_steps import Readings as Step
from tolsim.spec.wide import read_bores

ANGLES = (0, 45, 90, 135)
DEPTHS = (1, 6)


def file(path: Path, n: int, rng: np.random.Generator, wave: float, scatter: float) -> Path:
    """n bores whose components of the oval vary by `wave` um in diameters, read with scatter."""
    lines = ["unit," + ",".join(f"z{z} a{a}_um" for z, a in product(DEPTHS, ANGLES))]
    for unit in range(n):
        c, s = wave * rng.standard_normal(2)
        taper = 2.0 + 0.5 * rng.standard_normal()
        sizes = [
            -20.0
            + taper * (z - 3.5) / 5.0
            + c * math.cos(2 * math.radians(a))
            + s * math.sin(2 * math.radians(a))
            + scatter * rng.standard_normal()
            for z, a in product(DEPTHS, ANGLES)
        ]
        lines.append(f"{unit}," + ",".join(f"{v:.5f}" for v in sizes))
    path.write_text("\n".join(lines) + "\n")
    return path


def read(path: Path, **more: object) -> Readings:
    step = Step.model_validate({"step": "readings", "file": path.name, "wide": True, **more})
    return read_bore_or_size(step, path, shown=path.name, nominal_mm=37.0)


def test_gains_of_an_even_grid_are_those_of_the_textbook(tmp_path: Path) -> None:
    """Orthogonal columns: 1/sqrt(m) for the mean, 2/sqrt(m) for two depths, sqrt(2/m) a wave.

    Diagonal of (X'X)^-1 for m = 8 readings, by hand.
    """
    path = file(tmp_path / "b.csv", 3, np.random.default_rng(1), 1.0, 0.0)
    bores = read_bores(path, shown="b.csv", nominal_mm=37.0, unit="unit")
    assert bores.gains is not None
    assert bores.gains.mean == pytest.approx(1.0 / math.sqrt(8.0))
    assert bores.gains.taper == pytest.approx(2.0 / math.sqrt(8.0))
    assert bores.gains.wave == pytest.approx(math.sqrt(2.0 / 8.0))


@pytest.mark.parametrize("stated", [True, False])
def test_ovality_is_free_of_the_bias_that_scatter_gives(tmp_path: Path, stated: bool) -> None:
    """2000 bores, scatter of a reading twice the wave's own: their spread comes back, while that
    of the figures as read is too large by what least squares says."""
    n, wave, scatter = 2000, 1.0, 2.0
    path = file(tmp_path / "b.csv", n, np.random.default_rng(2), wave, scatter)
    got = read(path, **({"gauge_sd_um": scatter} if stated else {}))
    # mean square of a component of the radial amplitude [um2]: ovality is 4 times its length
    raw = float(((1e3 * np.asarray(got.oval)) ** 2).mean()) / 16.0 / 2.0
    observed = (wave**2 + scatter**2 / 4.0) / 4.0
    error = observed / math.sqrt(n)  # chi-square with 2 n degrees of freedom
    assert raw == pytest.approx(observed, abs=4.0 * error)
    # what the fit leaves adds the error of its own variance, 4 n degrees of freedom
    own = 0.0 if stated else scatter**2 / 16.0 * math.sqrt(2.0 / (4.0 * n))
    assert 1e6 * got.oval_variance() == pytest.approx(
        wave**2 / 4.0, abs=4.0 * math.hypot(error, own)
    )


def test_a_round_bore_looks_as_oval_as_is_said(tmp_path: Path) -> None:
    """Round bores read with scatter: the mean ovality as read is the one that the note tells."""
    n = 1500
    path = file(tmp_path / "b.csv", n, np.random.default_rng(3), 0.0, 1.5)
    got = read(path, gauge_sd_um=1.5)
    assert got.noise is not None
    oval = np.asarray(got.oval)
    error = float(oval.std(ddof=1)) / math.sqrt(n)
    assert float(oval.mean()) == pytest.approx(got.noise.looks_oval, abs=4.0 * error)
    told = " ".join(got.notes)
    assert "a single reading scatters by 1.5 µm (gauge_sd_um)" in told
    assert f"looks {1e3 * got.noise.looks_oval:.2g} µm oval" in told
    assert "taken out" in told


def test_unknown_scatter_stays_in_and_is_told(tmp_path: Path) -> None:
    """Two bores with one reading more than the fit needs do not tell the scatter."""
    gains = Gains(mean=0.5, taper=1.0, wave=0.7)
    assert noise_of(gains, 0.0, 1e-3, 9) is None
    assert noise_of(gains, 0.0, None, 0) is None
    assert noise_of(None, 1e-3, None, 0) is None
    known = noise_of(gains, 0.0, 1e-3, 10)
    assert known is not None
    assert known.freedom == 10
    path = file(tmp_path / "b.csv", 2, np.random.default_rng(4), 1.0, 0.5)
    got = read(path)
    assert got.noise is None
    assert any("scatter of single readings is not known" in note for note in got.notes)


def test_gains_count_the_places_of_each_bore(tmp_path: Path) -> None:
    """A bore with fewer places has more of the scatter: root mean square over the bores."""
    path = file(tmp_path / "b.csv", 2, np.random.default_rng(5), 1.0, 0.0)
    lines = path.read_text().splitlines()
    lines[2] = ",".join([*lines[2].split(",")[:6], "", "", ""])  # four at one depth, one below
    path.write_text("\n".join(lines) + "\n")
    bores = read_bores(path, shown="b.csv", nominal_mm=37.0, unit="unit")
    assert len(bores.row) == 2
    assert bores.gains is not None
    assert bores.gains.mean > 1.0 / math.sqrt(8.0)
