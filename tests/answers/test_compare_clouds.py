"""What failed units weigh under each parameter set, against closed forms of the rates."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tests.studies import machine, write
from tolsim.answers.compare import labelled
from tolsim.answers.compare_clouds import features_of
from tolsim.answers.compare_run import Run
from tolsim.spec.load import load_study

FloatArray = NDArray[np.float64]
_LOOSE = ("loose", 0)
_FIRST = (-8.2, 1.0)
_RINGS = tuple((-11.0 + 0.5 * k, 1.0 + 0.1 * (k % 3)) for k in range(12))


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Thirteen rings on one bore of which forty readings are known."""
    folder = tmp_path_factory.mktemp("rings")
    more = "[targets]\nloose = 0.02\n"
    for k in range(len(_RINGS)):
        more += f'[[alternative]]\nname = "ring {k}"\nbearing = "bearings/r{k}"\n'
    write(
        folder,
        bore_route='[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "bore_mm"\n'
        'shape = "normal"\n',
        ring_route=machine("outside", *_FIRST),
        study_more=more,
    )
    plain = (folder / "bearings" / "r.toml").read_text()
    for k, (mean, sd) in enumerate(_RINGS):
        other = plain.replace(machine("outside", *_FIRST), machine("outside", mean, sd))
        assert other != plain
        (folder / "bearings" / f"r{k}.toml").write_text(other)
    x = stats.norm.ppf((np.arange(40) + 0.5) / 40)
    rows = "\n".join(f"{37 + 1e-3 * v:.7f}" for v in -12.0 + 2.5 * x)
    (folder / "bores" / "b.csv").write_text(f"bore_mm\n{rows}\n")
    study = load_study(folder)
    return Run(labelled([study]), seed=4, draws=2**18, workers=2, plain=True)


def _exact(run: Run, mean: float, sd: float) -> FloatArray:
    """Share of units with a loose seat under each parameter set, by the normal distribution."""
    (bore,) = run.together.builds[0].measured
    (m, _), (s, _), _ = bore.parameters(list(run.table))
    p = stats.norm.cdf((1e3 * np.asarray(m) - mean) / np.hypot(1e3 * np.asarray(s), sd))
    return np.asarray(1.0 - (1.0 - p) ** 2)


def test_weights_give_the_rate_of_every_set(run: Run) -> None:
    """Over 1024 sets and thirteen rings that share their units, what was weighed lies about the
    rate of the normal distribution as far as its variance says, and common units keep the order
    of rings that differ in mean alone."""
    shares = run.shares(_LOOSE)
    assert len({features_of(b) for b in run.together.builds}) == 1
    found = {}
    for j, ring in enumerate([_FIRST, *_RINGS]):
        place = run.together.places[j][0]
        draws = shares.of_build(place, run.together.patterns[_LOOSE].failed(place))
        found[ring] = draws.value
        off = (draws.value - _exact(run, *ring)) / np.sqrt(draws.variance)
        # sets share their units, so a build's errors go together: a wide bound for each
        assert np.sqrt(np.mean(np.square(off))) < 2.5, ring
        assert draws.value.mean() == pytest.approx(draws.failed / draws.n, rel=0.02)
    for a, b in ((0, 3), (3, 6), (6, 9), (1, 4), (2, 5)):
        assert (found[_RINGS[a]] > found[_RINGS[b]]).mean() > 0.99


def test_shares_of_all_rings_spread_as_their_sets_do(run: Run) -> None:
    """Draws of everything that is not known have the mean and spread of the exact rates of the
    sets, the counting error being a hundredth of it."""
    shares = run.shares(_LOOSE).resampled()
    for j, ring in enumerate([_FIRST, *_RINGS]):
        got, exact = shares[:, run.together.places[j][0]], _exact(run, *ring)
        assert got.mean() == pytest.approx(exact.mean(), rel=0.1)
        assert got.std() == pytest.approx(exact.std(), rel=0.15)
        assert np.corrcoef(got[: exact.size], exact)[0, 1] > 0.97
