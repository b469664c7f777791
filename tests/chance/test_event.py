"""Events and the tally of their evaluations."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from tests.chance.problems import hidden
from tolsim.chance.event import Event, Spent, Tally, event_of
from tolsim.errors import InternalError
from tolsim.record import record

TWO = event_of(record(lambda z: [1.0 - z[0] * z[1], (2.0 + z[1]) * 1e3], 2))


def test_an_event_of_a_recording_is_its_smallest_output() -> None:
    """Values, margins and slopes of the active margin come from one recording."""
    z = np.array([[2.0, 0.0], [1.0, -3.0]])
    assert_array_equal(TWO.values(z), [-1.0, -1000.0])
    assert TWO.margins is not None
    assert_array_equal(TWO.margins(z), [[-1.0, 1.0], [3000.0, -1000.0]])
    assert TWO.values_and_gradient is not None
    g, slope = TWO.values_and_gradient(z)
    assert_array_equal(g, [-1.0, -1000.0])
    assert_array_equal(slope, [[-1.0, 0.0], [-2.0, 1000.0]])
    assert TWO.margins_gradient is not None
    g, slope = TWO.margins_gradient(z, np.array([1, 0]))
    assert_array_equal(g, [3000.0, 1.0])
    assert_array_equal(slope, [[0.0, 3.0], [1000.0, 0.0]])


def test_more_columns_than_a_block() -> None:
    """Long and odd numbers of columns give what single columns give."""
    z = np.random.default_rng(1).standard_normal((2, 20_011))
    assert_array_equal(TWO.values(z), np.minimum(1.0 - z[0] * z[1], (2.0 + z[1]) * 1e3))


def test_the_level_weighs_margins_by_their_spread() -> None:
    """The guide of a search is negative exactly at failure, whatever the units of margins."""
    tally = Tally(TWO)
    z = np.random.default_rng(2).standard_normal((2, 4000))
    tally.learn_scales(z)
    level = tally.level(z)
    assert_array_equal(level < 0.0, TWO.values(z) < 0.0)
    assert tally.scales is not None
    # the second margin's lower decile lies 1281.6 below its median
    assert_allclose(tally.scales[1], 1281.6, rtol=0.1)
    g, slope = tally.gradient(z, tally.active(z))
    assert_allclose(g, level, rtol=1e-12)
    up = z + 1e-6 * slope
    assert_allclose(
        (tally.margin(up, tally.active(z)) - g) / 1e-6, np.square(slope).sum(axis=0), rtol=1e-3
    )


def test_everything_is_counted() -> None:
    """Values count one a column, slopes their stated cost."""
    tally = Tally(TWO)
    z = np.zeros((2, 10))
    tally.learn_scales(z)
    tally.values(z)
    tally.level(z)
    tally.gradient(z, tally.active(z))
    assert tally.spent == 10 + 10 + 10 + 10 + TWO.gradient_cost * 10


def test_a_margin_that_is_not_a_number_stops_the_run() -> None:
    """NaN compares false and would count as good: it is refused, with the draw that made it."""
    event = Event(dimension=1, values=lambda z: np.where(z[0] > 1.0, np.nan, 1.0))
    with pytest.raises(InternalError, match=r"a margin is not a number at z = \[2.5\]"):
        Tally(event).values(np.array([[0.0, 2.5]]))


def test_a_budget_is_never_exceeded() -> None:
    """The evaluation that would pass the budget is not made."""
    tally = Tally(hidden(TWO), budget=25)
    tally.values(np.zeros((2, 20)))
    with pytest.raises(Spent, match="a budget of 25 evaluations does not suffice"):
        tally.values(np.zeros((2, 6)))
    assert tally.spent == 20
    assert tally.left == 5


def test_a_caller_can_stop() -> None:
    """A stop that says yes ends the next evaluation."""
    tally = Tally(TWO, stop=lambda: tally.spent >= 10)
    tally.values(np.zeros((2, 10)))
    with pytest.raises(Spent, match="stopped"):
        tally.values(np.zeros((2, 1)))


def test_an_event_without_slopes_says_so() -> None:
    """Slopes that are not there are not made up."""
    tally = Tally(hidden(TWO, gradient=False))
    assert not tally.has_gradient
    with pytest.raises(ValueError, match="no gradient"):
        tally.gradient(np.zeros((2, 1)), np.zeros(1, dtype=np.intp))
