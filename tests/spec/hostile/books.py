"""Workbooks that must be refused, made from a good one by changing one entry of the archive."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Callable

import openpyxl

SHEET = "xl/worksheets/sheet1.xml"
_END = b"</sheetData>"


def good_book() -> bytes:
    """A workbook of two readings."""
    book = openpyxl.Workbook()
    page = book.active
    page.title = "Bores"
    for row in (["frame", "side", "bore_mm"], ["F1", "left", 36.978], ["F1", "right", 36.98]):
        page.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def changed(name: str, change: Callable[[bytes], bytes]) -> bytes:
    """The good workbook with one entry changed."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(good_book())) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.infolist():
            data = source.read(entry)
            target.writestr(entry.filename, change(data) if entry.filename == name else data)
    return out.getvalue()


def with_rows(rows: bytes) -> bytes:
    """The good workbook with raw XML after its last row."""
    return changed(SHEET, lambda xml: xml.replace(_END, rows + _END))


def _with_entry(name: str, data: bytes) -> bytes:
    out = io.BytesIO(good_book())
    with warnings.catch_warnings(), zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as target:
        warnings.simplefilter("ignore")  # a name that is there already is what is wanted
        target.writestr(name, data)
    return out.getvalue()


def _many_entries() -> bytes:
    out = io.BytesIO(good_book())
    with zipfile.ZipFile(out, "a") as target:
        for i in range(2001):
            target.writestr(f"x{i}", b"")
    return out.getvalue()


def _encrypted() -> bytes:
    data = bytearray(good_book())
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        data[at + 8] |= 1
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(data)


def _understated() -> bytes:
    """The directory of the archive says that the sheet is one byte long."""
    data = bytearray(with_rows(b"<row/>" * 1000))
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        length = int.from_bytes(data[at + 28 : at + 30], "little")
        if data[at + 46 : at + 46 + length] == SHEET.encode():
            data[at + 24 : at + 28] = (1).to_bytes(4, "little")
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(data)


def _entities(xml: bytes) -> bytes:
    laughs = b"".join(b'<!ENTITY l%d "%s">' % (i, b"&l%d;" % (i - 1) * 10) for i in range(1, 10))
    return xml.replace(
        b"<worksheet", b'<!DOCTYPE x [<!ENTITY l0 "ha">' + laughs + b"]><worksheet", 1
    )


def _external(xml: bytes) -> bytes:
    kind = b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///dev/null">]><workbook'
    return xml.replace(b"<workbook", kind, 1)


# name -> (how to build it, part of the message)
REFUSED: dict[str, tuple[Callable[[], bytes], str]] = {
    "not-a-zip": (lambda: b"frame,side,bore_mm\n1,left,36.9\n", "damaged or no workbook"),
    "cut-off": (lambda: good_book()[:3000], "damaged or no workbook"),
    "empty-file": (lambda: b"", "damaged or no workbook"),
    "zip-of-nothing": (lambda: b"PK\x05\x06" + bytes(18), "cannot be read"),
    "bomb-total": (
        lambda: _with_entry("xl/x.xml", b" " * (201 << 20)),
        "unpacks to more than",
    ),
    "bomb-ratio": (lambda: _with_entry("xl/x.xml", b" " * (5 << 20)), "packed more than 200 : 1"),
    "bomb-entries": (_many_entries, "more than 2000 entries"),
    "bomb-tags": (
        lambda: with_rows(b"".join(b"<x%d/>" % i for i in range(1_500_001))),
        "has more cells than are read",
    ),
    "bomb-attributes": (
        lambda: with_rows(b"".join(b'<x a="%d" b="%d"/>' % (i, i * i) for i in range(750_001))),
        "has more cells than are read",
    ),
    "password": (_encrypted, "protected by a password"),
    "understated-size": (_understated, "damaged or no workbook"),
    "same-entry-twice": (lambda: _with_entry("xl/styles.xml", b"<x/>"), "same entry twice"),
    "sparse-last-cell": (
        lambda: with_rows(b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'),
        "a cell beyond 256 columns or 200000 rows",
    ),
    "sparse-column": (
        lambda: with_rows(b'<row r="4"><c r="ZZ4"><v>1</v></c></row>'),
        "a cell beyond 256 columns or 200000 rows",
    ),
    "entities": (lambda: changed(SHEET, _entities), "cannot be read"),
    "external-entity": (lambda: changed("xl/workbook.xml", _external), "cannot be read"),
    "broken-xml": (lambda: with_rows(b"<row><c>"), "cannot be read"),
    "endless-integer": (
        lambda: changed(SHEET, lambda x: x.replace(b"36.978", b"9" * 5000)),
        "cannot be read",
    ),
    "infinite-number": (
        lambda: changed(SHEET, lambda x: x.replace(b"36.978", b"1.0e400")),
        "1 of 2 rows can be used",
    ),
    "string-that-is-not-there": (
        lambda: with_rows(b'<row r="4"><c r="A4" t="s"><v>99</v></c></row>'),
        "cannot be read",
    ),
    "formula-without-value": (
        lambda: with_rows(b'<row r="4"><c r="C4"><f>C3+1</f></c></row>'),
        "1 formula without a stored value",
    ),
    "error-values": (
        lambda: changed(SHEET, lambda x: x.replace(b"36.978", b"").replace(b"36.98", b"")),
        "0 of 2 rows can be used",
    ),
    "no-sheet": (
        lambda: changed("xl/workbook.xml", lambda x: re.sub(b"<sheet .*?/>", b"", x)),
        "no sheet holds a table",
    ),
    "no-manifest": (lambda: changed("[Content_Types].xml", lambda x: b""), "cannot be read"),
    "sheet-of-another-kind": (lambda: changed(SHEET, lambda x: b"<html/>"), "empty"),
}
