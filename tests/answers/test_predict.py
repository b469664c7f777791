"""Invariants of a prediction, its verdicts, and margins that never lie."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.studies import machine, write
from tolsim.answers.predict import predict
from tolsim.answers.results import Prediction, verdict_of
from tolsim.answers.tally import SETS, evidence_table, tally
from tolsim.errors import InternalError
from tolsim.joint.assemble import assemble
from tolsim.report.payload import prediction_payload
from tolsim.spec.load import Study, load_study
from tolsim.spec.variants import with_moved

STUDIES = Path(__file__).parents[2] / "studies"
N = 2**15


def _predict(study: Study, **options: object) -> Prediction:
    given: dict[str, object] = {"draws": N, "workers": 1, "plain": True, "glance": False}
    return predict(study, **{**given, **options})  # type: ignore[arg-type]


def _shares(p: Prediction) -> dict[str, float]:
    return {name: m.share for name, m in p.modes.items() if m is not None}


def test_workers_change_nothing() -> None:
    """One, two and four threads give the same bytes."""
    study = load_study(STUDIES / "three-shops")
    texts = {
        json.dumps(prediction_payload(_predict(study, draws=60_000, workers=w, detail=True)))
        for w in (1, 2, 4)
    }
    assert len(texts) == 1


def test_seeds() -> None:
    """The same seed repeats itself, another one does not, and 0 is a seed."""
    study = load_study(STUDIES / "three-shops")
    one, again, zero = (_shares(_predict(study, seed=s)) for s in (1, 1, 0))
    assert one == again
    assert one != zero


def test_shifting_both_changes_nothing(tmp_path: Path) -> None:
    """Ten micrometres on bore and ring alike leave every interference as it was."""
    limits = "loose = { interference_um = 14 }"
    write(
        tmp_path / "a",
        bore_route=machine("diameter", -20, 3),
        ring_route=machine("outside", -5, 1),
        limits=limits,
    )
    write(
        tmp_path / "b",
        bore_route=machine("diameter", -10, 3),
        ring_route=machine("outside", 5, 1),
        limits=limits,
    )
    a, b = (_predict(load_study(tmp_path / n)) for n in "ab")
    assert _shares(a) == _shares(b)
    for x, y in zip(a.seats, b.seats, strict=True):
        assert x.interference[0].mean == pytest.approx(y.interference[0].mean, abs=1e-12)


def test_splitting_and_permuting_supplies(tmp_path: Path) -> None:
    """A supply in two halves, or in another order, changes no rate."""
    parts = {"p": machine("diameter", -20, 3), "q": machine("diameter", -16, 4)}
    for name, route in parts.items():
        write(tmp_path, bore_route=route)
        (tmp_path / "bores" / "b.toml").rename(tmp_path / "bores" / f"{name}.toml")

    def shares(*supplies: tuple[str, str, float]) -> dict[str, float]:
        rows = "".join(
            f'[[supply]]\nname = "{n}"\nbore = "bores/{b}"\nshare = {s}\n' for n, b, s in supplies
        )
        write(tmp_path, study_more=rows, limits="loose = { interference_um = 8 }")
        (tmp_path / "bores" / "b.toml").unlink()
        text = (tmp_path / "study.toml").read_text().replace('bore = "bores/b"\n', "", 1)
        (tmp_path / "study.toml").write_text(text)
        return _shares(_predict(load_study(tmp_path)))

    whole = shares(("one", "p", 0.6), ("two", "q", 0.4))
    assert whole == pytest.approx(shares(("two", "q", 0.4), ("one", "p", 0.6)), rel=1e-15)
    halves = shares(("x", "p", 0.3), ("two", "q", 0.4), ("y", "p", 0.3))
    assert whole == pytest.approx(halves, rel=1e-14)


def test_swapping_seats_swaps_results(tmp_path: Path) -> None:
    """Left and right exchanged in the readings exchange the seats' rates."""
    rng = np.random.default_rng(4)
    rows = []
    for k in range(40):
        rows.append((k, "left", 37 + (-16 + 3 * rng.standard_normal()) / 1000))
        rows.append((k, "right", 37 + (-22 + 3 * rng.standard_normal()) / 1000))
    route = (
        '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n'
        'side = "side"\nunit = "unit"\n'
    )
    found = []
    for swap in (False, True):
        write(tmp_path, bore_route=route, limits="loose = { interference_um = 8 }")
        names = {"left": "right", "right": "left"} if swap else {}
        text = "unit,side,d_mm\n" + "".join(f"{k},{names.get(s, s)},{d:.5f}\n" for k, s, d in rows)
        (tmp_path / "bores" / "b.csv").write_text(text)
        p = _predict(load_study(tmp_path))
        found.append([s.modes["loose"].share for s in p.seats])
    (l1, r1), (l2, r2) = found
    assert l1 > 3.0 * r1
    for a, b in ((l1, r2), (r1, l2)):
        assert abs(a - b) <= 5.0 * math.sqrt(2.0 * max(a, b) / N) + 0.05 * a


