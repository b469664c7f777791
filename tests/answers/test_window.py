"""Window: a grid point is what a prediction there finds; the demand holds where it says."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.window import Window, window
from tolsim.cli.main import run
from tolsim.errors import UsageError
from tolsim.spec.load import load_study

RING = (-4.0, 1.5)
TARGETS = "[targets]\nloose = 0.02\n"


def _exact(mean: float, sd: float) -> float:
    """Share of units with a loose seat: two independent normal gaps."""
    p = stats.norm.cdf((mean - RING[0]) / math.hypot(sd, RING[1]))
    return float(1.0 - (1.0 - p) ** 2)


def _study(folder: Path) -> Path:
    write(
        folder,
        bore_route=machine("diameter", -10.0, 2.0),
        ring_route=machine("outside", *RING),
        study_more=TARGETS,
    )
    return folder


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Window:
    study = load_study(_study(tmp_path_factory.mktemp("window")))
    return window(
        study,
        "bore.diameter.mean",
        "bore.diameter.sd",
        x_range=(-0.016, -0.007),
        y_range=(0.001, 0.004),
        points=7,
    )


def test_every_point_is_the_closed_form(found: Window) -> None:
    """Reweighted samples agree with the exact rate at every point that 1e5 draws can see."""
    for j, sd in enumerate(found.y):
        for i, mean in enumerate(found.x):
            exact = _exact(1e3 * float(mean), 1e3 * float(sd))
            if exact > 1e-4:
                assert found.rates["loose"][j, i] == pytest.approx(exact, rel=0.25)


def test_demand_holds_everywhere_inside(found: Window) -> None:
    """The closed form meets the target in every corner of the box, within the model's error."""
    d = found.demand
    assert d is not None
    assert d.half > 0.0
    for mean in (d.middle - d.half, d.middle + d.half):
        for sd in (float(found.y[0]), d.y_most):
            assert _exact(1e3 * mean, 1e3 * sd) <= 0.02 * 1.25


def test_commands_write_json_toml_and_a_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study = str(_study(tmp_path / "study"))
    common = ["window", study, "--points", "4", "--no-progress"]
    common += ["--x-range", "-16", "-8", "--y-range", "1", "3"]
    picture = tmp_path / "window.svg"
    assert run([*common, "--json", "--figure", str(picture)]) == 0
    payload = json.loads(capsys.readouterr().out)
    assert payload["schema"] == "tolsim/window/1"
    assert len(payload["rates"]["loose"]) == 4
    assert "<svg" in picture.read_text()
    assert run([*common, "--toml"]) == 0
    assert 'step    = "machine"' in capsys.readouterr().out


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        ("bore.diameter.mean", "bore.diameter.mean", "mean and sd"),
        ("bore.diameter", "bore.diameter.sd", "axis is"),
        ("bore.nothing.mean", "bore.nothing.sd", "no such size"),
    ],
)
def test_axes_that_make_no_pair_are_told(tmp_path: Path, x: str, y: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        window(load_study(_study(tmp_path)), x, y, points=3)
