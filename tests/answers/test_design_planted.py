"""Planted problems, a few of them: the whole campaigns are run by hand (`tests.campaigns`)."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaigns.design_planted import infeasible_problems, planted_problems
from tests.campaigns.design_problems import planted
from tolsim.answers.design import design


@pytest.mark.parametrize("number", [9, 16])
def test_at_most_as_dear_as_what_was_planted(tmp_path: Path, number: int) -> None:
    """Bands that are known to meet the targets are not beaten in cost, and the answer holds."""
    p = planted(tmp_path, number, units=2**18)
    d = design(p.study, deep=False)
    assert d.met
    assert d.cost is not None
    assert d.cost <= p.cost * (1.0 + 1e-9)
    for mode, target in d.targets.items():
        assert d.modes[mode].high <= target


@pytest.mark.slow
def test_planted_problems() -> None:
    """The reduced campaign: all met, none dearer, none refuted by a fresh count."""
    for line in planted_problems(reduced=True).verdict:
        found, _, of = line.rpartition(": ")[2].partition(" of ")
        assert found == of, line


@pytest.mark.slow
def test_infeasible_problems() -> None:
    """The reduced campaign: ten per cent too much to ask for is said so, with its reason."""
    for line in infeasible_problems(reduced=True).verdict:
        found, _, of = line.rpartition(": ")[2].partition(" of ")
        assert found == of, line
