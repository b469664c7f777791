"""A comparison as a page of terminal text: the answer in sentences, then side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from tolsim.report.compare_content import (
    answer_sentences,
    basis_sentences,
    best_sentences,
    difference_blocks,
    lead_sentence,
    seat_rows,
    side_rows,
    supply_rows,
    warning_sentences,
)
from tolsim.report.compare_evidence import (
    condition_sentences,
    decide_sentences,
    next_lot_sentences,
    whole_sentences,
)
from tolsim.report.compare_layout import HEADINGS, table, wrap
from tolsim.report.compare_money import money_blocks, money_sentences
from tolsim.report.numbers import clean

__all__ = ["comparison_text"]

WIDTH = 92


def comparison_text(p: dict[str, Any], *, width: int = WIDTH) -> str:
    """The page of a payload ``tolsim/comparison/1``."""
    lines: list[str] = [*wrap(clean(p["title"]), width), ""]
    sections: tuple[Callable[[dict[str, Any], int], Iterator[str]], ...] = (
        _answer,
        _told("decide", decide_sentences),
        _told("conditions", condition_sentences),
        _told("next_lots", next_lot_sentences),
        _told("wholes", whole_sentences),
        _side_by_side,
        _differences,
        _money,
        _supplies,
        _seats,
        _sentences("basis", basis_sentences),
        _sentences("warnings", warning_sentences),
    )
    for section in sections:
        block = list(section(p, width))
        if block:
            lines += [*block, ""]
    return "\n".join(lines).rstrip() + "\n"


def _answer(p: dict[str, Any], width: int) -> Iterator[str]:
    lead = lead_sentence(p)
    if lead is not None:
        yield from wrap(lead, width)
        yield from _paragraph(best_sentences(p), width)
        yield ""
    for told in answer_sentences(p):
        yield from wrap(told, width)
    if lead is None:
        yield from _paragraph(best_sentences(p), width)


def _paragraph(sentences: list[str], width: int) -> Iterator[str]:
    for told in sentences:
        yield from wrap(told, width)


def _told(
    heading: str, sentences: Callable[[dict[str, Any], dict[str, Any]], list[str]]
) -> Callable[[dict[str, Any], int], Iterator[str]]:
    """A section with a block of sentences for each alternative that has any."""

    def section(p: dict[str, Any], width: int) -> Iterator[str]:
        found = {a["name"]: s for a in p["alternatives"] if (s := sentences(a, p))}
        if found:
            yield HEADINGS[heading]
        for name, told in found.items():
            if len(p["alternatives"]) > 2:
                yield f"  {clean(name)}"
            for sentence in told:
                yield from wrap(sentence, width, "  " if len(p["alternatives"]) < 3 else "    ")

    return section


def _sentences(
    heading: str, sentences: Callable[[dict[str, Any]], list[str]]
) -> Callable[[dict[str, Any], int], Iterator[str]]:
    """A section of sentences about all alternatives."""

    def section(p: dict[str, Any], width: int) -> Iterator[str]:
        found = sentences(p)
        if found:
            yield HEADINGS[heading]
        for told in found:
            yield from wrap(told, width, "  ")

    return section


def _side_by_side(p: dict[str, Any], width: int) -> Iterator[str]:
    yield f"{HEADINGS['side']}, at {100 * p['confidence']:g} % confidence"
    yield from table(side_rows(p))


def _differences(p: dict[str, Any], width: int) -> Iterator[str]:
    yield f"Against {clean(p['reference'])}, unit by unit on the same draws"
    for heading, told in difference_blocks(p):
        yield from wrap(heading, width, "  ")
        for sentence in told:
            yield from wrap(sentence, width, "    ")


def _money(p: dict[str, Any], width: int) -> Iterator[str]:
    blocks, told = money_blocks(p), money_sentences(p)
    if blocks or told:
        yield HEADINGS["money"]
    for name, rows, even in blocks:
        yield f"  {name}"
        yield from table(rows, "    ")
        yield from wrap(even, width, "    ")
    for sentence in told:
        yield from wrap(sentence, width, "  ")


def _supplies(p: dict[str, Any], width: int) -> Iterator[str]:
    rows = supply_rows(p)
    if rows:
        yield HEADINGS["supplies"]
        yield from table(rows)


def _seats(p: dict[str, Any], width: int) -> Iterator[str]:
    yield HEADINGS["seats"]
    yield from table(seat_rows(p))