def test_zero_spread(tmp_path: Path) -> None:
    """Features without spread work, and a share is then all or nothing."""
    write(
        tmp_path,
        bore_route=machine("diameter", -9, 0),
        ring_route=machine("outside", -4, 0),
        limits="loose = { interference_um = 4.999 }",
    )
    assert _shares(_predict(load_study(tmp_path)))["loose"] == 0.0
    write(
        tmp_path,
        bore_route=machine("diameter", -9, 0),
        ring_route=machine("outside", -4, 0),
        limits="loose = { interference_um = 5.001 }",
    )
    assert _shares(_predict(load_study(tmp_path)))["loose"] == 1.0


@pytest.mark.parametrize("name", ["north-seat", "sleeved-alloy", "bonded-carbon", "threaded-steel"])
def test_margins_go_on(name: str) -> None:
    """Loose margins rise and tight ones fall, strictly and finitely, through loss of contact."""
    study = load_study(STUDIES / name)
    key = "bore.diameter" if name == "north-seat" else "sleeve.inside"
    rows = []
    # the sweep opens the seat by 200 µm and closes it by 200 µm
    for shift in np.linspace(-0.2, 0.2, 81):
        joint = assemble(with_moved(study, key, shift=float(shift)))
        z = np.zeros((len(joint.latent), 1))
        rows.append(joint.recording(z)[:, 0])
    values = np.array(rows)
    assert np.isfinite(values).all()
    margins = assemble(study).builds[0].margins
    for i, m in enumerate(margins):
        if (
            m.mode == "loose"
            and "sleeve" not in m.cause
            and m.cause
            not in (
                "loosening",
                "flange contact",
            )
        ):
            assert (np.diff(values[:, i]) < 0.0).all(), m.cause
        if m.cause in ("press force", "hoop stress", "hoop stress of the seat"):
            assert (np.diff(values[:, i]) > 0.0).all(), m.cause
        if m.cause in ("clearance", "free tilt"):
            assert (np.diff(values[:, i]) >= -1e-12).all(), m.cause


def test_clearance_margins_go_on() -> None:
    """Clearance and free tilt fall strictly with the bearing's own clearance, through zero."""
    study = load_study(STUDIES / "north-seat")
    rows = []
    for shift in np.linspace(-0.2, 0.2, 81):
        joint = assemble(with_moved(study, "bearing.clearance", shift=float(shift)))
        rows.append(joint.recording(np.zeros((len(joint.latent), 1)))[:, 0])
    values = np.array(rows)
    assert np.isfinite(values).all()
    for i, m in enumerate(assemble(study).builds[0].margins):
        if m.cause in ("clearance", "free tilt"):
            assert (np.diff(values[:, i]) > 0.0).all(), m.cause


def test_one_bad_number_ends_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """A margin that is no number names unit, margin and inputs, and nothing is reported."""
    from tolsim.joint import seat

    monkeypatch.setattr(seat, "creep_loss", lambda d, force, w, c, r: np.log(force - 400.0))
    with (
        np.errstate(all="ignore"),
        pytest.raises(InternalError, match=r"margin ring creep.* is nan at unit \d+") as caught,
    ):
        _predict(load_study(STUDIES / "north-seat"))
    assert "pedal_force = " in str(caught.value)


