"""Where the table starts: the row with the names, the group labels above and the units below."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.spec.cells import is_number, unit_word

__all__ = ["Header", "Row", "find_header", "plain"]

Row = tuple[int, list[str]]
"""Number of the line (or of the row of a sheet) and its cells."""

_SEARCHED = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class Header:
    """The names of the columns and where they stand.

    ``last`` is the index (into the rows that were searched) of the last row of the header, the
    row of units included; ``lines`` the line numbers of the rows with names, ``unit_line`` that
    of the units; ``names`` and ``units`` have one entry a column.
    """

    last: int
    lines: tuple[int, ...]
    unit_line: int | None
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    found: int

    @property
    def joined(self) -> bool:
        """Whether names were put together from rows of groups and a row of names."""
        return len(self.lines) > 1


def plain(name: str) -> str:
    """A name with runs of white space as one space, as names are compared.

    >>> plain(" bore\\n(mm) ")
    'bore (mm)'
    """
    return " ".join(name.split())


def _joined(*rows: list[str]) -> list[str]:
    """Names below group labels, each label valid up to the next one (merged cells read so)."""
    width = max(len(row) for row in rows)
    labels = [""] * (len(rows) - 1)
    result = []
    for i in range(width):
        cells = [plain(row[i]) if i < len(row) else "" for row in rows]
        for level in range(len(rows) - 1):
            labels[level] = cells[level] or labels[level]
        words = [*labels, cells[-1]] if cells[-1] else cells
        result.append(" ".join(w for w in words if w))
    return result


def _guess(rows: Sequence[Row]) -> int | None:
    """Index of the likeliest header: words only, nearly as wide as the table."""
    if not rows:
        return None
    width = Counter(sum(1 for c in cells if c.strip()) for _, cells in rows).most_common(1)[0][0]
    for i, (_, cells) in enumerate(rows):
        filled = [c for c in cells if c.strip()]
        words = any(c.isalpha() for cell in filled for c in cell)
        if words and 2 * len(filled) >= width and not any(is_number(c) for c in filled):
            return i
    return None


def find_header(
    rows: Sequence[Row], wanted: Sequence[str], *, up: int = 0, down: int = 0
) -> Header | None:
    """Find the row that names the columns; None where no row can be one.

    The row that holds most of the wanted names wins; if no single row holds them all, two rows
    are read together (a label over several columns, then the names: ``left d1``). Without any
    wanted name the first row of words that is about as wide as the table is taken. `up` and
    `down` ask for so many more rows above and below to be read together with it.
    """
    head = [row for row in rows[:_SEARCHED] if any(c.strip() for c in row[1])]
    where = [i for i, row in enumerate(rows[:_SEARCHED]) if any(c.strip() for c in row[1])]
    names = [plain(w) for w in wanted]

    def count(cells: Sequence[str]) -> int:
        present = {plain(c) for c in cells}
        return sum(1 for n in names if n in present)

    best, at = 0, -1
    for i, (_, cells) in enumerate(head):
        if count(cells) > best:
            best, at = count(cells), i
    pair = -1
    if best < len(set(names)):
        for i in range(len(head) - 1):
            hits = count(_joined(head[i][1], head[i + 1][1]))
            if hits > best:
                best, pair = hits, i
    if pair >= 0:
        first, at = pair, pair + 1
    elif best == 0 and (guess := _guess(head)) is None:
        return None
    else:
        first = at = at if best else int(guess or 0)
    first, at = first - up, at + down
    if first < 0 or at >= len(head):
        return None
    found = _joined(*(head[i][1] for i in range(first, at + 1)))
    lines = tuple(head[i][0] for i in range(first, at + 1))
    units: tuple[str | None, ...] = (None,) * len(found)
    last, unit_line = at, None
    if at + 1 < len(head):
        below = head[at + 1][1]
        words = [unit_word(c) for c in below]
        if any(words) and not any(is_number(c) for c in below):
            padded = [*words, *([None] * len(found))]
            units, unit_line, last = tuple(padded[: len(found)]), head[at + 1][0], at + 1
    return Header(
        last=where[last],
        lines=lines,
        unit_line=unit_line,
        names=tuple(found),
        units=units,
        found=best,
    )
