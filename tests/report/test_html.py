"""The page: one file that asks for nothing, says what the text says, and survives hostile words."""

from __future__ import annotations

import re
from base64 import b64decode
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from tests.report.studies import EVERY, HOSTILE, made, page, payload, pictures
from tolsim.report.html import prediction_html
from tolsim.report.numbers import held
from tolsim.report.text import CAUTION, answer_sentences, interference_sentence, seat_sentence

VOID = {"meta", "img", "br"}


class Page(HTMLParser):
    """Elements with their attributes, the text, and whether every element is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.pieces: list[str] = []
        self.apart: list[str] = []  # text of tables of numbers and of code
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        self.pieces.append(" " if tag in ("span", "br", "code") else "\n")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" in self.open:
            return
        if "details" in self.open:
            self.apart.append(data)
        else:
            self.pieces.append(data)

    @property
    def text(self) -> str:
        """What a reader sees outside the folded tables, unbreakable spaces made plain."""
        return re.sub(r"[ \t\u00a0]+", " ", "".join(self.pieces))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of a kind."""
        return [attrs for name, attrs in self.elements if name == tag]


@pytest.mark.parametrize("name", EVERY)
def test_page_is_whole(name: str) -> None:
    """Every element is closed, and the file stays below 500 KB."""
    assert Page(page(name)).open == []
    assert len(page(name).encode()) < 500_000


@pytest.mark.parametrize("name", ["three shops", "hostile"])
def test_page_repeats(name: str) -> None:
    """The same payload makes the same bytes."""
    assert page(name) == prediction_html(made(name))


@pytest.mark.parametrize("name", EVERY)
def test_page_asks_for_nothing(name: str) -> None:
    """No script, no frame, no link, no handler, nothing from outside; the policy forbids it."""
    parsed = Page(page(name))
    tags = {tag for tag, _ in parsed.elements}
    assert not tags & {"script", "iframe", "object", "embed", "link", "a", "form", "base", "svg"}
    for tag, attrs in parsed.elements:
        for key, value in attrs.items():
            assert not key.startswith("on")
            assert key not in ("style", "href", "srcset")
            if key == "src":
                assert tag == "img"
                assert (value or "").startswith("data:image/svg+xml;base64,")
    policy = [m["content"] for m in parsed.all("meta") if m.get("http-equiv")]
    assert policy == [
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
        "base-uri 'none'; form-action 'none'"
    ]
    assert "://" not in page(name)
    assert "url(" not in page(name)
    assert "@import" not in page(name)
    for image in parsed.all("img"):
        svg = b64decode((image["src"] or "").partition(",")[2]).decode()
        assert "<script" not in svg
        assert "://" not in re.sub(r'xmlns(:\w+)?="[^"]*"', "", svg)


