"""Single measurements across alternatives, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from tests.shipped import ROOT
from tolsim.answers.compare import compare, labelled
from tolsim.answers.compare_ranges import ranges_of
from tolsim.answers.compare_run import Run
from tolsim.answers.compare_single import named_rightly, singles_of
from tolsim.spec.load import load_study

_M = 2048


def _choice(x: np.ndarray) -> np.ndarray:
    return np.array([x > 0.0, x <= 0.0]).T.astype(float)


@pytest.mark.parametrize("noise", [0.0, 0.5, 1.0, 2.0])
def test_one_of_two_terms_known(noise: float) -> None:
    """Of x + noise y, both standard normal, the sign is guessed from x alone with probability
    1 - arctan(noise) / pi: the share of the plane where x and the sum have one sign (Sheppard)."""
    rng = np.random.default_rng(1)
    x, y = rng.standard_normal((2, _M))
    found = named_rightly(x[None, :], _choice(x + noise * y), _M).mean()
    wanted = 1.0 - np.arctan(noise) / np.pi
    # 4.5 standard deviations of the share; beside the edge forty neighbours say too little
    assert wanted - 0.06 < found < wanted + 4.5 * np.sqrt(0.25 / _M)


def test_what_says_nothing_gains_nothing() -> None:
    """A quantity that has no say names the commoner one: no better than without it."""
    rng = np.random.default_rng(2)
    best = _choice(rng.standard_normal(_M) + 0.6)
    idle = named_rightly(rng.standard_normal((2, _M)), best, _M).mean()
    assert idle < best[:, 0].mean() + 4.0 * np.sqrt(0.2 / _M)


def test_draws_of_one_set_do_not_help_each_other() -> None:
    """Two draws with the same parameters are no neighbours: what they share by chance counts
    for nothing."""
    rng = np.random.default_rng(3)
    x = np.tile(rng.standard_normal((3, _M // 2)), 2)
    best = np.tile(_choice(rng.standard_normal(_M // 2)), (2, 1))
    assert abs(named_rightly(x, best, _M // 2).mean() - 0.5) < 4.0 * np.sqrt(0.25 / (_M // 2))


def test_concepts_name_one_measurement() -> None:
    """Before any part exists: every assumed size and every constant is looked at once, the best is
    the turned bores, and knowing is never worse than not knowing."""
    study = load_study(ROOT / "studies" / "which-joint")
    found = compare([study], draws=2**16, workers=1, plain=True, deep=False).singles
    names = [(s.part, s.key) for s in found.found]
    assert len(set(names)) == len(names)
    assert names[0] == ("bores/any-turned", "bore.diameter")
    assert found.found[0].readings == 0
    assert found.found[0].tells(found.now)
    assert sum(key is None for _, key in names) >= 3
    assert all(s.right >= found.now for s in found.found)


def test_measured_parts_have_their_readings() -> None:
    """Sizes that rest on readings say how many."""
    study = load_study(ROOT / "studies" / "economy-bearing")
    run = Run(labelled([study]), seed=1, draws=2**14, workers=1, plain=True)
    best = np.tile([[1.0, 0.0, 0.0]], (_M, 1))
    found = singles_of(run, ranges_of(run), best)
    assert found.now == 1.0
    readings = {s.part: s.readings for s in found.found if s.key is not None}
    assert readings["bearings/25x37x7-economy-measured"] == 24
