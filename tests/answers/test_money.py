"""Money: the sourcing question worked by hand, prices by kind, ranges, forecast, break-even."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.studies import write
from tolsim.answers.money import (
    claim_draws,
    forecast,
    money,
    outlay,
    unknown_between,
    worth_of_knowing,
)
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study, load_study
from tolsim.spec.money import Costs

# A worked example with invented numbers: 80 000 seats a year, 15 % of the loose ones become a
# claim at 55 each, the cheap ring saves 36 000 a year. 5 050 more loose seats cost 41 700: no.
# After recentring one shop 3 850 more cost 31 800: break-even at 17 %.
SEATS, SAVING = 80_000.0, 36_000.0
COSTS = {"units_per_year": SEATS, "creak_claim_share": 0.15, "creak_claim_cost": 55.0}


@pytest.mark.parametrize(
    ("more", "claims", "left", "even"),
    [(5050.0, 41_700.0, -5_700.0, 0.130), (3850.0, 31_800.0, 4_200.0, 0.170)],
)
def test_the_sourcing_question(more: float, claims: float, left: float, even: float) -> None:
    """Claims, what is left and the break-even share of the worked example, as printed."""
    costs = Costs.model_validate(COSTS)
    d = more / SEATS
    got = money(
        costs,
        claim_draws(costs, seed=1, n=8),
        SAVING / SEATS,
        {"creak": (d, np.full(8, d))},
        confidence=0.95,
    )
    assert got.saving == pytest.approx(SAVING)
    assert got.claims.value == pytest.approx(claims, abs=50)
    assert got.net.value == pytest.approx(left, abs=100)
    assert got.break_even is not None
    assert got.break_even.value == pytest.approx(even, abs=0.0005)
    assert got.yearly


def test_break_even_when_there_is_none() -> None:
    """No more units fail: every share pays. Nothing is saved: none does."""
    costs = Costs.model_validate(COSTS)
    claims = claim_draws(costs, seed=1, n=4)
    fewer = money(costs, claims, 0.1, {"creak": (-0.01, np.full(4, -0.01))}, confidence=0.95)
    assert fewer.break_even is None
    assert fewer.pays == 1.0
    dearer = money(costs, claims, -0.1, {"creak": (0.01, np.full(4, 0.01))}, confidence=0.95)
    assert dearer.break_even is None
    assert dearer.pays == 0.0
    assert (fewer.no_even, dearer.no_even) == ("always", "never")


def test_why_no_share_makes_both_equal() -> None:
    """Claims without a price, and two that cost and creak alike, are not a share that pays."""
    more, none = {"creak": (0.01, np.full(4, 0.01))}, {"creak": (0.0, np.zeros(4))}
    bare = Costs()
    assert money(bare, None, 0.1, more, confidence=0.95).no_even == "no price"
    costs = Costs.model_validate({"tight_claim_cost": 20.0})
    claims = claim_draws(costs, seed=1, n=4)
    got = money(costs, claims, 0.1, more, confidence=0.95)
    assert (got.no_even, got.priced) == ("no price", ("tight",))
    costs = Costs.model_validate(COSTS)
    claims = claim_draws(costs, seed=1, n=4)
    assert money(costs, claims, 0.0, none, confidence=0.95).no_even == "equal"
    both = Costs.model_validate({**COSTS, "tight_claim_cost": 20.0})
    claims = claim_draws(both, seed=1, n=4)
    taken = {**more, "tight": (0.05, np.full(4, 0.05))}
    got = money(both, claims, 0.1, taken, confidence=0.95)
    assert (got.no_even, got.before_creak < 0.0 < got.saving) == ("never", True)


def test_two_kinds_of_claims(tmp_path: Path) -> None:
    """Claims for tight units are paid first; the break-even share is of what they leave."""
    costs = Costs.model_validate({**COSTS, "tight_claim_cost": 20.0, "tight_claim_share": 0.5})
    got = money(
        costs,
        claim_draws(costs, seed=1, n=4),
        0.45,
        {"creak": (0.05, np.full(4, 0.05)), "tight": (0.01, np.full(4, 0.01))},
        confidence=0.95,
    )
    tight = SEATS * 0.01 * 0.5 * 20.0
    assert got.claims.value == pytest.approx(tight + SEATS * 0.05 * 0.15 * 55.0)
    assert got.break_even is not None
    assert got.break_even.value == pytest.approx((36_000.0 - tight) / (SEATS * 0.05 * 55.0))


def test_ranges_are_triangles() -> None:
    """A range about its value has the triangular distribution; alone, about its middle."""
    costs = Costs.model_validate(
        {
            "creak_claim_share": 0.15,
            "creak_claim_share_range": [0.1, 0.3],
            "creak_claim_cost_range": [40.0, 80.0],
        }
    )
    claims = claim_draws(costs, seed=2, n=4000)
    assert claims is not None
    value, draws = claims.share["creak"]
    assert value == 0.15
    # Kolmogorov's distance of 4000 draws exceeds 1.95 / sqrt(n) in one run of a thousand
    assert stats.kstest(draws, stats.triang(0.25, 0.1, 0.2).cdf).statistic < 1.95 / math.sqrt(4000)
    value, draws = claims.cost["creak"]
    assert value == 60.0
    assert stats.kstest(draws, stats.triang(0.5, 40, 40).cdf).statistic < 1.95 / math.sqrt(4000)


def test_forecast_has_the_band_of_a_year() -> None:
    """With everything known the claims of a year are Poisson: their own quantiles."""
    costs = Costs.model_validate({**COSTS, "units_per_year": 4000.0})
    n = 20_000
    claims = claim_draws(costs, seed=3, n=n)
    assert claims is not None
    got = forecast(costs, claims, {"creak": (0.02, np.full(n, 0.02))}, seed=3, confidence=0.95)
    mean = 4000 * 0.02 * 0.15
    assert got.claims.value == pytest.approx(mean)
    assert (got.claims.low, got.claims.high) == stats.poisson(mean).interval(0.95)
    assert got.cost.high == pytest.approx(55.0 * got.claims.high)


def _priced(folder: Path, text: str, more: str = "") -> Study:
    (folder / "study.toml").write_text(text + more)
    return load_study(folder)


def test_what_a_unit_costs(tmp_path: Path) -> None:
    """Two bearings, one shell, two sleeves or one in one piece, assembly by kind."""
    text = (
        'title = "t"\n[joint]\nkind = "sleeved"\nbore = "bores/ridge-alloy-large"\n'
        'sleeve = "sleeves/{}"\nbearing = "bearings/25x37x7-good"\n'
        "[limits]\nloose = {{ interference_um = 0 }}\n[costs]\nassembly = {{ sleeved = 4.5 }}\n"
    )
    for name, sleeves in (("two-piece-alloy", 2), ("one-piece-alloy", 1)):
        study = _priced(tmp_path, text.format(name))
        got = outlay(study, assemble(study), study.spec.costs or Costs())
        assert got.parts == pytest.approx(2 * 2.10)  # the shell and the sleeve have no price
        assert got.assembly == 4.5
        assert set(got.unknown) == {"bores/ridge-alloy-large", f"sleeves/{name}"}
        stratum = study.strata[0]
        part = stratum.parts["sleeve"].model_copy(update={"price_each": 1.0})
        priced = replace(study, strata=(replace(stratum, parts={**stratum.parts, "sleeve": part}),))
        assert outlay(priced, assemble(priced), Costs()).parts == pytest.approx(4.20 + sleeves)


def test_scrap_of_a_gauge_is_paid(tmp_path: Path) -> None:
    """A gauge that rejects a share r of the bores costs r / (1 - r) bores more at both seats."""
    route = (
        '[[diameter.route]]\nstep = "machine"\nmean_um = -20\nsd_um = 4\n'
        '[[diameter.route]]\nstep = "gauge"\naccept_um = [-24, -16]\n'
    )
    write(tmp_path, bore_route=route, study_more="[costs]\nscrap_cost = 10.0")
    study = load_study(tmp_path)
    lost = 2.0 * float(stats.norm.sf(1.0))
    assert outlay(study, assemble(study), study.spec.costs or Costs()).scrap == pytest.approx(
        10.0 * 2.0 * lost / (1.0 - lost), rel=1e-3
    )


def test_prices_that_do_not_cancel_are_named(tmp_path: Path) -> None:
    """What both have needs no price; what only one has does; so does assembly of another kind."""
    write(tmp_path)
    text = (tmp_path / "study.toml").read_text() + (
        '[[alternative]]\nname = "other"\nbearing = "bearings/25x37x7-normal"\n'
    )
    (tmp_path / "study.toml").write_text(text)
    study = load_study(tmp_path)
    a, b = (outlay(s, assemble(s), Costs()) for s in (study, study.alternatives["other"]))
    none = unknown_between(a, a, ("pressed", "pressed"), Costs())
    assert none == ()
    assert unknown_between(a, b, ("pressed", "pressed"), Costs()) == (
        "bearings/r",
        "bearings/25x37x7-normal",
    )
    kinds = ("pressed", "bonded")
    told = unknown_between(a, a, kinds, Costs.model_validate({"assembly": {"pressed": 1.0}}))
    assert told == ("assembly of a bonded joint",)


def test_shares_that_change_need_prices(tmp_path: Path) -> None:
    """Two shops in both, in other shares: what the one without a price costs does not cancel."""
    write(tmp_path)
    bore = (tmp_path / "bores" / "b.toml").read_text()
    (tmp_path / "bores" / "c.toml").write_text(bore.replace("span_mm", "price_each = 9.0\nspan_mm"))
    text = (tmp_path / "study.toml").read_text().replace('bore = "bores/b"\n', "")
    for name, part, share in (("B", "b", 0.5), ("C", "c", 0.5)):
        text += f'[[supply]]\nname = "{name}"\nbore = "bores/{part}"\nshare = {share}\n'
    text += '[[alternative]]\nname = "more of C"\n'
    for name, share in (("B", 0.2), ("C", 0.8)):
        text += f'[[alternative.supply]]\nname = "{name}"\nshare = {share}\n'
    (tmp_path / "study.toml").write_text(text)
    study = load_study(tmp_path)
    a, b = (outlay(s, assemble(s), Costs()) for s in (study, study.alternatives["more of C"]))
    assert b.parts - a.parts == pytest.approx(0.3 * 9.0)
    assert unknown_between(a, b, ("pressed", "pressed"), Costs()) == ("bores/b",)


@pytest.mark.parametrize(("d", "low", "high"), [(-0.02, 0.05, 0.2), (0.02, None, None)])
def test_break_even_of_a_dearer_alternative(
    d: float, low: float | None, high: float | None
) -> None:
    """One that costs 0.2 a unit more and creaks 2 % less pays above a claim share of 10 %; one
    that is dearer and worse has no break-even."""
    costs = Costs.model_validate({**COSTS, "creak_claim_cost": 100.0})
    claims = claim_draws(costs, seed=1, n=400)
    draws = d * np.linspace(0.5, 2.0, 400)
    found = money(costs, claims, -0.2, {"creak": (d, draws)}, confidence=0.99).break_even
    if low is None or high is None:
        assert found is None
        return
    assert found is not None
    assert found.value == pytest.approx(0.1)
    assert found.low == pytest.approx(low, rel=0.02)
    assert found.high == pytest.approx(high, rel=0.02)


def test_knowing_is_worth_what_it_changes() -> None:
    """Measuring is worth nothing where it cannot change the choice, and never less."""
    net = np.array([2.0, 4.0])
    assert worth_of_knowing(net, np.array([2.5, 3.5])) == 0.0
    # half the worlds lose 4: knowing saves that
    assert worth_of_knowing(np.array([6.0, -4.0]), np.array([6.0, -4.0])) == 2.0
    assert worth_of_knowing(np.array([-1.0]), np.array([-1.0])) == 0.0
