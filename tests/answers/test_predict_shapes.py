"""From TOML and CSV on disk: which shape predict takes, what it says of it, and what comes out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.results import Prediction, verdict_of
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.report.payload import prediction_payload
from tolsim.report.shapes import shape_sentences
from tolsim.report.text import prediction_text
from tolsim.spec.load import load_study

FloatArray = NDArray[np.float64]
RING = (-4.0, 1.0)


def study(folder: Path, values: FloatArray, keys: str = "", more: str = "") -> Path:
    """A pressed study whose bores were read [µm from nominal]: one column, or both seats of each
    unit (n, 2)."""
    step = '[[diameter.route]]\nstep = "readings"\nfile = "read.csv"\ncolumn = "bore_mm"\n'
    rows = ["bore_mm,side,unit"]
    if values.ndim == 2:
        step += 'side = "side"\nunit = "unit"\n'
        for k, pair in enumerate(values):
            rows += [f"{37 + 1e-3 * x:.6f},{s},{k}" for s, x in zip("ab", pair, strict=True)]
    else:
        rows += [f"{37 + 1e-3 * x:.6f},," for x in values]
    write(
        folder,
        bore_route=step + keys + more,
        ring_route=machine("outside", *RING),
        study_more="[targets]\ncreak = 0.02\n",
    )
    (folder / "bores" / "read.csv").write_text("\n".join(rows) + "\n")
    return folder


def answer(folder: Path, draws: int = 2**17) -> Prediction:
    return predict(load_study(folder), draws=draws, workers=1, plain=True, glance=False)


def creak(bore: Any) -> float:
    """Share of units loose at either of two independent seats: bore above ring, by quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(64)
    ring = RING[0] + RING[1] * nodes
    loose = float(bore.sf(ring) @ weights / weights.sum())
    return 1.0 - (1.0 - loose) ** 2


def skewed(mean: float, sd: float, skewness: float) -> Any:
    return stats.pearson3(skewness, loc=mean, scale=sd)


def even(bore: Any, n: int) -> FloatArray:
    """Readings at even shares: a lot that is as its population."""
    return np.asarray(bore.ppf((np.arange(n) + 0.5) / n))


def test_skewed_readings_are_taken_as_skewed(tmp_path: Path) -> None:
    """400 skewed readings: skewed is taken, and the share of loose units is that of the population
    by quadrature, which a normal process misses by more than half."""
    bore = skewed(-12.0, 2.2, 1.2)
    found = answer(study(tmp_path, even(bore, 400)), 2**18)
    (shape,) = found.shapes
    assert (shape.shape, shape.stated, shape.parts) == ("skewed", False, 400)
    assert "normal is refused" in shape.reason
    loose = found.modes["loose"]
    assert loose is not None
    exact = creak(bore)
    assert loose.low < exact < loose.high
    assert loose.share == pytest.approx(exact, rel=0.25)
    assert creak(stats.norm(bore.mean(), bore.std())) < 0.5 * exact
    assert loose.sample is not None
    assert loose.sample[0] < loose.share < loose.sample[1]


def test_the_sample_interval_is_that_of_the_shape(tmp_path: Path) -> None:
    """The sample interval of 60 skewed readings is about as wide as the true scatter of the rate
    that fits of fresh lots of 60 would show (delta method by resampling from the population)."""
    bore = skewed(-12.0, 2.2, 1.0)
    found = answer(study(tmp_path, even(bore, 60)), 2**17)
    loose = found.modes["loose"]
    assert loose is not None
    assert loose.sample is not None
    rng = np.random.default_rng(3)
    rates = []
    for _ in range(300):
        x = bore.rvs(60, random_state=rng)
        g = float(np.clip(stats.skew(x, bias=False), 0.02, 1.9))
        rates.append(creak(skewed(float(x.mean()), float(x.std(ddof=1)), g)))
    width = np.subtract(*np.log(np.quantile(rates, [0.975, 0.025])))
    got = np.log(loose.sample[1] / loose.sample[0])
    assert 0.6 * width < got < 1.8 * width


