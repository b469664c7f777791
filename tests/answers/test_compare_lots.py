"""Readings that name their lots: what decides must decide for lots that nobody has measured."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import compare
from tolsim.answers.compare_lots import lots_measured, over_lots
from tolsim.answers.compare_results import AlternativeResult
from tolsim.answers.predict import predict
from tolsim.spec.load import Study, load_study

FloatArray = NDArray[np.float64]
BORE = (-11.0, 2.0)
RING = (-4.0, 1.0)
OPEN = "not enough evidence"


def _study(folder: Path, values: FloatArray, lots: list[str] | None, target: float) -> Study:
    write(
        folder,
        bore_route=machine("diameter", *BORE),
        ring_route=machine("outside", *RING),
        study_more=f'[targets]\nloose = {target}\n[[alternative]]\nname = "read"\n'
        'bearing = "bearings/read"\n',
    )
    text = (folder / "bearings" / "r.toml").read_text()
    step = '[[outside.route]]\nstep = "readings"\nfile = "read.csv"\ncolumn = "outside_mm"\n'
    step += "" if lots is None else 'lot = "lot"\n'
    (folder / "bearings" / "read.toml").write_text(text.replace(machine("outside", *RING), step))
    names = lots or [""] * len(values)
    rows = [f"{37 + 1e-3 * v:.6f},{k}" for v, k in zip(values, names, strict=True)]
    (folder / "bearings" / "read.csv").write_text("\n".join(["outside_mm,lot", *rows]) + "\n")
    return load_study(folder)


def _judged(study: Study) -> AlternativeResult:
    return compare([study], draws=2**16, workers=1, plain=True, deep=False).alternatives[1]


def _lots(means: list[float], parts: int, seed: int) -> tuple[FloatArray, list[str]]:
    rng = np.random.default_rng(seed)
    values = np.concatenate([rng.normal(m, 1.0, parts) for m in means])
    return values, [f"lot {k}" for k in range(len(means)) for _ in range(parts)]


def _over_all_lots(values: FloatArray, lots: list[str], n: int) -> tuple[FloatArray, FloatArray]:
    """Mean and whole spread of a random-effects process, by the sums of squares of the lots: the
    spread within has chi-square, the variance of the lots' means is the larger by its share."""
    rng = np.random.default_rng(9)
    groups = [values[np.array(lots) == k] for k in dict.fromkeys(lots)]
    a, size = len(groups), len(groups[0])
    means = np.array([g.mean() for g in groups])
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    within = squares / rng.chisquare(a * (size - 1), n)
    of_means = (a - 1) * means.var(ddof=1) / rng.chisquare(a - 1, n)
    mean = means.mean() + np.sqrt(of_means / a) * rng.standard_normal(n)
    return mean, np.sqrt(np.maximum(of_means - within / size, 0.0) + within)


def _rate(mean: FloatArray, sd: FloatArray) -> FloatArray:
    p = stats.norm.cdf((BORE[0] - mean) / np.hypot(BORE[1], sd))
    return np.asarray(1.0 - (1.0 - p) ** 2)


def test_two_lots_say_little_about_the_next(tmp_path: Path) -> None:
    """Two lots keep open what their readings, taken as one lot, decide; it is said. Where they
    differ every share is that of any lot, as in a prediction; where they do not the lots measured
    would decide."""
    values, lots = _lots([-4.0, -6.0], 20, seed=3)
    found = _judged(_study(tmp_path / "named", values, lots, 0.2))
    assert found.verdict == OPEN
    assert any("any lot of bearing.outside, the next one included" in w for w in found.warnings)
    alone = predict(
        _study(tmp_path / "alone", values, lots, 0.2).alternatives["read"],
        draws=2**16,
        workers=1,
        plain=True,
        glance=False,
    ).modes["loose"]
    beside = found.modes["loose"]
    assert alone is not None
    assert beside is not None
    assert beside.share == pytest.approx(alone.share, rel=0.1)
    assert beside.high == pytest.approx(alone.high, rel=0.1)
    agreeing, names = _lots([-4.6, -5.4], 10, seed=3)
    close = _judged(_study(tmp_path / "close", agreeing, names, 0.2))
    assert close.verdict == OPEN
    (reason,) = close.reasons
    assert reason.but_for == ("bearings/read, 2 lots",)
    alike = _judged(_study(tmp_path / "unnamed", values, None, 0.2))
    assert alike.verdict == "acceptable"
    assert alike.reasons[0].but_for == ()


def test_many_lots_that_agree_decide(tmp_path: Path) -> None:
    """Ten lots of four that differ no more than chance: what is clear is decided."""
    values, lots = _lots([-4.0] * 10, 4, seed=5)
    assert _judged(_study(tmp_path / "a", values, lots, 0.1)).verdict == "acceptable"
    assert _judged(_study(tmp_path / "b", values, lots, 0.0005)).verdict == "not acceptable"


@pytest.mark.parametrize("between", [0.0, 1.0])
def test_the_word_is_that_of_random_effects(tmp_path: Path, between: float) -> None:
    """Next to the ends of the interval over all lots, computed without tolsim, the rule stays
    open inside and decides outside."""
    means = (-5.0 + between * np.random.default_rng(8).standard_normal(12)).tolist()
    values, lots = _lots(means, 6, seed=7)
    low, high = np.quantile(_rate(*_over_all_lots(values, lots, 100_000)), [0.025, 0.975])
    for k, (target, word) in enumerate(
        [
            (low / 1.3, "not acceptable"),
            (math.sqrt(low * high), OPEN),
            (high * 1.3, "acceptable"),
        ]
    ):
        study = _study(tmp_path / f"{k}", values, lots, float(target))
        assert _judged(study).verdict == word


def test_coordinates_over_lots(tmp_path: Path) -> None:
    """Means and spreads drawn over lots have the quantiles of the random-effects process."""
    values, lots = _lots([-4.0, -5.0, -5.5, -4.5, -3.5, -5.0], 8, seed=2)
    measured = lots_measured(_study(tmp_path, values, lots, 0.1).alternatives["read"])
    ((feature, found),) = measured.items()
    assert found.lots == 6
    wide = np.random.default_rng(1).normal(0.0, 10.0, (2, 1024))  # nothing is cut
    drawn = over_lots(measured, {feature: wide})
    assert not drawn.reach.any()
    mean, log_sd = drawn.at[feature]
    m, s = _over_all_lots(values, lots, 100_000)
    points = [0.05, 0.5, 0.95]
    assert 1e3 * np.quantile(mean, points) == pytest.approx(np.quantile(m, points), abs=0.06)
    assert 1e3 * np.exp(np.quantile(log_sd, points)) == pytest.approx(
        np.quantile(s, points), rel=0.05
    )


def test_lots_that_say_nothing_of_lots(tmp_path: Path) -> None:
    """One lot, a lot for each part, or no column: the readings are taken as they are."""
    values, _ = _lots([-4.0], 12, seed=1)
    for k, lots in enumerate((["a"] * 12, [f"{i}" for i in range(12)], None)):
        study = _study(tmp_path / f"{k}", values, lots, 0.1)
        assert lots_measured(study.alternatives["read"]) == {}