def test_counts_are_counted() -> None:
    """Units and seats are counted apart: a unit fails when a seat does, never otherwise."""
    joint = assemble(load_study(STUDIES / "summer-and-winter"))
    counted = tally(joint, seed=1, n=N, workers=1)
    events = counted.events
    for mode in ("loose", "tight", "misaligned", "creak"):
        unit, one, two = (events[0, (mode, s)] for s in (0, 1, 2))
        assert max(one, two) <= unit <= one + two
    assert events[0, ("creak", 0)] <= events[0, ("loose", 0)] + events[0, ("misaligned", 0)]
    assert events[0, ("creak", 0)] >= max(events[0, ("loose", 0)], events[0, ("misaligned", 0)])
    rows = joint.builds[0].rows_of("loose")
    assert events[0, ("loose", 0)] >= int(counted.margins[rows].max())


def test_mix_is_the_weighted_sum() -> None:
    """The mix is exactly the sum of the supplies' rates by their shares."""
    p = _predict(load_study(STUDIES / "three-shops"))
    for mode in ("loose", "tight", "misaligned", "creak"):
        whole = p.modes[mode]
        assert whole is not None
        total = math.fsum(s.share * s.modes[mode].share for s in p.supply)
        assert whole.share == pytest.approx(total, rel=1e-12)


def test_verdicts() -> None:
    """Met at or below, missed above with the lower end, undecided between."""
    assert verdict_of(0.0, 0.002, 0.002) == "met"
    assert verdict_of(0.0021, 0.003, 0.002) == "missed"
    assert verdict_of(0.0019, 0.0021, 0.002) == "undecided"
    assert verdict_of(0.0, 1.0, None) is None


def test_parameter_sets_stand_for_the_normals() -> None:
    """The lattice of evidence has the normal's mean, spread and tails, rows uncorrelated."""
    joint = assemble(load_study(STUDIES / "three-shops"))
    rows = evidence_table(joint, 1)[list(joint.evidence)]
    assert rows.shape[1] == SETS
    assert np.abs(rows.mean(axis=1)).max() < 0.02
    assert np.abs(rows.std(axis=1) - 1.0).max() < 0.03
    c = np.corrcoef(rows) - np.eye(len(rows))
    assert np.abs(c).max() < 0.15


def test_sample_uncertainty_against_nested_runs(tmp_path: Path) -> None:
    """The interval of few parts is that of brute force over drawn parameters."""
    from scipy import stats

    rng = np.random.default_rng(9)
    x = -14.0 + 2.5 * rng.standard_normal(20)
    write(
        tmp_path,
        bore_route='[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n',
        ring_route=machine("outside", -4.0, 1.0),
        limits="loose = { interference_um = 5 }",
    )
    (tmp_path / "bores" / "b.csv").write_text(
        "d_mm\n" + "\n".join(f"{37 + v / 1000:.7f}" for v in x) + "\n"
    )
    p = _predict(load_study(tmp_path), draws=2**18)
    found = p.seats[0].modes["loose"]
    assert found.sample is not None
    k = 200_000
    sd = x.std(ddof=1) * np.sqrt(19.0 / rng.chisquare(19, k))
    mean = x.mean() + sd / math.sqrt(20.0) * rng.standard_normal(k)
    share = stats.norm.cdf((5.0 - (-4.0 - mean)) / np.hypot(sd, 1.0))
    low, high = np.quantile(share, [0.025, 0.975])
    assert found.sample[0] == pytest.approx(low, rel=0.12)
    assert found.sample[1] == pytest.approx(high, rel=0.12)


