"""What readings leave open of the shape of their parts: every range holds it, and it is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from tests.answers.test_predict_shapes import RING, FloatArray, answer, creak, even, skewed, study
from tolsim.answers.compare import compare
from tolsim.answers.predict import predict
from tolsim.report.payload import prediction_payload
from tolsim.report.shapes import shape_sentences
from tolsim.report.text import prediction_text
from tolsim.spec.load import load_study


def ends_of_skewed(x: FloatArray) -> FloatArray:
    """95 % ends of the creak share over shifted gamma parts, flat in mean, logarithm of the spread
    and skewness: importance sampling from wide normals, scipy's density, nothing of tolsim."""
    rng = np.random.default_rng(2)
    n, centre, scale = 60_000, float(x.mean()), float(x.std(ddof=1))
    at = centre + scale * rng.standard_t(4, n) * 1.3 / np.sqrt(x.size)
    log_sd = np.log(scale) + rng.standard_t(4, n) * 1.2 / np.sqrt(x.size)
    g = rng.uniform(-1.95, 1.95, n)
    t = (at - centre) * np.sqrt(x.size) / (1.3 * scale)
    u = (log_sd - np.log(scale)) * np.sqrt(x.size) / 1.2
    weight = -stats.t.logpdf(t, 4) - stats.t.logpdf(u, 4)
    for v in x:
        weight = weight + stats.pearson3.logpdf(v, g, loc=at, scale=np.exp(log_sd))
    kept = weight > weight.max() - 30.0
    weight = np.exp(weight[kept] - weight.max())
    nodes, by = np.polynomial.hermite_e.hermegauss(16)
    ring = RING[0] + RING[1] * nodes
    loose = sum(
        w * stats.pearson3.sf(r, g[kept], loc=at[kept], scale=np.exp(log_sd[kept]))
        for r, w in zip(ring, by / by.sum(), strict=True)
    )
    share = 1.0 - (1.0 - loose) ** 2
    order = np.argsort(share)
    cumulated = np.cumsum(weight[order]) / weight.sum()
    return np.asarray(np.interp([0.025, 0.975], cumulated, share[order]))


@pytest.mark.parametrize("n", [12, 40])
def test_the_range_holds_skewed_parts(tmp_path: Path, n: int) -> None:
    """Readings that cannot tell skewed parts from normal ones: the range left open is that of
    skewed parts by sampling without tolsim, and the whole range holds both."""
    x = even(skewed(-9.0, 2.2, 0.4), n)
    loose = answer(study(tmp_path, x), 2**18).modes["loose"]
    assert loose is not None
    assert loose.left_open is not None
    assert loose.sample is not None
    low, high = ends_of_skewed(x)
    # 1024 sets and 131072 draws tell the ends to a few per cent of the rate
    assert loose.left_open[1] == pytest.approx(high, rel=0.12)
    assert loose.left_open[0] == pytest.approx(low, rel=0.25)
    assert loose.low <= min(loose.left_open[0], loose.sample[0])
    assert loose.high >= max(loose.left_open[1], loose.sample[1])


@pytest.mark.slow
def test_a_range_of_skewed_lots_holds_the_truth(tmp_path: Path) -> None:
    """30 lots of 12 skewed parts: the true creak share lies in the range but for a few; taken as
    normal alone it would be missed by more than three times as many. With a coverage of 93 % seven
    or more misses in 30 have a probability of 0.4 % (binomial)."""
    bore = skewed(-10.0, 2.2, 1.0)
    truth = creak(bore)
    missed = as_normal = 0
    for k in range(30):
        x = bore.rvs(12, random_state=np.random.default_rng([7, k]))
        m = answer(study(tmp_path / f"{k}", np.asarray(x)), 2**15).modes["creak"]
        assert m is not None
        assert m.sample is not None
        missed += not m.low <= truth <= m.high
        as_normal += not m.sample[0] <= truth <= m.sample[1]
    assert missed < 7
    assert as_normal > missed


