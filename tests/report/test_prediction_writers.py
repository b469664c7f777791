"""The writers of a prediction: same bytes, no script, no network, numbers with their units."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

from tolsim.answers.predict import predict
from tolsim.report.figures import prediction_figures, prediction_pictures
from tolsim.report.html import prediction_html
from tolsim.report.payload import prediction_payload
from tolsim.report.text import prediction_text
from tolsim.spec.load import load_study

STUDIES = Path(__file__).parents[2] / "studies"


@pytest.fixture(scope="module")
def payload() -> dict[str, Any]:
    """Payload of the study with three shops, with pictures."""
    p = predict(load_study(STUDIES / "three-shops"), draws=2**15, detail=True, plain=True)
    return prediction_payload(p)


def test_same_bytes(payload: dict[str, Any]) -> None:
    """Text, page and figures repeat themselves byte for byte."""
    again = json.loads(json.dumps(payload))
    assert prediction_text(payload) == prediction_text(again)
    assert prediction_html(payload) == prediction_html(again)
    assert prediction_figures(payload) == prediction_figures(again)


def test_figures_are_svg(payload: dict[str, Any]) -> None:
    """Three figures, well formed, without date, script or outside reference."""
    figures = prediction_figures(payload)
    assert set(figures) == {"parts.svg", "interference.svg", "misalignment.svg"}
    for svg in figures.values():
        ET.fromstring(svg)
        assert "<script" not in svg
        assert "dc:date" not in svg
        for url in re.findall(r'(?:href|src)="([^"]*)"', svg):
            assert url.startswith("#")


def test_page_stands_alone(payload: dict[str, Any]) -> None:
    """One file: no script, no network, alternative text, a policy that says so, half a MB."""
    page = prediction_html(payload)
    assert len(page) < 500_000
    assert "<script" not in page
    assert "Content-Security-Policy" in page
    assert not re.search(r'(?:src|href)="(?!data:|#)', page)
    assert len(re.findall(r'<img [^>]*alt="[^"]{40,}"', page)) == 3


def test_page_without_pictures(payload: dict[str, Any]) -> None:
    """Without pictures the page has none, and figures refuse."""
    bare = {**payload, "pictures": None}
    assert "<img" not in prediction_html(bare)
    with pytest.raises(ValueError, match="no pictures"):
        prediction_figures(bare)


def test_hostile_words(payload: dict[str, Any]) -> None:
    """Titles and names from files cannot become markup, formulas or terminal commands."""
    bad = '<script>alert(1)</script> $x$ \\alpha \x1b[31m \u202e "quoted"'
    evil = json.loads(json.dumps(payload))
    evil["study"]["title"] = bad
    for s in evil["supply"]:
        s["name"] = bad
    for box in (evil["pictures"] or {}).get("parts", []):
        for key in ("part", "build", "seat"):
            if isinstance(box.get(key), str):
                box[key] = bad
    page = prediction_html(evil)
    assert "<script>" not in page
    text = prediction_text(evil)
    assert "\x1b" not in text
    assert "\u202e" not in text
    for svg in prediction_figures(evil).values():
        ET.fromstring(svg)


def test_alternative_text_quotes_the_payload(payload: dict[str, Any]) -> None:
    """Every figure tells its numbers to those who cannot see it."""
    for picture in prediction_pictures(payload):
        assert len(re.findall(r"\d", picture.alt)) >= 4
        assert picture.tables


def test_text_has_no_bare_zero(payload: dict[str, Any]) -> None:
    """None seen is never written as 0 %."""
    text = prediction_text(payload)
    assert not re.search(r"(?<![\d.,])0(\.0+)? %", text)
    assert "none seen" in text or "never seen" in text


def test_widths(payload: dict[str, Any]) -> None:
    """The page of text fits a hundred columns but for its widest table row."""
    lines = prediction_text(payload).splitlines()
    assert max(len(line) for line in lines) <= 120
    assert sum(len(line) > 100 for line in lines) <= 14
