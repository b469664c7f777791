"""Rows of a table that are no readings: sums below it, headers again, rows that do not fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import safe
from tolsim.spec.headers import plain
from tolsim.spec.tables import Table

__all__ = ["Excluded", "left_out", "sift"]

_TOLD = 12  # rows that a sentence names

_SUMMARY = frozenset(
    (
        *("mean", "average", "avg", "avg.", "median", "x-bar", "xbar", "total", "sum"),
        *("min", "min.", "minimum", "max", "max.", "maximum", "range"),
        *("std", "stdev", "sd", "sigma", "cp", "cpk", "usl", "lsl"),
    )
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Excluded:
    """A row that is not used: where it stands, what it holds, why not."""

    row: int
    column: str
    found: str
    reason: str


def left_out(excluded: Sequence[Excluded], of: int, what: str = "rows") -> str:
    """Which rows are not used and why, as one clause.

    >>> left_out([Excluded(row=4, column="d", found="n/a", reason="not a number")], 28)
    '1 of 28 rows left out: row 4 (n/a: not a number)'
    """
    told = [
        f"row {e.row} ({e.found}: {e.reason})" if e.found else f"row {e.row} ({e.reason})"
        for e in excluded[:_TOLD]
    ]
    if len(excluded) > _TOLD:
        told.append(f"and {len(excluded) - _TOLD} more, which `tolsim inspect` lists")
    return f"{len(excluded)} of {of} {what} left out: {', '.join(told)}"


def sift(table: Table) -> tuple[Table, tuple[Excluded, ...]]:
    """Split a table into rows that can be readings and rows that cannot, each with its reason.

    Raises
    ------
    SpecError
        If most rows have more cells than the header: then the separator is also a decimal mark.
    """
    names = list(table.header.names)
    width = len(names)
    kept, excluded, wide = [], [], []
    for line, cells in table.rows:
        words = [plain(c) for c in cells]
        summary = next((c for c in words if c.rstrip(":").casefold() in _SUMMARY), None)
        found, reason = "", ""
        if len(cells) > width:
            found, reason = f"{len(cells)} cells", f"more cells than the header's {width}"
            wide.append(line)
        elif words == names[: len(words)] and any(words):
            found, reason = safe(" ".join(words)), "the header again"
        elif summary is not None:
            found, reason = safe(summary), "a row of a summary, not a reading"
        if reason:
            excluded.append(Excluded(row=line, column="", found=found, reason=reason))
        else:
            kept.append((line, cells))
    if 2 * len(wide) > len(table.rows):
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=wide[0],
                    message=f"{len(wide)} of {len(table.rows)} rows have more cells than "
                    "the header",
                    found=next(e.found for e in excluded if e.row == wide[0]),
                    allowed=f"{width} cells; where the comma is the decimal mark, separate with "
                    "semicolons or put the numbers in quotes",
                )
            ]
        )
    return replace(table, rows=kept), tuple(excluded)