def test_a_sorted_lot_is_taken_as_sorted(tmp_path: Path) -> None:
    """120 readings of a lot with cut ends: a cut normal is taken, the share of loose units is that
    of the cut population by quadrature, and parts beyond the outermost reading are drawn, because
    the edges are not known."""
    bore = stats.truncnorm(-1.2, 1.0, loc=-11.0, scale=4.0)
    x = even(bore, 120)
    found = answer(study(tmp_path, x), 2**18)
    (shape,) = found.shapes
    assert shape.shape == "bounded"
    loose = found.modes["loose"]
    assert loose is not None
    exact = creak(bore)
    assert loose.low < exact < loose.high
    assert creak(stats.norm(bore.mean(), bore.std())) > 1.3 * exact
    assert any("the shape taken instead is bounded" in w for w in found.warnings)
    joint = assemble(load_study(tmp_path))
    z = np.random.default_rng(1).standard_normal((len(joint.latent), 4000))
    ((first, _),) = joint.builds[0].gauged[:1]
    sizes = 1e3 * joint.recording.select([first])(z)[0]
    assert sizes.max() > x.max()
    assert sizes.max() < x.max() + 6.0


def test_the_share_of_two_populations_is_uncertain(tmp_path: Path) -> None:
    """15 of 60 parts come from a second population far off that alone is loose: the interval of
    the share of loose units is about that of Clopper and Pearson for 15 of 60."""
    low, high = even(stats.norm(-14.0, 1.0), 45), even(stats.norm(8.0, 1.0), 15)
    found = answer(study(tmp_path, np.concatenate([low, high])))
    (shape,) = found.shapes
    assert shape.shape == "mixture"
    loose = found.modes["loose"]
    assert loose is not None
    assert loose.sample is not None
    ends = stats.binomtest(15, 60).proportion_ci(0.95, "exact")
    exact = np.array([1.0 - (1.0 - ends.low) ** 2, 1.0 - (1.0 - ends.high) ** 2])
    assert loose.share == pytest.approx(1.0 - 0.75**2, abs=0.02)
    assert np.array(loose.sample) == pytest.approx(exact, abs=0.03)


def test_readings_of_no_shape_are_smoothed(tmp_path: Path) -> None:
    """Three populations refuse every shape that is tried: the readings are smoothed, and it is
    said that nothing is known beyond them."""
    x = np.concatenate([even(stats.norm(m, 0.4), 40) for m in (-18.0, -13.0, -8.0)])
    found = answer(study(tmp_path, x))
    assert found.shapes[0].shape == "kernel"
    assert any("nothing of sizes beyond the outermost reading" in w for w in found.warnings)


@pytest.mark.parametrize("shape", ["skewed", "bounded", "mixture", "kernel"])
def test_every_shape_may_be_stated(tmp_path: Path, shape: str) -> None:
    """Each shape is obeyed for 30 normal readings in one column and for both seats of units, with
    a gauge: rates with intervals come out, near those of the normal."""
    rng = np.random.default_rng(6)
    pairs = rng.multivariate_normal([-10.0, -10.0], [[4.0, 2.0], [2.0, 4.0]], 30)
    keys = f'shape = "{shape}"\ngauge_sd_um = 0.3\n'
    for k, x in enumerate((even(stats.norm(-10.0, 2.0), 30), pairs)):
        found = answer(study(tmp_path / f"{k}", x, keys), 2**15)
        assert (found.shapes[0].shape, found.shapes[0].stated) == (shape, True)
        loose = found.modes["loose"]
        assert loose is not None
        assert loose.sample is not None
        assert 0.0 <= loose.sample[0] < loose.share < loose.sample[1]
        assert 0.1 < loose.share / creak(stats.norm(-10.0, 2.0)) < 6.0


