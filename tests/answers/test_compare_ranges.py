"""Assumptions known within ranges: the whole range shows, and readings can take their place."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.studies import write
from tolsim.answers.predict import predict
from tolsim.errors import SpecError
from tolsim.spec.load import load_study

RANGED = (
    '[[diameter.route]]\nstep = "machine"\nmean_um = -12\nmean_range_um = [-14, -10]\n'
    "sd_um = 3\nsd_range_um = [2, 4]\n"
)
RING = '[[outside.route]]\nstep = "machine"\nmean_um = -4\nsd_um = 1\n'


def _rate(mean: float, sd: float) -> float:
    """Share of units with a loose seat: bore N(mean, sd), ring N(-4, 1), two seats apart."""
    p = float(stats.norm.cdf((mean + 4.0) / math.hypot(sd, 1.0)))
    return 1.0 - (1.0 - p) ** 2


def test_the_interval_spans_the_range(tmp_path: Path) -> None:
    """Ends of the interval are quantiles of the closed form over the uniform ranges."""
    write(tmp_path, bore_route=RANGED, ring_route=RING)
    loose = predict(load_study(tmp_path), draws=2**18, plain=True, glance=False).modes["loose"]
    assert loose is not None
    rng = np.random.default_rng(1)
    places = zip(rng.uniform(-14, -10, 4000), rng.uniform(2, 4, 4000), strict=True)
    drawn = [_rate(m, s) for m, s in places]
    low, high = np.quantile(drawn, [0.025, 0.975])
    # 1024 sets stand for the ranges: a quantile of theirs is off by a few of 4000 places
    assert loose.low == pytest.approx(low, rel=0.35)
    assert loose.high == pytest.approx(high, rel=0.1)
    assert loose.share == pytest.approx(float(np.mean(drawn)), rel=0.05)


def test_one_line_replaced_by_readings(tmp_path: Path) -> None:
    """The same part with its one line of route replaced by readings is measured: the interval
    is that of the readings and no longer that of the range."""
    line = (
        '{ step = "machine", mean_um = -12, mean_range_um = [-14, -10], sd_um = 3, '
        "sd_range_um = [2, 4] }"
    )
    path = write(tmp_path, bore_route=f"route = [{line}]", ring_route=RING) / "bores" / "b.toml"
    assumed = load_study(tmp_path)
    wide = predict(assumed, draws=2**17, plain=True, glance=False)
    text = path.read_text()
    rows = np.random.default_rng(2).normal(36.988, 0.0025, 400)
    (path.parent / "b.csv").write_text("bore_mm\n" + "\n".join(f"{x:.5f}" for x in rows) + "\n")
    path.write_text(
        text.replace(
            line, '{ step = "readings", file = "b.csv", column = "bore_mm", shape = "normal" }'
        )
    )
    assert len(text.splitlines()) == len(path.read_text().splitlines())
    narrow = predict(load_study(tmp_path), draws=2**17, plain=True, glance=False)
    before, after = wide.modes["loose"], narrow.modes["loose"]
    assert before is not None
    assert after is not None
    assert math.log(after.high / after.low) < 0.3 * math.log(before.high / before.low)
    assert after.low < _rate(-12.0, 2.5) < after.high
    assert any("is assumed, not measured: mean −14 to −10 µm" in w for w in wide.warnings)
    assert not any("is assumed" in w for w in narrow.warnings)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("mean_um = -9\nsd_um = 3\nmean_range_um = [-14, -10]", "mean_um lies outside its range"),
        ("mean_um = -12\nsd_um = 5\nsd_range_um = [2, 4]", "sd_um lies outside its range"),
        ("mean_um = -12\nsd_um = 0\nsd_range_um = [0, 4]", "a spread is above 0"),
        (
            'shape = "uniform"\nlow_um = -14\nhigh_um = -10\nmean_range_um = [-14, -10]',
            "only a normal process has ranges",
        ),
    ],
)
def test_ranges_that_cannot_be(tmp_path: Path, line: str, message: str) -> None:
    """A value outside its range, a spread of 0 and ranges of other shapes are faults."""
    write(tmp_path, bore_route=f'[[diameter.route]]\nstep = "machine"\n{line}\n')
    with pytest.raises(SpecError, match=message):
        load_study(tmp_path)
