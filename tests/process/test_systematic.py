"""Whether magnitudes show a systematic part: null, false alarms, power."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tolsim.process.systematic import _null, systematic_part, visible_distance


@pytest.mark.parametrize("n", [5, 12, 30, 100])
def test_null_has_the_moments_of_greenwoods_statistic(n: int) -> None:
    """Mean 2 / (n + 1), variance 4 (n - 1) / ((n + 1)^2 (n + 2)(n + 3)).

    Moments of a Dirichlet with all parameters 1, of which the shares of the squares are one: closed
    form; given by Moran, J. R. Stat. Soc. B 9 (1947), from memory.
    """
    null = _null(n)
    variance = 4.0 * (n - 1) / ((n + 1) ** 2 * (n + 2) * (n + 3))
    assert abs(null.mean() - 2.0 / (n + 1)) < 4.0 * np.sqrt(variance / null.size)
    assert_allclose(null.var(), variance, rtol=0.15)


@pytest.mark.parametrize("n", [12, 30, 100])
def test_false_alarms_over_1000_lots(n: int) -> None:
    """At 3 % a file, at most 5 % of 1000 samples without a systematic part, whatever the scale."""
    rng = np.random.default_rng([77, n])
    scale = 10.0 ** rng.uniform(-3.0, 3.0, (1000, 1))
    r = scale * np.hypot(*rng.standard_normal((2, 1000, n)))
    assert sum(systematic_part(one) <= 0.03 for one in r) <= 50


@pytest.mark.parametrize(("n", "distance"), [(12, 4.0), (30, 3.0), (100, 2.0)])
def test_power(n: int, distance: float) -> None:
    """A systematic part of 4, 3, 2 spreads is shown by 12, 30, 100 readings in over 85 %."""
    rng = np.random.default_rng([78, n])
    x, y = rng.standard_normal((2, 300, n))
    seen = sum(systematic_part(one) <= 0.03 for one in np.hypot(x + distance, y))
    assert seen > 0.85 * 300


def test_visible_distance_is_seen_in_eight_of_ten() -> None:
    """Other samples than those that found it agree; more readings see a smaller one."""
    distance = visible_distance(20, 0.03)
    x, y = np.random.default_rng(79).standard_normal((2, 500, 20))
    seen = sum(systematic_part(one) <= 0.03 for one in np.hypot(x + distance, y)) / 500
    assert abs(seen - 0.8) < 4.0 * np.sqrt(0.8 * 0.2 / 500)
    assert visible_distance(60, 0.03) < distance < visible_distance(8, 0.03)


@pytest.mark.parametrize(
    "values", [[1.0, 2.0, 3.0, 4.0], [0.0] * 6, [1.0, -1.0, 2.0, 3.0, 4.0], [1.0, 2, 3, 4, np.nan]]
)
def test_not_magnitudes(values: list[float]) -> None:
    """Too few, all 0, negative or not finite."""
    with pytest.raises(ValueError, match="magnitudes"):
        systematic_part(values)