def test_normal_readings_stay_normal(tmp_path: Path) -> None:
    """Readings that do not refuse normality give what the stated normal gives, to the last bit,
    but for the range: that holds skewed parts too. The page says so, and what the shapes left
    standing would put at the size that matters."""
    x = even(stats.norm(-12.0, 2.5), 60)
    chosen = answer(study(tmp_path / "a", x))
    stated = answer(study(tmp_path / "b", x, 'shape = "normal"\n'))
    for name, m in chosen.modes.items():
        other = stated.modes[name]
        if m is None or other is None:
            assert m is other
            continue
        assert other.left_open is None
        assert m.left_open is not None
        low, high = min(other.low, m.left_open[0]), max(other.high, m.left_open[1])
        verdict = verdict_of(low, high, m.target)
        assert m == replace(other, low=low, high=high, left_open=m.left_open, verdict=verdict)
    assert (chosen.shapes[0].shape, chosen.shapes[0].stated) == ("normal", False)
    assert (stated.shapes[0].shape, stated.shapes[0].stated) == ("normal", True)
    tail = chosen.shapes[0].tail
    assert tail is not None
    assert tail.low <= tail.taken <= tail.high
    assert tail.taken == pytest.approx(stats.norm.sf(1e3 * tail.limit, -12.0, 2.5), rel=0.15)


def test_twelve_parts_choose_no_shape(tmp_path: Path) -> None:
    """Twelve skewed readings are taken as normal, which is said; the answer is a range, and with a
    target inside it undecided."""
    found = answer(study(tmp_path, even(skewed(-9.5, 2.2, 1.5), 12)))
    (shape,) = found.shapes
    assert shape.shape == "normal"
    assert "12 parts cannot choose a shape" in shape.reason
    text = prediction_text(prediction_payload(found))
    assert "12 parts cannot choose a shape" in " ".join(text.split())
    mode = found.modes["creak"]
    assert mode is not None
    assert mode.low < mode.share < mode.high
    assert found.verdict == "undecided"


def test_a_stated_shape_is_obeyed(tmp_path: Path) -> None:
    """Skewed is taken where the part says so, though the readings would leave normal standing."""
    found = answer(study(tmp_path, even(stats.norm(-12.0, 2.5), 30), 'shape = "skewed"\n'))
    assert found.shapes[0].shape == "skewed"
    assert "as the part states" in found.shapes[0].reason


def test_too_few_readings_for_a_stated_shape(tmp_path: Path) -> None:
    """Four readings do not bear a skewed shape, nor lots without a column of them: faults of the
    part with their lines, what is allowed, and nothing is run."""
    keys = 'shape = "skewed"\nbetween_lots = "random"\n'
    folder = study(tmp_path, even(stats.norm(-12.0, 2.5), 4), keys)
    with pytest.raises(SpecError) as caught:
        load_study(folder)
    lines = (folder / "bores" / "b.toml").read_text().splitlines()
    found = {(p.key, p.message): p for p in caught.value.problems}
    few = found[
        "diameter.route[0].shape", "skewed needs at least 5 readings of a seat, there are 4"
    ]
    assert few.line is not None
    assert lines[few.line - 1] == 'shape = "skewed"'
    assert few.found == 'shape = "skewed"'
    assert ("diameter.route[0].between_lots", "no column names the lots") in found
    assert ("diameter.route[0].shape", "lots as random effects take parts as normal") in found


def test_pairs_keep_their_tie(tmp_path: Path) -> None:
    """Both seats of 200 units, skewed and tied at 0.7: the rate of units is that of a Gaussian
    copula with these margins, drawn without tolsim."""
    rng = np.random.default_rng(8)
    bore = skewed(-11.0, 2.0, 1.1)
    root = np.linalg.cholesky(np.array([[1.0, 0.7], [0.7, 1.0]]))
    x = bore.ppf(stats.norm.cdf(rng.standard_normal((200, 2)) @ root.T))
    found = answer(study(tmp_path, x), 2**17)
    assert found.shapes[0].shape == "skewed"
    z = rng.standard_normal((400_000, 2)) @ root.T
    ring = RING[0] + RING[1] * rng.standard_normal((400_000, 2))
    exact = float(((bore.ppf(stats.norm.cdf(z)) > ring).any(axis=1)).mean())
    mode = found.modes["loose"]
    assert mode is not None
    assert mode.low < exact < mode.high


