"""Remembered constants: what turns a verdict is named, and is silent once its range is hidden."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tolsim.answers.predict import predict
from tolsim.mechanics.assumptions import ASSUMED
from tolsim.report.payload import prediction_payload
from tolsim.report.text import prediction_text
from tolsim.spec.load import Study, load_study
from tolsim.spec.variants import with_spec

STUDY = Path(__file__).parents[2] / "studies" / "summer-and-winter"
TURNS = "Remembered constants that could turn a verdict"


def _close_call() -> Study:
    """The aluminium seat with a target of creak that it just meets."""
    study = load_study(STUDY)
    found = predict(study, draws=2**16, plain=True, glance=False).modes["creak"]
    assert found is not None
    target = study.spec.targets.model_copy(update={"creak": 1.02 * found.high, "tight": None})
    return with_spec(study, targets=target)


def test_hiding_a_range_makes_its_warning_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """A constant without a range is no longer named as one that could turn the verdict."""
    study = _close_call()
    before = predict(study, draws=2**16, plain=True)
    assert "ring-creep" in before.turning
    assert TURNS in prediction_text(prediction_payload(before))
    for name in before.turning:
        known = ASSUMED[name]
        monkeypatch.setitem(ASSUMED, name, replace(known, low=known.value, high=known.value))
    after = predict(study, draws=2**16, plain=True)
    assert not after.turning
    told = prediction_text(prediction_payload(after))
    assert TURNS not in told
    assert "No remembered constant turns a verdict" in told
