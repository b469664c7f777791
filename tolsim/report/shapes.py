"""What shape the readings were taken to have: payload and sentences."""

from __future__ import annotations

from typing import Any

from tolsim.answers.shape_results import ShapeResult
from tolsim.report.numbers import clean, micrometres, minus, share, share_range

__all__ = ["SHAPES_HEADING", "shape_payload", "shape_sentences"]

SHAPES_HEADING = "What the measured parts are taken to be"
#: Shapes in words, as a sentence takes them.
WORDS = {
    "normal": "normal",
    "skewed": "skewed",
    "bounded": "sorted",
    "mixture": "two populations",
    "kernel": "smoothed readings",
}
_MODES = {"loose": "loose", "tight": "overly tight", "bond": "without bond"}


def shape_payload(s: ShapeResult) -> dict[str, Any]:
    """One measured size: its shape, why, and what another one left standing would say."""
    tail = s.tail
    return {
        "part": s.part,
        "feature": s.key,
        "shape": s.shape,
        "stated": s.stated,
        "reason": s.reason,
        "parts": s.parts,
        "left_standing": list(s.standing),
        "left_open": s.left_open,
        "open_behind_the_gauge": s.not_held,
        "tail": None
        if tail is None
        else {
            "seat": tail.seat,
            "beyond_um": 1e3 * tail.limit,
            "above": tail.above,
            "half_of": tail.mode,
            "share": tail.taken,
            "low": tail.low,
            "high": tail.high,
        },
        "known_shortfall": None
        if s.shortfall is None
        else {"parts": s.shortfall.parts, "confidence": 0.95, "held": dict(s.shortfall.held)},
    }


def shape_sentences(p: dict[str, Any]) -> list[str]:
    """Which shape each measured size was taken to have, why, and what that costs in the tail."""
    return [
        f"{clean(s['part'])}, {s['feature']}: {_told(s, p)}{_left_open(s)}{_shortfall(s)}"
        for s in p["shapes"]
    ]


def _told(s: dict[str, Any], p: dict[str, Any]) -> str:
    reason = s["reason"]
    text = f"{minus(reason)}."
    tail = s["tail"]
    if tail is None:
        return text
    seat = clean(p["seats"][tail["seat"] - 1]["name"])
    side = "Above" if tail["above"] else "Below"
    what = (
        f"where half of the units that are {_MODES[tail['half_of']]} at seat {seat} lie,"
        if tail["half_of"]
        else "the drawing limit,"
    )
    others = [WORDS[n] for n in s["left_standing"]]
    text += (
        f" {side} {micrometres(tail['beyond_um'])} µm, {what} it puts {share(tail['share'])} of "
        "the parts"
    )
    if others == [WORDS[s["shape"]]]:
        return f"{text}; no other shape that was tried is left standing."
    return (
        f"{text}; the shapes that the readings leave standing ({', '.join(others)}) put "
        f"{share_range(tail['low'], tail['high'])} there, and only more parts can narrow that."
    )


def _left_open(s: dict[str, Any]) -> str:
    """What every range takes in, and what would narrow it."""
    if s["open_behind_the_gauge"] is not None:
        return (
            f" {s['parts']} readings do not rule out that such parts are "
            f"{WORDS[s['open_behind_the_gauge']]}, but a gauge after the readings sorts normal "
            "parts only: no range holds that. Readings of parts that have passed the gauge would."
        )
    if s["left_open"] is None:
        return ""
    return (
        f" {s['parts']} readings do not rule out that such parts are {WORDS[s['left_open']]}: "
        "every range holds that too, as far as the readings allow. What narrows it: more parts, or "
        'the shape stated in the part (shape = "normal") where earlier lots or the way they are '
        "made show it."
    )


def _shortfall(s: dict[str, Any]) -> str:
    """Where trials say that such intervals are too narrow."""
    short = s["known_shortfall"]
    if short is None:
        return ""
    held = [f"{100.0 * v:.0f} % of {name} lots" for name, v in short["held"].items()]
    told = held[0] if len(held) == 1 else f"{', '.join(held[:-1])} and {held[-1]}"
    how = "" if s["stated"] else " that chose their shape like this"
    return (
        f" In trials with {short['parts']} readings a seat{how}, 95 % intervals of the creak share "
        f"held the truth in {told} only."
    )