def test_a_gauge_after_the_readings_sorts_a_normal_process(tmp_path: Path) -> None:
    """Skewed readings with a gauge behind them are worked as normal, which is said; a stated shape
    that cannot be obeyed is a fault."""
    x = even(skewed(-12.0, 2.2, 1.2), 100)
    gauge = '[[diameter.route]]\nstep = "gauge"\naccept_um = [-16, -7]\n'
    found = answer(study(tmp_path / "a", x, more=gauge))
    assert found.shapes[0].shape == "normal"
    assert "sorts a normal process only" in found.shapes[0].reason
    with pytest.raises(SpecError, match="sorts a normal process only"):
        load_study(study(tmp_path / "b", x, 'shape = "skewed"\n', gauge))


def test_sentences_name_shape_and_cost(tmp_path: Path) -> None:
    """One sentence a size: the shape, why, and the shares that other shapes put in the tail."""
    payload = prediction_payload(answer(study(tmp_path, even(skewed(-12.0, 2.2, 1.2), 100))))
    (told,) = shape_sentences(payload)
    assert told.startswith("bores/b, bore.diameter: skewed: normal is refused")
    assert "half of the units that are loose" in told
    assert "of the parts" in told
    assert payload["shapes"][0]["tail"]["low"] <= payload["shapes"][0]["tail"]["share"]


def test_one_seat_with_few_parts_chooses_for_both(tmp_path: Path) -> None:
    """60 skewed readings of one seat and 12 of the other: the seat with 12 cannot choose, and the
    page says so rather than naming the other seat's shape."""
    bore = skewed(-12.0, 2.2, 1.4)
    folder = study(tmp_path, np.stack([even(bore, 60)] * 2, axis=1))
    path = folder / "bores" / "read.csv"
    rows = path.read_text().splitlines()
    kept = [r for r in rows if ",b," not in r or int(r.rpartition(",")[2]) % 5 == 0]
    path.write_text("\n".join(kept) + "\n")
    (shape,) = answer(folder).shapes
    assert (shape.shape, shape.parts) == ("normal", 12)
    assert shape.reason.startswith("normal is assumed: 12 parts cannot choose a shape")


def test_coarse_readings_keep_their_shape(tmp_path: Path) -> None:
    """Skewed readings rounded to half their spread: still skewed, with about the same rate."""
    bore = skewed(-12.0, 2.2, 1.3)
    fine, coarse = even(bore, 150), np.round(even(bore, 150))
    rates = []
    for name, x in (("fine", fine), ("coarse", coarse)):
        found = answer(study(tmp_path / name, x))
        assert found.shapes[0].shape == "skewed"
        loose = found.modes["loose"]
        assert loose is not None
        rates.append(loose.share)
    assert rates[1] == pytest.approx(rates[0], rel=0.35)


def test_steps_that_hide_the_shape(tmp_path: Path) -> None:
    """100 readings on steps of two and a half spreads say nothing of a shape: normal, and said."""
    x = 2.5 * np.round(even(stats.norm(-12.0, 1.0), 100) / 2.5)
    (shape,) = answer(study(tmp_path, x)).shapes
    assert shape.shape == "normal"
    assert "hides their shape" in shape.reason


def test_gauge_error_is_taken_out_of_the_tie_of_the_seats(tmp_path: Path) -> None:
    """Seats tied by 0.8, read with a scatter as large as half their spread: the readings show 0.64,
    the parts drawn are tied by what they are, within the error of 400 units."""
    rng = np.random.default_rng(21)
    z = rng.multivariate_normal([0.0, 0.0], [[1.0, 0.8], [0.8, 1.0]], 400)
    parts = skewed(-12.0, 2.0, 0.8).ppf(stats.norm.cdf(z))
    read = parts + rng.normal(0.0, 1.0, parts.shape)
    folder = study(tmp_path, read, 'shape = "skewed"\ngauge_sd_um = 1.0\n')
    measured = assemble(load_study(folder)).builds[0].measured[0]
    assert measured.correlation == pytest.approx(0.8, abs=4.0 * 1.25 * (1.0 - 0.64**2) / 20.0)
    assert np.corrcoef(read.T)[0, 1] < 0.7