def test_a_stated_shape_leaves_nothing_open(tmp_path: Path) -> None:
    """Normal as the part states: no other shape is taken in, and the page does not speak of one;
    where nobody states it the page says what is open and what narrows it."""
    x = even(stats.norm(-12.0, 2.5), 12)
    chosen = answer(study(tmp_path / "a", x))
    stated = answer(study(tmp_path / "b", x, 'shape = "normal"\n'))
    assert chosen.shapes[0].left_open == "skewed"
    assert stated.shapes[0].left_open is None
    text = " ".join(prediction_text(prediction_payload(chosen)).split())
    assert "12 readings do not rule out that such parts are skewed" in text
    assert "in the shape left open" in text
    (other,) = shape_sentences(prediction_payload(stated))
    assert "rule out" not in other


def test_a_gauge_after_the_readings_is_told(tmp_path: Path) -> None:
    """Parts sorted after they were read are worked as normal ones: no range holds skewed parts, and
    the page says so and what would help."""
    gauge = '[[diameter.route]]\nstep = "gauge"\naccept_um = [-16, -6]\nrepeatability_um = 0.5\n'
    x = even(stats.norm(-12.0, 2.5), 12)
    found = answer(study(tmp_path, x, more=gauge), 2**14)
    (shape,) = found.shapes
    assert (shape.left_open, shape.not_held) == (None, "skewed")
    told = " ".join(shape_sentences(prediction_payload(found)))
    assert "Readings of parts that have passed the gauge would" in told


def test_a_refused_shape_is_not_taken_in(tmp_path: Path) -> None:
    """Two populations far apart refuse skewed parts: nothing is left open beside the mixture."""
    low, high = even(stats.norm(-14.0, 1.0), 60), even(stats.norm(8.0, 1.0), 60)
    found = answer(study(tmp_path, np.concatenate([low, high])), 2**15)
    assert (found.shapes[0].shape, found.shapes[0].left_open) == ("mixture", None)


def test_readings_that_tell_the_shape_may_decide(tmp_path: Path) -> None:
    """200 clearly skewed readings, well within the target and well beyond it: a comparison accepts
    and refuses; what their shape explains keeps nothing open."""
    x = even(skewed(-12.0, 1.5, 1.2), 200)
    more = '[[alternative]]\nname = "same"\nbearing = "bearings/r"\n'
    for k, (target, word) in enumerate([(0.05, "acceptable"), (1e-4, "not acceptable")]):
        folder = study(tmp_path / f"{k}", x)
        text = (folder / "study.toml").read_text()
        (folder / "study.toml").write_text(text.replace("creak = 0.02", f"creak = {target}") + more)
        c = compare([load_study(folder)], draws=2**16, workers=1, plain=True, deep=False)
        assert c.alternatives[1].doubts == ()
        assert c.alternatives[1].verdict == word


def test_a_comparison_takes_in_what_is_left_open(tmp_path: Path) -> None:
    """Twelve readings: each alternative has the range that its prediction has, and the page says
    that skewed parts are not ruled out."""
    x = even(skewed(-9.5, 2.2, 0.5), 12)
    folder = study(tmp_path, x)
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(
        text + '[[alternative]]\nname = "same"\nbearing = "bearings/r"\n'
    )
    s = load_study(folder)
    c = compare([s], draws=2**16, workers=1, plain=True, deep=False)
    alone = predict(s, draws=2**16, workers=1, plain=True, glance=False).modes["creak"]
    beside = c.alternatives[1].modes["creak"]
    assert alone is not None
    assert beside is not None
    assert beside.left_open is not None
    assert beside.high == pytest.approx(alone.high, rel=0.1)
    assert c.alternatives[1].verdict == "not enough evidence"
    assert any(
        "do not rule out that such parts are skewed" in w for w in c.alternatives[1].warnings
    )


def test_quadrature_of_the_truth() -> None:
    """The true share that trials are held against is that of direct integration."""
    bore = skewed(-10.0, 2.2, 1.0)
    loose, _ = integrate.quad(
        lambda r: float(stats.norm.pdf(r, *RING) * bore.sf(r)), RING[0] - 8.0, RING[0] + 8.0
    )
    assert creak(bore) == pytest.approx(1.0 - (1.0 - loose) ** 2, rel=1e-6)
