"""Parts of the contributors in the variance of margins, those alike told together."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tolsim.report.contributors import contributor_words

__all__ = ["told_variance"]

_LEAST = 0.02  # part of a variance that is told
_ALIKE = 0.03  # difference of parts below which two margins are told in one line
_TOGETHER = 0.05  # what a contributor does with others beyond what it does alone, to be told

_OWN = {
    "friction": "friction",
    "sleeve.friction": "friction of the sleeve",
    "bond.centre": "where the sleeve lies in its gap",
    "bond.lean": "how the sleeve leans in its gap",
    "thread.centre": "where the sleeve lies in its thread",
    "adhesive.strength": "bond strength",
    "adhesive.peel_strength": "peel strength",
    "adhesive.wetted": "wetted share of the bond",
}


def told_variance(p: dict[str, Any], say: Callable[..., None]) -> None:
    """One line for margins that the same contributors make up in the same parts."""
    if not p["variance"]:
        return
    most = max(
        (q["alone_half_width"] for v in p["variance"] for q in v["parts"]),
        default=0.0,
    )
    say(
        "Parts in the variance of each margin, per cent, each "
        f"± {100.0 * most:.0f} at most; in brackets what takes effect only together with others:"
    )
    by_supply: dict[str, list[tuple[list[dict[str, Any]], dict[str, Any]]]] = {}
    for v in p["variance"]:
        groups = by_supply.setdefault(v["supply"], [])
        for members, first in groups:
            if _alike(first, v):
                members.append(v)
                break
        else:
            groups.append(([v], v))
    for supply, groups in by_supply.items():
        for members, first in groups:
            told = ", ".join(_part(q) for q in first["parts"] if _counts(q))
            if told:
                say(f"{supply}: {_margins(members)}: {told}.", "  ", "  ")
    say()


def _counts(q: dict[str, Any]) -> bool:
    return bool(max(q["alone"], q["with_others"]) >= _LEAST)


def _alike(a: dict[str, Any], b: dict[str, Any]) -> bool:
    """Whether two margins are made up of the same parts, but for which seat it is."""
    one, two = ({(q["kind"], q["name"]): q for q in v["parts"] if _counts(q)} for v in (a, b))
    keys = set(one) | set(two)
    return all(
        abs((one.get(k) or _NONE)[what] - (two.get(k) or _NONE)[what]) <= _ALIKE
        for k in keys
        for what in ("alone", "with_others")
    )


_LEAVE = {"readings": "leave", "assumed range": "leaves"}
_NONE: dict[str, Any] = {"alone": 0.0, "with_others": 0.0}


def _margins(members: list[dict[str, Any]]) -> str:
    """Names of margins, with temperatures and seats where they do not hold for all."""
    names: dict[str, None] = {}
    for v in members:
        names.setdefault(str(v["margin"]))
    heat = sorted({v["temperature_C"] for v in members if v["temperature_C"] is not None})
    at = f" at {', '.join(f'{t:g}'.replace('-', '−') for t in heat)} °C" if heat else ""
    seats = {k for v in members for k in v["seats"]}
    seat = f", seat {min(seats)}" if len(seats) == 1 else ""
    return f"{', '.join(names)}{at}{seat}"


def _part(q: dict[str, Any]) -> str:
    alone, together = max(0.0, q["alone"]), max(q["with_others"], q["alone"])
    extra = f" (+{100.0 * (together - alone):.0f})" if together - alone > _TOGETHER else ""
    return f"{_name(q)} {100.0 * alone:.0f}{extra}"


def _name(q: dict[str, Any]) -> str:
    name = str(q["name"])
    if q["kind"] == "own":
        return _OWN.get(name, name.replace(".", " ").replace("_", " "))
    words = " and ".join(contributor_words(n).removeprefix("the ") for n in name.split(" and "))
    if q["kind"] in ("readings", "assumed range"):
        return f"what the {q['kind']} {_LEAVE[q['kind']]} open about the {words}"
    return f"what {words} share" if q["kind"] == "shared" else words
