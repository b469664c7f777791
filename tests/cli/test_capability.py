"""Capability of makers: words first, intervals always, a single figure only from enough parts."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
import tomli
from numpy.typing import NDArray
from scipy import stats

from tests.studies import write
from tolsim.cli.main import run
from tolsim.errors import ExitCode
from tolsim.spec.load import load_study
from tolsim.spec.route_steps import Readings

BORES = Path(__file__).parents[2] / "specs" / "bores"
SEATS = ["--side", "side", "--unit", "frame"]


def _json(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    code = run(["capability", *arguments, "--json"])
    assert code in (0, 1, 4)
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def _write(path: Path, deviations: NDArray[np.float64], nominal: float = 37.0) -> Path:
    path.write_text("d_mm\n" + "".join(f"{nominal + d / 1000:.6f}\n" for d in deviations))
    return path


def test_twelve_parts_give_a_range(capsys: pytest.CaptureFixture[str]) -> None:
    """Twelve parts: no single index, an undecided verdict, exit code 4."""
    path = str(BORES / "coast-first-12.csv")
    arguments = [path, "--band", "-32", "-16", "--target-share", "5%"]
    assert run(["capability", *arguments]) == ExitCode.UNDECIDED
    text = capsys.readouterr().out
    assert text.startswith("UNDECIDED")
    assert "no single figure from fewer than 30 parts" in text
    (maker,) = _json(capsys, *arguments)["makers"]
    assert maker["index"] is None
    assert maker["index_range"]["low"] < maker["index_range"]["high"]


def test_numbers_against_scipy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Mean, spread and tolerance interval equal what scipy gives for the same readings."""
    x = np.round(np.random.default_rng(3).normal(-24.0, 2.0, 40), 3)
    path = _write(tmp_path / "a.csv", x)
    (m,) = _json(capsys, str(path), "--band", "-32", "-16")["makers"]
    low, high = stats.t.interval(0.95, 39, x.mean(), stats.sem(x))
    assert m["mean_um"]["low"] == pytest.approx(low, rel=1e-9)
    assert m["mean_um"]["high"] == pytest.approx(high, rel=1e-9)
    s = x.std(ddof=1)
    assert m["sd_um"]["low"] == pytest.approx(s * math.sqrt(39 / stats.chi2.ppf(0.975, 39)))
    # ISO 16269-6:2014, mean and sigma unknown, two-sided, n = 40, 99 % at 95 %: computed exactly
    # for the reference table of k factors
    t = m["tolerance_interval_um"]
    assert (t["high"] - t["low"]) / (2.0 * s) == pytest.approx(t["factor"], rel=1e-9)
    assert t["factor"] == pytest.approx(3.2159, abs=1e-3)


def test_makers_told_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A shifted maker and a wide one are told apart, two alike ones are not."""
    rng = np.random.default_rng(5)
    files = [
        _write(tmp_path / f"{name}.csv", rng.normal(mean, sd, 40))
        for name, mean, sd in (("a", 0, 2), ("b", 0.2, 2), ("shifted", 8, 2), ("wide", 0, 9))
    ]
    found = _json(capsys, *(str(f) for f in files))
    apart = {(p["first"], p["second"]): p["told_apart"] for p in found["pairs"]}
    assert apart["a", "b"] == []
    assert "mean" in apart["a", "shifted"]
    assert "spread" in apart["a", "wide"]
    assert ["a", "b"] in found["alike"]


@pytest.mark.slow
def test_pairs_hold_together(tmp_path: Path) -> None:
    """Over lots that are all alike, some pair is told apart no more often than promised."""
    from tolsim.answers.capability import capability
    from tolsim.spec.readings import read_readings

    rng = np.random.default_rng(8)
    lots, wrong = 40, 0
    for _ in range(lots):
        makers = []
        for name in "abc":
            path = _write(tmp_path / f"{name}.csv", rng.normal(0.0, 2.0, 20))
            readings = read_readings(path, shown=name, column="d_mm", nominal_mm=37.0)
            makers.append((name, readings))
        wrong += any(p.told_apart for p in capability(makers).pairs)
    # two families of intervals at 5 % each
    assert wrong <= stats.binom.ppf(0.999, lots, 0.10)


def test_several_nominal_sizes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Makers of different sizes are compared from their own nominals."""
    x = np.random.default_rng(1).normal(-20, 2, 30)
    a, b = _write(tmp_path / "a.csv", x), _write(tmp_path / "b.csv", x, nominal=42.0)
    found = _json(capsys, f"{a}:37", f"{b}:42")
    means = [m["mean_um"]["value"] for m in found["makers"]]
    assert means[0] == pytest.approx(means[1], abs=1e-9)
    (pair,) = found["pairs"]
    assert pair["told_apart"] == []


def test_route_step_is_valid(capsys: pytest.CaptureFixture[str]) -> None:
    """What --toml prints is a readings step that the specification accepts."""
    path = str(BORES / "north-2026-10.csv")
    assert run(["capability", path, *SEATS, "--gauge-sd", "0.8", "--toml"]) == 0
    raw = tomli.loads(capsys.readouterr().out)["diameter"]["route"][0]
    step = Readings.model_validate(raw)
    assert (step.column, step.side, step.unit) == ("bore_mm", "side", "frame")
    assert step.gauge_sd == pytest.approx(0.0008)


