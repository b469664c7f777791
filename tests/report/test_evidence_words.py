"""Sentences about what is open say whether it is readings, assumed ranges, or both."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.shipped import changed
from tolsim.answers.predict import predict
from tolsim.answers.rank import rank
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.report.html import prediction_html
from tolsim.report.payload import prediction_payload
from tolsim.report.rank import rank_payload
from tolsim.report.rank_text import rank_text
from tolsim.report.text import prediction_text
from tolsim.spec.load import load_study

RANGED = {
    "step": "machine",
    "mean_um": -20,
    "mean_range_um": [-24, -16],
    "sd_um": 2,
    "sd_range_um": [1, 4],
}
MADE = {"share": 0.5, "mean_um": -20, "sd_um": 2}
RING = {"band_um": [-9, 0], "route": [{**RANGED, "mean_um": -5, "mean_range_um": [-6, -4]}]}
STEEL: tuple[str, Mapping[str, Any]] = ("steel-all-year", {"bore.diameter.route": [RANGED]})
READ: tuple[str, Mapping[str, Any]] = ("north-seat", {})
MIXED: tuple[str, Mapping[str, Any]] = ("north-seat", {"bearing.outside": RING})


@pytest.mark.parametrize(
    ("case", "words"),
    [
        (READ, "measured parts alone"),
        (STEEL, "assumed ranges alone"),
        (MIXED, "measured parts and assumed ranges alone"),
    ],
)
def test_an_interval_is_called_what_it_is(
    tmp_path: Path, case: tuple[str, Mapping[str, Any]], words: str
) -> None:
    """Text and page name what the interval rests on, and nothing else."""
    study, keys = case
    found = predict(load_study(changed(tmp_path, study, keys)), draws=2**13, plain=True)
    p = prediction_payload(found)
    every = {"measured parts alone", "assumed ranges alone"}
    for told in (prediction_text(p), prediction_html(p).replace("\u00a0", " ")):
        flat = " ".join(told.split())
        assert f"; {words} " in flat
        others = [w for w in every if w != words and f"; {w}" in flat]
        assert not others


@pytest.mark.parametrize(
    ("case", "words"),
    [
        (READ, "more measured parts would decide it"),
        (STEEL, "; measured parts in place of assumed ranges would decide it"),
        (MIXED, "more measured parts, also in place of assumed ranges, would decide it"),
    ],
)
def test_the_cure_is_what_is_lacking(
    tmp_path: Path, case: tuple[str, Mapping[str, Any]], words: str
) -> None:
    """An open verdict asks for parts to measure, in place of a range where there is one."""
    study, keys = case
    keys = {**keys, "study.limits": {"loose": {"interference_um": 11}}}
    home = changed(tmp_path, study, {**keys, "study.targets": {"loose": 0.2}})
    p = prediction_payload(predict(load_study(home), draws=2**13, plain=True))
    mode = p["modes"]["loose"]
    mode["target"], mode["verdict"] = 0.5 * (mode["low"] + mode["high"]), "undecided"
    assert words in " ".join(prediction_text(p).split())


def test_rank_says_what_leaves_a_row_open(tmp_path: Path) -> None:
    """Rows that stand for a range are not said to be left open by readings."""
    p = rank_payload(rank(load_study(changed(tmp_path, *STEEL)), draws=2**12))
    told = " ".join(rank_text(p).split())
    assert "what the assumed range leaves open about the bore diameter" in told
    assert "readings leave" not in told


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (
            {"step": "gauge", "accept_um": [-24, -16], "reject": "unit"},
            "a gauge that follows a mean or spread given as a range stands directly behind",
        ),
        (
            {"step": "mix", "of": [MADE, MADE]},
            "nothing can be mixed into a mean or spread given as a range",
        ),
    ],
)
def test_a_range_is_not_called_readings_in_an_error(
    tmp_path: Path, step: dict[str, Any], words: str
) -> None:
    """What cannot follow a drawn process is told of the range that stands there."""
    home = changed(tmp_path, "steel-all-year", {"bore.diameter.route": [RANGED, step]})
    with pytest.raises(SpecError, match=words):
        assemble(load_study(home))
