"""A file of readings as a table: names of the columns, rows of text cells, line numbers.

Nothing is converted here: ``NA`` and ``007`` stay text, and every cell keeps the line it stood in.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.cells import Uncalculated, counted, safe
from tolsim.spec.csv_cells import RawRows, csv_rows
from tolsim.spec.headers import Header, Row, find_header, plain

__all__ = ["MAX_BYTES", "Table", "read_rows", "read_table", "table_of"]

MAX_BYTES = 20 * 1024 * 1024

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]+:/")
_WORKBOOKS = (".xlsx", ".xlsm")


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """A table as it stands in the file.

    ``rows`` are the rows below the header with their line numbers, ``units`` what a row of units
    says about each column, ``understood`` sentences about the file, ``shown`` its printed name.
    """

    shown: str
    sha256: str
    header: Header
    rows: list[Row]
    understood: tuple[str, ...]
    merged: tuple[tuple[int, int, int, int], ...] = ()

    def index(self, name: str) -> int | None:
        """Index of the column of this name, None where there is no or more than one such name."""
        hits = [i for i, n in enumerate(self.header.names) if n == plain(name)]
        return hits[0] if len(hits) == 1 else None

    def indices(self, names: Sequence[str]) -> list[int]:
        """Indices of these columns, in this order.

        Raises
        ------
        SpecError
            With one problem for each name that the header does not hold exactly once.
        """
        problems, found = [], []
        present = [n for n in self.header.names if n]
        for name in names:
            hits = [i for i, n in enumerate(self.header.names) if n == plain(name)]
            if len(hits) == 1:
                found.append(hits[0])
                continue
            message = f"{len(hits)} columns have this name" if hits else "no column of this name"
            problems.append(
                Problem(
                    file=self.shown,
                    line=self.header.lines[-1],
                    key=safe(name),
                    message=message,
                    allowed=_listed(present),
                    closest=None if hits else _safe_or_none(closest(plain(name), present)),
                )
            )
        problems.extend(self._uncalculated(found))
        if problems:
            raise SpecError(problems)
        return found

    def _uncalculated(self, indices: Sequence[int]) -> list[Problem]:
        """A problem for each of these columns that holds formulas without values."""
        problems = []
        for index in indices:
            rows = [r for r in self.rows if _formula(r, index)]
            if rows:
                problems.append(
                    Problem(
                        file=self.shown,
                        line=rows[0][0],
                        key=safe(self.header.names[index]),
                        message=f"{counted(len(rows), 'formula')} without a stored value",
                        found=safe(rows[0][1][index]),
                        allowed="a workbook saved by a program that calculates, or plain values",
                    )
                )
        return problems

    def cells(self, index: int) -> list[str]:
        """The cells of a column, one a row, missing ones empty."""
        return [cells[index] if index < len(cells) else "" for _, cells in self.rows]

    def filled(self, index: int) -> tuple[dict[int, str], int]:
        """The cells of a column by line, merged ones filled downwards, and how many were filled."""
        cells, count = self.cells(index), 0
        at = {line: i for i, (line, _) in enumerate(self.rows)}
        for first, left, last, right in self.merged:
            if not left <= index <= right or first not in at:
                continue
            text = self.cells(left)[at[first]] if left != index else cells[at[first]]
            for line in range(first + 1, min(last, first + len(self.rows)) + 1):
                if line in at and not cells[at[line]]:
                    cells[at[line]] = text
                    count += 1
        return dict(zip(at, cells, strict=True)), count


def _formula(row: Row, index: int) -> bool:
    return index < len(row[1]) and isinstance(row[1][index], Uncalculated)


def _safe_or_none(text: str | None) -> str | None:
    return None if text is None else safe(text)


def _listed(names: Sequence[str]) -> str:
    text = ", ".join(safe(n, 30) for n in names[:20])
    return f"{text} and {len(names) - 20} more" if len(names) > 20 else text


def read_table(
    path: Path, *, shown: str, wanted: Sequence[str] = (), sheet: str | None = None
) -> Table:
    """Read a CSV or XLSX file as a table whose header holds the wanted names.

    Parameters
    ----------
    path : Path
        A regular file of at most 20 MB; at most 200 000 rows and 256 columns are read.
    shown : str
        The name that messages print.
    wanted : sequence of str
        Names of columns by which the header is found; a name that is missing is no fault yet.
    sheet : str, optional
        Name of the sheet of a workbook; needed where several sheets hold cells.

    Raises
    ------
    SpecError
        If the file cannot be read as a table.
    """
    raw = read_rows(path, shown=shown, wanted=wanted, sheet=sheet)
    table = table_of(raw, wanted)
    if table is None:
        first = next(((n, c) for n, c in raw.rows if any(x.strip() for x in c)), None)
        raise SpecError(
            [
                Problem(
                    file=raw.shown,
                    line=first[0] if first else None,
                    message="no row of names" if first else "empty: no row holds a cell",
                    found=safe(", ".join(first[1]), 40) if first else None,
                    allowed="a header row, then one row a reading",
                )
            ]
        )
    return table


def read_rows(path: Path, *, shown: str, wanted: Sequence[str], sheet: str | None) -> RawRows:
    """Read a CSV or XLSX file as rows of cells; see :func:`read_table`."""
    data = _bytes(path, shown)
    if path.suffix.lower() in _WORKBOOKS:
        from tolsim.spec.excel_cells import workbook_rows

        raw = workbook_rows(data, shown=shown, wanted=wanted, sheet=sheet)
    elif sheet is not None:
        raise SpecError(
            [Problem(file=shown, key="sheet", message="only a workbook has sheets", found=sheet)]
        )
    else:
        raw = csv_rows(data, shown=shown, wanted=wanted)
    return replace(raw, sha256=hashlib.sha256(data).hexdigest())


def table_of(raw: RawRows, wanted: Sequence[str], *, up: int = 0, down: int = 0) -> Table | None:
    """The table in rows of cells; None where no row, with `up` and `down` more, can be a header."""
    header = find_header(raw.rows, wanted, up=up, down=down)
    if header is None:
        return None
    # in a sheet nothing shifts: cells right of the named columns are columns without a name
    width = max((len(cells) for _, cells in raw.rows), default=0) if raw.is_sheet else 0
    missing = max(0, width - len(header.names))
    header = replace(
        header, names=header.names + ("",) * missing, units=header.units + (None,) * missing
    )
    return Table(
        shown=raw.shown,
        sha256=raw.sha256,
        header=header,
        rows=raw.rows[header.last + 1 :],
        understood=(*raw.understood, *_header_facts(header, raw)),
        merged=raw.merged,
    )


def _header_facts(header: Header, raw: RawRows) -> list[str]:
    lines = ", ".join(str(n) for n in header.lines)
    facts = [f"names of the columns from {'lines' if header.joined else 'line'} {lines}"]
    if header.joined:
        facts[0] += " (groups above names, read together)"
    above = sum(1 for line, _ in raw.rows if line < header.lines[0])
    if above:
        facts.append(f"{counted(above, 'row')} above the header not read")
    if header.unit_line is not None:
        facts.append(f"units from line {header.unit_line}")
    return facts


def _bytes(path: Path, shown: str) -> bytes:
    """The content of a regular file within the cap."""
    if _SCHEME.match(str(path)) or _SCHEME.match(shown):
        raise SpecError(
            [Problem(file=safe(shown, 200), message="is an address, not a file; nothing is loaded")]
        )
    try:
        # without blocking: a pipe that nobody feeds must not stop the run
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(descriptor, "rb") as handle:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise SpecError([Problem(file=shown, message="is not a regular file")])
            data = handle.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a usable name"
        raise SpecError([Problem(file=shown, message=f"cannot be read: {reason}")]) from None
    if len(data) > MAX_BYTES:
        raise SpecError(
            [Problem(file=shown, message=f"larger than {MAX_BYTES // 1024 // 1024} MB")]
        )
    return data