def test_route_step_read_again_is_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The step that --toml prints, put into a part, reads the same parts to the same process."""
    rng = np.random.default_rng(12)
    bores = write(tmp_path / "study") / "bores"
    book = openpyxl.Workbook()
    sheet = book.create_sheet("läuft µ 😀")
    sheet.append(["frame", "seat", "bore_mm"])
    for k in range(14):
        for seat in ("left", "right"):
            sheet.append([f"{k:03d}", seat, round(36.98 + 0.003 * rng.standard_normal(), 4)])
    sheet.append(["100", "left", "broken"])
    book.save(bores / "r.xlsx")
    roles = ["--sheet", "läuft µ 😀", "--side", "seat", "--unit", "frame", "--gauge-sd", "0.65"]
    arguments = ["capability", str(bores / "r.xlsx"), *roles]
    assert run([*arguments, "--json"]) == 0
    maker = json.loads(capsys.readouterr().out)["makers"][0]
    assert run([*arguments, "--toml"]) == 0
    write(tmp_path / "study", bore_route=capsys.readouterr().out)
    stratum = load_study(tmp_path / "study").strata[0]
    read = stratum.readings["bore.diameter"]
    step = stratum.bore.diameter.route[0]
    assert isinstance(step, Readings)
    assert len(read) == maker["n"] == 28
    assert step.gauge_sd == pytest.approx(0.00065)
    mean, sd = read.mean_sd()
    assert mean * 1e3 == pytest.approx(maker["mean_um"]["value"], rel=1e-12)
    assert math.sqrt(sd**2 - step.gauge_sd**2) * 1e3 == pytest.approx(maker["process_sd_um"])


def test_faults_of_all_files_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every file that cannot be read is told in one diagnosis, exit code 3, nothing printed."""
    good = _write(tmp_path / "good.csv", np.linspace(-25.0, -20.0, 12))
    (tmp_path / "empty.csv").write_text("")
    (tmp_path / "noise.csv").write_bytes(bytes(range(256)) * 9)
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "slip.csv").write_text("d_mm\n36,970,0\n3697\n")
    (tmp_path / "words.csv").write_text("d_mm\nok\nok\n36.97\n36.98\n1\n")
    (tmp_path / "dots.csv").write_text("unit;d_mm\n1;36.970,0\n2;36.971,0\n3;36.974,0\n")
    names = ("empty", "noise", "folder", "slip", "words", "dots", "nowhere")
    files = [str(tmp_path / f"{name}.csv") for name in names]
    figure = tmp_path / "made.svg"
    code = run(["capability", str(good), *files, "--figure", str(figure)])
    out = capsys.readouterr()
    assert code == ExitCode.INVALID
    assert out.out == ""
    assert not figure.exists()
    for name in names:
        assert f"{name}.csv" in out.err
    assert "in um they would be sizes" in out.err


def test_repeatability_of_a_study_is_taken_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without --gauge-sd the gauge study's repeatability leaves the process's spread."""
    rng = np.random.default_rng(3)
    rows = [
        f"{part},A,{37.0 + 0.003 * part + 0.001 * rng.standard_normal():.6f}"
        for part in range(10)
        for _ in range(4)
    ]
    study = tmp_path / "study.csv"
    study.write_text("part,appraiser,d_mm\n" + "\n".join(rows) + "\n")
    maker = str(_write(tmp_path / "m.csv", 3.0 * rng.standard_normal(40)))
    plain = _json(capsys, maker)["makers"][0]
    found = _json(capsys, maker, "--gauge-study", str(study))
    taken = found["gauge_study"]["repeatability_um"]["value"]
    assert found["gauge_sd_um"] == taken
    assert found["makers"][0]["process_sd_um"] == pytest.approx(
        math.sqrt(plain["sd_um"]["value"] ** 2 - taken**2)
    )
    stated = _json(capsys, maker, "--gauge-study", str(study), "--gauge-sd", "0")
    assert stated["makers"][0]["process_sd_um"] == pytest.approx(plain["sd_um"]["value"])


def test_gauge_study(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A gauge study tells repeatability and reproducibility near their truth."""
    rng = np.random.default_rng(2)
    path = tmp_path / "study.csv"
    with path.open("w", newline="") as f:
        out = csv.writer(f)
        out.writerow(["part", "appraiser", "d_mm"])
        for part in range(10):
            size = 37.0 + rng.normal(0, 0.003)
            for who, bias in (("A", -0.0004), ("B", 0.0), ("C", 0.0004)):
                for _ in range(3):
                    out.writerow([part, who, f"{size + bias + rng.normal(0, 0.0008):.6f}"])
    maker = str(BORES / "north-2026-10.csv")
    found = _json(capsys, maker, "--gauge-study", str(path), "--band", "-32", "-16")
    g = found["gauge_study"]
    assert g["repeatability_um"]["low"] < 0.8 < g["repeatability_um"]["high"]
    assert (g["parts"], g["appraisers"], g["trials"]) == (10, 3, 3)


