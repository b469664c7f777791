"""Text tables: bytes to rows of cells, with encoding and separator found out and reported."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from tolsim.errors import Problem, SpecError
from tolsim.spec.cells import counted, is_comment
from tolsim.spec.headers import Row, find_header

__all__ = ["MAX_CELLS", "MAX_COLUMNS", "MAX_ROWS", "RawRows", "csv_rows"]

MAX_ROWS = 200_000
MAX_COLUMNS = 256
MAX_CELLS = 4_000_000
_MAX_LINE = 65_536
_SAMPLE = 65_536

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_SIGNATURES = (
    (b"\x1f\x8b", "is compressed (gzip); unpack it first"),
    (b"BZh", "is compressed (bzip2); unpack it first"),
    (b"\xfd7zXZ", "is compressed (xz); unpack it first"),
    (b"PK\x03\x04", "is a workbook or an archive, not text; a workbook is named .xlsx"),
    (b"\xd0\xcf\x11\xe0", "is an old or a protected workbook; save it as .xlsx or as CSV"),
    (b"%PDF", "is a PDF, not a table"),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class RawRows:
    """Rows of cells without empty rows and comments, and what was understood on the way.

    ``shown`` is the printed name, with the sheet of a workbook; ``merged`` are the ranges of
    merged cells as (first row, first column, last row, last column), columns from 0.
    """

    rows: list[Row]
    understood: tuple[str, ...]
    shown: str
    merged: tuple[tuple[int, int, int, int], ...] = ()
    is_sheet: bool = False
    sha256: str = ""


def csv_rows(data: bytes, *, shown: str, wanted: Sequence[str]) -> RawRows:
    """Split the bytes of a text table into rows of cells.

    The encoding is UTF-8, UTF-16 with a byte-order mark, or else Windows-1252; the separator the
    one of comma, semicolon, tab and bar under which the wanted names and an even width appear.

    Raises
    ------
    SpecError
        If the bytes are no text table, or larger than a table of readings can be.
    """
    text, encoding = _decode(data, shown)
    separator, how = _separator(text, wanted)
    rows, comments, empty = _split(text, separator, shown)
    facts = [f"{encoding}; columns separated by {_SEPARATORS[separator]}{how}"]
    skipped = [
        counted(n, what) for n, what in ((comments, "comment line"), (empty, "empty line")) if n
    ]
    if skipped:
        facts.append(f"{' and '.join(skipped)} skipped")
    return RawRows(rows=rows, understood=tuple(facts), shown=shown)


def _fault(shown: str, message: str, line: int | None = None, **more: str) -> SpecError:
    return SpecError([Problem(file=shown, line=line, message=message, **more)])


def _decode(data: bytes, shown: str) -> tuple[str, str]:
    """The text and the name of its encoding."""
    for signature, what in _SIGNATURES:
        if data.startswith(signature):
            raise _fault(shown, what)
    try:
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text, name = data.decode("utf-16"), "UTF-16 text"
        else:
            try:
                text, name = data.decode("utf-8-sig"), "UTF-8 text"
            except UnicodeDecodeError:
                text, name = data.decode("cp1252"), "Windows-1252 text (not valid UTF-8)"
    except UnicodeDecodeError:
        raise _fault(
            shown, "is no text: neither UTF-8, UTF-16 with a mark nor Windows-1252"
        ) from None
    at = text.find("\0")
    if at >= 0:
        line = text.count("\n", 0, at) + 1
        allowed = "text saved as UTF-8, or as UTF-16 with its byte order mark"
        raise _fault(shown, "is no text: it holds NUL characters", line, allowed=allowed)
    return text, name


class _Lines:
    """Lines of the text for the reader, comments left out where a row begins."""

    def __init__(self, text: str, shown: str) -> None:
        self._lines = io.StringIO(text, newline="")
        self._shown = shown
        self.number = 0
        self.start = 0
        self.fresh = True
        self.comments = 0

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        while True:
            line = self._lines.readline(_MAX_LINE + 1)
            if not line:
                raise StopIteration
            self.number += 1
            if len(line) > _MAX_LINE:
                raise _fault(
                    self._shown,
                    f"line longer than {_MAX_LINE} characters: not a table",
                    self.number,
                )
            if self.fresh:
                self.start = self.number
                hint = self.number == 1 and _hint(line) is not None
                if hint or is_comment(line):
                    self.comments += not hint
                    continue
            self.fresh = False
            return line


def _split(text: str, separator: str, shown: str) -> tuple[list[Row], int, int]:
    """Rows, number of comments, number of empty lines."""
    lines = _Lines(text, shown)
    reader = csv.reader(lines, delimiter=separator, strict=True)
    rows: list[Row] = []
    empty = cells = 0
    while True:
        lines.fresh = True
        try:
            row = next(reader)
        except StopIteration:
            return rows, lines.comments, empty
        except csv.Error as error:
            what = str(error)
            if "end of data" in what or "field larger" in what:
                what = "a quoted cell that begins here is never closed"
            raise _fault(shown, f"cannot be split into cells: {what}", lines.start) from None
        row = [cell.strip() for cell in row]
        if not any(row):
            empty += 1
            continue
        while not row[-1]:
            row.pop()
        cells += len(row)
        if len(row) > MAX_COLUMNS:
            raise _fault(shown, f"more than {MAX_COLUMNS} columns", lines.start)
        if len(rows) >= MAX_ROWS:
            raise _fault(shown, f"more than {MAX_ROWS} rows", lines.start)
        if cells > MAX_CELLS:
            raise _fault(shown, f"more than {MAX_CELLS} cells", lines.start)
        rows.append((lines.start, row))


def _hint(line: str) -> str | None:
    """The separator that a first line ``sep=;`` declares."""
    word = line.strip("\r\n\ufeff").lower()
    return word[4] if len(word) == 5 and word.startswith("sep=") and word[4] in ",;\t|" else None


def _separator(text: str, wanted: Sequence[str]) -> tuple[str, str]:
    """The separator, and how it was found where that is not plain from the rows."""
    first = text[: min(len(text), 16)].split("\n", 1)[0]
    hint = _hint(first)
    if hint is not None:
        return hint, " (declared in line 1)"
    sample = text
    if len(text) > _SAMPLE:
        cut = text.rfind("\n", 0, _SAMPLE)
        sample = text[: cut if cut > 0 else _SAMPLE]
    best: tuple[int, float, int] = (-1, 0.0, 0)
    choice = ","
    for separator in _SEPARATORS:
        if separator != "," and separator not in sample:
            continue
        score = _score(sample, separator, wanted)
        if score > best:
            best, choice = score, separator
    if choice == "," and best[2] == 1 and "," in sample:
        # one column whose commas are decimal marks: any separator that is absent will do
        score = _score(sample, ";", wanted)
        if score > best:
            choice = ";"
    return choice, ""


def _score(sample: str, separator: str, wanted: Sequence[str]) -> tuple[int, float, int]:
    """Wanted names found, share of rows no wider than the header, width of the header."""
    rows: list[Row] = []
    lines = (s for s in io.StringIO(sample, newline="") if not is_comment(s))
    try:
        for row in csv.reader(lines, delimiter=separator):
            if any(c.strip() for c in row):
                rows.append((0, row))
    except csv.Error:
        return (-1, 0.0, 0)
    header = find_header(rows, wanted)
    if header is None:
        return (0, 0.0, 0)
    width = len(header.names)
    below = rows[header.last + 1 :]
    even = sum(1 for _, r in below if len(r) == width or not any(r[width:])) if below else 0
    return (header.found, even / max(1, len(below)), width)
