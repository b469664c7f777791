"""How a comparison's page is laid out: wrapped sentences, columns, probabilities."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

__all__ = ["HEADINGS", "probability", "table", "wrap"]

#: What the sections of a comparison are called.
HEADINGS = {
    "decide": "What would decide",
    "conditions": "What a lot must show",
    "next_lots": "The next lot",
    "wholes": "Over the whole of the assumed ranges",
    "side": "Side by side, of all units",
    "money": "Money: who pays is not who saves",
    "supplies": "Who delivers it, each alone (creak; overly tight)",
    "seats": "Seat by seat (shares counted in these draws, without what is open about the "
    "processes)",
    "basis": "What it rests on",
    "warnings": "Mind",
}


def wrap(text: str, width: int, indent: str = "") -> list[str]:
    """A sentence in lines."""
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )


def table(rows: list[list[str]], indent: str = "  ") -> Iterator[str]:
    """Rows as columns of one width each."""
    widths = [max(len(r[k]) for r in rows) for k in range(len(rows[0]))]
    for r in rows:
        yield (indent + "  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True))).rstrip()


def probability(x: float) -> str:
    """A probability without false certainty.

    >>> probability(0.9999), probability(0.5)
    ('over 99.5 %', '50 %')
    """
    if x > 0.995:
        return "over 99.5 %"
    return "below 0.5 %" if x < 0.005 else f"{100 * x:.0f} %"