@pytest.mark.parametrize(("n", "limit"), [(30, -2.0), (60, 0.0)])
def test_sample_uncertainty_of_a_rare_failure(tmp_path: Path, n: int, limit: float) -> None:
    """A rate too small to count has the mean and the interval of brute force over parameters.

    Both seats draw from one process: given its parameters a unit fails at either with
    1 - (1 - Phi)^2; the readings' own chi-square and normal give the parameters.
    """
    from scipy import stats

    rng = np.random.default_rng(4)
    x = -14.0 + 2.5 * rng.standard_normal(n)
    write(
        tmp_path,
        bore_route='[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n',
        ring_route=machine("outside", -4.0, 1.0),
        limits=f"loose = {{ interference_um = {limit} }}",
    )
    (tmp_path / "bores" / "b.csv").write_text(
        "d_mm\n" + "\n".join(f"{37 + v / 1000:.7f}" for v in x) + "\n"
    )
    k = 200_000
    sd = x.std(ddof=1) * np.sqrt((n - 1.0) / rng.chisquare(n - 1, k))
    mean = x.mean() + sd / math.sqrt(n) * rng.standard_normal(k)
    share = 1.0 - (1.0 - stats.norm.cdf((limit + 4.0 + mean) / np.hypot(sd, 1.0))) ** 2
    low, high = np.quantile(share, [0.025, 0.975])
    found = _predict(load_study(tmp_path), draws=2**16, plain=False).modes["loose"]
    assert found is not None
    assert found.method == "mixture importance sampling"
    assert found.sample is not None
    # sets of 1024 parameters on a lattice: a twentieth of the mean, a fifth of the far ends
    assert found.share == pytest.approx(share.mean(), rel=0.05)
    assert found.sample[0] == pytest.approx(low, rel=0.2)
    assert found.sample[1] == pytest.approx(high, rel=0.1)
    assert found.low <= found.sample[0] * 1.0001
    assert found.high >= found.sample[1] * 0.9999


@pytest.mark.parametrize("worlds", [25, pytest.param(200, marks=pytest.mark.slow)])
def test_coverage_of_few_parts(tmp_path: Path, worlds: int) -> None:
    """Over worlds of 15 readings the stated interval holds the truth as often as it says."""
    from scipy import stats

    rng = np.random.default_rng(12)
    truth = float(stats.norm.cdf((5.0 - 8.0) / math.hypot(2.0, 1.0)))
    write(
        tmp_path,
        bore_route='[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n',
        ring_route=machine("outside", -4.0, 1.0),
        limits="loose = { interference_um = 5 }",
    )
    held = 0
    for _ in range(worlds):
        x = -12.0 + 2.0 * rng.standard_normal(15)
        (tmp_path / "bores" / "b.csv").write_text(
            "d_mm\n" + "\n".join(f"{37 + v / 1000:.7f}" for v in x) + "\n"
        )
        m = _predict(load_study(tmp_path), draws=2**14).seats[0].modes["loose"]
        held += m.low <= truth <= m.high
    # 95 % nominal: fewer than this has probability below 0.1 %
    assert held >= stats.binom.ppf(0.001, worlds, 0.95)


def test_warns_below_twelve_parts() -> None:
    """At least 12 parts (common practice, no source): fewer are warned of."""
    p = _predict(load_study(STUDIES / "coast-first-parts"))
    assert any("at least 12 parts" in w for w in p.warnings)
    assert not any(
        "at least 12" in w for w in _predict(load_study(STUDIES / "north-seat")).warnings
    )


def test_trade_rule_of_the_42_mm_bore(tmp_path: Path) -> None:
    """A 42 mm Normal-class ring holds in bores from 41.96 to 41.98 (common practice, no source)."""
    bearing = (
        'part = "bearing"\ntitle = "x"\nbasis = "drawing"\nbore_mm = 30\n'
        'outside_diameter_mm = 42\nwidth_mm = 7\nclass = "normal"\nclearance = "N"\n'
    )
    for band, loose in (("[-40, -20]", False), ("[-8, 8]", True)):
        write(tmp_path)
        text = (tmp_path / "bores/b.toml").read_text()
        text = text.replace("nominal_mm = 37.0", "nominal_mm = 42.0")
        text = text.replace("band_um = [-30.0, -10.0]", f"band_um = {band}")
        text = text.replace("outside_diameter_mm = 46.0", "outside_diameter_mm = 50.0")
        (tmp_path / "bores/b.toml").write_text(text)
        (tmp_path / "bearings/r.toml").write_text(bearing)
        p = _predict(load_study(tmp_path))
        worst = p.seats[0].interference[0].known.worst
        assert worst is not None
        assert (worst[0] < 0.0) == loose
        assert (_shares(p)["loose"] > 0.0) == loose


