"""Linear stacks through the whole path, against exact results."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.results import Prediction
from tolsim.spec.load import load_study

N = 2**17


def _predict(folder: Path) -> Prediction:
    return predict(load_study(folder), draws=N, workers=1, plain=True, glance=False)


def _within(share: float, exact: float, n: int = N) -> None:
    """Within four standard errors of the exact probability."""
    assert abs(share - exact) <= 4.0 * math.sqrt(exact * (1.0 - exact) / n)


def _loose(p: Prediction) -> tuple[float, float, float]:
    """Shares of loose units, first seats and second seats."""
    unit = p.modes["loose"]
    assert unit is not None
    return unit.share, p.seats[0].modes["loose"].share, p.seats[1].modes["loose"].share


def test_normals(tmp_path: Path) -> None:
    """Ring minus bore of two normals fails with the closed form's probability."""
    write(
        tmp_path,
        bore_route=machine("diameter", -9.0, 3.0),
        ring_route=machine("outside", -4.0, 2.0),
    )
    exact = stats.norm.cdf(-5.0 / math.hypot(3.0, 2.0))
    unit, one, two = _loose(_predict(tmp_path))
    _within(one, exact)
    _within(two, exact)
    _within(unit, 1.0 - (1.0 - exact) ** 2)


def test_uniforms(tmp_path: Path) -> None:
    """Two rectangular parts: the exact trapezoid."""
    route = '[[{}.route]]\nstep = "machine"\nshape = "uniform"\nlow_um = {}\nhigh_um = {}\n'
    write(
        tmp_path,
        bore_route=route.format("diameter", -16, -6),
        ring_route=route.format("outside", -8, 0),
    )
    # P(ring < bore), ring uniform on (-8, 0), bore on (-16, -6): the corner triangle
    exact = 0.5 * 2.0 * 2.0 / (8.0 * 10.0)
    _, one, two = _loose(_predict(tmp_path))
    _within(one, exact)
    _within(two, exact)


def test_mixture(tmp_path: Path) -> None:
    """A bore from two cavities: the weighted sum of two closed forms."""
    write(
        tmp_path,
        bore_route="""
[[diameter.route]]
step = "mix"
of = [{ share = 0.6, mean_um = -20, sd_um = 2 }, { share = 0.4, mean_um = -9, sd_um = 2.5 }]
""",
        ring_route=machine("outside", -4.0, 1.0),
    )
    exact = sum(
        w * stats.norm.cdf((m + 4.0) / math.hypot(s, 1.0))
        for w, m, s in ((0.6, -20, 2.0), (0.4, -9, 2.5))
    )
    _, one, two = _loose(_predict(tmp_path))
    _within(one, exact)
    _within(two, exact)


def test_lognormal_by_quadrature(tmp_path: Path) -> None:
    """A skewed bore against a numerical convolution."""
    write(
        tmp_path,
        bore_route=(
            '[[diameter.route]]\nstep = "machine"\nshape = "lognormal"\n'
            "mean_um = -8\nsd_um = 3\nlow_um = -20\n"
        ),
        ring_route=machine("outside", -4.0, 1.5),
    )
    s2 = math.log1p((3.0 / 12.0) ** 2)
    bore = stats.lognorm(math.sqrt(s2), loc=-20.0, scale=12.0 * math.exp(-0.5 * s2))
    exact, _ = integrate.quad(lambda x: bore.pdf(x) * stats.norm.cdf((x + 4.0) / 1.5), -20, 60)
    _, one, _ = _loose(_predict(tmp_path))
    _within(one, exact)


@pytest.mark.parametrize("rho", [0.7, 0.0, -0.4, 1.0, -1.0])
def test_correlated_seats(tmp_path: Path, rho: float) -> None:
    """Units with a loose seat follow the exact bivariate normal, counted, not computed."""
    write(
        tmp_path,
        bore_route=machine("diameter", -9.0, 3.0),
        ring_route=machine("outside", -4.0, 0.5),
        bore_more=f"sides = {{ diameter = {rho} }}",
    )
    sd = math.hypot(3.0, 0.5)
    beta, r = -5.0 / sd, rho * 9.0 / sd**2
    exact = stats.norm.cdf(beta)
    both = stats.multivariate_normal.cdf(
        [beta, beta], cov=[[1.0, r], [r, 1.0]], allow_singular=True
    )
    unit, one, two = _loose(_predict(tmp_path))
    _within(one, exact)
    _within(two, exact)
    _within(unit, float(2.0 * exact - both))


def test_rayleigh_tilts(tmp_path: Path) -> None:
    """Tilt of each bearing is Rayleigh, and either seat fails as an independent count says.

    Per-axis spread sqrt(st^2 + 2 so^2/B^2); A04: share with either seat above 0.1 degree is
    0.05731 (own Monte Carlo of 4e6 units, from the mechanics check values), offsets 30 µm,
    tilts 0.3 mrad, span 70 mm.
    """
    write(
        tmp_path,
        bore_more="",
        bore_route=machine("diameter", -20.0, 1.0),
        limits="misaligned = { bearing_tilt_arcmin = 6 }",
    )
    text = (tmp_path / "bores" / "b.toml").read_text().replace("span_mm = 82.0", "span_mm = 70.0")
    text += "\n[alignment]\noffset_um = { sd = 30 }\ntilt_mrad = { sd = 0.3 }\n"
    (tmp_path / "bores" / "b.toml").write_text(text)
    p = _predict(tmp_path)
    sigma = math.sqrt(0.3e-3**2 + 2.0 * (0.03 / 70.0) ** 2)
    exact = math.exp(-((0.1 * math.pi / 180.0) ** 2) / (2.0 * sigma**2))
    for seat in p.seats:
        _within(seat.modes["misaligned"].share, exact)
    unit = p.modes["misaligned"]
    assert unit is not None
    assert abs(unit.share - 0.05731) <= 4.0 * math.sqrt(0.0573 / N) + 4.0 * math.sqrt(0.0573 / 4e6)