def test_page_is_accessible() -> None:
    """Language, title, one first heading, no level left out, named scrolling regions, heads."""
    parsed = Page(page("three shops"))
    assert parsed.all("html") == [{"lang": "en"}]
    assert len(parsed.all("title")) == len(parsed.all("h1")) == len(parsed.all("main")) == 1
    levels = [int(tag[1]) for tag, _ in parsed.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    for attrs in parsed.all("div"):
        if attrs.get("tabindex") is not None:
            assert attrs.get("role") == "region"
            assert attrs.get("aria-label")
    assert all(attrs.get("scope") in ("col", "row") for attrs in parsed.all("th"))


@pytest.mark.parametrize("name", EVERY)
def test_alternative_text_is_that_of_the_figure(name: str) -> None:
    """Every figure has the words made from its numbers, and a table of them folded below."""
    parsed = Page(page(name))
    told = pictures(name, alone=False).values()
    alts = [(a["alt"] or "").replace("\u00a0", " ") for a in parsed.all("img")]
    assert alts == [picture.alt.replace("\u00a0", " ") for picture in told]
    assert len(parsed.all("figcaption")) == len(told)
    assert len(parsed.all("details")) == len(told) + 1
    folded = " ".join(parsed.apart).replace("\u00a0", " ")
    for picture in told:
        for table in picture.tables:
            for cell in table.rows[0]:
                assert cell in folded


@pytest.mark.parametrize("name", ["one shop", "three shops", "none fails", "most fail"])
def test_page_says_what_the_text_says(name: str) -> None:
    """Answer, seats, interference and caution are the sentences of the text, word for word."""
    p, text = payload(name), Page(page(name)).text
    flat = " ".join(text.split())
    for sentence in answer_sentences(p):
        assert sentence.partition(": ")[2] in flat
        assert sentence.partition(": ")[0] in flat
    for s in p["seats"]:
        assert seat_sentence(s) in flat
        for r in s["interference"]:
            assert interference_sentence(r, len(s["interference"]) > 1) in flat
    assert CAUTION in flat
    assert text.index("MET:" if "MET:" in text else "MISSED:") < text.index("What fails")


def test_without_pictures() -> None:
    """A payload without pictures makes a page without figures."""
    parsed = Page(prediction_html(payload("one shop", detail=False)))
    assert not parsed.all("img")
    assert not parsed.all("figure")


def test_hostile_words_stay_words() -> None:
    """Markup, template marks and turning marks of a file end up as characters, or not at all."""
    written = page("hostile")
    parsed = Page(written)
    assert not parsed.all("b")
    assert HOSTILE in parsed.text
    assert "49" not in parsed.text.replace("49.", "").split()  # {{ 7 * 7 }} was not worked out
    assert "\u202e" not in written
    assert "\x1b" not in written


def test_a_missing_key_is_an_error() -> None:
    """A template never fills a gap with nothing."""
    p = payload("one shop")
    del p["provenance"]["inputs"]
    with pytest.raises(KeyError):
        prediction_html(p)


_NUMBER = r"[−]?\d+(?:,\d{3})*(?:\.\d+)?"
_UNIT = r"%|per million|µm|mm\b|°|arcmin|MPa|N\b|K\b|h\b|readings|units|drawn|draws|times|more"


@pytest.mark.parametrize("name", ["one shop", "three shops", "none fails", "most fail"])
def test_every_number_has_a_unit(name: str) -> None:
    """Outside the folded tables no number stands without its unit; names, versions, pure factors
    apart."""
    text = Page(page(name)).text
    text = re.sub(r"seed \d+|tolsim [\d.]+|seat [12]\b", "", text)
    text = re.sub(rf"-factor \({_NUMBER} to {_NUMBER}, taken {_NUMBER}\)", "", text)
    counted = 0
    for found in re.finditer(rf"(?<![\w.,−-]){_NUMBER}(?!\.?\w)", text):
        rest = text[found.end() :]
        # a list or a range has its unit at its end: "−10, 20, 45 °C", "1.1 to 1.3 %"
        rest = re.sub(rf"^(?:(?:,| to|, taken) {_NUMBER})+", "", rest)
        line = text[max(0, found.start() - 40) : found.end() + 30]
        assert re.match(rf" ?(?:{_UNIT})", rest), line
        counted += 1
    assert counted > 25


def test_numbers_keep_their_units() -> None:
    """Numbers are tied to their units by unbreakable spaces."""
    written = page("three shops")
    assert re.search(r"\d\u00a0%", written)
    assert not re.search(r"\d %", written)
    assert held("45 °C") == "45\u00a0°C"


def test_nothing_measured_is_said_once() -> None:
    """Where nothing was measured the page says why there is no such interval, once."""
    text = Page(page("one shop")).text
    assert text.count("No interval of measured parts: nothing was measured") == 1
    assert "measured parts alone" not in text


def test_without_a_target_the_rates_are_the_answer() -> None:
    """What is judged is told though no target is set; creak only where something makes it."""
    assert answer_sentences(payload("tight only"))[0].startswith(
        "No target is set. Of all units: overly tight "
    )
    assert "creak" not in answer_sentences(payload("tight only"))[0]
