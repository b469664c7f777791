"""What design counts, offers and tells: claims, runner-up, other targets, grids, prices."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.studies import write_design
from tolsim.answers import region
from tolsim.answers.costs import cost_model
from tolsim.answers.design import design
from tolsim.answers.design_bands import bare_widths, unpriced_parts
from tolsim.answers.design_cases import Case, problem_of
from tolsim.answers.design_depth import _curve
from tolsim.answers.design_outer import ANY_RATE, Found, of_case
from tolsim.answers.region import bands_of
from tolsim.errors import SpecError, UsageError
from tolsim.report.design import design_payload
from tolsim.report.design_text import design_text
from tolsim.spec.load import Study, load_study

BAND = """
[[choose]]
feature = "bore.diameter"
centre_um = [-40, -5]
width_um = [4, 40]
capability_basis = "made for a test"
"""


def _study(folder: Path, rest: str, *, targets: str = "loose = 0.002") -> Study:
    """A pressed study of one bore and one ring with targets, costs and freedoms of its own."""
    return load_study(write_design(folder, f"[targets]\n{targets}\n{rest}"))


def _case(study: Study) -> Case:
    (case,) = problem_of(study).cases
    return case


def test_claims_known_by_their_range_alone(tmp_path: Path) -> None:
    """The middle of a range stands for a share and for a cost, as it does in a comparison."""
    costs = "[costs]\ncreak_claim_share_range = [0.1, 0.3]\ncreak_claim_cost_range = [40, 60]\n"
    assert cost_model(_case(_study(tmp_path, costs + BAND))).claims == {"creak": 0.2 * 50.0}


def test_claims_of_what_has_no_target_are_paid(tmp_path: Path) -> None:
    """Units that fail without a target cost their claims, and no rate of them is too high."""
    study = _study(tmp_path, "[costs]\ntight_claim_cost = 100\n" + BAND)
    search = of_case(_case(study), {"loose": 0.002}, seed=1)
    assert search.targets == {"loose": 0.002, "tight": ANY_RATE}
    theta = np.array([-0.030, 0.012])
    search.rates.refresh(theta, n=2**12)
    found = search.found(theta, search.targets, 1)
    assert found.rates["tight"] > 0.01
    assert found.cost == pytest.approx(100.0 * found.rates["tight"], rel=1e-6)


def test_the_grid_must_hold_a_band(tmp_path: Path) -> None:
    """A drawing grid coarser than every band that is allowed is refused, not rounded out of it."""
    study = _study(tmp_path, BAND)
    assert problem_of(study, grid=0.010).cases
    with pytest.raises(UsageError, match="no band on the drawing grid of 50 µm"):
        problem_of(study, grid=0.050)
    (case,) = problem_of(study).cases
    narrow = replace(case.freedoms[0], centre=(-0.0263, -0.0261), width=(0.0195, 0.0205))
    assert not narrow.has_grid  # a width of 20 has its middle on whole numbers alone
    assert replace(narrow, centre=(-0.0263, -0.0259)).has_grid


def test_bands_of_a_fine_grid_are_counted_before_they_are_listed(tmp_path: Path) -> None:
    """A hundred million bands become as many as asked, on a multiple of the grid."""
    (case,) = problem_of(_study(tmp_path, BAND), grid=1e-5).cases
    wide = replace(case.freedoms[0], centre=(-0.1, 0.1), width=(0.001, 0.2))
    bands, step = bands_of(wide, most=1300)
    assert 400 < len(bands) <= 1300
    assert step / 1e-5 == pytest.approx(round(step / 1e-5))
    assert bands[:, 0].min() >= -0.1 - 1e-9
    assert bands[:, 1].max() <= 0.2 + 1e-9


def test_a_gauge_that_passes_nothing(tmp_path: Path) -> None:
    """Bands far from all parts are told with line, key, what was found and what is allowed."""
    away = BAND.replace("[-40, -5]", "[300, 400]") + 'follows = "gauge"\n'
    study = _study(tmp_path, away)
    with pytest.raises(SpecError) as caught:
        problem_of(study)
    (fault,) = caught.value.problems
    assert (fault.key, fault.found) == ("choose[0].centre_um", "centre_um = [300, 400]")
    lines = (tmp_path / "study.toml").read_text().splitlines()
    assert fault.line is not None
    assert lines[fault.line - 1] == "[[choose]]"
    assert "-26.2 to -13.8 µm" in str(fault.allowed)


def test_what_has_no_price_is_told(tmp_path: Path) -> None:
    """Widths that cost nothing, and parts without a price among those that have one."""
    study = _study(tmp_path, BAND)
    (told,) = bare_widths(_case(study).freedoms)
    assert "bore.diameter" in told
    assert unpriced_parts(problem_of(study).cases) == ()
    bearings = '[[choose]]\npart = "bearing"\noptions = ["bearings/r", "bearings/25x37x7-good"]\n'
    (told,) = unpriced_parts(problem_of(_study(tmp_path, BAND + bearings)).cases)
    assert "bearings/r;" in told
    assert "25x37x7-good" not in told


class _Guided:
    """A search that finds what it is told to for each target."""

    def __init__(self, costs: dict[float, float | None]) -> None:
        self.targets, self.costs, self.best = {"creak": 0.4}, costs, None

    def run(self, *, targets: dict[str, float], most: int, closely: bool) -> Found:
        cost = self.costs[round(targets["creak"], 9)]
        excess = 1.0 if cost is None else 0.0
        return Found(theta=np.zeros(1), cost=cost or 0.0, rates={}, excess=excess, steps=1)


def test_a_laxer_target_never_costs_more() -> None:
    """What keeps one target keeps every laxer one; there is none of more than all units."""
    found = Found(theta=np.zeros(1), cost=5.1, rates={}, excess=0.0, steps=1)
    guided = _Guided({0.1: 5.0, 0.2: None, 0.8: None})
    curve = _curve(guided, found, "creak")  # type: ignore[arg-type]
    assert [(c.target, c.cost) for c in curve] == [(0.1, 5.0), (0.2, 5.0), (0.4, 5.0), (0.8, 5.0)]


def test_the_runner_up_is_another_one(tmp_path: Path) -> None:
    """The chosen combination is not its own runner-up, and the cheapest is the chosen one."""
    classes = BAND.replace("centre_um = [-40, -5]\nwidth_um = [4, 40]", 'classes = ["N5", "N6"]')
    d = design(_study(tmp_path, classes, targets="loose = 0.5\ntight = 0.5"), deep=False)
    assert d.met
    assert d.runner_up is not None
    assert d.runner_up.label != d.label
    assert d.choices[0].label == d.label
    text = design_text(design_payload(d))
    assert "Runner-up: N" in text
    assert "less than 0.01 EUR a unit more" in text


def test_what_cannot_be_searched_over_has_a_place(tmp_path: Path) -> None:
    """Picked classes are the study's fault, not the command line's: with line and key."""
    study = _study(tmp_path, BAND)
    text = (tmp_path / "study.toml").read_text()
    picked = text.replace('bore = "bores/b"', 'bore = "bores/b"\npick = { classes = 3 }')
    (tmp_path / "study.toml").write_text(picked)
    with pytest.raises(SpecError) as caught:
        design(load_study(tmp_path), deep=False)
    (fault,) = caught.value.problems
    assert (fault.key, fault.found) == ("choose[0].feature", 'feature = "bore.diameter"')
    assert "picked" in fault.message
    assert fault.line is not None
    assert picked.splitlines()[fault.line - 1] == "[[choose]]"
    assert study.spec.joint.pick is None


def test_bands_far_from_all_good_ones_are_not_called_good(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rates are those of all units drawn, the last ones too: where everything fails nothing is
    good."""
    monkeypatch.setattr(region, "_ROUNDS", 1)
    case = _case(_study(tmp_path, BAND.replace("[-40, -5]", "[-40, 150]")))
    search = of_case(case, {"loose": 0.002}, seed=1)
    theta = np.array([-0.020, 0.012])
    search.rates.refresh(theta, n=2**12)
    found = region.feasible_region(case, search, theta, most=300)
    assert found is not None
    assert found.good.any()
    # 4 µm of interference, rings about −4.5 µm: a mean bore above −8.5 µm fails in every second
    assert found.bands[0][found.good, 0].max() < -0.0085
