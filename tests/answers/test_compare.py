"""Compare: differences on common draws against closed forms, ranking, equals, mixes, money."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import compare, labelled
from tolsim.answers.compare_results import AlternativeResult, Comparison, overall
from tolsim.answers.predict import predict
from tolsim.errors import UsageError
from tolsim.spec.alternatives import AS_IT_STANDS
from tolsim.spec.load import Study, load_study

N = 2**16


def _ring(folder: Path, name: str, route: str, more: str = "") -> None:
    head, tail = (folder / "bearings" / "r.toml").read_text().split("[outside]\nband_um = [-9, 0]")
    tail = tail[tail.index("[clearance]") :]
    (folder / "bearings" / f"{name}.toml").write_text(
        f"{head}{more}[outside]\nband_um = [-20, 0]\n{route}{tail}"
    )


def _study(
    folder: Path,
    *rings: tuple[str, str],
    bore: str = machine("diameter", -10.0, 3.0),
    more: str = "",
) -> Study:
    """A pressed joint whose loose seats have a closed form, and other rings as alternatives."""
    write(folder, bore_route=bore, ring_route=machine("outside", -4.0, 1.0))
    text = (folder / "study.toml").read_text() + more
    for name, route in rings:
        _ring(folder, name, route)
        text += f'[[alternative]]\nname = "{name}"\nbearing = "bearings/{name}"\n'
    (folder / "study.toml").write_text(text)
    return load_study(folder)


def _loose(bore: tuple[float, float], ring: tuple[float, float]) -> float:
    """Share of units with a loose seat: two independent normal gaps."""
    p = float(stats.norm.cdf((bore[0] - ring[0]) / math.hypot(bore[1], ring[1])))
    return 1.0 - (1.0 - p) ** 2


def _of(c: Comparison, name: str) -> AlternativeResult:
    return next(a for a in c.alternatives if a.name == name)


def _compared(study: Study, *, seed: int = 1, n: int = N, plain: bool = True) -> Comparison:
    return compare([study], seed=seed, draws=n, workers=1, plain=plain, deep=False)


def test_rates_and_difference_against_the_closed_form(tmp_path: Path) -> None:
    """Rates and their difference hold the closed form; paired, the difference is the sharper."""
    study = _study(tmp_path, ("close", machine("outside", -4.3, 1.1)))
    c = _compared(study)
    before, after = _loose((-10, 3), (-4, 1)), _loose((-10, 3), (-4.3, 1.1))
    first, other = c.alternatives[0].modes["loose"], _of(c, "close").modes["loose"]
    assert first is not None
    assert other is not None
    assert first.low < before < first.high
    assert other.low < after < other.high
    d = _of(c, "close").differences["loose"]
    assert d.low < after - before < d.high
    assert d.low > 0.0
    apart = math.hypot(first.high - first.low, other.high - other.low)
    assert d.high - d.low < 0.6 * apart


def test_difference_intervals_hold_the_truth(tmp_path: Path) -> None:
    """Over 60 seeds the 95 % interval of the draws misses the closed form no more often than
    chance allows (at most 8 of 60: binomial probability below 1 % at 5 %)."""
    study = _study(tmp_path, ("close", machine("outside", -4.3, 1.1)))
    exact = _loose((-10, 3), (-4.3, 1.1)) - _loose((-10, 3), (-4, 1))
    missed = 0
    for seed in range(60):
        d = _of(_compared(study, seed=seed, n=8192), "close").differences["loose"].simulation
        missed += not d.low <= exact <= d.high
    assert missed <= 8
    assert float(stats.binom.sf(8, 60, 0.05)) < 0.01


def test_alternatives_share_their_draws_with_predict(tmp_path: Path) -> None:
    """What a comparison counts for the study itself is what predict counts with the same seed."""
    study = _study(tmp_path, ("close", machine("outside", -4.3, 1.1)))
    mode = predict(study, draws=N, plain=True, glance=False).modes["loose"]
    assert mode is not None
    found = _compared(study).alternatives[0].modes["loose"]
    assert found is not None
    assert (found.share, found.low, found.high) == (mode.share, mode.low, mode.high)


def test_truly_equal_alternatives_come_out_equal(tmp_path: Path) -> None:
    """The same numbers under another name: no difference at all, and neither is the better."""
    c = _compared(_study(tmp_path, ("twin", machine("outside", -4.0, 1.0))))
    twin = _of(c, "twin")
    d = twin.differences["loose"]
    assert d.same
    assert (d.value, d.low, d.high) == (0.0, 0.0, 0.0)
    assert twin.same_as == (AS_IT_STANDS,)
    assert [a.rank for a in c.alternatives] == [1, 1]
    assert [a.best for a in c.alternatives] == [0.5, 0.5]
    assert twin.verdict == "acceptable"  # not worse, and nothing else was asked


def test_equal_knowledge_of_two_parts_tells_none_better(tmp_path: Path) -> None:
    """Two makes with the same 30 readings each, known apart: not told apart, about even odds."""
    values = np.random.default_rng(3).normal(36.996, 0.0015, 30)
    rows = "outside_mm\n" + "\n".join(f"{v:.5f}" for v in values) + "\n"
    step = '[[outside.route]]\nstep = "readings"\nfile = "{}.csv"\ncolumn = "outside_mm"\n'
    study = _study(tmp_path, ("a", machine("outside", -4, 1)), ("b", machine("outside", -4, 1)))
    for name in ("a", "b"):
        _ring(tmp_path, name, step.format(name))
        (tmp_path / "bearings" / f"{name}.csv").write_text(rows)
    text = (tmp_path / "study.toml").read_text()
    (tmp_path / "study.toml").write_text(
        text.replace('bearing = "bearings/r"', 'bearing = "bearings/a"', 1).replace(
            '[[alternative]]\nname = "a"\nbearing = "bearings/a"\n', ""
        )
    )
    study = load_study(tmp_path)
    c = _compared(study)
    d = _of(c, "b").differences["loose"]
    assert not d.same
    assert d.low < 0.0 < d.high
    assert all(0.4 < a.best < 0.6 for a in c.alternatives)


def test_probability_of_being_best_over_a_range(tmp_path: Path) -> None:
    """A ring whose mean is anywhere from -8 to -2 µm beats one at -4 µm in a third of the range."""
    ranged = machine("outside", -4.0, 1.0) + "mean_range_um = [-8, -2]\n"
    c = _compared(_study(tmp_path, ("ranged", ranged)), n=2**18)
    # near the tie the rate of a set rests on some thousand kept units: 3 % of it, which is
    # 0.06 µm of the mean or 1 % of the range; three such errors
    assert _of(c, "ranged").best == pytest.approx(1.0 / 3.0, abs=0.03)
    d = _of(c, "ranged").differences["loose"]
    exact = [_loose((-10, 3), (m, 1)) - _loose((-10, 3), (-4, 1)) for m in (-7.85, -2.15)]
    assert d.low == pytest.approx(exact[1], rel=0.15)
    assert d.high == pytest.approx(exact[0], rel=0.15)


def test_what_both_leave_open_cancels(tmp_path: Path) -> None:
    """Two rings on the same measured bores: their difference is known far better than either."""
    rows = np.random.default_rng(5).normal(36.990, 0.003, 15)
    bore = '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "bore_mm"\n'
    write(tmp_path)
    (tmp_path / "bores" / "b.csv").write_text("bore_mm\n" + "\n".join(f"{v:.5f}" for v in rows))
    study = _study(tmp_path, ("close", machine("outside", -4.2, 1.0)), bore=bore)
    c = _compared(study)
    mode, d = c.alternatives[0].modes["loose"], _of(c, "close").differences["loose"]
    assert mode is not None
    assert d.low > 0.0  # the further ring is looser whatever the bores are
    assert d.high - d.low < 0.1 * (mode.high - mode.low)


def test_small_rates_by_paired_weights(tmp_path: Path) -> None:
    """At parts per million the difference comes from weights on common points, and is right."""
    study = _study(
        tmp_path,
        ("close", machine("outside", -4.2, 1.0)),
        bore=machine("diameter", -19.0, 3.0),
    )
    c = _compared(study, plain=False)
    exact = _loose((-19, 3), (-4.2, 1)) - _loose((-19, 3), (-4, 1))
    d = _of(c, "close").differences["loose"].simulation
    assert d.method == "paired importance weights"
    assert d.low < exact < d.high
    assert d.low > 0.0
    assert d.high - d.low < exact


def test_supplies_the_worst_and_the_mix(tmp_path: Path) -> None:
    """Each supply has its own rates and difference; the mix weighs them; the worst is named."""
    for name, mean in (("good", -14.0), ("bad", -10.0)):
        write(tmp_path, bore_route=machine("diameter", mean, 3))
        (tmp_path / "bores" / "b.toml").rename(tmp_path / "bores" / f"{name}.toml")
    supply = "".join(
        f'[[supply]]\nname = "{n}"\nbore = "bores/{b}"\nshare = {s}\n'
        for n, b, s in (("North", "good", 0.75), ("Coast", "bad", 0.25))
    )
    c = _compared(_study(tmp_path, ("close", machine("outside", -4.3, 1.1)), more=supply))
    other = _of(c, "close")
    exact = {
        name: _loose((m, 3), (-4.3, 1.1)) - _loose((m, 3), (-4, 1))
        for name, m in (("North", -14), ("Coast", -10))
    }
    for s in other.supply:
        assert s.differences["loose"].low < exact[s.name] < s.differences["loose"].high
    d = other.differences["loose"]
    assert d.low < 0.75 * exact["North"] + 0.25 * exact["Coast"] < d.high
    assert other.worst is not None
    assert other.worst.name == "Coast"
    seats = [s["loose"].value for s in other.seats]
    whole = other.modes["loose"]
    assert whole is not None
    assert max(seats) < whole.share < sum(seats)


def test_ring_section_clearance_and_width_make_a_difference(tmp_path: Path) -> None:
    """Bearings alike in diameter but not in section, clearance or width differ in what they do."""
    limits = "tight = { clearance_um = 4 }\nloose = { separation = true }"
    write(
        tmp_path,
        bore_route=machine("diameter", -20, 3),
        ring_route=machine("outside", -4, 1),
        limits=limits,
        study_more="[service]\nseat_load_N = 700",
    )
    text = (tmp_path / "study.toml").read_text()
    base = (tmp_path / "bearings" / "r.toml").read_text()
    for name, old, new in (
        ("thin", "width_mm = 7.0", "width_mm = 7.0\nraceway_diameter_mm = 35.0"),
        ("tighter", "band_um = [13, 28]", "band_um = [10, 25]"),
        ("narrow", "width_mm = 7.0", "width_mm = 5.0"),
    ):
        (tmp_path / "bearings" / f"{name}.toml").write_text(base.replace(old, new))
        text += f'[[alternative]]\nname = "{name}"\nbearing = "bearings/{name}"\n'
    (tmp_path / "study.toml").write_text(text)
    c = _compared(load_study(tmp_path))
    assert not _of(c, "thin").differences["tight"].same
    assert _of(c, "tighter").differences["tight"].low > 0.0
    assert _of(c, "tighter").differences["loose"].same
    assert _of(c, "narrow").differences["loose"].value != 0.0


def test_rings_of_one_unit_alike_fail_together(tmp_path: Path) -> None:
    """With both rings of a unit from one draw a fixed bore leaves both seats loose or none."""
    study = _study(
        tmp_path,
        ("alike", machine("outside", -4.0, 2.0)),
        bore=machine("diameter", -6.0, 0.001),
    )
    path = tmp_path / "bearings" / "alike.toml"
    path.write_text(path.read_text().replace("bore_mm", 'drawn = "per-unit"\nbore_mm', 1))
    study = load_study(tmp_path)
    a = _of(_compared(study), "alike")
    p = float(stats.norm.cdf((-6.0 + 4.0) / math.hypot(2.0, 0.001)))
    whole = a.modes["loose"]
    assert whole is not None
    assert whole.share == pytest.approx(p, abs=4 * math.sqrt(p * (1 - p) / N))
    assert a.seats[0]["loose"].value == pytest.approx(whole.share, abs=2e-4)


def test_ranked_by_cost_where_prices_are_known(tmp_path: Path) -> None:
    """With prices and claims the cheapest is best; without them the one that fails least."""
    costs = "[costs]\ncreak_claim_share = 0.5\ncreak_claim_cost = {}\nunits_per_year = 1000\n"
    for claim, best in ((1.0, "cheap"), (10000.0, AS_IT_STANDS)):
        study = _study(tmp_path, ("cheap", machine("outside", -5.0, 1.0)), more=costs.format(claim))
        for name, price in (("r", 2.0), ("cheap", 1.5)):
            path = tmp_path / "bearings" / f"{name}.toml"
            path.write_text(
                path.read_text().replace("bore_mm", f"price_each = {price}\nbore_mm", 1)
            )
        study = load_study(tmp_path)
        c = _compared(study)
        assert c.ranked_by == "cost"
        assert _of(c, best).best > 0.995
        paid = _of(c, "cheap").money
        assert paid is not None
        assert paid.saving == pytest.approx(1000.0)  # two rings at half a unit less, 1000 units
        extra = _loose((-10, 3), (-5, 1)) - _loose((-10, 3), (-4, 1))
        assert paid.claims.low < 1000 * extra * 0.5 * claim < paid.claims.high


def test_names_and_nothing_to_compare(tmp_path: Path) -> None:
    """Several studies go by their folders, their alternatives behind a colon."""
    one = _study(tmp_path / "one", ("x", machine("outside", -4, 1)))
    two = _study(tmp_path / "two")
    assert list(labelled([one, two])) == ["one", "one: x", "two"]
    with pytest.raises(UsageError, match="nothing to compare"):
        labelled([two])


def test_no_reasons_no_objection() -> None:
    """A verdict of nothing asked is acceptable; one open reason leaves it open."""
    assert overall(()) == "acceptable"
