"""Published tables: how they are read, how sure they are, and what is said when a value is missing.

Tables are CSV files in the package, read with the standard library and kept. Sizes are in mm and
tolerances in micrometres there; the functions of this room return mm. Every row carries where it
was seen and how well it is confirmed.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TypeAlias

from tolsim.errors import ExitCode, TolsimError

__all__ = ["CONFIDENCE", "Row", "TableError", "mm", "optional", "pick", "rows", "said", "weakest"]

Row: TypeAlias = Mapping[str, str]

#: How well a value is confirmed, in words for a reader; from the strongest to the weakest.
CONFIDENCE: Mapping[str, str] = MappingProxyType(
    {
        "two_sources": "two published tables agree",
        "formula": "computed from the rule of the standard",
        "one_source_plus_formula": "one published table, equal to the rule of the standard",
        "one_source": "one published table",
        "sources_disagree": "DOUBTFUL: published sources disagree",
        "memory_plus_source": "DOUBTFUL: from memory, supported by one related published value",
        "memory": "DOUBTFUL: from memory, no source found; check against the standard",
    }
)


class TableError(TolsimError, ValueError):
    """A table has no value for what was asked; says what was found, allowed and closest."""

    exit_code = ExitCode.INVALID

    def __init__(
        self, message: str, *, found: str, allowed: str | None = None, closest: str | None = None
    ) -> None:
        self.message = message
        self.found = found
        self.allowed = allowed
        self.closest = closest
        lines = [message, f"    found    {found}"]
        lines += [f"    allowed  {allowed}"] if allowed is not None else []
        lines += [f"    closest  {closest}"] if closest is not None else []
        super().__init__("\n".join(lines))


@cache
def rows(name: str) -> tuple[Row, ...]:
    """Return the rows of the table `name`, read once and kept.

    >>> rows("iso286_it_grades")[0]["it_um"]
    '0.3'
    """
    path = files("tolsim.standards").joinpath("tables", f"{name}.csv")
    text = path.read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


def mm(um: float | str) -> float:
    """Micrometres of a table as mm, the nearest float to the decimal number.

    >>> mm("-42")
    -0.042
    """
    return float(um) / 1000.0


def optional(cell: str) -> float | None:
    """Micrometres of a cell as mm; None where the source gives none."""
    return mm(cell) if cell else None


def said(confidence: str) -> str:
    """How well a value is confirmed, in words."""
    return CONFIDENCE[confidence]


def weakest(words: Iterable[str]) -> str:
    """The weakest of several confidence words, as a value made of several is as sure as that.

    >>> weakest(["two_sources", "memory", "formula"])
    'memory'
    """
    order = list(CONFIDENCE)
    return max(words, key=order.index)


def pick(table: Sequence[Row], size: float, low: str, high: str, *, what: str) -> Row:
    """Return the row whose step holds `size`: over `low`, up to and including `high`.

    A row whose note says that its lower limit "itself" belongs to it holds that size as well
    (bearing tables start from 2.5 mm).

    Raises
    ------
    TableError
        Where the size lies outside every step; the closest size is the end of the table.
    """
    first, last = float(table[0][low]), float(table[-1][high])
    if math.isfinite(size):
        for row in table:
            below = float(row[low])
            if below < size <= float(row[high]) or (size == below and _starts(row)):
                return row
    start = f"{'from' if _starts(table[0]) else 'over'} {first:g}"
    if math.isnan(size):
        near = None
    elif size > last:
        near = f"{last:g} mm"
    else:
        near = f"{first:g} mm" if _starts(table[0]) else f"just over {first:g} mm"
    raise TableError(
        f"{what} is outside the table",
        found=f"{size:g} mm",
        allowed=f"{start} up to and including {last:g} mm",
        closest=near,
    )


def _starts(row: Row) -> bool:
    return "itself" in row.get("note", "")
