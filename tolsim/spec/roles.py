"""The columns that name seat, unit, lot and order: what they must hold, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from tolsim.errors import Problem
from tolsim.spec.cells import counted, read_number, safe
from tolsim.spec.column_units import listed_rows
from tolsim.spec.sifting import Excluded
from tolsim.spec.tables import Table

__all__ = [
    "blank_role",
    "merge_facts",
    "pair_notes",
    "role_facts",
    "role_texts",
    "seat_key",
    "sequence_of",
    "too_few",
    "too_many_seats",
    "twice",
    "two_seats",
    "unused_columns",
]


def seat_key(name: str) -> tuple[bool, int, str]:
    """Seats in the order of their numbers, or of their names: 1 before 2, left before right."""
    digits = name.isascii() and name.isdigit() and len(name) < 10
    return (not digits, int(name) if digits else 0, name)


def two_seats(side: tuple[str, ...] | None) -> tuple[str, str] | None:
    """The two names of seats, in order; None where there are not two."""
    names = sorted(set(side or ()), key=seat_key)
    return (names[0], names[1]) if len(names) == 2 else None


def too_few(
    shown: str, column: str, rows_in: int, used: int, excluded: Sequence[Excluded]
) -> list[Problem]:
    """A problem where a spread cannot be had."""
    if used >= 2:
        return []
    first = excluded[0] if excluded else None
    return [
        Problem(
            file=shown,
            line=first.row if first else None,
            key=column,
            message=f"{used} of {counted(rows_in, 'row')} can be used; a spread needs two",
            found=f"{first.found or 'an empty cell'}: {first.reason}" if first else None,
        )
    ]


def too_many_seats(
    shown: str, column: str, side: tuple[str, ...] | None, lines: tuple[int, ...]
) -> list[Problem]:
    """A problem where a third name of a seat appears."""
    names = list(dict.fromkeys(side or ()))
    if len(names) <= 2 or side is None:
        return []
    return [
        Problem(
            file=shown,
            line=lines[side.index(names[2])],
            key=safe(column),
            message="more than two seats are named",
            found=", ".join(safe(n, 20) for n in names[:6]) + (", ..." if len(names) > 6 else ""),
            allowed="two names, written the same in every row",
        )
    ]


def twice(
    shown: str,
    unit: tuple[str, ...] | None,
    side: tuple[str, ...] | None,
    lines: tuple[int, ...],
) -> list[Problem]:
    """One problem for each seat of a unit that has several readings."""
    if unit is None:
        return []
    where: dict[tuple[str, str], list[int]] = {}
    for i, name in enumerate(unit):
        where.setdefault((name, side[i] if side else ""), []).append(lines[i])
    rule = "one row a seat and unit" if side else "one row a unit, or a column that names the seat"
    return [
        Problem(
            file=shown,
            line=rows[1],
            key=safe(f"{name} {seat}".strip()),
            message=f"several readings of one seat, and which is right is not known: "
            f"{listed_rows(rows)}",
            allowed=rule,
        )
        for (name, seat), rows in where.items()
        if len(rows) > 1
    ][:50]


def sequence_of(
    shown: str, column: str, order: tuple[str, ...] | None, lines: tuple[int, ...]
) -> tuple[tuple[int, ...] | None, list[Problem]]:
    """Indices in the order of manufacture, from numbers or from dates and times."""
    if order is None:
        return None, []
    keys: list[float] = []
    for i, text in enumerate(order):
        number = read_number(text, ".")
        try:
            moment = datetime.fromisoformat(text) if number is None else None
        except ValueError:
            moment = None
        if number is not None:
            keys.append(float(number.value))
        elif moment is not None:
            keys.append((moment.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds())
        else:
            allowed = "numbers, or dates such as 2026-10-02 14:30"
            message = "the order of manufacture is neither a number nor a date"
            return None, [
                Problem(
                    file=shown,
                    line=lines[i],
                    key=safe(column),
                    message=message,
                    found=safe(text),
                    allowed=allowed,
                )
            ]
    return tuple(sorted(range(len(keys)), key=keys.__getitem__)), []


def pair_notes(
    unit: tuple[str, ...] | None,
    side: tuple[str, ...] | None,
    seats: tuple[str, str] | None,
) -> tuple[str, ...]:
    """What a reader should know before trusting the pairs."""
    if side is None:
        return ()
    if seats is None:
        return (f"only seat {safe(side[0], 20)} was measured",) if side else ()
    if unit is None:
        return ("no column names the unit: the two seats cannot be paired",)
    present = set(zip(unit, side, strict=True))
    lone = [
        f"{safe(u, 20)} ({safe(s, 20)})"
        for u in dict.fromkeys(unit)
        for s in seats
        if (u, s) not in present
    ]
    if not lone:
        return ()
    more = f" and {len(lone) - 8} more" if len(lone) > 8 else ""
    return (f"units without the reading of a seat: {', '.join(lone[:8])}{more}",)


def role_facts(given: dict[str, str], held: dict[str, tuple[str, ...]]) -> list[str]:
    """Sentences: what each column was taken for."""
    facts = []
    for role, name in given.items():
        count = len(set(held[role]))
        values = sorted(set(held[role]), key=seat_key)[:2] if role == "seat" else []
        which = f" ({', '.join(safe(v, 20) for v in values)})" if values else f" ({count} of them)"
        facts.append(f"{safe(name)}: names the {role}" + ("" if role == "order" else which))
    return facts


def merge_facts(given: dict[str, str], filled: dict[str, tuple[dict[int, str], int]]) -> list[str]:
    """Sentences about cells that stood merged over several rows."""
    return [
        f"{safe(given[role])}: {counted(n, 'merged cell')} filled"
        for role, (_, n) in filled.items()
        if n
    ]


def role_texts(
    whole: Table, table: Table, given: dict[str, str]
) -> tuple[dict[str, list[str]], dict[str, int], list[str]]:
    """Texts of the columns that name things, for the rows of `table`, which is part of `whole`.

    Also the indices of these columns, and sentences about cells that stood merged.
    """
    index = dict(zip(given, whole.indices(list(given.values())), strict=True))
    filled = {role: whole.filled(at) for role, at in index.items()}
    texts = {r: [cells[line] for line, _ in table.rows] for r, (cells, _) in filled.items()}
    return texts, index, merge_facts(given, filled)


def blank_role(texts: dict[str, list[str]], i: int) -> str | None:
    """The first role that row `i` leaves empty."""
    return next((role for role, held in texts.items() if not held[i]), None)


def unused_columns(table: Table, used: Sequence[int]) -> list[str]:
    """A sentence that names the columns nobody asked for."""
    rest = [safe(n, 30) for i, n in enumerate(table.header.names) if n and i not in used]
    if not rest:
        return []
    more = f" and {len(rest) - 12} more" if len(rest) > 12 else ""
    return [f"columns not used: {', '.join(rest[:12])}{more}"]
