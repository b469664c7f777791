"""Linear seats with known sensitivities, asked through `rank` from study files to every row."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr

from tests.studies import machine, write
from tolsim.answers.rank import Ranking, rank
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study, load_study

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "statistics_sensitivity.json").read_text()
)
SEATS = ["seat_1e-2", "seat_1e-4"]
#: Three contributors of the operating clearance in the places of bore, ring and sleeve.
PATHS = ("bore.diameter", "bearing.outside", "bearing.clearance")
MIDDLE = (-60.0, -4.0, 120.0)  # micrometres: tight at every unit, so the clearance is linear


def _written(folder: Path, sd: tuple[float, float, float], limit: float) -> Study:
    write(
        folder,
        bore_route=machine("diameter", MIDDLE[0], sd[0]),
        ring_route=machine("outside", MIDDLE[1], sd[1]),
        limits=f"tight = {{ clearance_um = {limit!r} }}",
        low=-90.0,
    )
    bearing = folder / "bearings" / "r.toml"
    bearing.write_text(bearing.read_text() + machine("clearance", MIDDLE[2], sd[2]))
    return load_study(folder)


def _seat(folder: Path, row: dict[str, Any]) -> tuple[Study, float]:
    """A study whose clearance is the row's linear function times a factor, and that factor."""
    bore, ring, sleeve = (1e3 * s for s in row["sd"])
    first = _written(folder, (bore, ring, sleeve), 0.0)
    joint = assemble(first)
    at = joint.latent.index("bore.diameter@1")
    z = np.zeros((len(joint.latent), 2))
    z[at, 1] = 1.0
    build = joint.builds[0]
    rows = [r for r, m in zip(build.rows, build.margins, strict=True) if m.seats == (1,)]
    middle, up = joint.recording.select(rows[:1])(z)[0]
    # of the change of the bore that much arrives in the clearance
    factor = float(up - middle) / (1e-3 * bore)
    limit = 1e3 * (float(middle) - factor * row["mean_g"])
    return _written(folder, (bore, ring, sleeve * factor), limit), factor


@pytest.fixture(scope="module", params=SEATS)
def ranked(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict[str, Any], Ranking, float]:
    """A row of the data, its ranking and the factor of its clearance."""
    row = DATA[request.param]
    study, factor = _seat(tmp_path_factory.mktemp("seat"), row)
    return row, rank(study, draws=2**18), factor


def _unit(p: float) -> float:
    return 2.0 * p - p * p


def test_rate(ranked: tuple[dict[str, Any], Ranking, float]) -> None:
    """A unit is tight where either of two independent seats is."""
    row, r, _ = ranked
    told = r.before["tight"]
    assert told.value == pytest.approx(_unit(row["pf"]), abs=4.0 * told.error)
    assert told.error < 0.02 * told.value


def test_where_failed_seats_sat(ranked: tuple[dict[str, Any], Ranking, float]) -> None:
    """Mean shift and spread given failure agree with the linear closed forms."""
    row, r, _ = ranked
    found = {s.path: s for s in r.sat}
    for path, shift, variance in zip(
        PATHS,
        row["mean_shift_given_failure_in_sd"],
        row["variance_ratio_given_failure"],
        strict=True,
    ):
        # tight where the bore is small, the ring large and the clearance small: the sleeve of the
        # data counts the other way round
        s = found[path]
        wanted = -shift if path == "bearing.clearance" else shift
        assert abs(s.mean - wanted) < 2.0 * (s.high - s.mean)
        assert s.high - s.low < 0.25
        assert s.spread == pytest.approx(math.sqrt(variance), abs=0.05)
        sd = {"bore.diameter": row["sd"][0], "bearing.outside": row["sd"][1]}
        if path in sd:
            assert s.shift == pytest.approx(s.mean * 1e3 * sd[path], rel=0.02)


def test_parts_in_the_variance(ranked: tuple[dict[str, Any], Ranking, float]) -> None:
    """Parts of the margin's variance are the squared direction cosines, alone and in all."""
    row, r, _ = ranked
    assert len(r.variance) == 2
    for v in r.variance:
        found = {p.group.name: p for p in v.parts}
        for path, part in zip(PATHS, row["alpha_sq"], strict=True):
            p = found[path]
            assert abs(p.first - part) < 2.3 * p.first_half
            assert abs(p.total - part) < 2.3 * p.total_half
            assert p.total_half < 0.03


def test_moves(ranked: tuple[dict[str, Any], Ranking, float]) -> None:
    """A mean moved by 1 µm and a spread shrunk by 10 % change the rate as the closed form says.

    Both from the data's direction cosines; for moves this small the data's own derivatives leave
    a few per cent to curvature, which the second-order term of the normal puts right.
    """
    row, r, factor = ranked
    found = {e.path: e for e in r.effects}
    sd, mean = np.array(row["sd"]), row["mean_g"]
    signs = {"bore.diameter": 1.0, "bearing.outside": -1.0, "bearing.clearance": 1.0 / factor}
    for i, path in enumerate(PATHS):
        moved = _unit(float(ndtr(-(mean + 1e-3 * signs[path]) / row["sd_g"])))
        tighter = sd.copy()
        tighter[i] *= 0.9
        shrunk = _unit(float(ndtr(-mean / math.sqrt(float(np.square(tighter).sum())))))
        for d, exact in ((found[path].mean["tight"], moved), (found[path].spread["tight"], shrunk)):
            change = exact - _unit(row["pf"])
            slack = 0.5 * (d.high - d.low)
            assert d.low - slack <= change <= d.high + slack
        # the sign and size of the data's derivative: 10 % less spread
        slope = -0.1 * sd[i] * row["dPf_dsd"][i] * 2.0 * (1.0 - row["pf"])
        assert 0.5 < found[path].spread["tight"].change / slope < 1.1
