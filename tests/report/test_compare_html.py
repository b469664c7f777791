"""The page of a comparison: verdict first, detail folded away, nothing from elsewhere."""

from __future__ import annotations

import re
from functools import cache
from html import unescape
from typing import Any

import pytest

from tests.shipped import ROOT
from tolsim.answers.compare import compare
from tolsim.report.compare import comparison_html, comparison_payload, comparison_text
from tolsim.report.compare_evidence import break_even_sentence
from tolsim.spec.load import load_study

CONCEPTS, BEARING = "which-joint", "economy-bearing"


@cache
def payload(study: str) -> dict[str, Any]:
    found = load_study(ROOT / "studies" / study)
    return comparison_payload(compare([found], draws=2**16, workers=1, plain=True, deep=False))


def _words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).replace("\u00a0", " ").split())


@pytest.mark.parametrize("study", [CONCEPTS, BEARING])
def test_the_verdict_stands_first(study: str) -> None:
    """After the title the first words are the verdict, those of the exit code."""
    p = payload(study)
    html = comparison_html(p)
    body = _words(html[html.index("</h1>") :])
    assert body.startswith(p["verdict"].upper())


@pytest.mark.parametrize("study", [CONCEPTS, BEARING])
def test_nothing_comes_from_elsewhere(study: str) -> None:
    """No script, no address, and a policy that forbids both."""
    html = comparison_html(payload(study))
    assert "<script" not in html
    assert not re.search(r"(?:src|href)=|https?://|url\(", html)
    assert "default-src 'none'" in html


def test_detail_is_folded_but_there() -> None:
    """Every sentence of the text stands on the page; of six concepts only answer, table and money
    are open."""
    p = payload(CONCEPTS)
    html = comparison_html(p)
    assert "<details open>" not in html
    shut = re.sub(r"<details>.*?</details>", "", html, flags=re.S)
    assert len(_words(shut)) < 0.4 * len(_words(html))
    page = _words(html)
    for sentence in p["alternatives"][1]["warnings"]:
        assert " ".join(sentence.split()) in page
    for a in p["alternatives"]:
        assert f"{a['verdict'].upper()} : {a['name']}." in page


def test_what_users_write_is_escaped() -> None:
    """Titles and names are text, whatever stands in them."""
    p = {**payload(BEARING), "title": "<b>a & b</b>"}
    html = comparison_html(p)
    assert "<b>a" not in html
    assert "&lt;b&gt;a &amp; b" in html


def test_single_measurement_across_concepts() -> None:
    """Of all concepts one measurement is named, with what it would bring against now; where a
    single choice is judged against a reference the page says nothing of it."""
    text = " ".join(comparison_text(payload(CONCEPTS)).split())
    assert text.count("The single measurement, of all alternatives") == 1
    assert re.search(r"named rightly with \d+ % \(± \d+ %\), against \d+ % now", text)
    assert "The single measurement" not in comparison_text(payload(BEARING))


def test_lots_and_bearings_are_told() -> None:
    """Readings that name no lot are said to be one lot, and whether bearings come by the seat."""
    text = " ".join(comparison_text(payload(BEARING)).split())
    assert "No lot is named in the readings of " in text
    for name, drawn in (("economy-measured", "unit"), ("good", "seat")):
        line = next(x for x in text.split("bearings/") if x.startswith(f"25x37x7-{name} ("))
        assert f"drawn per {drawn}" in line


@pytest.mark.parametrize(
    ("saving", "value", "low", "high", "words"),
    [
        (10.0, 0.3, 0.2, 0.5, "30 % of creaking units becoming claims (20 % to 50 %)"),
        (-10.0, 0.3, 0.2, 3.0, "(20 % to all); it pays where more do"),
        (-10.0, 25.0, 0.35, 90.0, "would not pay even if every creaking unit came back; with"),
        (10.0, 25.0, 0.35, 90.0, "it pays even if every creaking unit comes back; with"),
        (-10.0, 25.0, 1.2, 90.0, "none; it would not pay even if every creaking unit came back"),
    ],
)
def test_break_even_in_words(
    saving: float, value: float, low: float, high: float, words: str
) -> None:
    """A share above all units is no share: it is said in words what that means."""
    line = {"value": value, "low": low, "high": high}
    told = break_even_sentence(
        {
            "money": {
                "saving": saving,
                "left_before_creak_claims": saving,
                "break_even_claim_share": line,
            }
        }
    )
    assert words in told


@pytest.mark.parametrize(
    ("saving", "why", "words"),
    [
        (10.0, "no price", "nothing says what a claim on a creaking unit costs"),
        (10.0, "always", "no more units creak, so every claim share pays"),
        (10.0, "never", "claims on overly tight units take what it saves"),
        (-10.0, "never", "it saves nothing when built"),
        (0.0, "equal", "neither what it costs nor what creaks differs"),
    ],
)
def test_why_there_is_no_break_even(saving: float, why: str, words: str) -> None:
    """Each reason for having none is told by itself: no price is not the same as no creak."""
    m = {"saving": saving, "break_even_claim_share": None, "why_no_break_even": why}
    assert break_even_sentence({"money": m}) == f"No break-even: {words}" + (
        ", and no fewer units creak." if why == "never" else "."
    )
