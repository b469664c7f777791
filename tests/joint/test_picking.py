"""Parts picked by class: they settle in service, keep the tie of their seats, or are refused."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.studies import machine, write
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

N = 2**15
_MADE = machine("diameter", -20, 2)
AGE, LIFE = 24.0, 20_000.0
_SETTLE = """
[[diameter.route]]
step = "settle"
mean_um = -5
sd_um = {sd}
time_h = 36
exponent = 0.6
"""
_STUDY = f"age_at_assembly_h = {AGE:g}\n{{pick}}\n[service]\nlife_h = {LIFE:g}"


def _interference(
    folder: Path,
    route: str,
    *,
    pick: str = "pick = { classes = 4 }",
    more: str = "",
    made: str = _MADE,
) -> dict[tuple[str, int], NDArray[np.float64]]:
    """Interference margins [µm] of units drawn at random, by cause and seat."""
    write(
        folder,
        bore_route=made + route,
        bore_more=more,
        # rings all but alike, so that a margin shows the bore
        ring_route=machine("outside", -4.5, 1e-6),
        study_more=_STUDY.format(pick=pick),
    )
    joint = assemble(load_study(folder))
    (build,) = joint.builds
    out = joint.recording(np.random.default_rng(5).standard_normal((len(joint.latent), N)))
    return {(m.cause, m.seats[0]): 1e3 * out[build.first + k] for k, m in enumerate(build.margins)}


def _done(hours: float) -> float:
    return 1.0 - math.exp(-((hours / 36.0) ** 0.6))  # Kohlrausch


@pytest.mark.parametrize("sd", [0.0, 1.5])
def test_a_picked_bore_settles_on_in_service(tmp_path: Path, sd: float) -> None:
    """Every bore shrinks by its share, and by its rank where parts differ, picked or not.

    Normal before and after: a size x becomes m2 + (s2/s1)(x - m1).
    """
    got = _interference(tmp_path, _SETTLE.format(sd=sd))
    mean, spread = (
        [f(_done(t)) for t in (AGE, LIFE)]
        for f in (lambda k: -20.0 - 5.0 * k, lambda k: math.hypot(2.0, sd * k))
    )
    for seat in (1, 2):
        bore = -4.5 - got["interference", seat]
        later = -4.5 - got["interference at the end of life", seat]
        want = mean[1] + spread[1] / spread[0] * (bore - mean[0])
        assert_allclose(later, want, rtol=0.0, atol=2e-3)


def test_picked_bores_of_one_unit_stay_alike(tmp_path: Path) -> None:
    """The tie of the two seats' sizes survives the picking."""
    tied = _interference(tmp_path, "", more="[sides]\ndiameter = 0.8")
    free = _interference(tmp_path, "")
    found = [
        float(np.corrcoef(got["interference", 1], got["interference", 2])[0, 1])
        for got in (free, tied)
    ]
    # standard errors 1/sqrt(N) and (1 - rho²)/sqrt(N)
    assert abs(found[0]) < 5.0 / math.sqrt(N)
    assert abs(found[1] - 0.8) < 5.0 * 0.36 / math.sqrt(N)


_WORN = """
[[diameter.route]]
step = "tool-wear"
mean_um = -20
sd_um = 1
wear_um_per_part = -0.1
parts_between_offsets = 60
"""
_UNITS = """
[[diameter.route]]
step = "gauge"
accept_um = [-24, -16]
repeatability_um = 0.5
reject = "unit"
"""


@pytest.mark.parametrize(
    ("made", "route"),
    [
        (_MADE, _SETTLE.format(sd=1) + "common_sd_um = 1\n"),
        (_MADE, '[[diameter.route]]\nstep = "lot"\nbetween_sd_um = 1.5\n'),
        (_WORN + "shared_phase = true\n", ""),
        (_MADE, _UNITS),
    ],
    ids=["common settling", "lot", "phase of the tool", "gauge that rejects units"],
)
def test_what_parts_share_is_not_dropped_in_silence(tmp_path: Path, made: str, route: str) -> None:
    """What parts or the two seats have in common is no matter of classes: it is refused."""
    assert _interference(tmp_path, route, made=made, pick="")
    with pytest.raises(SpecError, match="pick: bore and ring need populations of their own"):
        _interference(tmp_path, route, made=made)


@pytest.mark.parametrize("made", [_WORN, _MADE + _UNITS.replace('"unit"', '"part"')])
def test_the_same_without_what_is_shared_is_picked(tmp_path: Path, made: str) -> None:
    """A worn tool whose parts are mixed, and a gauge that rejects parts, leave one population."""
    assert _interference(tmp_path, "", made=made)
