"""The shipped studies for buyers and concept designers give their three answers.

Fewer draws than a user would take; what is asked is that the answers are there, and consistent.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tolsim.answers.compare import compare
from tolsim.answers.compare_results import Comparison
from tolsim.report.compare import comparison_payload, comparison_text
from tolsim.spec.load import load_study

STUDIES = Path(__file__).parents[2] / "studies"
OPEN = "not enough evidence"


def _found(name: str) -> tuple[Comparison, str]:
    found = compare([load_study(STUDIES / name)], draws=2**17, workers=2, plain=True)
    return found, " ".join(comparison_text(comparison_payload(found)).split())


@pytest.mark.slow
def test_the_economy_bearing() -> None:
    """Open: the break-even share of claims, what lots must show, what 30 more rings are worth."""
    found, page = _found("economy-bearing")
    (a,) = found.choices
    assert a.verdict == OPEN
    assert a.money is not None
    assert a.money.saving > 0.0 > a.money.net.low
    even = a.money.break_even
    assert even is not None
    # at the break-even share the claims are the saving: they go in proportion to the share
    assert a.money.saving * 0.15 / a.money.claims.value == pytest.approx(even.value, rel=0.05)
    (condition,) = a.conditions
    assert condition.box is not None
    assert condition.sd is not None
    assert condition.test is not None
    # the sample must be better than the box, and rings like today's do not pass
    assert condition.box[0] < condition.test.mean[0] < condition.test.mean[1] < condition.box[1]
    assert condition.test.sd < condition.sd
    assert condition.today_passes is not None
    assert condition.today_passes < 0.5
    assert a.plan is not None
    first = a.plan.candidates[0]
    assert first.part == "bearings/25x37x7-economy-measured"
    assert first.worth is not None
    for words in ("purchasing and assembly, when built", "claims, later, in service", "Break-even"):
        assert words in page


@pytest.mark.slow
def test_the_other_supplier() -> None:
    """Dearer and better: the claim share above which it pays, and whose bores would tell most."""
    found, page = _found("other-supplier")
    (a,) = found.choices
    assert a.verdict == OPEN
    assert a.money is not None
    assert a.money.saving == pytest.approx(-0.4 * 0.40 * 4000)
    assert a.money.break_even is not None
    assert a.money.break_even.low < a.money.break_even.value < a.money.break_even.high
    assert a.plan is not None
    assert a.plan.candidates[0].part == "bores/coast-bored"
    assert "it pays where more do" in page
    assert [s.name for s in a.supply] == ["North", "Ridge"]
    assert a.supply[0].differences["creak"].same


@pytest.mark.slow
def test_which_joint() -> None:
    """Every concept over its whole ranges: which survives, what it demands, what would settle."""
    found, page = _found("which-joint")
    assert found.choices[0].name == "pressed, reamed bores"
    assert {a.study.spec.joint.kind for a in found.choices} == {
        "pressed",
        "sleeved",
        "bonded",
        "threaded",
    }
    for a in found.choices:
        assert len(a.whole) == 2
        assert a.demand is not None
        assert all(w.best.rate.low <= w.worst.rate.high for w in a.whole)
        assert (a.plan is not None) == (a.verdict == OPEN)
        if a.demand.windows is None:
            # nothing is said to be out of reach but what was counted to be
            asked = a.study.spec.targets
            assert any(r.low > getattr(asked, m) for m, r in a.demand.rates.items())
    # fitted rates alone find no place for either: two ways to creak balance there
    for name in ("pressed, reamed bores", "sleeved in one piece"):
        demand = next(a for a in found.choices if a.name == name).demand
        assert demand is not None
        assert demand.windows is not None
    bonded = next(a for a in found.choices if a.name == "bonded")
    assert [w.survives for w in bonded.whole if w.mode == "creak"] == [False]
    assert bonded.demand is not None
    assert bonded.demand.windows is None
    assert found.none_best > 0.0
    assert "survives nowhere" in page
    assert "Assumed, not measured" in page
