"""Reading rules of ISO 14253-1: guards, zones, probabilities of conformity."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from tolsim.standards.reading_rules import (
    REFERENCE_TEMPERATURE,
    conformance_probability,
    guard_band,
    verdict,
    zones,
)


def test_sizes_hold_at_twenty_degrees() -> None:
    """The reference temperature of ISO 1 is 20 °C."""
    assert REFERENCE_TEMPERATURE == 20.0


def test_guard_of_a_wide_tolerance() -> None:
    """At 95 % the guard is 1.65 u (ISO 14253-1:2017, as usually written), at 97.7 % about 2 u."""
    assert guard_band(1.0) == pytest.approx(1.65, abs=0.006)
    assert guard_band(3.0, probability=norm.cdf(2.0)) == pytest.approx(6.0)


@given(
    y=st.floats(min_value=-50.0, max_value=75.0),
    u=st.floats(min_value=0.05, max_value=20.0),
)
def test_probability_of_conformity_is_a_difference_of_normal_shares(y: float, u: float) -> None:
    """It is the normal share between the limits (JCGM 106:2012), computed by scipy here."""
    expected = norm.cdf((25.0 - y) / u) - norm.cdf((0.0 - y) / u)
    assert conformance_probability(y, 0.0, 25.0, u) == pytest.approx(expected, rel=1e-9, abs=1e-14)


def test_far_readings_keep_their_digits() -> None:
    """A reading ten u outside conforms with the normal tail, not with zero, on either side."""
    tail = norm.sf(10.0)
    assert conformance_probability(35.0, 0.0, 25.0, 1.0) == pytest.approx(tail, rel=1e-9)
    assert conformance_probability(-10.0, 0.0, 25.0, 1.0) == pytest.approx(tail, rel=1e-9)


def test_zones_are_guards_where_the_tolerance_is_wide() -> None:
    """On 25 µm with u = 1.5 µm both zones lie 1.645 u from the limits."""
    found = zones(-42.0, -17.0, 1.5)
    guard = 1.6448536269514722 * 1.5  # normal quantile, any table
    assert found.conforming == pytest.approx((-42.0 + guard, -17.0 - guard), abs=1e-6)
    assert found.open == pytest.approx((-42.0 - guard, -17.0 + guard), abs=1e-6)


@given(width=st.floats(min_value=0.5, max_value=100.0), u=st.floats(min_value=0.1, max_value=10.0))
def test_the_edge_of_a_zone_has_the_probability_asked(width: float, u: float) -> None:
    """Both limits count: at the edge of each zone conformity is 95 % or 5 % likely."""
    found = zones(0.0, width, u)
    for zone, share in ((found.conforming, 0.95), (found.open, 0.05)):
        at_best = conformance_probability(0.5 * width, 0.0, width, u)
        if zone is None:
            assert at_best < share
        else:
            for edge in zone:
                assert conformance_probability(edge, 0.0, width, u) == pytest.approx(
                    share, abs=1e-6
                )


def test_a_coarse_gauge_proves_nothing_good() -> None:
    """With u larger than a quarter of the tolerance no reading proves conformity."""
    assert zones(0.0, 10.0, 4.0).conforming is None
    assert verdict(5.0, 0.0, 10.0, 4.0) == "undecided"


@pytest.mark.parametrize(
    ("reading", "said"),
    [(12.0, "conforms"), (24.0, "undecided"), (26.0, "undecided"), (28.0, "does not conform")],
)
def test_verdicts(reading: float, said: str) -> None:
    """Well inside conforms, well outside does not, near a limit nothing is proven."""
    assert verdict(reading, 0.0, 25.0, 1.5) == said


def test_impossible_questions_are_refused() -> None:
    """No uncertainty, limits turned round and odd probabilities are refused."""
    for u in (0.0, -1.0, math.inf, math.nan):
        with pytest.raises(ValueError, match="standard uncertainty"):
            guard_band(u)
    with pytest.raises(ValueError, match="lower < upper"):
        zones(1.0, 0.0, 0.1)
    with pytest.raises(ValueError, match="probability"):
        verdict(0.5, 0.0, 1.0, 0.1, probability=0.4)
    with pytest.raises(ValueError, match="need lower < upper"):
        conformance_probability(0.5, 1.0, 0.0, 0.1)
