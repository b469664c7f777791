"""What a table holds, column by column, before anything is asked of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.errors import SpecError
from tolsim.spec.cells import MARKS, Uncalculated, read_number, safe
from tolsim.spec.column_units import column_unit
from tolsim.spec.places import place_from_name, place_text
from tolsim.spec.states import state_columns
from tolsim.spec.tables import Table
from tolsim.units import SUFFIXES

__all__ = ["ColumnOverview", "length_columns", "overview"]

_EXAMPLES = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class ColumnOverview:
    """One column: how many cells hold numbers, words and nothing, and what it may be.

    ``unit`` is a suffix of :mod:`tolsim.units` where name or row of units tell it; ``low`` and
    ``high`` are the extreme numbers in that unit, ``mark`` the decimal mark that reads most cells,
    ``either`` whether the other one reads as many, to other numbers; ``words`` are the first texts
    of cells that are no numbers.
    """

    name: str
    unit: str | None
    numbers: int
    texts: int
    empty: int
    distinct: int
    low: float | None
    high: float | None
    mark: str | None
    either: bool
    words: tuple[str, ...]
    may_be: str

    @property
    def cells(self) -> int:
        """Number of cells: numbers, texts and empty ones."""
        return self.numbers + self.texts + self.empty


def overview(table: Table) -> list[ColumnOverview]:
    """Look at every named column of a table; nothing is refused."""
    states = {index: what for what, index in state_columns(table).items()}
    return [
        _column(table, index, states.get(index))
        for index, name in enumerate(table.header.names)
        if name
    ]


def length_columns(table: Table) -> list[str]:
    """Names of the columns that hold numbers in a unit of length that name or row of units tell."""
    found = [(n, c) for n, c in zip(filter(None, table.header.names), overview(table), strict=True)]
    return [name for name, column in found if column.may_be.startswith("readings")]


def _column(table: Table, index: int, state: str | None) -> ColumnOverview:
    name = table.header.names[index]
    cells, _ = table.filled(index)
    filled = [c for c in cells.values() if c]
    best: dict[int, float] = {}
    mark, either = None, False
    for candidate in MARKS:
        read = {
            i: float(n.value)
            for i, c in enumerate(filled)
            if not isinstance(c, Uncalculated) and (n := read_number(c, candidate)) is not None
        }
        if len(read) == len(best) and read != best:
            # a size is rarely written with marks of thousands; the nominal size will decide
            either = True
            if max(map(abs, read.values())) < max(map(abs, best.values())):
                best, mark = read, candidate
        elif len(read) > len(best):
            best, mark, either = read, candidate, False
    words = [c for i, c in enumerate(filled) if i not in best]
    marked = any("." in filled[i] or "," in filled[i] for i in best)
    unit = _unit(table, index)
    return ColumnOverview(
        name=safe(name),
        unit=unit,
        numbers=len(best),
        texts=len(words),
        empty=len(cells) - len(filled),
        distinct=len(set(filled)),
        low=min(best.values(), default=None),
        high=max(best.values(), default=None),
        mark=mark if marked else None,
        either=either,
        words=tuple(safe(w, 20) for w in dict.fromkeys(words))[:_EXAMPLES],
        may_be=_may_be(name, unit, state, len(best), filled),
    )


def _unit(table: Table, index: int) -> str | None:
    """The unit that name or row of units tell, of whatever dimension."""
    for dimension in dict.fromkeys(u.dimension for u in SUFFIXES.values()):
        try:
            unit, _ = column_unit(table, index, dimension)
        except SpecError:
            continue
        if unit is not None:
            return unit
    return None


def _may_be(
    name: str, unit: str | None, state: str | None, numbers: int, filled: Sequence[str]
) -> str:
    """What the column may be asked for."""
    place = place_from_name(name)
    if state is not None:
        return f"state: {state}"
    if not filled:
        return "nothing"
    if 2 * numbers >= len(filled) and unit is not None and SUFFIXES[unit].dimension == "length":
        return f"readings at {place_text(place)}" if place else "readings"
    if len(set(filled)) == 2:
        return "seats"
    if len(set(filled)) == len(filled):
        return "one name or number a row"
    return "names of units, lots or others" if 2 * numbers <= len(filled) else "numbers"
