"""No row of the table of check values goes without a check: fits, tool wear and guide values here.

The rows of mechanics stand in `test_mechanics_check_values`, finite elements of the shell in
`test_mechanics_axisymmetric`. Where a printed table rounds what ISO 286 gives to half a
micrometre (JS7: 23 and 12 µm for 23.5 and 12.5), the row's tolerance of 0.5 µm holds it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import simpson

from tests.published.test_mechanics_axisymmetric import ROWS as FINITE_ELEMENTS
from tests.published.test_mechanics_check_values import ROWS, covered
from tests.studies import write
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Interference
from tolsim.mechanics.alignment import PERMISSIBLE_TILT
from tolsim.process.wear import ToolWear
from tolsim.spec.load import load_study

FITS = [key for key in ROWS if key[0] == "I"]
WEAR = [key for key in ROWS if key[0] == "W"]
GUIDES = [key for key in ROWS if key.startswith("A08")]


def _check(key: str, found: float) -> None:
    row = ROWS[key]
    # sums of whole micrometres may lie at the tolerance: 12.5 for a printed 12
    assert_allclose(found, float(row["expected"]), rtol=0.0, atol=float(row["tolerance"]) + 1e-9)


def _fit(folder: Path, bore: str, ring: str, nominal: float) -> Interference:
    """What is known of a ring of that size in a bore, both as the TOML text says."""
    write(folder)
    b, r = folder / "bores" / "b.toml", folder / "bearings" / "r.toml"
    size = {"37.0": f"{nominal}", "46.0": f"{nominal + 9.0}", "25.0": f"{0.5 * nominal}"}
    for path, old, new in ((b, "band_um = [-30.0, -10.0]", bore), (r, "band_um = [-9, 0]", ring)):
        text = path.read_text().replace(old, new)
        for was, now in size.items():
            text = text.replace(f"_mm = {was}", f"_mm = {now}")
        if not ring:
            text = text.replace("[outside]\n", "").replace("bore_mm", 'class = "normal"\nbore_mm')
        path.write_text(text)
    return assemble(load_study(folder)).builds[0].known[0]


@pytest.mark.parametrize("key", FITS)
def test_fits_from_the_files(tmp_path: Path, key: str) -> None:
    """Clearance and interference of a class, and the probable ones, as catalogues print them.

    I01 to I03: classes of ISO 286 against a ring of ISO 492, worst case. I04: both bands, root
    sum square about the middle fit.
    """
    i = json.loads(ROWS[key]["inputs"])
    if key.startswith("I04"):
        size = 40.0 if key.split("_")[1].startswith("30") else 60.0
        known = _fit(tmp_path, f"band_um = {i['bore_dev_um']}", f"band_um = {i['OD_dev_um']}", size)
        assert known.root_sum_square is not None
        low, high = known.root_sum_square
        # printed as clearance: the negative of the interference
        _check(key, -1e3 * (high if key.endswith("lo") else low))
        return
    assert i["D"] == "30-50"
    known = _fit(tmp_path, f'class = "{i["cls"]}"', "", 40.0)
    assert known.worst is not None
    low, high = (1e3 * v for v in known.worst)
    if key.startswith("I01"):
        _check(key, -low)
    else:
        _check(key, low if key.endswith("a") else high)


def _worn(i: dict[str, Any], parts: int = 4000) -> ToolWear:
    """Drift over A in so many steps that it is as good as even."""
    return ToolWear(mean=0.0, sd=i["sigma0_um"], wear=-i["A_um"] / parts, parts=parts)


def _beyond(i: dict[str, Any], x: Any) -> Any:
    """Share of parts farther than x from the middle, to either side."""
    process = _worn(i).process()
    return process.cdf(-x) + process.sf(x)


def _kurtosis(i: dict[str, Any]) -> float:
    """Excess, from shares, by parts: E x⁴ is the integral of 4 x³ P(|X| > x)."""
    x = np.linspace(0.0, 0.5 * i["A_um"] + 10.0 * i["sigma0_um"], 2001)
    beyond = _beyond(i, x)
    second, fourth = (simpson(k * x ** (k - 1) * beyond, x=x) for k in (2, 4))
    return float(fourth / second**2 - 3.0)


def _sawtooth(i: dict[str, Any]) -> float:
    scatter = 1e-3
    worn = ToolWear(mean=0.0, sd=scatter, wear=i["s_um"], parts=i["N"])
    return worn.process().sd ** 2 - scatter**2


WORN: dict[str, Callable[[dict[str, Any]], float]] = {
    "W01": lambda i: _worn(i).process().sd,
    "W02": lambda i: float(_beyond(i, np.array([8.0]))[0]),
    "W03": lambda i: float(_worn(i).process().size(np.array([3.0]))[0]),
    "W04": _kurtosis,
    "W05": _sawtooth,
}


@pytest.mark.parametrize("key", WEAR)
def test_tool_wear(key: str) -> None:
    """Drift between two offsets plus scatter has the moments and shares of the closed forms."""
    _check(key, WORN[key](json.loads(ROWS[key]["inputs"])))


@pytest.mark.parametrize("key", GUIDES)
def test_guide_values(tmp_path: Path, key: str) -> None:
    """A limit on tilt at the guide value of a maker is read as the angle it stands for."""
    value = float(ROWS[key]["expected"])
    straight = "[alignment]\noffset_um = { sd = 10 }\ntilt_deg = { sd = 0.01 }"
    write(tmp_path, bore_more=straight, limits=f"misaligned = {{ bearing_tilt_arcmin = {value} }}")
    limits = load_study(tmp_path).spec.limits.misaligned
    assert limits is not None
    assert limits.bearing_tilt is not None
    # 0.003 in/in is an angle of 0.003 rad; the others are the range that no warning asks beyond
    known = {"A08a": PERMISSIBLE_TILT[0], "A08b": PERMISSIBLE_TILT[1], "A08c": 0.003}[key]
    minute = math.pi / 10800.0
    assert_allclose(limits.bearing_tilt, known, atol=float(ROWS[key]["tolerance"]) * minute)


def test_every_row_has_a_check() -> None:
    """All rows of the table are checked row by row, each by one of the tests."""
    checked = [*covered(), *FITS, *WEAR, *GUIDES]
    finite_elements = [row["id"] for row in FINITE_ELEMENTS]
    missing = set(ROWS) - set(checked) - set(finite_elements)
    assert not missing, f"rows without a check: {sorted(missing)}"
    assert len(checked) == len(set(checked))
    assert len(ROWS) == 177
    assert set(WEAR) == set(WORN)