def test_a_coarse_gauge_is_flagged(capsys: pytest.CaptureFixture[str]) -> None:
    """A gauge that takes more than 30 % of the band is named (common practice, no source)."""
    arguments = [str(BORES / "north-2026-10.csv"), "--band", "-32", "-16", "--gauge-sd", "1.2"]
    assert run(["capability", *arguments]) == 0
    assert "45 % of the band" in capsys.readouterr().out.replace("\n", " ").replace("  ", " ")


@pytest.mark.parametrize(
    "arguments",
    [["x.csv", "--band", "5", "-5"], ["x.csv", "--confidence", "2"], []],
)
def test_usage(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """What cannot be understood is told, exit code 2, nothing printed."""
    assert run(["capability", *arguments]) == ExitCode.USAGE
    assert capsys.readouterr().out == ""


def test_figure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The figure is written and repeats itself byte for byte."""
    texts = []
    for name in ("a.svg", "b.svg"):
        path = str(BORES / "ridge-2026-10.csv")
        assert run(["capability", path, *SEATS, "--figure", str(tmp_path / name)]) == 0
        texts.append((tmp_path / name).read_text())
    assert texts[0] == texts[1]
    capsys.readouterr()


def _places(folder: Path, *, wide: bool) -> tuple[Path, NDArray[np.float64]]:
    """Twenty units, two seats, two depths, three angles; the mean of each bore's readings."""
    rng = np.random.default_rng(11)
    bores = -24.0 + 2.0 * rng.standard_normal((20, 2, 1, 1))
    read = np.round(bores + 0.5 * rng.standard_normal((20, 2, 2, 3)), 1)
    seats, depths, angles = ("left", "right"), (2, 5), (0, 60, 120)
    at = [(s, z, a) for s in range(2) for z in range(2) for a in range(3)]
    if wide:
        names = [f"{seats[s]} z{depths[z]} a{angles[a]}_mm" for s, z, a in at]
        lines = [",".join(["unit", *names])]
        for unit in range(20):
            sizes = [f"{37.0 + read[unit, s, z, a] / 1000:.4f}" for s, z, a in at]
            lines.append(",".join([str(unit + 1), *sizes]))
    else:
        lines = ["unit,seat,depth_mm,angle_deg,bore_mm"]
        lines += [
            f"{unit + 1},{seats[s]},{depths[z]},{angles[a]},{37.0 + read[unit, s, z, a] / 1000:.4f}"
            for unit in range(20)
            for s, z, a in at
        ]
    path = folder / ("wide.csv" if wide else "long.csv")
    path.write_text("\n".join(lines) + "\n")
    return path, read.mean(axis=(2, 3)).reshape(-1)


@pytest.mark.parametrize("wide", [True, False])
def test_several_readings_a_bore_count_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], wide: bool
) -> None:
    """A bore read at six places is one part, its mean (balanced places: the plain mean, scipy)."""
    path, means = _places(tmp_path, wide=wide)
    roles = ["--unit", "unit"]
    if not wide:
        roles += ["--side", "seat", "--depth", "depth_mm", "--angle", "angle_deg"]
    (m,) = _json(capsys, str(path), *roles)["makers"]
    assert m["n"] == 40
    low, high = stats.t.interval(0.95, 39, means.mean(), stats.sem(means))
    assert m["mean_um"]["low"] == pytest.approx(low, rel=1e-9)
    assert m["mean_um"]["high"] == pytest.approx(high, rel=1e-9)
    # the gauge's scatter of one reading shows in the mean of six by its root
    (m,) = _json(capsys, str(path), *roles, "--gauge-sd", "0.5")["makers"]
    assert m["process_sd_um"] == pytest.approx(math.sqrt(means.var(ddof=1) - 0.25 / 6.0), rel=1e-9)
    assert run(["capability", str(path), *roles, "--toml"]) == 0
    step = tomli.loads(capsys.readouterr().out)["diameter"]["route"][0]
    assert Readings.model_validate(step).placed


def test_readings_at_places_ask_for_their_columns(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a depth may be the size, the message names both columns and how to tell them."""
    path, _ = _places(tmp_path, wide=False)
    assert run(["capability", str(path)]) == ExitCode.USAGE
    told = capsys.readouterr().err
    assert "sizes may stand in depth_mm, bore_mm" in told
    assert "--depth and --angle" in told


def test_figures_of_a_lot_that_is_not_normal_say_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A lot cut off at both ends is told to have intervals of another lot; a normal one is not."""
    x = np.random.default_rng(8).normal(-24.0, 4.0, 400)
    cut = _write(tmp_path / "cut.csv", x[(x > -29.0) & (x < -19.0)][:100])
    plain = _write(tmp_path / "plain.csv", x[:100])
    told = {}
    for path in (cut, plain):
        run(["capability", str(path), "--band", "-40", "-8"])
        told[path.stem] = " ".join(capsys.readouterr().out.split())
    assert "These parts are none (sorted edge): the intervals may miss the truth" in told["cut"]
    assert "may miss the truth" not in told["plain"]
