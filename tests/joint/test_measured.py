"""Readings become a process: seats told apart, units paired, densities that are densities."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tolsim.joint.latent import Latent
from tolsim.joint.measured import Measured, measure
from tolsim.spec.readings import read_readings


def _measured(
    tmp_path: Path,
    rows: list[tuple[str, str, float]],
    *,
    correlation: float | None = None,
    gauge_sd: float = 0.0,
    side: bool = True,
    unit: bool = True,
) -> tuple[Latent, Measured]:
    path = tmp_path / "r.csv"
    path.write_text("unit,side,d_mm\n" + "".join(f"{u},{s},{d:.6f}\n" for u, s, d in rows))
    readings = read_readings(
        path,
        shown="r.csv",
        column="d_mm",
        nominal_mm=37.0,
        side="side" if side else None,
        unit="unit" if unit else None,
    )
    latent = Latent()
    found = measure(
        latent, "bore.diameter", "bores/b", readings, gauge_sd=gauge_sd, correlation=correlation
    )
    return latent, found


def _rows(n: int, rho: float, seed: int = 3) -> list[tuple[str, str, float]]:
    rng = np.random.default_rng(seed)
    cov = [[4.0, rho * 6.0], [rho * 6.0, 9.0]]
    x = rng.multivariate_normal([-20.0, -25.0], cov, n)
    return [
        (str(k), s, round(37.0 + v / 1000.0, 6))
        for k, pair in enumerate(x)
        for s, v in zip(("left", "right"), pair, strict=True)
    ]


def _table(latent: Latent, sets: int, seed: int = 1) -> NDArray[np.float64]:
    table = np.zeros((len(latent.names), sets))
    rows = list(latent.evidence)
    table[rows] = np.random.default_rng(seed).standard_normal((len(rows), sets))
    return table


def test_seats_and_correlation_are_read(tmp_path: Path) -> None:
    """Means, spreads and correlation are those of the readings of each seat and unit."""
    rows = _rows(40, 0.6)
    latent, found = _measured(tmp_path, rows, correlation=-0.9)
    x = np.array([[d - 37.0 for _, s, d in rows if s == side] for side in ("left", "right")])
    assert found.n == (40, 40)
    assert found.means == pytest.approx(tuple(x.mean(axis=1)), rel=1e-9)
    assert found.sds == pytest.approx(tuple(x.std(axis=1, ddof=1)), rel=1e-9)
    # the file shows the correlation, so the part's own statement is not asked
    assert found.correlation == pytest.approx(np.corrcoef(x)[0, 1], rel=1e-9)
    assert len(latent.evidence) == 5


def test_seats_of_a_drawn_unit(tmp_path: Path) -> None:
    """Drawn units have the spreads and the correlation of the parameters in use."""
    latent, found = _measured(tmp_path, _rows(40, 0.6))
    n = 100_000
    z = np.zeros((len(latent.names), n))
    rng = np.random.default_rng(2)
    for name in ("bore.diameter@1", "bore.diameter@2"):
        z[latent.index(name)] = rng.standard_normal(n)
    (m1, m2), (s1, s2), rho = found.parameters(list(z[:, :1]))
    x, y = found.seats[0](list(z)), found.seats[1](list(z))
    for values, mean, sd in ((x, m1, s1), (y, m2, s2)):
        assert abs(values.mean() - mean[0]) < 4.0 * sd[0] / np.sqrt(n)
        assert abs(values.std() / sd[0] - 1.0) < 4.0 / np.sqrt(2.0 * n)
    assert abs(np.corrcoef(x, y)[0, 1] - rho[0]) < 4.0 / np.sqrt(n)


@pytest.mark.parametrize(
    ("unit", "side", "correlation"), [(True, True, None), (False, True, 0.4), (False, False, -0.3)]
)
def test_density_is_that_of_the_drawn_sizes(
    tmp_path: Path, unit: bool, side: bool, correlation: float | None
) -> None:
    """The log density is the bivariate normal's of the parameters, up to a common constant."""
    latent, found = _measured(
        tmp_path, _rows(15, 0.5), unit=unit, side=side, correlation=correlation
    )
    table = _table(latent, 7)
    x = np.random.default_rng(5).normal(-0.022, 0.004, (2, 9))
    got = found.log_density(x, table)
    assert got.shape == (7, 9)
    (m1, m2), (s1, s2), rho = (
        np.broadcast_arrays(*v, table[0])[:-1] if isinstance(v, tuple) else np.broadcast_to(v, 7)
        for v in found.parameters(list(table))
    )
    for k in range(7):
        cov = rho[k] * s1[k] * s2[k]
        exact = stats.multivariate_normal(
            [m1[k], m2[k]], [[s1[k] ** 2, cov], [cov, s2[k] ** 2]]
        ).logpdf(x.T)
        constant = got[k] - exact
        assert constant == pytest.approx(np.log(2.0 * np.pi), rel=1e-9)


def test_without_units_the_part_says_how_seats_go_together(tmp_path: Path) -> None:
    """Where no column names the unit the stated correlation is taken, and that is said."""
    _, found = _measured(tmp_path, _rows(15, 0.5), unit=False, correlation=0.4)
    assert found.correlation == 0.4
    assert any("0 units with both seats read" in note for note in found.notes)
    _, silent = _measured(tmp_path, _rows(15, 0.5), unit=False)
    assert silent.correlation == 0.0


def test_without_seats_both_are_alike(tmp_path: Path) -> None:
    """Without a column for the seat all readings stand for both, parameters shared."""
    latent, found = _measured(tmp_path, _rows(15, 0.5), side=False, unit=False)
    assert found.n == (30, 30)
    (m1, m2), (s1, s2), _ = found.parameters(list(_table(latent, 5)))
    assert (m1 == m2).all()
    assert (s1 == s2).all()
    assert len(latent.evidence) == 2


def test_readings_that_do_not_differ(tmp_path: Path) -> None:
    """Equal readings leave the spread of the gauge's step, and a note that says so."""
    rows = [(str(k), s, 36.98) for k in range(12) for s in ("left", "right")]
    _, found = _measured(tmp_path, rows)
    step = 0.01 if found.sds[0] > 1e-3 else 1e-6
    assert found.sds[0] == pytest.approx(step / np.sqrt(12.0), rel=1e-6)
    assert any("agree within the gauge's step" in note for note in found.notes)
    assert np.isfinite(found.correlation)


def test_perfectly_tied_seats(tmp_path: Path) -> None:
    """Seats that always read the same stay finite, and nearly the same."""
    rng = np.random.default_rng(1)
    rows = [(str(k), s, 36.98 + d) for k, d in enumerate(rng.normal(0, 0.002, 14)) for s in "ab"]
    latent, found = _measured(tmp_path, rows)
    z = rng.standard_normal((len(latent.names), 5000))
    x, y = found.seats[0](list(z)), found.seats[1](list(z))
    assert np.isfinite(x).all()
    assert np.isfinite(y).all()
    assert np.abs((x - x.mean()) - (y - y.mean())).max() < 0.1 * x.std()
    assert np.isfinite(found.log_density(np.stack([x, y]), z[:, :3])).all()


def test_rows_of_evidence_belong_to_the_part(tmp_path: Path) -> None:
    """Rows of what is not known carry the part's name, so supplies of one part share them."""
    latent, _ = _measured(tmp_path, _rows(15, 0.5))
    hidden = [latent.names[i] for i in latent.evidence]
    assert all(n.startswith("evidence bores/b bore.diameter ") for n in hidden)