def test_readings_give_students_t(tmp_path: Path) -> None:
    """With twelve readings a side the share is that of Student's t, not of a known normal."""
    rng = np.random.default_rng(1)
    x = -12.0 + 2.5 * rng.standard_normal(12)
    rows = "\n".join(f"{37 + v / 1000:.7f}" for v in x)
    write(
        tmp_path,
        bore_route='[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n',
        ring_route=machine("outside", -4.0, 0.0),
    )
    (tmp_path / "bores" / "b.csv").write_text("d_mm\n" + rows + "\n")
    p = _predict(tmp_path)
    scale = x.std(ddof=1) * math.sqrt(1.0 + 1.0 / 12.0)
    exact = float(stats.t.sf((-4.0 - x.mean()) / scale, 11))
    plug_in = float(stats.norm.sf((-4.0 - x.mean()) / x.std(ddof=1)))
    _, one, two = _loose(p)
    assert exact > 2.0 * plug_in
    # the parameter sets are a lattice of 1024: a further half per cent of the share
    for share in (one, two):
        assert abs(share - exact) <= 4.0 * math.sqrt(exact / N) + 0.05 * exact
    unit = p.modes["loose"]
    assert unit is not None
    assert unit.sample is not None
    assert unit.sample[0] < unit.share < unit.sample[1]


def _aligned(folder: Path, limits: str, alignment: str, span: float = 82.0) -> Prediction:
    write(folder, bore_route=machine("diameter", -20.0, 1.0), limits=f"misaligned = {limits}")
    path = folder / "bores" / "b.toml"
    text = path.read_text().replace("span_mm = 82.0", f"span_mm = {span}")
    path.write_text(f"{text}\n[alignment]\n{alignment}\n")
    return _predict(folder)


def _misaligned(p: Prediction) -> tuple[float, float, float]:
    unit = p.modes["misaligned"]
    assert unit is not None
    return unit.share, p.seats[0].modes["misaligned"].share, p.seats[1].modes["misaligned"].share


def test_quantile_of_the_bearing_tilt(tmp_path: Path) -> None:
    """A01, A02: per-axis spread 0.6762743 mrad, and one bearing in twenty beyond 0.09484447 deg.

    Offsets 30 µm, tilts 0.3 mrad, span 70 mm; own derivation and Rayleigh's distribution, from
    the mechanics check values.
    """
    sigma = math.sqrt(0.3**2 + 2.0 * (30.0 / 70.0) ** 2)
    assert sigma == pytest.approx(0.6762743, abs=1e-6)
    p = _aligned(
        tmp_path,
        "{ bearing_tilt_deg = 0.09484447 }",
        "offset_um = { sd = 30 }\ntilt_mrad = { sd = 0.3 }",
        span=70.0,
    )
    _, one, two = _misaligned(p)
    _within(one, 0.05)
    _within(two, 0.05)


@pytest.mark.parametrize("between", [0.0, 0.6, -1.0, 1.0])
def test_angle_between_the_seats(tmp_path: Path, between: float) -> None:
    """Seats should be within 0.1 degree of each other (common practice, no source).

    The angle is Rayleigh with per-axis spread s sqrt(2 (1 - r)); it is the unit's, so both seats
    count the same units, and seats tied wholly are never out of line.
    """
    p = _aligned(
        tmp_path,
        "{ angle_deg = 0.1 }",
        f"offset_um = {{ sd = 50 }}\ntilt_deg = {{ sd = 0.04 }}\nbetween_sides = {between}",
    )
    unit, one, two = _misaligned(p)
    assert unit == one == two
    variance = 2.0 * (1.0 - between) * 0.04**2
    _within(unit, math.exp(-(0.1**2) / (2.0 * variance)) if variance else 0.0)


def test_offset_of_the_axes_at_mid_span(tmp_path: Path) -> None:
    """The offset at mid-span is Rayleigh with variance 2 so^2 + 2 (st B / 2)^2 an axis."""
    p = _aligned(
        tmp_path, "{ offset_um = 100 }", "offset_um = { sd = 20 }\ntilt_mrad = { sd = 0.5 }"
    )
    unit, one, two = _misaligned(p)
    assert unit == one == two
    variance = 2.0 * 20.0**2 + 2.0 * (0.5 * 82.0 / 2.0) ** 2
    _within(unit, math.exp(-(100.0**2) / (2.0 * variance)))


def test_creak_is_loose_or_misaligned(tmp_path: Path) -> None:
    """Independent causes: creak is one minus the product of what holds, tight has no part in it."""
    write(
        tmp_path,
        bore_route=machine("diameter", -9.0, 3.0),
        ring_route=machine("outside", -4.0, 2.0),
        limits="loose = { interference_um = 0 }\ntight = { clearance_um = 15 }\n"
        "misaligned = { angle_deg = 0.1 }",
    )
    path = tmp_path / "bores" / "b.toml"
    path.write_text(
        path.read_text() + "\n[alignment]\noffset_um = { sd = 1 }\ntilt_deg = { sd = 0.04 }\n"
    )
    p = _predict(tmp_path)
    loose = 1.0 - (1.0 - stats.norm.cdf(-5.0 / math.hypot(3.0, 2.0))) ** 2
    angle = math.exp(-(0.1**2) / (4.0 * 0.04**2))
    creak, tight = p.modes["creak"], p.modes["tight"]
    assert creak is not None
    assert tight is not None
    assert tight.share > 0.05
    _within(creak.share, 1.0 - (1.0 - loose) * (1.0 - angle))
