"""A prediction as one page of HTML: the same sentences as the text, with the figures."""

from __future__ import annotations

from base64 import b64encode
from typing import Any

from tolsim.report.basis import part_sentences
from tolsim.report.figures import prediction_pictures
from tolsim.report.loads import LOADS_HEADING, load_sentences
from tolsim.report.lots import lot_sentences
from tolsim.report.numbers import clean, minus, share, share_range, target
from tolsim.report.pages import rendered
from tolsim.report.provable import provable_sentences
from tolsim.report.shapes import SHAPES_HEADING, shape_sentences
from tolsim.report.text import (
    CAUSES_HEADING,
    CAUTION,
    MODE_WORDS,
    VERDICT_WORDS,
    answer_sentences,
    apart_sentence,
    assumption_sentences,
    cause_name,
    hit_causes,
    interference_sentence,
    method_sentences,
    modes_heading,
    never_seen_sentence,
    run_sentence,
    scrap_sentences,
    seat_sentence,
    supply_sentences,
)

__all__ = ["prediction_html"]

_CAUSES = 10  # rows of the table of limits


def prediction_html(payload: dict[str, Any]) -> str:
    """The page of a payload ``tolsim/prediction/1``: one file, no script, no network.

    Figures stand in it where the payload has ``pictures``. Same payload, same bytes, on the same
    libraries.
    """
    return rendered("prediction.html.j2", _content(payload))


def _content(p: dict[str, Any]) -> dict[str, Any]:
    hit = hit_causes(p)
    v = p["provenance"]
    return {
        "title": clean(p["study"]["title"]),
        "answer": [_split(sentence) for sentence in answer_sentences(p)],
        "modes_heading": modes_heading(p),
        "modes": [_mode(name, m, p) for name, m in p["modes"].items() if m is not None],
        "methods": [*_unmeasured(p), *method_sentences(p)],
        "causes_heading": CAUSES_HEADING,
        "causes": [_cause(c, p) for c in hit[:_CAUSES]],
        "more_causes": max(0, len(hit) - _CAUSES),
        "never_seen": never_seen_sentence(p),
        "supplies": supply_sentences(p),
        "loads_heading": LOADS_HEADING,
        "loads": load_sentences(p),
        "seats": [
            {
                "told": seat_sentence(s),
                "interference": [
                    interference_sentence(r, len(s["interference"]) > 1) for r in s["interference"]
                ],
            }
            for s in p["seats"]
        ],
        "pictures": _pictures(p),
        "scrap": scrap_sentences(p),
        "assumptions": assumption_sentences(p),
        "shapes_heading": SHAPES_HEADING,
        "shapes": [*shape_sentences(p), *lot_sentences(p), *provable_sentences(p)],
        "parts": [clean(told) for told in part_sentences(p)],
        "run": run_sentence(p),
        "inputs": [{"name": clean(f["name"]), "sha256": f["sha256"]} for f in v["inputs"]],
        "libraries": f"Python {v['python']}, NumPy {v['numpy']}, SciPy {v['scipy']}",
        "warnings": [minus(clean(told)) for told in p["warnings"]],
        "caution": CAUTION,
    }


def _split(sentence: str) -> tuple[str, str]:
    """The verdict apart from the rest, so that it can stand out."""
    word, colon, rest = sentence.partition(": ")
    return (word, rest) if colon and word in VERDICT_WORDS.values() else ("", sentence)


def _mode(name: str, m: dict[str, Any], p: dict[str, Any]) -> dict[str, str]:
    return {
        "mode": MODE_WORDS[name],
        "share": share(m["share"], m["low"], m["high"]),
        "range": share_range(m["low"], m["high"]),
        "apart": apart_sentence(m, p),
        "target": "none" if m["target"] is None else target(m["target"]),
        "verdict": VERDICT_WORDS[m["verdict"]],
    }


def _unmeasured(p: dict[str, Any]) -> list[str]:
    """Why there is no interval of measured parts, where there is none."""
    why = {m["why"]: None for m in p["modes"].values() if m is not None and m["sample"] is None}
    return [f"No interval of measured parts: {told}." for told in why]


def _cause(c: dict[str, Any], p: dict[str, Any]) -> dict[str, str]:
    return {
        "name": cause_name(c, p),
        "share": share(c["share"], c["low"], c["high"]),
        "range": share_range(c["low"], c["high"]),
        "means": f"{MODE_WORDS[c['mode']]}: {minus(c['limit'])}",
    }


def _pictures(p: dict[str, Any]) -> list[dict[str, Any]]:
    if p["pictures"] is None:
        return []
    return [
        {
            "title": f.title,
            "data": b64encode(f.svg.encode()).decode("ascii"),
            "alt": clean(f.alt),
            "reading": f.reading,
            "tables": f.tables,
        }
        for f in prediction_pictures(p, alone=False)
    ]
