"""Readings that name their lots: rates of any lot, the next one included, where lots differ."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.rank import rank
from tolsim.answers.results import Prediction
from tolsim.joint.assemble import assemble
from tolsim.report.lots import lot_sentences
from tolsim.report.payload import prediction_payload
from tolsim.report.text import answer_sentences, apart_sentence
from tolsim.spec.load import load_study

FloatArray = NDArray[np.float64]
RING = (-4.0, 1.0)


def _study(folder: Path, lots: list[FloatArray], named: bool = True, keys: str = "") -> Path:
    """Bores of several lots [µm from nominal]: parts (n,), or both seats of units (n, 2)."""
    step = '[[diameter.route]]\nstep = "readings"\nfile = "read.csv"\ncolumn = "bore_mm"\n'
    step += 'lot = "lot"\n' if named else ""
    rows = ["bore_mm,side,unit,lot"]
    for name, lot in zip("abcdefghijklmnopqrstuvwxyz", lots, strict=False):
        for k, part in enumerate(lot):
            for side, x in zip("lr", np.atleast_1d(part), strict=False):
                rows.append(f"{37 + 1e-3 * x:.6f},{side},{name}{k},{name}")
    if lots[0].ndim == 2:
        step += 'side = "side"\nunit = "unit"\n'
    write(
        folder,
        bore_route=step + keys,
        ring_route=machine("outside", *RING),
        study_more="[targets]\ncreak = 0.02\n",
    )
    (folder / "bores" / "read.csv").write_text("\n".join(rows) + "\n")
    return folder


def _answer(folder: Path, glance: bool = True) -> Prediction:
    return predict(load_study(folder), draws=2**17, workers=1, plain=True, glance=glance)


def _lots(means: list[float], sd: float, parts: int, seed: int = 1) -> list[FloatArray]:
    rng = np.random.default_rng(seed)
    return [rng.normal(m, sd, parts) for m in means]


def _rates(lots: list[FloatArray], n: int = 4000) -> FloatArray:
    """Share of units loose over all lots, for means and spreads that the lots allow: sums of
    squares have chi-squares; both seats of a unit share the offset of its lot."""
    rng = np.random.default_rng(9)
    a, size = len(lots), len(lots[0])
    means = np.array([x.mean() for x in lots])
    squares = sum(float(((x - x.mean()) ** 2).sum()) for x in lots)
    within = squares / rng.chisquare(a * (size - 1), n)
    of_means = (a - 1) * means.var(ddof=1) / rng.chisquare(a - 1, n)
    mean = means.mean() + np.sqrt(of_means / a) * rng.standard_normal(n)
    between = np.sqrt(np.maximum(of_means - within / size, 0.0))
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    at = mean[:, None] + between[:, None] * nodes
    loose = stats.norm.sf((RING[0] - at) / np.hypot(np.sqrt(within), RING[1])[:, None])
    return np.asarray((1.0 - (1.0 - loose) ** 2) @ weights / weights.sum())


def test_lots_that_differ_are_random_effects(tmp_path: Path) -> None:
    """Ten lots that differ: the sample interval is that of a random-effects process computed
    without tolsim, and the share lies inside; as one lot it would be far narrower."""
    means = (-9.5 + 1.5 * np.random.default_rng(4).standard_normal(10)).tolist()
    lots = _lots(means, 1.5, 8)
    found = _answer(_study(tmp_path / "named", lots))
    (taken,) = found.lots
    assert (taken.lots, taken.random, taken.stated) == (10, True, False)
    loose = found.modes["loose"]
    assert loose is not None
    assert loose.sample is not None
    rates = _rates(lots)
    low, high = np.quantile(rates, [0.025, 0.975])
    assert loose.sample[1] == pytest.approx(high, rel=0.15)
    assert loose.sample[0] == pytest.approx(low, rel=0.6, abs=2e-5)
    assert loose.share == pytest.approx(rates.mean(), rel=0.1)
    assert loose.left_open is not None  # the spread between lots at its estimate
    assert loose.low <= loose.left_open[0] < loose.left_open[1] <= loose.high
    one = _answer(_study(tmp_path / "one", lots, named=False)).modes["loose"]
    assert one is not None
    assert one.sample is not None
    assert one.sample[1] < 0.6 * loose.sample[1]
    told = " ".join(lot_sentences(prediction_payload(found)))
    assert "ten lots" in told
    assert "the next one included" in told
    assert "the spread at its estimate as well" in told


def test_two_lots_hold_rates_below_their_draws(tmp_path: Path) -> None:
    """Two lots far off: their draws put a far mean beside a large spread only, so the range goes
    down to that of the spread at its estimate, and says so."""
    found = _answer(_study(tmp_path, _lots([-8.0, -5.0], 1.5, 20)), glance=False)
    assert found.lots[0].random
    loose = found.modes["loose"]
    assert loose is not None
    assert loose.sample is not None
    assert loose.left_open is not None
    assert loose.low == loose.left_open[0] < 0.5 * loose.sample[0]
    told = apart_sentence(prediction_payload(found)["modes"]["loose"], prediction_payload(found))
    assert "with the spread between lots at its estimate" in told
    assert "parts of more lots would decide it" in answer_sentences(prediction_payload(found))[0]


def test_lots_that_agree_are_one(tmp_path: Path) -> None:
    """Lots that differ no more than their parts give what readings without lots give; what lots
    could still do is told beside, wider."""
    lots = _lots([-11.0] * 5, 2.0, 10, seed=3)
    named = _answer(_study(tmp_path / "a", lots))
    (taken,) = named.lots
    assert not taken.random
    assert taken.p_value > 0.01
    assert named.modes == _answer(_study(tmp_path / "b", lots, named=False)).modes
    later, now = named.next_lot["creak"], named.modes["creak"]
    assert now is not None
    assert later.low < now.share < now.high < later.high
    assert "any lot would be" in " ".join(lot_sentences(prediction_payload(named)))
    ends = np.quantile(_rates(lots), [0.025, 0.975])
    assert later.sample is not None
    assert later.sample[1] == pytest.approx(ends[1], rel=0.2)


@pytest.mark.parametrize(("stated", "random"), [("one", False), ("random", True)])
def test_what_the_part_states_is_obeyed(tmp_path: Path, stated: str, random: bool) -> None:
    """Lots as one, or as random effects, whatever the readings say."""
    spread = 4.0 if stated == "one" else 0.0
    lots = _lots([-12.0 - spread, -12.0, -12.0 + spread], 1.0, 8)
    found = _answer(_study(tmp_path, lots, keys=f'between_lots = "{stated}"\n'), glance=False)
    assert (found.lots[0].random, found.lots[0].stated) == (random, True)


def test_seats_share_the_offset_of_their_lot(tmp_path: Path) -> None:
    """Seats that are independent within a lot are tied by what their lots share: the correlation
    of drawn units is b²/(b² + w²)."""
    rng = np.random.default_rng(12)
    offsets = 3.0 * rng.standard_normal(20)
    lots = [m - 12.0 + 1.5 * rng.standard_normal((10, 2)) for m in offsets]
    study = load_study(_study(tmp_path, lots, keys='between_lots = "random"\n'))
    joint = assemble(study)
    measured = joint.builds[0].measured[0]
    _, _, rho = measured.parameters([np.zeros(1)] * len(joint.latent))
    between = float(np.std([x.mean() for x in lots], ddof=1))
    within = float(np.sqrt(np.mean([x.var(axis=0, ddof=1).mean() for x in lots])))
    assert float(rho[0]) == pytest.approx(between**2 / (between**2 + within**2), abs=0.05)
    z = np.random.default_rng(3).standard_normal((len(joint.latent), 20_000))
    z[list(joint.evidence)] = 0.0
    x, y = joint.recording.select(list(joint.builds[0].gauged[0]))(z)
    assert np.corrcoef(x, y)[0, 1] == pytest.approx(float(rho[0]), abs=4.0 / np.sqrt(20_000))


def test_rank_stands_on_the_same_lots(tmp_path: Path) -> None:
    """Where lots differ the rate that rank begins with is that of predict."""
    means = (-9.5 + 1.5 * np.random.default_rng(4).standard_normal(10)).tolist()
    folder = _study(tmp_path, _lots(means, 1.5, 8))
    creak = _answer(folder, glance=False).modes["creak"]
    assert creak is not None
    before = rank(load_study(folder), draws=2**15).before["creak"].value
    # 32768 draws at a rate of about 0.05: 4 standard deviations are 10 %
    assert before == pytest.approx(creak.share, rel=0.12)


def test_a_stated_shape_keeps_lots_together(tmp_path: Path) -> None:
    """Lots that differ under a stated shape are taken as one, and the page says why."""
    lots = _lots([-16.0, -12.0, -8.0], 1.0, 10)
    found = _answer(_study(tmp_path, lots, keys='shape = "kernel"\n'), glance=False)
    assert not found.lots[0].random
    told = " ".join(lot_sentences(prediction_payload(found)))
    assert "the shape stated, kernel, is worked for one lot only" in told
