"""A few whole worlds of the campaign: files, command, verdict against the truth."""

from __future__ import annotations

import pytest

from tests.campaigns.rule_worlds import outcome
from tests.campaigns.worlds import CASES, Case

WORLDS = 8


ON_MODEL = [c for c in CASES if c.on_model]


@pytest.mark.parametrize(
    "case",
    [*ON_MODEL[:2], *(pytest.param(c, marks=pytest.mark.slow) for c in ON_MODEL[2:])],
    ids=lambda c: c.name,
)
def test_the_rule_in_a_few_worlds(case: Case) -> None:
    """At most 2 of 8 worlds are judged wrongly: with 2.5 % either way more come up with a
    probability below 0.6 %. Where the truth is clear 6 at least are decided; what the promised
    interval itself decides is not left open in more than 3 worlds."""
    found = outcome(case, WORLDS)
    assert found.wrong_accepts + found.wrong_rejects <= 2
    undecided = found.said["not enough evidence"]
    if case.ratio in (0.1, 0.25, 4.0):
        assert undecided <= 2
    if found.exact_undecided is not None:
        assert undecided <= found.exact_undecided + 3
