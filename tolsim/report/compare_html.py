"""A comparison as one page of HTML: the verdict first, what stands behind it folded away."""

from __future__ import annotations

from collections.abc import Callable
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
from tolsim.report.compare_layout import HEADINGS
from tolsim.report.compare_money import money_blocks, money_sentences
from tolsim.report.numbers import clean
from tolsim.report.pages import rendered

__all__ = ["comparison_html"]

_Sentences = Callable[[dict[str, Any], dict[str, Any]], list[str]]
_WORDS = ("ACCEPTABLE", "NOT ACCEPTABLE", "NOT ENOUGH EVIDENCE", "NOT JUDGED")


def comparison_html(payload: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/comparison/1``: one file, no script, no network.

    Same payload, same bytes, on the same libraries.
    """
    return rendered("comparison.html.j2", _content(payload))


def _content(p: dict[str, Any]) -> dict[str, Any]:
    supplies, lead = supply_rows(p), lead_sentence(p)
    v = p["provenance"]
    return {
        "title": clean(p["title"]),
        "lead": None if lead is None else _split(lead),
        "answer": [_split(told) for told in answer_sentences(p)],
        "best": best_sentences(p),
        "side_heading": HEADINGS["side"],
        "side_note": f"At {100 * p['confidence']:g} % confidence.",
        "side": side_rows(p),
        "money_heading": HEADINGS["money"],
        "money": _money(p),
        "forecasts": [*_break_evens(p), *money_sentences(p)],
        "told": [
            {"heading": HEADINGS[name], "blocks": found}
            for name, sentences in _TOLD.items()
            if (found := _blocks(p, sentences))
        ],
        "differences_heading": f"Against {clean(p['reference'])}, unit by unit on the same draws",
        "differences": difference_blocks(p),
        "supplies_heading": HEADINGS["supplies"],
        "supplies": supplies,
        "seats_heading": HEADINGS["seats"],
        "seats": seat_rows(p),
        "basis_heading": HEADINGS["basis"],
        "basis": basis_sentences(p)[:-1],
        "run": basis_sentences(p)[-1],
        "warnings_heading": HEADINGS["warnings"],
        "warnings": warning_sentences(p),
        "inputs": [{"name": clean(f["name"]), "sha256": f["sha256"]} for f in v["inputs"]],
        "libraries": f"Python {v['python']}, NumPy {v['numpy']}, SciPy {v['scipy']}",
    }


_TOLD: dict[str, _Sentences] = {
    "decide": decide_sentences,
    "conditions": condition_sentences,
    "next_lots": next_lot_sentences,
    "wholes": whole_sentences,
}


def _money(p: dict[str, Any]) -> list[list[str]]:
    """The lines of each alternative side by side, headings first."""
    found = money_blocks(p)
    if not found:
        return []
    heads = [label.rstrip(":") for label, _ in found[0][1]]
    return [["", *heads], *([name, *(told for _, told in rows)] for name, rows, _ in found)]


def _break_evens(p: dict[str, Any]) -> list[str]:
    return [f"{name}. {even}" for name, _, even in money_blocks(p)]


def _blocks(p: dict[str, Any], sentences: _Sentences) -> list[tuple[str, list[str]]]:
    """Sentences of every alternative that has any, under its name where there are several."""
    several = len(p["alternatives"]) > 2
    found = ((a["name"], sentences(a, p)) for a in p["alternatives"])
    return [(clean(name) if several else "", told) for name, told in found if told]


def _split(sentence: str) -> tuple[str, str]:
    """The verdict apart from the rest, so that it can stand out."""
    word, colon, rest = sentence.partition(": ")
    return (word, rest) if colon and word in _WORDS else ("", sentence)
