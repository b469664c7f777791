"""Rank: every sentence is a rerun, small moves are exact differences, blame falls where it is."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.common_draws import Common, difference
from tolsim.answers.rank import rank
from tolsim.cli.main import run
from tolsim.report.rank import rank_payload, rank_text
from tolsim.spec.load import Study, load_study
from tolsim.spec.variants import with_moved


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
    return float(1.0 - (1.0 - p) ** 2)


def test_small_moves_are_exact_differences(tmp_path: Path) -> None:
    """A mean moved by 1 µm, a spread shrunk by 10 %: the closed form lies in each interval."""
    bore, ring = (-10.0, 3.0), (-4.0, 1.5)
    r = rank(_study(tmp_path, bore, ring), draws=2**17)
    before = _exact(bore, ring)
    assert r.before["loose"] == pytest.approx(before, rel=0.05)
    found = {e.path: e for e in r.effects}
    changes = {
        "bore.diameter": (
            _exact((-9.0, 3.0), ring) - before,
            _exact((-10.0, 2.7), ring) - before,
        ),
        "bearing.outside": (
            _exact(bore, (-3.0, 1.5)) - before,
            _exact(bore, (-4.0, 1.35)) - before,
        ),
    }
    for path, (mean, spread) in changes.items():
        for d, exact in ((found[path].mean["loose"], mean), (found[path].spread["loose"], spread)):
            slack = 0.5 * (d.high - d.low)  # two more standard errors on either side
            assert d.low - slack <= exact <= d.high + slack


def test_rare_rates_use_the_rare_event_sampler(tmp_path: Path) -> None:
    """At parts per million the differences still hold the closed form."""
    bore, ring = (-20.0, 2.6), (-4.0, 1.5)
    study = _study(tmp_path, bore, ring)
    a = Common(study, seed=1, n=2**15, modes=("loose",))
    b = Common(with_moved(study, "bore.diameter", shift=0.001), seed=1, n=2**15, modes=("loose",))
    d = difference(a, b, "loose")
    assert d.method == "rare-event estimates"
    exact = _exact((-19.0, 2.6), ring) - _exact(bore, ring)
    slack = 0.5 * (d.high - d.low)
    assert d.low - slack <= exact <= d.high + slack
    assert d.low > 0.0


def test_the_blame_falls_on_the_wide_bore(tmp_path: Path) -> None:
    """Where the bore does it, halving its spread leads, and the rerun is what is quoted."""
    bore, ring = (-10.0, 4.0), (-4.0, 0.5)
    r = rank(_study(tmp_path, bore, ring), draws=2**17)
    best = r.moves[0]
    assert best.path == "bore.diameter"
    text = rank_text(rank_payload(r))
    assert "the bore diameter" in text.splitlines()[2] + text.splitlines()[3]
    sat = next(s for s in r.sat if s.mode == "loose")
    assert sat.row.startswith("bore.diameter")
    assert sat.mean > 0.5


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command prints one JSON document or the page, and leaves with 0."""
    _study(tmp_path, (-10.0, 3.0), (-4.0, 1.5))
    arguments = ["rank", str(tmp_path), "--draws", "16384", "--no-progress"]
    assert run([*arguments, "--json"]) == 0
    payload = json.loads(capsys.readouterr().out)
    assert payload["schema"] == "tolsim/rank/1"
    assert {m["kind"] for m in payload["moves"]} == {"recentre", "spread"}
    assert run(arguments) == 0
    assert "common units" in capsys.readouterr().out