def test_box_plot_numbers() -> None:
    """Half of the readings lie between the quartiles of the box (common practice, no source)."""
    study = load_study(STUDIES / "north-seat")
    for _, box in _predict(study).populations:
        if box.n is None:
            continue
        readings = study.strata[0].readings["bore.diameter"]
        values = readings.by_seat()[box.seat or ""]
        inside = float(np.mean((values >= box.q1) & (values <= box.q3)))
        assert inside == pytest.approx(0.5, abs=1.0 / len(values) + 1e-9)


def test_no_band_rescues_the_aluminium_seat() -> None:
    """Over -5 to 45 °C no centre of an almost perfect bore meets both targets."""
    study = load_study(STUDIES / "summer-and-winter")
    for centre in range(-60, 21, 8):
        moved = with_moved(study, "bore.diameter", shift=1e-3 * (centre + 25.5), factor=0.1)
        p = _predict(moved, draws=2**13)
        assert p.verdict == "missed", centre


VERDICTS = {
    "north-seat": "met",
    "three-shops": "missed",
    "coast-first-parts": "undecided",
    "summer-and-winter": "missed",
    "steel-all-year": "met",
    "sleeved-alloy": "met",
    "sleeved-one-piece": "met",
    "bonded-carbon": "met",
    "bonded-carbon-cold": "missed",
    "threaded-steel": "met",
}


@pytest.mark.parametrize(("name", "verdict"), VERDICTS.items())
def test_shipped_studies(name: str, verdict: str) -> None:
    """Every shipped study answers as its README says, by counting alone."""
    draws = 2**20 if name == "north-seat" else 2**17
    p = _predict(load_study(STUDIES / name), draws=draws, workers=2)
    assert p.verdict == verdict


@pytest.mark.slow
@pytest.mark.parametrize(("name", "verdict"), VERDICTS.items())
def test_shipped_studies_as_they_are_run(name: str, verdict: str) -> None:
    """Every shipped study answers as its README says, run as the command runs it."""
    assert predict(load_study(STUDIES / name), workers=2).verdict == verdict


def test_payload_keys() -> None:
    """The JSON of a prediction has the keys that are promised, shares as fractions."""
    payload = prediction_payload(_predict(load_study(STUDIES / "three-shops")))
    assert payload["schema"] == "tolsim/prediction/1"
    assert {"study", "seed", "draws", "modes", "seats", "causes", "supply", "warnings"} <= set(
        payload
    )
    assert set(payload["modes"]) == {"loose", "tight", "misaligned", "bond", "creak"}
    assert payload["modes"]["bond"] is None
    creak = payload["modes"]["creak"]
    assert {
        "share",
        "low",
        "high",
        "confidence",
        "target",
        "verdict",
        "simulation",
        "sample",
        "method",
        "draws",
    } <= set(creak)
    assert 0.0 <= creak["low"] <= creak["share"] <= creak["high"] <= 1.0
    assert creak["low"] <= creak["simulation"]["low"]
    json.dumps(payload, allow_nan=False)
    assert "/work" not in json.dumps(payload)


def test_nothing_measured_says_so() -> None:
    """Where nothing was measured the sample interval is absent, with the reason."""
    payload = prediction_payload(_predict(load_study(STUDIES / "steel-all-year")))
    assert payload["modes"]["creak"]["sample"] is None
    assert payload["modes"]["creak"]["why"].startswith("nothing was measured")


def test_same_readings_are_shared_between_supplies() -> None:
    """Two supplies of the same part are one build, and know the same."""
    study = load_study(STUDIES / "north-seat")
    (s,) = study.strata
    two = replace(study, strata=(replace(s, name="a", share=0.5), replace(s, name="b", share=0.5)))
    joint = assemble(two)
    assert len(joint.builds) == 1
    assert _shares(_predict(two)) == _shares(_predict(study))
