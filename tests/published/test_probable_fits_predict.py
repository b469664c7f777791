"""Published fits of rolling bearings, run from TOML text to the prediction, nothing replaced.

Source: SKF, *Rolling Bearings* 17000/1 EN (2018), tables 17 to 21 (housings): theoretical and
probable fits of Normal-class rings, printed as clearance. The printed probable limits are mean
and plus or minus three standard deviations of two independent bands taken at six.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from tolsim.answers.predict import predict
from tolsim.spec.load import load_study

DATA = Path(__file__).parent / "data" / "standards_fits.csv"
DRAWS = 2**14

with DATA.open(newline="") as _f:
    ROWS = list(csv.DictReader(_f))
HOUSINGS = [r for r in ROWS if r["seat"] == "housing"]
SHAFTS = len(ROWS) - len(HOUSINGS)

_BORE = """
part = "bore"
title = "housing of a published table"
basis = "drawing"
material = "steel-4130"
outside_diameter_mm = {outside}
seat_width_mm = 10.0
span_mm = 82.0
[diameter]
nominal_mm = {nominal}
band_um = [{low}, {high}]
"""

_BEARING = """
part = "bearing"
title = "ring of a published table"
basis = "drawing"
bore_mm = {inner}
outside_diameter_mm = {nominal}
width_mm = 10.0
clearance = {{ band_um = [5, 20] }}
[outside]
band_um = [{low}, {high}]
"""

_STUDY = """
title = "a row of a published table"
[joint]
kind = "pressed"
bore = "bores/b"
bearing = "bearings/r"
[limits]
loose = { interference_um = 0 }
"""


def _write(folder: Path, row: dict[str, str]) -> None:
    nominal = min(0.5 * (float(row["size_over_mm"]) + float(row["size_incl_mm"])), 400.0)
    (folder / "bores").mkdir(exist_ok=True)
    (folder / "bearings").mkdir(exist_ok=True)
    (folder / "bores" / "b.toml").write_text(
        _BORE.format(
            nominal=nominal,
            outside=1.2 * nominal,
            low=row["seat_dev_low_um"],
            high=row["seat_dev_high_um"],
        )
    )
    (folder / "bearings" / "r.toml").write_text(
        _BEARING.format(
            nominal=nominal,
            inner=0.6 * nominal,
            low=row["ring_dev_low_um"],
            high=row["ring_dev_high_um"],
        )
    )
    (folder / "study.toml").write_text(_STUDY)


def _quantile_error(sd: float) -> float:
    """Standard error of a 0.135 % quantile of a normal sample of DRAWS."""
    share, density = 0.00135, math.exp(-4.5) / math.sqrt(2.0 * math.pi)
    return sd * math.sqrt(share * (1.0 - share) / DRAWS) / density


@pytest.mark.parametrize("part", range(4))
def test_all_housing_rows_189_shaft_rows_left_out(tmp_path: Path, part: int) -> None:
    """The simulated range is the printed probable one, the worst case the theoretical one."""
    assert SHAFTS == 189
    assert len(HOUSINGS) == 163
    for row in HOUSINGS[part::4]:
        _write(tmp_path, row)
        p = predict(load_study(tmp_path), draws=DRAWS, workers=1, plain=True, glance=False)
        found = p.seats[0].interference[0]
        worst = found.known.worst
        assert worst is not None
        # printed as clearance: its negative is the interference
        assert -1e3 * worst[1] == pytest.approx(float(row["theoretical_clearance_min_um"]))
        assert -1e3 * worst[0] == pytest.approx(float(row["theoretical_clearance_max_um"]))
        allowed = 1.0 + 5.0 * 1e3 * _quantile_error(found.sd)
        low, high = (-1e3 * v for v in reversed(found.central))
        assert abs(low - float(row["probable_clearance_min_um"])) <= allowed, row
        assert abs(high - float(row["probable_clearance_max_um"])) <= allowed, row
