"""Loads of both strokes as a user of ``tolsim predict`` reads them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from tests.shipped import changed
from tolsim.cli.main import cli
from tolsim.report.html import prediction_html
from tolsim.report.loads import load_sentences
from tolsim.report.text import prediction_text

STEEL = "steel-all-year"
CHAIN = {
    "study.service.pedal_force_N": 350,
    "study.service.chain_force_N": 875,
    "study.service.chain_line_mm": 45,
}


def _payload(home: Path) -> dict[str, Any]:
    common = ["predict", str(home), "--draws", "2000", "--plain", "--no-progress", "--exit-zero"]
    result = CliRunner().invoke(cli, [*common, "--json"])
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_one_sentence_tells_both_strokes(tmp_path: Path) -> None:
    """Text and page say what each seat bears in either stroke, in newtons; worked by hand.

    350 · 101/82 = 431 and -350 · 19/82 = -81; 875 · 86/82 = 918 and -875 · 4/82 = -43; lengths of
    both together 433 and 921, 92 and 1014.
    """
    p = _payload(changed(tmp_path, STEEL, CHAIN))
    (told,) = load_sentences(p)
    assert told == (
        "Pedal force 350 N, 60 mm from the middle; chain 875 N at seat 2, 45 mm from the middle, "
        "at 90° to it; seats 82 mm apart. With the mean force on the pedal at seat 1, seat 1 bears "
        "433 N (431 N along the pedal's force, −43 N along the chain) and seat 2 bears 921 N "
        "(−81 N along the pedal's force, 918 N along the chain); with the mean force on the pedal "
        "at seat 2, seat 1 bears 92 N (−81 N along the pedal's force, −43 N along the chain) and "
        "seat 2 bears 1014 N (431 N along the pedal's force, 918 N along the chain). The worse "
        "stroke judges each seat: seat 1 by 433 N (pedal at seat 1) and seat 2 by 1014 N (pedal at "
        "seat 2), in 99.73 % of units."
    )
    text = " ".join(prediction_text(p).split())
    assert told in text
    assert "bears 1014 N" in prediction_html(p).replace("\u00a0", " ")


def test_without_a_chain_the_far_seat_is_lifted(tmp_path: Path) -> None:
    """Signs differ by seat and change with the stroke."""
    (told,) = load_sentences(_payload(changed(tmp_path, STEEL, {})))
    assert "on the pedal at seat 1, seat 1 bears 431 N and seat 2 bears −81 N (lifted)" in told
    assert "on the pedal at seat 2, seat 1 bears −81 N (lifted) and seat 2 bears 431 N" in told
    assert "350 N on average (" in told


def test_a_given_seat_load_tells_no_strokes(tmp_path: Path) -> None:
    """Whatever made it: there is nothing to derive."""
    keys = {
        "study.service.pedal_force_N": None,
        "study.service.overhang_mm": None,
        "study.service.seat_load_N": 430,
    }
    p = _payload(changed(tmp_path, STEEL, keys))
    assert p["loads"] == []
    assert "What loads the seats" not in prediction_text(p)
