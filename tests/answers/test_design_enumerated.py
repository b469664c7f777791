"""Two free bands against every pair of bands on the grid, rates in closed form."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from tests.studies import write
from tolsim.answers.design import design
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study, load_study

#: Least interference and least clearance left, and the clearance as made (mean, spread) [µm].
GRIP, LEFT, MADE = 4.0, 2.0, (20.5, 2.5)
BORE_COST, RING_COST = 10.0, 6.0


def _study(folder: Path, loose: float, tight: float, step: int) -> Study:
    write(
        folder,
        limits=f"loose = {{ interference_um = {GRIP} }}\ntight = {{ clearance_um = {LEFT} }}\n"
        f"[targets]\nloose = {loose}\ntight = {tight}\n[costs]\n"
        '[[choose]]\nfeature = "bore.diameter"\ncentre_um = [-22, -14]\n'
        f"width_um = [{4 * step}, 24]\n"
        f'capability_basis = "made up"\ncost = {{ per_width = {BORE_COST} }}\n'
        '[[choose]]\nfeature = "bearing.outside"\ncentre_um = [-8, -1]\n'
        f"width_um = [{4 * step}, 14]\n"
        f'capability_basis = "made up"\ncost = {{ per_width = {RING_COST} }}\n',
    )
    return load_study(folder)


def _line(study: Study) -> tuple[float, float]:
    """Clearance lost by interference, a straight line: (slope, lost without any) of the joint."""
    joint = assemble(study)
    (build,) = joint.builds
    row = next(build.first + k for k, m in enumerate(build.margins) if m.mode == "tight")
    z = np.zeros((len(joint.latent), 3))
    z[joint.latent.index("bearing.outside@1")] = [-1.0, 0.0, 1.0]
    out = joint.recording(z)
    grip, left = out[build.interference[0]], out[row]
    slopes = np.diff(left) / np.diff(grip)
    assert slopes[0] == pytest.approx(slopes[1], rel=1e-9)
    slope = -float(slopes[0])
    return slope, MADE[0] - LEFT - 1e3 * float(left[1]) - slope * 1e3 * float(grip[1])


def _exact(d: float, s: float, line: tuple[float, float]) -> tuple[float, float]:
    """Shares of loose and of tight units: two independent seats of mean grip d and spread s."""
    loose = ndtr((GRIP - d) / s)
    slope, lost = line
    tight = ndtr((LEFT + lost + slope * d - MADE[0]) / math.hypot(MADE[1], slope * s))
    return 1.0 - (1.0 - float(loose)) ** 2, 1.0 - (1.0 - float(tight)) ** 2


def _bands(middle: tuple[float, float], widest: int, step: int) -> list[tuple[float, int]]:
    """(middle, width) of every band with limits on the grid [µm]."""
    return [
        (0.5 * (low + low + w), w)
        for w in range(4 * step, widest + 1, step)
        for low in range(-60, 60, step)
        if middle[0] <= low + 0.5 * w <= middle[1]
    ]


@pytest.mark.parametrize(
    ("loose", "tight", "step"),
    [(0.006, 0.02, 2), pytest.param(0.03, 0.008, 1, marks=pytest.mark.slow)],
)
def test_design_is_the_cheapest_of_all(
    tmp_path: Path, loose: float, tight: float, step: int
) -> None:
    """No pair of bands on the grid is cheaper; the region holds the good ones."""
    study = _study(tmp_path, loose, tight, step)
    line = _line(study)
    least = {1.0: math.inf, 0.98: math.inf}
    bores, rings = _bands((-22, -14), 24, step), _bands((-8, -1), 14, step)
    exact = np.zeros((2, len(bores), len(rings)))
    for (i, (c1, w1)), (j, (c2, w2)) in itertools.product(enumerate(bores), enumerate(rings)):
        rates = _exact(c2 - c1, math.hypot(w1, w2) / 6.0, line)
        exact[:, i, j] = rates[0] / loose, rates[1] / tight
        for share in least:
            if exact[:, i, j].max() <= share:
                least[share] = min(least[share], BORE_COST / w1 + RING_COST / w2)
    d = design(study, grid=1e-3 * step)
    assert d.met
    assert d.cost is not None
    # verified upper ends lie a little above the rates: within 2 % of a target it may decline
    assert least[1.0] - 1e-9 <= d.cost <= least[0.98] + 1e-9
    region = d.region
    assert region is not None
    assert region.steps == pytest.approx((1e-3 * step,) * 2)
    assert [tuple(b) for b in np.round(1e3 * region.bands[0], 6)] == bores
    assert [tuple(b) for b in np.round(1e3 * region.bands[1], 6)] == rings
    worst = exact.max(axis=0)
    told = region.good
    assert (told == (worst <= 1.0)).mean() > 0.985
    assert worst[told].max() < 1.3
    clear = np.abs(np.log(worst)) > 0.2
    assert (told == (worst <= 1.0))[clear].mean() > 0.998
