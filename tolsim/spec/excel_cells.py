"""Workbooks: rows of cells of one sheet as text, with hidden rows, merges and formulas seen."""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.cells import TypedNumber, Uncalculated, safe
from tolsim.spec.column_units import listed_rows
from tolsim.spec.csv_cells import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, RawRows
from tolsim.spec.excel_gate import pass_gate
from tolsim.spec.headers import Row, find_header

__all__ = ["workbook_rows"]

_MAX_MERGES = 20_000
_HEAD = 60
_COORDINATE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Layout:
    """What the values alone do not tell: rows from 1, columns from 0."""

    hidden: tuple[int, ...]
    merged: tuple[tuple[int, int, int, int], ...]
    uncalculated: dict[tuple[int, int], str]


def workbook_rows(data: bytes, *, shown: str, wanted: Sequence[str], sheet: str | None) -> RawRows:
    """Read one sheet of a workbook as rows of text cells.

    Without a name the sheet is the only one with cells, or the only one that holds all wanted
    names in its header. Values are those that were stored when the workbook was last saved.

    Raises
    ------
    SpecError
        If the file is no harmless workbook, or the sheet is not there or not to be told.
    """
    pass_gate(data, shown)
    openpyxl = _reader(shown)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and extensions that are not read
            return _read(openpyxl, data, shown, wanted, sheet)
    except SpecError:
        raise
    except Exception:  # whatever crafted XML can provoke in its reader
        message = "the workbook cannot be read; save it again as .xlsx, or as CSV"
        raise SpecError([Problem(file=shown, message=message)]) from None


def _reader(shown: str) -> Any:
    """The package that reads workbooks, with its guard against hostile XML."""
    try:
        import defusedxml  # noqa: F401
        import openpyxl
    except ImportError:
        openpyxl = None
    if openpyxl is None or not openpyxl.DEFUSEDXML:
        raise SpecError(
            [
                Problem(
                    file=shown,
                    message="reading workbooks needs the packages openpyxl and defusedxml",
                    allowed='pip install "tolsim[excel]", or the sheet saved as CSV',
                )
            ]
        )
    return openpyxl


def _read(
    openpyxl: Any, data: bytes, shown: str, wanted: Sequence[str], sheet: str | None
) -> RawRows:
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    try:
        for page in book.worksheets:
            page.reset_dimensions()  # what the file says about its own size may be wrong
        page, facts = _choose(book.worksheets, shown, wanted, sheet)
        name = f"{shown}!{safe(page.title)}"
        layout = _layout(book, page, name)
        rows = _rows(page.iter_rows(max_col=MAX_COLUMNS, max_row=MAX_ROWS, values_only=True), name)
    finally:
        book.close()
    if layout.uncalculated:
        by_line = dict(rows)
        for (row, column), formula in layout.uncalculated.items():
            cells = by_line.setdefault(row, [])
            cells.extend([""] * (column + 1 - len(cells)))
            cells[column] = Uncalculated(formula)
        rows = sorted(by_line.items())
    if layout.hidden:
        facts.append(f"hidden rows are read like the others: {listed_rows(layout.hidden)}")
    return RawRows(
        rows=rows, understood=tuple(facts), shown=name, merged=layout.merged, is_sheet=True
    )


def _choose(
    pages: Sequence[Any], shown: str, wanted: Sequence[str], sheet: str | None
) -> tuple[Any, list[str]]:
    """The sheet to read, and a sentence about it."""
    titles = [page.title for page in pages]
    listed = ", ".join(safe(t, 31) for t in titles[:20])
    if sheet is not None:
        if sheet not in titles:
            raise SpecError(
                [
                    Problem(
                        file=shown,
                        key="sheet",
                        message="no sheet of this name",
                        found=safe(sheet),
                        allowed=listed,
                        closest=closest(sheet, titles),
                    )
                ]
            )
        page = pages[titles.index(sheet)]
    else:
        scored = []
        if len(pages) == 1:
            return pages[0], [_about(pages[0], 1)]
        for candidate in pages[:100]:
            head = candidate.iter_rows(max_col=MAX_COLUMNS, max_row=_HEAD, values_only=True)
            header = find_header(_rows(head, shown), wanted)
            if header is not None:
                scored.append((header.found, candidate))
        best = [c for found, c in scored if found == max(f for f, _ in scored)]
        if len(best) != 1:
            several = f"several sheets hold {'these columns' if wanted else 'a table'}"
            message = several if best else "no sheet holds a table"
            raise SpecError([Problem(file=shown, key="sheet", message=message, allowed=listed)])
        page = best[0]
    return page, [_about(page, len(titles))]


