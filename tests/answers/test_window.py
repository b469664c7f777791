"""Window: a point is the closed form, and what a prediction there finds; demands hold."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.window import Window, window
from tolsim.answers.window_axes import axes_of
from tolsim.answers.window_check import Contradicted, demand_of
from tolsim.answers.window_demand import Box
from tolsim.answers.window_mesh import Shares
from tolsim.answers.window_ways import rates_of
from tolsim.errors import InternalError, SpecError, UsageError
from tolsim.spec.load import Study, load_study

STUDIES = Path(__file__).parents[2] / "studies"
RING = (-4.0, 1.5)
TARGETS = "[targets]\nloose = 0.02\n"
PAIR = ("bore.diameter.mean", "bore.diameter.sd")
SIDES = "[sides]\ndiameter = {}\n"


def _study(
    folder: Path, *, more: str = "", route: str = "", targets: str = TARGETS, joint: str = ""
) -> Study:
    write(
        folder,
        study_more=joint,
        bore_route=machine("diameter", -10.0, 2.0) + route + more,
        ring_route=machine("outside", *RING),
        limits=f"loose = {{ interference_um = 0 }}\n{targets}",
    )
    return load_study(folder)


def _loose(mean: float, sd: float, rho: float = 0.0, ring: tuple[float, float] = RING) -> float:
    """Share of units with a loose seat: two normal gaps, tied through the bores."""
    spread = math.hypot(sd, ring[1])
    ends = [(ring[0] - mean) / spread] * 2
    tie = rho * sd * sd / spread**2
    held = stats.multivariate_normal.cdf(ends, cov=[[1.0, tie], [tie, 1.0]])
    return float(1.0 - held)


def _window(study: Study, **more: object) -> Window:
    given = {"x_range": (-16.0, -7.0), "y_range": (1.0, 4.0), "points": 7} | more
    return window(study, *PAIR, **given)  # type: ignore[arg-type]


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9, -0.4])
def test_every_point_is_the_closed_form(tmp_path: Path, rho: float) -> None:
    """Rates from intervals of sizes agree with tied normal gaps, at every point of the window.

    Four standard errors, and 2 % for the bins.
    """
    w = _window(_study(tmp_path, more=SIDES.format(rho)))
    assert w.method == "intervals of sizes"
    r = w.rates["loose"]
    for j, sd in enumerate(w.y):
        for i, mean in enumerate(w.x):
            exact = _loose(1e3 * float(mean), 1e3 * float(sd), rho)
            if exact > 3e-5:
                error = (r.high[j, i] - r.low[j, i]) / 3.92
                assert abs(r.value[j, i] - exact) < 4.0 * error + 0.02 * exact


def test_what_follows_the_machine_counts(tmp_path: Path) -> None:
    """Settling and a gauge behind the machine: settled normals, cut at the gauge's limits."""
    route = (
        '[[diameter.route]]\nstep = "settle"\nmean_um = -2.0\nsd_um = 1.0\ntime_h = 1e-6\n'
        '[[diameter.route]]\nstep = "gauge"\naccept_um = [-16, -9]\n'
    )
    study = _study(tmp_path, route=route, joint="age_at_assembly_h = 90")
    w = _window(study, x_range=(-12.0, -8.0), points=5)
    r = w.rates["loose"]
    for j, sd in enumerate(w.y):
        for i, mean in enumerate(w.x):
            settled = (1e3 * float(mean) - 2.0, math.hypot(1e3 * float(sd), 1.0))
            x = np.linspace(-16.0, -9.0, 2001)
            f = stats.norm.pdf(x, *settled)
            p = float((f * stats.norm.cdf(x, *RING)).sum() / f.sum())
            exact = 1.0 - (1.0 - p) ** 2
            error = (r.high[j, i] - r.low[j, i]) / 3.92
            assert abs(r.value[j, i] - exact) < 4.0 * error + 0.02 * exact


@pytest.mark.slow
def test_two_means_are_the_closed_form(tmp_path: Path) -> None:
    """Means of bore and ring: slices of one at values of the other, either way round."""
    study = _study(tmp_path, more=SIDES.format(0.5))
    names = ("bore.diameter.mean", "bearing.outside.mean")
    for x, y in (names, names[::-1]):
        ends = {"bore.diameter.mean": (-14.0, -8.0), "bearing.outside.mean": (-6.0, 0.0)}
        w = window(study, x, y, x_range=ends[x], y_range=ends[y], points=17)
        r = w.rates["loose"]
        for j in (0, 5, 11, 16):
            for i in (0, 5, 11, 16):
                bore, ring = 1e3 * float(w.x[i]), 1e3 * float(w.y[j])
                if x != names[0]:
                    bore, ring = ring, bore
                exact = _loose(bore, 2.0, 0.5, (ring, 1.5))
                error = (r.high[j, i] - r.low[j, i]) / 3.92
                assert abs(r.value[j, i] - exact) < 4.0 * error + 0.03 * exact
        assert w.demand is not None
        assert not w.ranges


