"""A column of lengths: its unit, its decimal mark, sizes or deviations; exact to the digit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import MARKS, Number, TypedNumber, read_number, safe, why_not_number
from tolsim.spec.column_units import cell_unit, column_unit, listed_rows
from tolsim.spec.tables import Table
from tolsim.spec.trials import Trial, diagnosis, trial_of
from tolsim.units import SUFFIXES

__all__ = ["Lengths", "lengths"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Lengths:
    """What a column of lengths holds, row by row.

    ``deviation[i]`` is the exact deviation from nominal in mm, None where the row is not usable;
    ``written[i]`` the number as it stands there, in the ``unit`` of the column, ``factor`` mm;
    ``reasons`` maps the index of a row that is not usable to the reason.
    """

    deviation: tuple[Decimal | None, ...]
    written: tuple[Decimal | None, ...]
    factor: Decimal
    reasons: dict[int, str]
    unit: str
    mark: str
    sizes: bool
    understood: tuple[str, ...]


def lengths(table: Table, index: int, nominal_mm: float) -> Lengths:
    """Read a column of sizes, or of deviations, of one nominal size.

    A size lies within 1 mm (or a third of the nominal, if that is less) of nominal, a deviation
    as near to zero; the whole column must be the one or the other. The decimal mark is the one
    under which that is so.

    Raises
    ------
    SpecError
        If unit, mark or meaning of the column stay open or change from row to row.
    """
    name = safe(table.header.names[index])
    cells = table.cells(index)
    lines = [line for line, _ in table.rows]
    nominal = Decimal(repr(float(nominal_mm)))
    stated, where = column_unit(table, index)
    read = {mark: _numbers(cells, mark) for mark in MARKS}
    both = sorted(read["."].keys() | read[","].keys())
    unit, where = cell_unit(table, name, read, lines, stated, where)
    factor = Decimal(repr(SUFFIXES[unit or "mm"].factor)).normalize()
    trials = [trial_of(mark, read[mark], both, factor, nominal, unit is not None) for mark in MARKS]
    fitting = [t for t in trials if t.fits]
    if not fitting:
        raise SpecError([diagnosis(table.shown, name, cells, lines, trials, nominal, unit)])
    chosen = fitting[0]
    marked = any(chosen.numbers[i] != fitting[-1].numbers[i] for i in both)
    if len(fitting) == 2 and marked:
        chosen = _by_other_columns(table, index, fitting, lines, both)
    values: list[Decimal | None] = [None] * len(cells)
    with localcontext() as context:
        context.prec = 60
        for i, number in chosen.numbers.items():
            value = number.value * factor
            values[i] = value - nominal if chosen.sizes else value
    reasons = {i: why_not_number(cells[i]) for i in range(len(cells)) if values[i] is None}
    size_text = f"{nominal.normalize():f} mm"
    kind = f"sizes near {size_text}" if chosen.sizes else f"deviations from {size_text}"
    facts = [f"{name}: {kind}, written in {unit or 'mm'} (unit from {where or 'the values'})"]
    as_text = [i for i in both if not isinstance(cells[i], TypedNumber)]
    if any("." in cells[i] or "," in cells[i] for i in as_text):
        facts.append(f"{name}: decimal mark is the {'point' if chosen.mark == '.' else 'comma'}")
    if 0 < len(as_text) < len(both):
        facts[-1] += f"; numbers stored as text in {listed_rows([lines[i] for i in as_text])}"
    return Lengths(
        deviation=tuple(values),
        written=tuple(n.value if (n := chosen.numbers.get(i)) else None for i in range(len(cells))),
        factor=factor,
        reasons=reasons,
        unit=unit or "mm",
        mark=chosen.mark,
        sizes=bool(chosen.sizes),
        understood=tuple(facts),
    )


def _numbers(cells: Sequence[str], mark: str) -> dict[int, Number]:
    pairs = ((i, read_number(c, mark)) for i, c in enumerate(cells))
    return {i: n for i, n in pairs if n is not None}


def _by_other_columns(
    table: Table, index: int, fitting: Sequence[Trial], lines: Sequence[int], both: Sequence[int]
) -> Trial:
    """Let the marks of the other columns decide between two readings of this one."""
    votes: set[str] = set()
    for other in range(len(table.header.names)):
        if other == index:
            continue
        for cell in table.cells(other):
            if isinstance(cell, TypedNumber):
                continue
            readable = [m for m in MARKS if read_number(cell, m) is not None]
            if len(readable) == 1:
                votes.add(readable[0])
    if len(votes) == 1:
        return next(t for t in fitting if t.mark in votes)
    first = next(i for i in both if fitting[0].numbers[i] != fitting[1].numbers[i])
    a, b = (f"{t.numbers[first].value:f}" for t in fitting)
    raise SpecError(
        [
            Problem(
                file=table.shown,
                line=lines[first],
                key=safe(table.header.names[index]),
                message=f"the mark may be decimal or of thousands: {a} or {b}",
                found=safe(table.cells(index)[first]),
                allowed="numbers without marks of thousands",
            )
        ]
    )