def _about(page: Any, count: int) -> str:
    state = "" if page.sheet_state == "visible" else " (hidden)"
    others = f", one of {count} sheets" if count > 1 else ""
    return f"workbook; sheet {safe(page.title, 31)}{state}{others}"


def _rows(values: Iterable[Sequence[object]], shown: str) -> list[Row]:
    """Rows that hold a cell, as text."""
    rows: list[Row] = []
    cells = 0
    for number, row in enumerate(values, start=1):
        width = len(row)
        while width and row[width - 1] is None:
            width -= 1
        texts = [_text(value) for value in row[:width]]
        if any(texts):
            cells += width
            if cells > MAX_CELLS:
                raise SpecError([Problem(file=shown, message=f"more than {MAX_CELLS} cells")])
            rows.append((number, texts))
    return rows


def _text(value: object) -> str:
    """A stored value as the text of a cell; numbers keep saying that they are numbers."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        whole = value.is_integer() and abs(value) < 1e15
        return TypedNumber(int(value) if whole else repr(value))
    if isinstance(value, int):
        return TypedNumber(value)
    if isinstance(value, dt.datetime):
        return value.isoformat(" ")
    return str(value).strip()


def _index(letters: str) -> int:
    """Index of a column from its letters: A is 0."""
    n = 0
    for letter in letters:
        n = 26 * n + ord(letter) - 64
    return n - 1


def _layout(book: Any, page: Any, shown: str) -> _Layout:
    """Walk the XML of a sheet once for what the reader of values leaves out."""
    from defusedxml.ElementTree import iterparse

    hidden: list[int] = []
    merged: list[tuple[int, int, int, int]] = []
    uncalculated: dict[tuple[int, int], str] = {}
    row = 0
    # the reader's own path to the sheet: both must look at the same part of the archive
    with book._archive.open(page._worksheet_path) as stream:
        for _, element in iterparse(stream, forbid_dtd=True):
            tag = element.tag.rpartition("}")[2]
            if tag == "row":
                row = int(element.get("r") or row + 1)
                if element.get("hidden") in ("1", "true"):
                    hidden.append(row)
                uncalculated.update(_formulas(element, row, shown))
                element.clear()
            elif tag == "mergeCell" and len(merged) < _MAX_MERGES:
                first, _, last = (element.get("ref") or "").partition(":")
                a, b = _COORDINATE.fullmatch(first), _COORDINATE.fullmatch(last)
                if a and b:
                    merged.append((int(a[2]), _index(a[1]), int(b[2]), _index(b[1])))
    return _Layout(hidden=tuple(hidden), merged=tuple(merged), uncalculated=uncalculated)


def _formulas(element: Any, row: int, shown: str) -> dict[tuple[int, int], str]:
    """Formulas of a row without a stored value; a fault where its cells stand too far out."""
    found = {}
    column = -1
    for cell in element:
        if not cell.tag.endswith("}c"):
            continue
        at = _COORDINATE.fullmatch(cell.get("r") or "")
        column = _index(at[1]) if at else column + 1
        line = int(at[2]) if at else row
        parts = {child.tag.rpartition("}")[2]: child for child in cell}
        value = parts.get("v")
        empty_text = value is not None and cell.get("t") == "str"
        filled = empty_text or "is" in parts or (value is not None and bool(value.text))
        if (filled or "f" in parts) and (column >= MAX_COLUMNS or line > MAX_ROWS):
            raise SpecError([_too_far(shown, line)])
        if "f" in parts and not filled:
            found[line, column] = "=" + (parts["f"].text or "")
    return found


def _too_far(shown: str, row: int) -> Problem:
    return Problem(
        file=shown,
        line=row,
        message=f"a cell beyond {MAX_COLUMNS} columns or {MAX_ROWS} rows",
        allowed="a sheet with the readings alone",
    )