def test_two_seats_of_one_size_are_one(tmp_path: Path) -> None:
    """A ring drawn per unit: both seats share its size, and the bores stay independent."""
    study = _study(tmp_path)
    (stratum,) = study.strata
    ring = stratum.bearing.model_copy(update={"drawn": "per-unit"})
    study = replace(study, strata=(replace(stratum, parts={**stratum.parts, "bearing": ring}),))
    w = window(
        study,
        "bearing.outside.mean",
        "bearing.outside.sd",
        x_range=(-7.0, -2.0),
        y_range=(0.5, 3.0),
        points=6,
    )
    r = w.rates["loose"]
    u = np.linspace(-8.0, 8.0, 4001)
    phi = stats.norm.pdf(u) / stats.norm.pdf(u).sum()
    for j, sd in enumerate(w.y):
        for i, mean in enumerate(w.x):
            held = stats.norm.cdf((1e3 * float(mean) + 1e3 * float(sd) * u + 10.0) / 2.0)
            exact = float((phi * (1.0 - held**2)).sum())
            if exact > 3e-5:
                error = (r.high[j, i] - r.low[j, i]) / 3.92
                assert abs(r.value[j, i] - exact) < 4.0 * error + 0.02 * exact


@pytest.mark.parametrize(
    ("name", "x", "y"),
    [
        pytest.param(
            "three-shops",
            "bore.diameter.mean",
            "bore.diameter.sd",
            marks=pytest.mark.slow,
        ),
        ("north-seat", "bore.diameter.centre", "bore.diameter.width"),
        pytest.param(
            "steel-all-year",
            "bore.diameter.sd",
            "bore.alignment.tilt.sd",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            "bonded-carbon",
            "sleeve.outside.mean",
            "bore.alignment.offset.sd",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            "sleeved-alloy",
            "sleeve.inside.mean",
            "sleeve.inside.sd",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_a_point_is_what_predict_finds_there(name: str, x: str, y: str) -> None:
    """At points of the window a prediction of the study there agrees within both intervals.

    Both intervals are widened by half: of some ten pairs one in twenty would miss otherwise.
    """
    study = load_study(STUDIES / name)
    w = window(study, x, y, points=9)
    axes = axes_of(study, x, y)
    seen = 0
    for j, i in ((2, 4), (4, 2), (5, 6)):
        at = axes.at(float(w.x[i]), float(w.y[j]))
        p = predict(at, seed=7, draws=2**18, glance=False, plain=True)
        for mode in w.targets:
            m = p.modes[mode]
            assert m is not None
            value, low, high = (
                float(v[j, i]) for v in (w.rates[mode].value, w.rates[mode].low, w.rates[mode].high)
            )
            if m.share < 2e-5:
                assert low < 1e-4
                continue
            seen += 1
            a, b = m.simulation
            assert value + 1.5 * (high - value) >= m.share - 1.5 * (m.share - a)
            assert value - 1.5 * (value - low) <= m.share + 1.5 * (b - m.share)
    assert seen >= 3


def test_demand_holds_everywhere_inside(tmp_path: Path) -> None:
    """The closed form meets the target in every corner of the box and on its edges."""
    w = _window(_study(tmp_path), points=21)
    assert w.demand is not None
    box = w.demand.box
    for mean in np.linspace(*box.x, 7):
        for sd in np.linspace(0.5e-3, box.y[1], 4):
            assert _loose(1e3 * float(mean), 1e3 * float(sd)) <= 0.02
    # and it is no smaller than it needs to be: a tenth more in both and it breaks
    wide = (box.x[1] + 0.1 * (box.x[1] - box.x[0]), 1.1 * box.y[1])
    assert _loose(1e3 * wide[0], 1e3 * wide[1]) > 0.02
    for r in w.ranges:
        assert _loose(1e3 * r.x[1], 1e3 * r.y) <= 0.02


def test_corners_are_reruns_with_intervals(tmp_path: Path) -> None:
    """The corners of a demand carry rates of a run of their own that hold the closed form."""
    w = _window(_study(tmp_path), points=21)
    assert w.demand is not None
    for c in w.demand.corners:
        value, low, high = c.rates["loose"]
        exact = _loose(1e3 * c.x, 1e3 * c.y)
        assert low - 0.5 * (value - low) <= exact <= high + 0.5 * (high - value)
        assert high <= 0.02


def test_a_window_that_a_rerun_contradicts_ends_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rates half of what they are put the box where a rerun finds twice as many failures; a closer
    look that is as wrong ends the run."""
    study = _study(tmp_path)
    w = _window(study, points=21)

    def halved(s: Shares) -> Shares:
        return Shares(0.5 * s.value, 0.5 * s.low, 0.5 * s.high)

    axes = axes_of(study, *PAIR)
    with pytest.raises(Contradicted, match="when rerun") as told:
        demand_of(axes, (w.x, w.y, {"loose": halved(w.rates["loose"])}), w.targets, 1, 2)
    assert told.value.box.y[1] > 0.0

    def wrong(*given: Any) -> Any:
        rates, (x, y, finer), n, how = rates_of(*given)
        return rates, (x, y, {m: halved(s) for m, s in finer.items()}), n, how

    monkeypatch.setattr("tolsim.answers.window.rates_of", wrong)
    with pytest.raises(InternalError, match="one of them is wrong"):
        _window(study, points=21)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["north-seat", "chain-side"])
def test_the_demand_hangs_on_no_axes(name: str) -> None:
    """Few points and far ends of the axes are looked at again around the region, so that the
    demand stays what it is on close ones; its corners are rerun in any case."""
    study = load_study(STUDIES / name)
    close = window(study, *PAIR, points=40).demand
    assert close is not None
    for w in (
        window(study, *PAIR, points=4),
        window(study, *PAIR, points=12, x_range=(-100.0, 60.0), y_range=(0.5, 20.0)),
        window(study, *PAIR, points=3, x_range=(-500.0, 500.0), y_range=(0.1, 100.0)),
    ):
        assert w.demand is not None
        assert w.rates["creak"].value.shape == (len(w.y), len(w.x))
        # of boxes that are worth about the same any may be taken: their areas are compared
        areas = [(b.x[1] - b.x[0]) * b.y[1] for b in (close.box, w.demand.box)]
        assert areas[1] == pytest.approx(areas[0], rel=0.15)
        assert close.box.x[0] < sum(w.demand.box.x) / 2.0 < close.box.x[1]


def test_the_lot_stands_beside_the_size(tmp_path: Path) -> None:
    """Both seats of a unit share the offset of its lot: rates are those of two gaps about it, over
    all lots."""
    lot = '[[diameter.route]]\nstep = "lot"\nbetween_sd_um = 1.5\n'
    w = _window(_study(tmp_path, route=lot))
    u = np.linspace(-8.0, 8.0, 4001)
    phi = stats.norm.pdf(u) / stats.norm.pdf(u).sum()
    r = w.rates["loose"]
    for j, sd in enumerate(w.y):
        for i, mean in enumerate(w.x):
            gap = RING[0] - 1e3 * float(mean) - 1.5 * u
            held = stats.norm.cdf(gap / math.hypot(1e3 * float(sd), RING[1]))
            exact = float((phi * (1.0 - held**2)).sum())
            error = (r.high[j, i] - r.low[j, i]) / 3.92
            assert abs(r.value[j, i] - exact) < 4.0 * error + 0.02 * exact


@pytest.mark.slow
def test_what_both_seats_share_stands_beside_the_size() -> None:
    """A shell that settles with a part of it common to both seats: a window about the process as
    it is has the rate that a prediction has."""
    study = load_study(STUDIES / "bonded-carbon")
    today = axes_of(study, *PAIR).today()[0]
    mean, sd = 1e3 * today.x[0], 1e3 * today.y[0]
    w = window(study, *PAIR, x_range=(mean - 2, mean + 2), y_range=(sd - 1, sd + 1), points=3)
    told = predict(study, draws=2**18, workers=1, glance=False).modes["creak"]
    assert told is not None
    found = w.rates["creak"]
    assert found.low[1, 1] <= told.simulation[1]
    assert found.high[1, 1] >= told.simulation[0]


def test_no_demand_where_nothing_holds(tmp_path: Path) -> None:
    """A window all of whose points miss the target makes no demand."""
    w = _window(_study(tmp_path), x_range=(-6.0, -2.0), points=5)
    assert not w.good.any()
    assert w.demand is None
    assert w.ranges == ()


def test_a_supply_is_judged_alone() -> None:
    """With one supply named the others leave no trace."""
    study = load_study(STUDIES / "three-shops")
    w = window(study, *PAIR, points=5, supply="North")
    assert [t.name for t in w.today] == ["North"]
    assert [s.name for s in w.study.strata] == ["North"]
    with pytest.raises(SpecError) as told:
        window(study, *PAIR, supply="Nort")
    (problem,) = told.value.problems
    assert problem.closest == "North"
    assert problem.allowed == "North, Coast, Ridge"


def test_today_holds_the_interval_of_the_readings() -> None:
    """Suppliers stand with Student's and the chi-square interval; the assumed one as a point."""
    study = load_study(STUDIES / "three-shops")
    north, coast, ridge = axes_of(study, *PAIR).today()
    assert north.readings == 60
    assert coast.readings == 40
    # seats of one unit go together, so their interval is wider than that of so many parts
    readings = study.strata[1].readings["bore.diameter"]
    values = 1e3 * np.array(readings.deviation)
    half = stats.t.ppf(0.975, 39) * values.std(ddof=1) / math.sqrt(40)
    assert 1e3 * (coast.x[2] - coast.x[0]) >= half
    assert coast.y[1] < coast.y[0] < coast.y[2]
    assert ridge.readings == 0
    assert ridge.x[0] == ridge.x[1] == ridge.x[2]
    assert not ridge.normal  # two cavities: -28.5 and -19.5 um, 60 to 40
    assert 1e3 * ridge.x[0] == pytest.approx(0.6 * -28.5 + 0.4 * -19.5)
    assert 1e3 * ridge.y[0] == pytest.approx(math.hypot(1.8, 9.0 * math.sqrt(0.24)))


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        ("bore.diameter.mean", "bore.diameter.mean", "make no pair"),
        ("bore.diameter.sd", "bore.diameter.mean", "make no pair"),
    ],
)
def test_axes_that_make_no_pair_are_told(tmp_path: Path, x: str, y: str, said: str) -> None:
    """What cannot stand along an axis is refused with what can."""
    with pytest.raises(UsageError, match=said):
        window(_study(tmp_path), x, y, points=3)


def test_a_spread_has_no_centre() -> None:
    """A tilt has a mean and a spread, but no band that a drawing could shift."""
    study = load_study(STUDIES / "north-seat")
    with pytest.raises(UsageError, match="a spread has no band"):
        window(study, "bore.alignment.tilt.centre", "bore.diameter.sd", points=3)


@pytest.mark.parametrize(
    ("x", "near"),
    [
        ("bore.diameter", "bore.diameter.mean"),
        ("bore.diamter.mean", "bore.diameter.mean"),
        ("bearing.outside.spread", "bearing.outside.sd"),
        ("bore.nothing.width", None),
    ],
)
def test_a_quantity_that_the_study_lacks_has_a_diagnosis(
    tmp_path: Path, x: str, near: str | None
) -> None:
    """It names the axis as found, what may stand there, and the closest."""
    with pytest.raises(SpecError) as told:
        window(_study(tmp_path), x, "bore.diameter.sd", points=3)
    (problem,) = told.value.problems
    assert problem.found == x
    assert near is None or problem.closest == near
    assert problem.allowed is not None
    assert "bearing.outside" in problem.allowed


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"x_range": (-7.0, -9.0)}, "must rise"),
        ({"y_range": (0.0, 3.0)}, "starts above 0"),
        ({"x_range": (math.nan, 3.0)}, "must rise"),
    ],
)
def test_ranges_that_make_no_sense_are_told(
    tmp_path: Path, more: dict[str, object], said: str
) -> None:
    """Falling ends, a spread of zero and what is no number are refused."""
    with pytest.raises(UsageError, match=said):
        _window(_study(tmp_path), **more)


def test_a_window_needs_a_target(tmp_path: Path) -> None:
    """Without targets nothing tells good from bad."""
    with pytest.raises(UsageError, match="needs a target"):
        _window(_study(tmp_path, targets=""))


def test_corners_of_a_box() -> None:
    """A limit on a spread is hardest to keep at its top; two means at all four corners."""
    box = Box(x=(1.0, 2.0), y=(0.0, 3.0))
    assert box.corners(spread=True) == [(1.0, 3.0), (2.0, 3.0)]
    assert len(box.corners(spread=False)) == 4
