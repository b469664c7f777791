"""What would decide: the rule rerun on readings not made, against simulation without tolsim."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import compare, labelled
from tolsim.answers.compare_bag import next_lots
from tolsim.answers.compare_condition import LotTest, condition_of, lot_test, ranging
from tolsim.answers.compare_results import Comparison
from tolsim.answers.compare_run import Run
from tolsim.answers.doubts import doubts_of
from tolsim.answers.evidence_plan import chance_of_decision, evidence_plan
from tolsim.answers.evidence_rule import Rule
from tolsim.answers.predict import predict
from tolsim.spec.load import Study, load_study
from tolsim.spec.money import Costs

FloatArray = NDArray[np.float64]
RING = (-4.0, 1.0)
READ = '[[{f}.route]]\nstep = "readings"\nfile = "{file}.csv"\ncolumn = "{c}_mm"\n'


def _rate(mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Share of units with a loose seat for bores N(mean, sd) [µm] and the ring above."""
    p = stats.norm.cdf((mean - RING[0]) / np.hypot(sd, RING[1]))
    return np.asarray(1.0 - (1.0 - p) ** 2)


def _bores(n: int) -> FloatArray:
    """Readings with exactly the mean and standard deviation that is meant [µm]."""
    x = stats.norm.ppf((np.arange(n) + 0.5) / n)
    return np.asarray(-13.5 + 2.5 * (x - x.mean()) / x.std(ddof=1))


NORMAL = 'shape = "normal"\n'


def _measured(folder: Path, n: int, target: float, keys: str = "") -> Study:
    write(
        folder,
        bore_route=READ.format(f="diameter", file="b", c="bore") + keys,
        ring_route=machine("outside", *RING),
        study_more=f'[targets]\nloose = {target}\n[[alternative]]\nname = "same"\n'
        'bearing = "bearings/r"',
    )
    rows = "\n".join(f"{37 + 1e-3 * v:.7f}" for v in _bores(n))
    (folder / "bores" / "b.csv").write_text(f"bore_mm\n{rows}\n")
    return load_study(folder)


def _run(study: Study, *, n: int = 2**18) -> Run:
    return Run(labelled([study]), seed=1, draws=n, workers=2, plain=True)


def _simulated_chance(n: int, more: int, target: float, worlds: int) -> float:
    """Share of worlds in which `more` bores decide, with nothing of tolsim: posterior draws of
    mean and spread, readings from each, the posterior after them, its 95 % interval of the rate."""
    rng = np.random.default_rng(11)
    x = _bores(n)
    z = rng.standard_normal(1000)
    decided = 0
    for _ in range(worlds):
        sd = x.std(ddof=1) * math.sqrt((n - 1) / rng.chisquare(n - 1))
        mean = x.mean() + sd / math.sqrt(n) * rng.standard_normal()
        both = np.concatenate([x, rng.normal(mean, sd, more)])
        k = len(both)
        s = both.std(ddof=1) * np.sqrt((k - 1) / rng.chisquare(k - 1, 1000))
        low, high = np.quantile(_rate(both.mean() + s / math.sqrt(k) * z, s), [0.025, 0.975])
        decided += bool(high <= target or low > target)
    return decided / worlds


@pytest.mark.parametrize(("more", "target"), [(30, 0.02), (100, 0.02), (30, 0.004)])
def test_chance_of_a_decision(tmp_path: Path, more: int, target: float) -> None:
    """The chance that more readings decide is that of a simulation of its own, within the error
    of 160 worlds against 1500 (three standard deviations) and 3 % for the fitted rates."""
    rule = Rule(_run(_measured(tmp_path, 15, target, NORMAL)), 1, None, Costs(), 0.0)
    got = chance_of_decision(rule, rule.features[0], more, seed=5)
    exact = _simulated_chance(15, more, target, 1500)
    assert got == pytest.approx(exact, abs=3 * math.sqrt(exact * (1 - exact) / 145) + 0.03)


