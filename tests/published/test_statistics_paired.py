"""Published and exact values behind a comparison: paired shares, predictions from twelve parts."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import compare, labelled
from tolsim.answers.compare_run import Run
from tolsim.answers.compare_surface import all_coordinates, surface_of
from tolsim.chance.paired import PairedCounts, independent_difference, mcnemar, paired_difference
from tolsim.intervals import weighted_counts
from tolsim.spec.load import Study, load_study

DATA = Path(__file__).parent / "data"
BINOMIAL = json.loads((DATA / "statistics_binomial.json").read_text())
SMALL = json.loads((DATA / "process_small_samples.json").read_text())


def _counted(more: int, less: int, n: int) -> tuple[float, float]:
    """The interval of a comparison: gamma intervals of both ways to differ, squared and added."""
    both = independent_difference(
        *(weighted_counts(c / n, c / n**2, 1.0 / n) for c in (more, less))
    )
    return both.low, both.high


@pytest.mark.parametrize(
    "row", BINOMIAL["paired_difference"], ids=lambda r: f"{r['only1']}-{r['only2']}"
)
def test_counted_differences_beside_the_published_score_interval(row: dict[str, Any]) -> None:
    """On the published tables the counted interval holds the score interval's difference, is
    never narrower than nine tenths of it, and leaves zero out only where McNemar's exact test
    does at the same level."""
    n = row["both"] + row["only1"] + row["only2"] + row["neither"]
    low, high = _counted(row["only1"], row["only2"], n)
    assert low <= row["diff"] <= high
    score = row["newcombe10"]
    assert high - low >= 0.9 * (score[1] - score[0])
    if low > 0.0 or high < 0.0:
        assert mcnemar(row["only1"], row["only2"]) < 0.05


def test_many_draws_make_both_intervals_one() -> None:
    """With thousands of units that changed sides the two intervals agree to a hundredth."""
    counts = PairedCounts(both=40_000, only_first=9_000, only_second=6_000, neither=945_000)
    score = paired_difference(counts)
    low, high = _counted(9_000, 6_000, counts.n)
    assert high - low == pytest.approx(score.high - score.low, rel=0.01)


@pytest.mark.parametrize(("more", "less"), [(0.5, 0.5), (3, 1), (3, 3), (10, 2), (30, 20), (2, 12)])
def test_counted_differences_cover(more: float, less: float) -> None:
    """Summed over all outcomes of two Poisson counts the 95 % interval covers, exactly."""
    n = 1000
    covered = 0.0
    tops = [int(m + 10 * math.sqrt(m) + 10) for m in (more, less)]
    for a, b in itertools.product(*(range(t) for t in tops)):
        low, high = _counted(a, b, n)
        if low <= (more - less) / n <= high:
            covered += float(stats.poisson.pmf(a, more) * stats.poisson.pmf(b, less))
    assert covered >= 0.945


def _twelve(folder: Path, k: float) -> Study:
    """Twelve bores read exactly at mean 0 and standard deviation 1 µm from it; a ring fixed at
    K standard deviations below, both seats alike: a unit is loose when its bore exceeds it."""
    write(
        folder,
        bore_route='[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "bore_mm"\n',
        bore_more="[sides]\ndiameter = 1.0",
        ring_route=machine("outside", 1e3 * (-0.010 + k * 0.004), 1e-5),
        study_more='[[alternative]]\nname = "the same"\nbearing = "bearings/r"',
    )
    path = folder / "bores" / "b.toml"
    text = path.read_text()
    # tables after a route would belong to it
    path.write_text(text.replace("[sides]\ndiameter = 1.0\n", "") + "[sides]\ndiameter = 1.0\n")
    x = np.linspace(-1.0, 1.0, 12)
    x = 0.004 * (x - x.mean()) / x.std(ddof=1)
    rows = "bore_mm\n" + "\n".join(f"{37 - 0.010 + v:.9f}" for v in x)
    (folder / "bores" / "b.csv").write_text(rows + "\n")
    return load_study(folder)


@pytest.mark.parametrize("k", [2.0, 3.0])
def test_twelve_parts_predict_as_student_says(tmp_path: Path, k: float) -> None:
    """The rate of a further part is Student's t tail, the interval of a normal process that of the
    non-central t; skewed parts, which twelve readings do not rule out, lie outside of it."""
    rows = {r["K"]: r for r in SMALL["posterior_P_exceed"]["rows"] if r["n"] == 12}
    row = rows[k]
    c = compare([_twelve(tmp_path, k)], draws=2**20, plain=True, deep=False)
    mode = c.alternatives[0].modes["loose"]
    assert mode is not None
    assert mode.share == pytest.approx(row["posterior_mean"], rel=0.05)
    assert mode.sample is not None
    assert mode.sample[1] == pytest.approx(row["q0.975"], rel=0.15)
    assert mode.left_open is not None
    assert mode.high == max(mode.left_open[1], mode.high) > mode.sample[1]
    # rates this far below the mean rest on a handful of weighted units
    assert mode.low < 3.0 * row["q0.025"] + 1e-6


def test_the_fitted_surface_holds_the_posterior(tmp_path: Path) -> None:
    """Quantiles of the rate over the fitted surface are those of the non-central t, K = 2."""
    row = next(r for r in SMALL["posterior_P_exceed"]["rows"] if r["n"] == 12 and r["K"] == 2.0)
    run = Run(labelled([_twelve(tmp_path, 2.0)]), seed=1, draws=2**19, workers=2, plain=True)
    at = all_coordinates(run.together.builds, run.table)
    surface = surface_of(run.judges[0].draws(0, ("loose", 0)), run.joints[0].builds[0], at)
    assert surface is not None
    found = np.quantile(surface.shares(at), [0.05, 0.5, 0.95])
    np.testing.assert_allclose(found, [row["q0.05"], row["q0.5"], row["q0.95"]], rtol=0.12)
