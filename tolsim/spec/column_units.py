"""The unit of a column, and the step in which its readings were written."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal, localcontext
from math import gcd

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import Number, safe, unit_word
from tolsim.spec.tables import Table
from tolsim.units import SUFFIXES, split_suffix, suffixes_of

__all__ = ["cell_unit", "column_unit", "listed_rows", "step_of"]

_IN_HEADER = re.compile(r"[\[(/,]\s*([^\s\[\]()/]{1,11})\s*[\])]?$")


def listed_rows(lines: Sequence[int], most: int = 8) -> str:
    """Line numbers as words.

    >>> listed_rows([3]), listed_rows([3, 5])
    ('row 3', 'rows 3, 5')
    """
    text = ", ".join(str(n) for n in lines[:most])
    more = f" and {len(lines) - most} more" if len(lines) > most else ""
    return f"row{'s' if len(lines) > 1 else ''} {text}{more}"


def step_of(values: Sequence[Decimal]) -> Decimal:
    """Step of the readings as written, in the unit of the values.

    The last decimal written anywhere, or a coarser step that all differences share where chance
    would leave n readings on such a grid less than once in a thousand: g^-(n-1) < 1e-3.

    >>> step_of([Decimal("41.978"), Decimal("41.98")])
    Decimal('0.001')
    >>> step_of([Decimal(s) for s in ("41.970", "41.975", "41.985", "41.975", "41.980", "41.970")])
    Decimal('0.005')
    """
    lowest = min((int(v.as_tuple().exponent) for v in values), default=0)
    with localcontext() as context:
        context.prec = 60
        unit = Decimal(1).scaleb(lowest)
        whole = [int(v.scaleb(-lowest)) for v in values]
        shared = 0
        for n in whole:
            shared = gcd(shared, n - whole[0])
        if shared > 1 and shared ** (min(len(whole), 40) - 1) > 1000:
            return unit * shared
        return unit


def column_unit(table: Table, index: int, dimension: str = "length") -> tuple[str | None, str]:
    """Unit of a column from its name or from the row of units, and where it was found.

    Raises
    ------
    SpecError
        If name and row disagree, or the unit is of another dimension.
    """
    name = table.header.names[index]
    found: dict[str, str] = {}
    suffix = split_suffix(name)[1]
    if suffix is not None and suffix.dimension != dimension and len(suffix.suffix) == 1:
        suffix = None  # one letter is a shop or a gauge rather than a unit
    bracket = _IN_HEADER.search(name)
    named = suffix.suffix if suffix else unit_word(bracket[1]) if bracket else None
    if named is None and " " in name:
        named = unit_word(name.rsplit(" ", 1)[1])
    if named is not None:
        found[named] = "its name"
    below = table.header.units[index]
    if below is not None:
        found.setdefault(below, f"the row of units, line {table.header.unit_line}")
    if len(found) > 1 or any(SUFFIXES[u].dimension != dimension for u in found):
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=table.header.lines[-1],
                    key=safe(name),
                    message="units that contradict each other"
                    if len(found) > 1
                    else f"the unit is not one of {dimension}",
                    found=", ".join(f"{u} in {where}" for u, where in found.items()),
                    allowed=", ".join(suffixes_of(dimension)),
                )
            ]
        )
    return next(iter(found.items()), (None, ""))


def cell_unit(
    table: Table,
    name: str,
    read: dict[str, dict[int, Number]],
    lines: Sequence[int],
    stated: str | None,
    where: str,
    dimension: str = "length",
) -> tuple[str | None, str]:
    """Unit of the column once the units written in its cells are heard."""
    told: dict[str, list[int]] = {}
    for numbers in read.values():
        for i, number in numbers.items():
            if number.unit is not None:
                told.setdefault(number.unit, []).append(lines[i])
    units = set(told) | ({stated} if stated else set())
    if not told:
        return stated, where
    everywhere = all(n.unit is not None for numbers in read.values() for n in numbers.values())
    if len(units) > 1 or (stated is None and not everywhere):
        unit, rows = next((u, r) for u, r in told.items() if u != stated)
        others = f"{stated} from {where}" if stated else "other units or none in other rows"
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=rows[0],
                    key=name,
                    message=f"units are mixed in this column: {listed_rows(sorted(set(rows)))}",
                    found=f"{unit} in the cells, {others}",
                    allowed="one unit for the whole column",
                )
            ]
        )
    (unit,) = units
    if SUFFIXES[unit].dimension != dimension:
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=told[unit][0],
                    key=name,
                    message=f"the unit is not one of {dimension}",
                    found=unit,
                    allowed=", ".join(suffixes_of(dimension)),
                )
            ]
        )
    return unit, where or "its cells"
