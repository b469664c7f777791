"""Remembered constants: what turns a verdict is named, and is silent once its range is hidden."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tolsim.answers.assumptions import assumption_runs
from tolsim.answers.predict import predict
from tolsim.mechanics.assumptions import ASSUMED
from tolsim.report.payload import assumption_payload, prediction_payload
from tolsim.report.text import prediction_text
from tolsim.spec.load import load_study

STUDY = Path(__file__).parents[2] / "studies" / "three-shops"
TURNS = "Remembered constants that could turn a verdict"


def test_hiding_a_range_makes_its_warning_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """A constant without a range is no longer named; the others are as they were."""
    study = load_study(STUDY)
    before = predict(study, draws=2**17, plain=True)
    assert "smoothing-factor" in before.turning
    assert TURNS in prediction_text(prediction_payload(before))
    for name in before.turning:
        known = ASSUMED[name]
        monkeypatch.setitem(ASSUMED, name, replace(known, low=known.value, high=known.value))
    after = predict(study, draws=2**17, plain=True)
    assert not after.turning
    told = prediction_text(prediction_payload(after))
    assert TURNS not in told
    assert "No remembered constant turns a verdict" in told


@pytest.mark.slow
def test_reruns_name_what_turned() -> None:
    """Every constant is rerun at each end that is not its own value, the worst pair last."""
    study = load_study(STUDY)
    base = predict(study, draws=2**17, plain=True)
    runs = assumption_runs(study, base, draws=2**15)
    single = [r for r in runs if len(r.constants) == 1]
    for constant in base.assumed:
        ends = {r.values[0] for r in single if r.constants[0].name == constant.name}
        assert ends == {constant.low, constant.high} - {constant.value}
    assert len(runs[-1].constants) == 2
    assert any(r.turned for r in single)
    payload = prediction_payload(base)
    payload["assumption_runs"] = assumption_payload(runs)
    text = prediction_text(payload)
    assert "these turn a verdict: smoothing-factor" in text
    assert "misaligned" in text.split("smoothing-factor at")[1].split("rolling")[0]
