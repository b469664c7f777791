"""Remembered constants: what turns a verdict is named, and is silent once its range is hidden."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.answers.doubtful import LEANING
from tests.shipped import changed
from tolsim.answers import assumptions
from tolsim.answers.predict import predict
from tolsim.answers.results import Prediction
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


FEW = 2**12
QUIET = "No remembered constant turns a verdict"


def _hide(monkeypatch: pytest.MonkeyPatch, names: Iterable[str]) -> None:
    for name in names:
        known = ASSUMED[name]
        monkeypatch.setitem(ASSUMED, name, replace(known, low=known.value, high=known.value))


def _with_target(study: Study, mode: str, share: float) -> Prediction:
    targets = study.spec.targets.model_copy(
        update={"creak": None, "tight": None, mode: min(max(share, 1e-4), 0.9999)}
    )
    return predict(with_spec(study, targets=targets), draws=FEW, workers=1, plain=True)


@pytest.mark.parametrize("name", ASSUMED)
def test_every_range_warns_until_it_is_hidden(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """A verdict that a constant could turn says so by its name, and no more without its range.

    The target is set a fiftieth above the rate or below it, on whichever side the constant moves
    the rate; ranges of all other constants are hidden, so that it stands alone.
    """
    monkeypatch.setattr(assumptions, "_GLANCE", FEW)
    _hide(monkeypatch, set(ASSUMED) - {name})
    study, keys = LEANING[name]
    loaded = load_study(changed(tmp_path, study, keys))
    (mode,) = keys["study.limits"]
    found = predict(loaded, draws=FEW, workers=1, plain=True, glance=False).modes[mode]
    assert found is not None
    for share in (1.02 * found.high, 0.98 * found.low):
        told = _with_target(loaded, mode, share)
        if told.turning:
            break
    assert told.turning == {name: (mode,)}
    page = prediction_text(prediction_payload(told))
    assert TURNS in page
    assert name in page
    _hide(monkeypatch, [name])
    after = _with_target(loaded, mode, share)
    assert not after.turning
    page = prediction_text(prediction_payload(after))
    assert TURNS not in page
    assert QUIET in page
