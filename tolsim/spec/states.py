"""The state in which parts were measured, where the file says so: age, temperature, coating."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import counted, safe
from tolsim.spec.column_units import listed_rows
from tolsim.spec.columns import amounts
from tolsim.spec.headers import plain
from tolsim.spec.tables import Table
from tolsim.units import split_suffix

__all__ = ["MeasuredState", "same_age", "state_columns", "state_faults", "state_of"]

# One state: temperatures within 2 K, ages within an hour or a tenth (common practice, no source).
_SPREAD_C = 2.0
_SPREAD_H = 1.0
_SPREAD_AGE = 0.1

_WORDS = {
    "temperature": ("temperature", "temp"),
    "age": ("age", "age at measurement", "age_at_measurement"),
    "coated": ("coated", "coating"),
    "size": ("diameter type", "diameter_type", "size type", "size_type"),
}
_YES = frozenset({"yes", "y", "true", "1", "x", "coated"})
_NO = frozenset({"no", "n", "false", "0", "uncoated", "bare", "none"})


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredState:
    """What the file says about the state of the parts; None where it says nothing.

    ``age`` [h] and ``temperature`` [degC] are means of the rows in use, ``size`` is the kind
    of diameter as it is called there.
    """

    age: float | None = None
    temperature: float | None = None
    coated: bool | None = None
    size: str | None = None


def state_columns(table: Table) -> dict[str, int]:
    """Columns that state age, temperature, coating or kind of diameter, by their names."""
    found: dict[str, int] = {}
    for index, name in enumerate(table.header.names):
        stem, unit = split_suffix(name)
        word = plain(stem if unit else name).casefold()
        for separator in ("[", "("):
            word = word.split(separator)[0].strip()
        for what, words in _WORDS.items():
            if word in words:
                found.setdefault(what, index)
    return found


def state_of(table: Table, used: Sequence[int]) -> tuple[MeasuredState, tuple[str, ...]]:
    """The one state in which the rows in use were measured, and sentences about it.

    Raises
    ------
    SpecError
        If the rows hold mixed states: readings of two ages, temperatures or coatings are two
        sets of readings.
    """
    columns = state_columns(table)
    problems: list[Problem] = []
    facts: list[str] = []
    numbers: dict[str, float | None] = {"age": None, "temperature": None}
    words: dict[str, str | None] = {"coated": None, "size": None}
    for what, index in columns.items():
        name = safe(table.header.names[index])
        if what in numbers:
            dimension, unit = ("time", "h") if what == "age" else ("temperature", "C")
            column = amounts(table, index, dimension, 1e6, default=unit)
            values = {i: v for i in used if (v := column.value[i]) is not None}
            numbers[what], odd = _one_number(what, values)
            shown = {i: f"{v:g}" for i, v in values.items()}
        else:
            cells = table.cells(index)
            shown = {i: cells[i] for i in used if cells[i]}
            words[what], odd = _one_word(shown)
        if odd:
            lines = [table.rows[i][0] for i in odd]
            problems.append(
                Problem(
                    file=table.shown,
                    line=lines[0],
                    key=name,
                    message=f"mixed states: another {_CALLED[what]} in {listed_rows(lines)}",
                    found=", ".join(safe(t, 20) for t in dict.fromkeys(shown.values()))[:120],
                    allowed="readings of one state; one file a state",
                )
            )
        elif shown:
            missing = len(used) - len(shown)
            more = f" ({counted(missing, 'row')} without it)" if missing else ""
            text = next(iter(shown.values())) if what in words else f"{numbers[what]:g} {unit}"
            facts.append(f"{name}: {_CALLED[what]} {safe(text, 20)}{more}")
    if problems:
        raise SpecError(problems)
    coated = words["coated"]
    state = MeasuredState(
        age=numbers["age"],
        temperature=numbers["temperature"],
        coated=None if coated is None else _truth(coated) is not False,
        size=words["size"],
    )
    return state, tuple(facts)


def same_age(first: float, second: float) -> bool:
    """Whether two ages [h] count as one state: within an hour, or within a tenth.

    >>> same_age(72.0, 76.0), same_age(2.0, 72.0)
    (True, False)
    """
    return abs(first - second) <= max(_SPREAD_H, _SPREAD_AGE * max(first, second))


def state_faults(shown: str, first: MeasuredState, second: MeasuredState) -> list[Problem]:
    """Problems where two sets of readings differ in more than their age."""
    problems = []
    a, b = first.temperature, second.temperature
    if a is not None and b is not None and abs(a - b) > _SPREAD_C:
        message = f"another temperature than the other set: {b:g} C, there {a:g} C"
        problems.append(Problem(file=shown, message=message))
    if None not in (first.coated, second.coated) and first.coated != second.coated:
        problems.append(Problem(file=shown, message="another coating than the other set"))
    if first.size and second.size and first.size != second.size:
        problems.append(Problem(file=shown, message="another kind of diameter than the other set"))
    return problems


_CALLED = {
    "age": "age",
    "temperature": "temperature",
    "coated": "state of coating",
    "size": "kind of diameter",
}


def _one_number(what: str, values: dict[int, float]) -> tuple[float | None, list[int]]:
    """Mean of numbers of one state, or the rows that are far from the first."""
    if not values:
        return None, []
    low, high = min(values.values()), max(values.values())
    allowed = _SPREAD_C if what == "temperature" else max(_SPREAD_H, _SPREAD_AGE * high)
    if high - low > allowed:
        first = next(iter(values.values()))
        far = [i for i, v in values.items() if abs(v - first) > allowed / 2]
        return None, far
    return sum(values.values()) / len(values), []


def _one_word(cells: dict[int, str]) -> tuple[str | None, list[int]]:
    """The one word of all rows, or the rows with another one than the first."""
    if not cells:
        return None, []
    first = next(iter(cells.values()))
    other = [i for i, c in cells.items() if _key(c) != _key(first)]
    return (None, other) if other else (first, [])


def _key(text: str) -> str:
    truth = _truth(text)
    return text.casefold() if truth is None else str(truth)


def _truth(text: str) -> bool | None:
    """Whether a word says yes or no to coating; None where it names a coating or nothing known."""
    word = text.casefold()
    return True if word in _YES else False if word in _NO else None