def test_smallest_number_that_decides(tmp_path: Path) -> None:
    """The number named decides with 80 % in a simulation of its own; half of it does not."""
    target = 0.02
    run = _run(_measured(tmp_path, 15, target, NORMAL))
    plan = evidence_plan(Rule(run, 1, None, Costs(), 0.0), seed=2)
    needed = plan.candidates[0].needed
    assert needed is not None
    assert plan.candidates[0].n == 15
    assert plan.candidates[0].supplies == ("all parts",)
    assert _simulated_chance(15, needed, target, 600) > 0.72
    assert _simulated_chance(15, needed // 3, target, 600) < 0.78


@pytest.mark.parametrize("target", [0.003, 0.004, 0.01, 0.02, 0.05, 0.2])
def test_the_rule_on_the_surface_is_the_rule(tmp_path: Path, target: float) -> None:
    """With nothing added the simulated rule gives the verdict that the comparison gives."""
    study = _measured(tmp_path, 15, target)
    run = _run(study)
    rule = Rule(run, 1, None, Costs(), 0.0)
    verdict = compare([study], draws=2**18, plain=True, deep=False).alternatives[1].verdict
    assert rule.word(rule.at) == verdict
    assert rule.error < 0.1


def test_known_exactly_everything_is_decided(tmp_path: Path) -> None:
    """With its only process known exactly nothing stays open but next to the target: worlds whose
    rate lies within its error of the target, counted by draws of the posterior of a normal."""
    worlds, target = 80, 0.02
    plan = evidence_plan(
        Rule(_run(_measured(tmp_path, 15, target, NORMAL)), 1, None, Costs(), 0.0),
        seed=2,
        worlds=worlds,
    )
    rng, x = np.random.default_rng(3), _bores(15)
    sd = x.std(ddof=1) * np.sqrt(14 / rng.chisquare(14, 20_000))
    rate = _rate(x.mean() + sd / math.sqrt(15) * rng.standard_normal(20_000), sd)
    beside = float((np.abs(np.log(rate / target)) < 1.96 * plan.error).mean())
    assert 0.0 < beside < 0.1
    assert plan.all_known > 1.0 - beside - 3.0 * math.sqrt(beside * (1.0 - beside) / worlds)
    assert plan.claims_known is None


# -- the condition of a purchase ---------------------------------------------------------------


@pytest.mark.parametrize(("mean", "sd"), [(-7.0, 2.0), (-5.0, 2.0), (-6.0, 2.6), (-7.3, 1.2)])
def test_a_lot_outside_the_box_seldom_passes(mean: float, sd: float) -> None:
    """Of 20 000 simulated lots at and beyond the box's edges at most the stated risk passes."""
    test = lot_test((-7.0, -5.0), 2.0, confidence=0.95)
    assert test is not None
    x = np.random.default_rng(3).normal(mean, sd, (20_000, test.n))
    m, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    passed = float(np.mean((m >= test.mean[0]) & (m <= test.mean[1]) & (s <= test.sd)))
    assert passed <= test.risk
    assert test.chance(mean, sd) == pytest.approx(passed, abs=4 * math.sqrt(0.25 / 20_000))


def test_a_good_lot_mostly_passes() -> None:
    """A centred lot with three quarters of the spread passes as often as promised."""
    test = lot_test((-7.0, -5.0), 2.0, confidence=0.95)
    assert test is not None
    x = np.random.default_rng(4).normal(-6.0, 1.5, (20_000, test.n))
    m, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    passed = float(np.mean((m >= test.mean[0]) & (m <= test.mean[1]) & (s <= test.sd)))
    assert passed == pytest.approx(test.passes, abs=4 * math.sqrt(0.09 / 20_000))
    assert passed >= 0.89


def test_no_sample_tells_a_narrow_box() -> None:
    """A box narrower than the error of 200 parts has no test."""
    assert lot_test((-6.05, -5.95), 2.0, confidence=0.95) is None


def test_the_box_ends_where_the_rate_meets_the_target(tmp_path: Path) -> None:
    """At the loose corner of the box the closed form is at the target, beyond it above."""
    target = 0.01
    study = _measured(tmp_path, 15, target)
    text = (tmp_path / "bores" / "b.toml").read_text()
    route = READ.format(f="diameter", file="b", c="bore")
    (tmp_path / "bores" / "b.toml").write_text(text.replace(route, machine("diameter", -13.5, 2.5)))
    other = (tmp_path / "bearings" / "r.toml").read_text()
    (tmp_path / "bearings" / "s.toml").write_text(
        other.replace("mean_um = -4.0", "mean_um = -6.0").replace("sd_um = 1.0", "sd_um = 2.0")
    )
    path = tmp_path / "study.toml"
    path.write_text(
        path.read_text().replace(
            'name = "same"\nbearing = "bearings/r"', 'name = "s"\nbearing = "bearings/s"'
        )
    )
    study = load_study(tmp_path)
    read = study.alternatives["s"]
    found = ranging(read, "bearing", read.strata[0].names["bearing"])
    assert found is not None
    variant, name, step = found
    run = Run({"as it stands": study, "s": variant}, seed=1, draws=2**18, workers=2, plain=True)
    got = condition_of(Rule(run, 1, None, Costs(), 0.0), name, "bearing.outside", step)
    assert got.box is not None
    assert got.sd is not None

    def rate(mean: float, sd: float) -> float:
        p = float(stats.norm.cdf((-13.5 - mean) / math.hypot(2.5, sd)))
        return 1.0 - (1.0 - p) ** 2

    low, sd = 1e3 * got.box[0], 1e3 * got.sd
    assert 0.75 * target < rate(low, sd) <= 1.05 * target
    assert rate(low - 0.5, sd) > target
    assert isinstance(got.test, LotTest)
    assert got.today == pytest.approx((-0.006, 0.002))


# -- bags -------------------------------------------------------------------------------------


def _bag(folder: Path, values: FloatArray) -> Study:
    write(folder, bore_route=machine("diameter", -11.0, 2.0), ring_route=machine("outside", *RING))
    head, tail = (folder / "bearings" / "r.toml").read_text().split("[outside]")
    route = READ.format(f="outside", file="bag", c="outside")
    rest = tail[tail.index("[clearance]") :]
    (folder / "bearings" / "bag.toml").write_text(
        f"{head}[outside]\nband_um = [-20, 0]\n{route}{rest}"
    )
    rows = [f"{37 + 1e-3 * v:.7f}" for v in values]
    (folder / "bearings" / "bag.csv").write_text("\n".join(["outside_mm", *rows]) + "\n")
    path = folder / "study.toml"
    path.write_text(
        path.read_text()
        + '[targets]\nloose = 0.9\n[[alternative]]\nname = "bag"\nbearing = "bearings/bag"\n'
    )
    return load_study(folder)


def _two(n: int, seed: int = 1) -> FloatArray:
    rng = np.random.default_rng(seed)
    return np.concatenate([rng.normal(-4.0, 0.8, n // 2), rng.normal(-9.0, 0.8, n - n // 2)])


def _next(study: Study) -> list[tuple[str, float, float]]:
    found = next_lots(
        study.alternatives["bag"], ["bearings/bag"], seed=1, workers=1, modes=["creak"]
    )
    return [(x.verdict, x.groups[0].rates["creak"], x.groups[1].rates["creak"]) for x in found]


def _minded(study: Study) -> str:
    """What a prediction asks to mind."""
    return " ".join(predict(study, draws=2**13, workers=1, plain=True, glance=False).warnings)


def test_two_populations_in_a_bag_are_recognised(tmp_path: Path) -> None:
    """120 rings of two makes: seen, the next lot of either make has its own closed form, and the
    readings alone keep anything from being acceptable."""
    study = _bag(tmp_path, _two(120))
    ((verdict, far, near),) = _next(study)
    assert verdict == "seen"
    for got, mean in ((far, -9.0), (near, -4.0)):
        p = float(stats.norm.cdf((-11.0 - mean) / math.hypot(2.0, 0.8)))
        # mean and spread of either make are known from 60 rings: 0.1 µm and 9 %
        assert got == pytest.approx(1.0 - (1.0 - p) ** 2, rel=0.2)
    assert "mixture" in {d.kind for d in doubts_of(study.alternatives["bag"])}
    assert "hardly those of one normal process" in _minded(study.alternatives["bag"])
    c: Comparison = compare([study], draws=2**15, plain=True, deep=False)
    assert c.alternatives[1].verdict == "not enough evidence"
    assert c.verdict == "not enough evidence"


def test_a_small_bag_is_declared_undecidable(tmp_path: Path) -> None:
    """Twelve rings cannot show two makes a few spreads apart; the page says so."""
    rng = np.random.default_rng(5)
    study = _bag(tmp_path, rng.normal(-6.0, 1.5, 12))
    ((verdict, far, near),) = _next(study)
    assert verdict == "cannot tell"
    assert far > near
    assert doubts_of(study.alternatives["bag"]) == ()
    assert "hardly those of one normal process" not in _minded(study.alternatives["bag"])
