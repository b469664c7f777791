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
from tolsim.units import SUFFIXES, suffixes_of

__all__ = ["Amounts", "Lengths", "amounts", "lengths"]


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Amounts:
    """What a column of quantities holds: ``value[i]`` in the inner unit, None where unusable."""

    value: tuple[float | None, ...]
    reasons: dict[int, str]
    unit: str
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
    nominal = Decimal(repr(float(nominal_mm)))
    column = _column(table, index, "length")
    unit, factor = column.unit, column.factor
    trials = [
        trial_of(mark, numbers, column.both, factor, nominal, unit is not None)
        for mark, numbers in column.read.items()
    ]
    fitting = [t for t in trials if t.fits]
    if not fitting:
        fault = diagnosis(table.shown, name, column.cells, column.lines, trials, nominal, unit)
        raise SpecError([fault])
    chosen = _one_of(fitting, table, index, column)
    values: list[Decimal | None] = [None] * len(column.cells)
    with localcontext() as context:
        context.prec = 60
        for i, number in chosen.numbers.items():
            value = number.value * factor
            values[i] = value - nominal if chosen.sizes else value
    size_text = f"{nominal.normalize():f} mm"
    kind = f"sizes near {size_text}" if chosen.sizes else f"deviations from {size_text}"
    origin = f"written in {unit or 'mm'} (unit from {column.where or 'the values'})"
    facts = (f"{name}: {kind}, {origin}", *_mark_facts(name, chosen, column))
    return Lengths(
        deviation=tuple(values),
        written=_written(chosen, column),
        factor=factor,
        reasons=_reasons(column, chosen),
        unit=unit or "mm",
        mark=chosen.mark,
        sizes=bool(chosen.sizes),
        understood=facts,
    )


def amounts(
    table: Table, index: int, dimension: str, reach: float, default: str | None = None
) -> Amounts:
    """Read a column of plain quantities: depths, angles, ages, offsets.

    Values must lie within `reach` (in the inner unit) of zero, which also tells the decimal mark.
    Without a unit in the name, the row of units or the cells, `default` is taken.

    Raises
    ------
    SpecError
        If unit or mark of the column stay open, or a value is out of reach.
    """
    name = safe(table.header.names[index])
    column = _column(table, index, dimension)
    unit = column.unit or default
    if unit is None:
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=table.header.lines[-1],
                    key=name,
                    message="the unit is not known",
                    allowed="a name that ends in "
                    + ", ".join("_" + u for u in suffixes_of(dimension))
                    + ", or a row of units below the header",
                )
            ]
        )
    factor, limit = Decimal(repr(SUFFIXES[unit].factor)), Decimal(repr(reach))
    trials = [
        trial_of(mark, numbers, column.both, factor, Decimal(0), True, limit)
        for mark, numbers in column.read.items()
    ]
    fitting = [t for t in trials if t.fits]
    if not fitting:
        best = max(trials, key=lambda t: t.placed)
        rows = sorted(column.lines[i] for i in (*best.neither, *best.unread))
        message = f"beyond {float(reach / SUFFIXES[unit].factor):g} {unit}, or a mixed decimal mark"
        cell = column.cells[column.lines.index(rows[0])]
        raise SpecError(
            [
                Problem(
                    file=table.shown,
                    line=rows[0],
                    key=name,
                    message=f"{message}: {listed_rows(rows)}",
                    found=safe(cell),
                )
            ]
        )
    chosen = _one_of(fitting, table, index, column)
    written = _written(chosen, column)
    return Amounts(
        value=tuple(None if w is None else float(w) * SUFFIXES[unit].factor for w in written),
        reasons=_reasons(column, chosen),
        unit=unit,
        understood=(f"{name}: {dimension} in {unit}", *_mark_facts(name, chosen, column)),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Column:
    """A column read with either decimal mark, and its unit."""

    cells: list[str]
    lines: list[int]
    read: dict[str, dict[int, Number]]
    both: list[int]
    unit: str | None
    where: str

    @property
    def factor(self) -> Decimal:
        """Millimetres in one unit of the column, exactly."""
        return Decimal(repr(SUFFIXES[self.unit or "mm"].factor)).normalize()


def _column(table: Table, index: int, dimension: str) -> _Column:
    cells = table.cells(index)
    lines = [line for line, _ in table.rows]
    stated, where = column_unit(table, index, dimension)
    read = {mark: _numbers(cells, mark) for mark in MARKS}
    both = sorted(read["."].keys() | read[","].keys())
    name = safe(table.header.names[index])
    unit, where = cell_unit(table, name, read, lines, stated, where, dimension)
    return _Column(cells=cells, lines=lines, read=read, both=both, unit=unit, where=where)


def _one_of(fitting: Sequence[Trial], table: Table, index: int, column: _Column) -> Trial:
    """The reading that makes sense; where both do and differ, other columns decide."""
    chosen, last = fitting[0], fitting[-1]
    if all(chosen.numbers[i] == last.numbers[i] for i in column.both):
        return chosen
    return _by_other_columns(table, index, fitting, column.lines, column.both)


def _written(chosen: Trial, column: _Column) -> tuple[Decimal | None, ...]:
    numbers = chosen.numbers
    return tuple(numbers[i].value if i in numbers else None for i in range(len(column.cells)))


def _reasons(column: _Column, chosen: Trial) -> dict[int, str]:
    cells = column.cells
    return {i: why_not_number(c) for i, c in enumerate(cells) if i not in chosen.numbers}


def _mark_facts(name: str, chosen: Trial, column: _Column) -> list[str]:
    """Sentences on the decimal mark, and on numbers that a workbook holds as text."""
    as_text = [i for i in column.both if not isinstance(column.cells[i], TypedNumber)]
    facts = []
    if any("." in column.cells[i] or "," in column.cells[i] for i in as_text):
        facts.append(f"{name}: decimal mark is the {'point' if chosen.mark == '.' else 'comma'}")
    if 0 < len(as_text) < len(column.both):
        where = listed_rows([column.lines[i] for i in as_text])
        facts.append(f"{name}: numbers stored as text in {where}")
    return facts


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
