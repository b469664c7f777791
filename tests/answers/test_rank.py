"""Rank: small moves are exact differences at any rate, blame falls where it is, every row told."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.rank import Ranking, rank
from tolsim.answers.rank_moves import Difference
from tolsim.cli.main import run
from tolsim.report.rank import rank_payload
from tolsim.report.rank_text import rank_text
from tolsim.spec.load import Study, load_study

RARE = ((-20.0, 2.9), (-4.0, 1.5))
FREQUENT = ((-10.0, 3.0), (-4.0, 1.5))


def _study(folder: Path, bore: tuple[float, float], ring: tuple[float, float]) -> Study:
    write(
        folder,
        bore_route=machine("diameter", *bore),
        ring_route=machine("outside", *ring),
    )
    return load_study(folder)


def _exact(bore: tuple[float, float], ring: tuple[float, float]) -> float:
    """Share of units with a loose seat: two independent normal gaps."""
    p = stats.norm.cdf((bore[0] - ring[0]) / math.hypot(bore[1], ring[1]))
    return float(2.0 * p - p * p)


def _holds(d: Difference, exact: float) -> bool:
    """Whether a closed form lies within the interval, two more standard errors on either side."""
    slack = 0.5 * (d.high - d.low)
    return d.low - slack <= exact <= d.high + slack


@pytest.mark.parametrize("case", [FREQUENT, RARE], ids=["4e-2", "1e-6"])
def test_small_moves_are_exact_differences(
    tmp_path: Path, case: tuple[tuple[float, float], tuple[float, float]]
) -> None:
    """A mean moved by 1 µm, a spread shrunk by 10 %: the closed form lies in each interval.

    At parts per million as at per cent, and every interval is a small part of the change.
    """
    bore, ring = case
    r = rank(_study(tmp_path, bore, ring), draws=2**17)
    before = _exact(bore, ring)
    told = r.before["loose"]
    assert told.value == pytest.approx(before, abs=4.0 * told.error)
    found = {e.path: e for e in r.effects}
    changes = {
        "bore.diameter": (
            _exact((bore[0] + 1.0, bore[1]), ring),
            _exact((bore[0], 0.9 * bore[1]), ring),
        ),
        "bearing.outside": (
            _exact(bore, (ring[0] + 1.0, ring[1])),
            _exact(bore, (ring[0], 0.9 * ring[1])),
        ),
    }
    for path, (mean, spread) in changes.items():
        for d, after in ((found[path].mean["loose"], mean), (found[path].spread["loose"], spread)):
            assert _holds(d, after - before)
            assert d.high - d.low < 0.5 * abs(after - before)
            assert d.after == pytest.approx(d.before + d.change)
    assert found["bearing.clearance"].mean["loose"].method == "not read"
    assert found["bearing.clearance"].mean["loose"].high == 0.0


def test_rare_sentences_hold_the_closed_form(tmp_path: Path) -> None:
    """At one in a million, what every sentence says is what the moved study comes to."""
    bore, ring = RARE
    r = rank(_study(tmp_path, bore, ring), draws=2**17)
    assert len(r.sentences) >= 3
    for m in r.sentences:
        changed = {"bore.diameter": bore, "bearing.outside": ring}
        mean, sd = changed[m.path]
        changed[m.path] = (mean + m.amount, sd) if m.kind == "recentre" else (mean, m.amount * sd)
        exact = _exact(changed["bore.diameter"], changed["bearing.outside"])
        assert m.rerun is not None
        again = m.rerun.rates[r.main]
        assert again.low / 1.3 <= exact <= again.high * 1.3
        d = m.rates[r.main]
        assert _holds(d, exact - _exact(bore, ring))


def test_recentring_stops_where_it_no_longer_helps(tmp_path: Path) -> None:
    """With a target on either side the best place is found, not the end of the walk."""
    folder = write(
        tmp_path,
        bore_route=machine("diameter", -10.0, 3.0),
        ring_route=machine("outside", -4.0, 1.5),
        limits="loose = { interference_um = 0 }\ntight = { clearance_um = 1 }",
        study_more="",
    )
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(text + "[targets]\nloose = 0.001\ntight = 0.001\n")
    r = rank(load_study(folder), draws=2**17)
    move = next(m for m in r.moves if m.kind == "recentre" and m.path == "bore.diameter")
    ratio = {m: move.rates[m].after / r.targets[m] for m in r.targets}
    now = max(r.before[m].value / r.targets[m] for m in r.targets)
    assert -22.0 < move.amount < 0.0
    assert max(ratio.values()) < now


def test_the_blame_falls_on_the_wide_bore(tmp_path: Path) -> None:
    """Where the bore does it, halving its spread leads, and the rerun is what is quoted."""
    bore, ring = (-10.0, 4.0), (-4.0, 0.5)
    r = rank(_study(tmp_path, bore, ring), draws=2**17)
    assert r.moves[0].path == "bore.diameter"
    text = rank_text(rank_payload(r))
    assert "the bore diameter" in text.splitlines()[2] + text.splitlines()[3]
    sat = next(s for s in r.sat if s.mode == "loose")
    assert sat.path == "bore.diameter"
    assert sat.mean > 0.5


def test_every_row_of_the_payload_has_its_interval(tmp_path: Path) -> None:
    """Rates, changes, positions and parts carry both ends, and the page tells each failure once."""
    r = rank(_study(tmp_path, *FREQUENT), draws=2**16)
    p = json.loads(json.dumps(rank_payload(r)))
    for d in _differences(p):
        assert d["low"] <= d["change"] <= d["high"]
        assert 0.0 <= d["after_low"] <= d["after"] <= d["after_high"]
    assert all(s["mean_sd_low"] < s["mean_sd"] < s["mean_sd_high"] for s in p["failed_units_sat"])
    assert all(q["alone_half_width"] > 0.0 for v in p["variance"] for q in v["parts"])
    # a unit of this study creaks in one way only, so it is told once
    assert "Where the creak seats sat" in rank_text(p)
    assert "Where the loose seats sat" not in rank_text(p)


def _differences(p: dict[str, Any]) -> list[dict[str, Any]]:
    out = [d for m in p["moves"] for d in m["rates"].values()]
    for e in p["effects"]:
        out += [*e["mean"].values(), *e["spread_10_percent_less"].values()]
    return out


@pytest.mark.parametrize(
    ("mean", "said"), [(-40.0, "at most 57 per million"), (20.0, "100 %")], ids=["never", "always"]
)
def test_rates_that_no_move_changes(tmp_path: Path, mean: float, said: str) -> None:
    """Where no unit fails, or every one does, the page says so and tells no sentence."""
    r = rank(_study(tmp_path, (mean, 0.5), (-4.0, 1.5)), draws=2**16)
    assert r.sentences == ()
    text = " ".join(rank_text(rank_payload(r)).split())
    assert "No single move lowers creak" in text
    assert said in text
    assert "was rerun" not in text


def test_same_seed_same_ranking(tmp_path: Path) -> None:
    """The same study and seed give the same payload; another seed another."""
    study = _study(tmp_path, *FREQUENT)

    def told(seed: int) -> Ranking:
        return rank(study, seed=seed, draws=2**15)

    assert rank_payload(told(3)) == rank_payload(told(3))
    assert rank_payload(told(3)) != rank_payload(told(4))


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command prints one JSON document or the page, and leaves with 0."""
    _study(tmp_path, *FREQUENT)
    arguments = ["rank", str(tmp_path), "--draws", "16384", "--no-progress"]
    assert run([*arguments, "--json"]) == 0
    payload = json.loads(capsys.readouterr().out)
    assert payload["schema"] == "tolsim/rank/2"
    assert {m["kind"] for m in payload["moves"]} == {"recentre", "spread"}
    assert run(arguments) == 0
    assert "rerun with the move applied" in " ".join(capsys.readouterr().out.split())
