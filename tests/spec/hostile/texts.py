"""Text tables that must be refused, each with a part of the reason."""

from __future__ import annotations

GOOD = "frame,side,bore_mm\nF1,left,36.978\nF1,right,36.980\n"


def _rows(*rows: str) -> bytes:
    return ("frame,side,bore_mm\n" + "".join(r + "\n" for r in rows)).encode()


def _good_then(tail: bytes) -> bytes:
    return GOOD.encode() + tail


# name -> (bytes, part of the message)
REFUSED: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "empty: no row holds a cell"),
    "blank-lines": (b"\n \n\t\n,,\n", "empty: no row holds a cell"),
    "only-comments": (b"# one\n# two\n", "empty: no row holds a cell"),
    "header-alone": (_rows(), "a spread needs two"),
    "one-reading": (_rows("F1,left,36.978"), "1 of 1 row can be used"),
    "no-header": (b"F1,left,36.978\nF1,right,36.980\n", "no row of names"),
    "numbers-alone": (b"1,2,3\n4,5,6\n", "no row of names"),
    "gzip": (b"\x1f\x8b\x08\x00" + bytes(range(200)), "is compressed (gzip)"),
    "bzip2": (b"BZh91AY&SY" + bytes(40), "is compressed (bzip2)"),
    "xz": (b"\xfd7zXZ\x00\x00" + bytes(40), "is compressed (xz)"),
    "pdf": (b"%PDF-1.7\n1 0 obj\n", "is a PDF"),
    "old-workbook": (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
        "old or a protected workbook",
    ),
    "workbook-named-csv": (b"PK\x03\x04" + bytes(100), "a workbook is named .xlsx"),
    "nul-bytes": (_good_then(b"F2,left,36.9\x0078\n"), "NUL characters"),
    "utf16-without-mark": (GOOD.encode("utf-16-le"), "NUL characters"),
    "utf16-cut": (GOOD.encode("utf-16")[:-1], "is no text"),
    "undefined-bytes": (_good_then(b"F2,\x81\x8d\x90,36.978\n"), "is no text"),
    "noise": (bytes((i * i * 31 + 7 * i) % 256 for i in range(5000)), "is no text"),
    "endless-line": (b"frame,side,bore_mm" + b"x" * 70_000 + b"\n1,2,3\n", "line longer than"),
    "endless-quote": (
        _good_then(b'F2,"left,36.978\n' + b"F3,left,36.978\n" * 20_000),
        "is never closed",
    ),
    "text-after-quote": (_good_then(b'F2,"left"x,36.978\n'), "cannot be split into cells"),
    "300-columns": (
        b",".join(b"c%d" % i for i in range(300)) + b"\n1,2\n",
        "more than 256 columns",
    ),
    "30000-columns": (_good_then(b"," * 30_000 + b"1\n"), "more than 256 columns"),
    "200001-rows": (b"bore_mm\n" + b"36.97\n" * 200_001, "more than 200000 rows"),
    "too-large": (b"bore_mm\n" + b"36.97 \n" * 3_100_000, "larger than 20 MB"),
    "decimal-comma-and-comma": (_rows("F1,left,36,978", "F1,right,36,980"), "more cells than the"),
    "mixed-marks": (
        b"frame;side;bore_mm\n1;left;36.978\n1;right;36,980\n2;left;36.981\n",
        "decimal marks are mixed",
    ),
    "micrometres-among-millimetres": (
        _rows("1,left,36.978", "1,right,-22", "2,left,36.97"),
        "(deviations in um among sizes?)",
    ),
    "deviations-among-sizes": (
        _rows("1,left,36.978", "1,right,0.012", "2,left,36.97"),
        "sizes and deviations are mixed",
    ),
    "slip-of-a-digit": (
        _rows("1,left,36.978", "1,right,63.980", "2,left,36.97"),
        "not a size near 37 mm",
    ),
    "other-nominal": (_rows("1,left,41.978", "1,right,41.980"), "no value is near 37 mm"),
    "micrometres-in-mm": (_rows("1,left,36978", "1,right,36980"), "in um they would be sizes"),
    "negative-sizes": (_rows("1,left,-36.978", "1,right,-36.980"), "no value is near 37 mm"),
    "all-words": (_rows("1,left,OK", "1,right,good"), "0 of 2 rows can be used"),
    "all-nan": (_rows("1,left,nan", "1,right,NaN"), "not a finite number"),
    "all-1e400": (_rows("1,left,1e400", "1,right,1e400"), "a number beyond every size"),
    "endless-digits": (_rows("1,left," + "9" * 5000, "1,right,36.980"), "1 of 2 rows can be used"),
    "endless-exponent": (
        _rows("1,left,1e999999999999", "1,right,36.98"),
        "1 of 2 rows can be used",
    ),
    "other-digits": (_rows("1,left,\u0663\u0666.9", "1,right,36.980"), "1 of 2 rows can be used"),
    "formula-injection": (_rows("1,left,=1+36", "1,right,@SUM(1)"), "0 of 2 rows can be used"),
    "terminal-escape": (_rows("1,left,\x1b[2J", "1,right,\x1b]0;x\x07"), "\\x1b[2J"),
    "seat-missing-everywhere": (_rows("1,,36.978", "1,,36.980"), "no seat is named in this row"),
    "third-seat": (_rows("1,left,36.9", "1,right,36.9", "2,Left,36.9"), "more than two seats"),
    "unit-twice": (
        _rows("1,left,36.9", "1,right,36.9", "1,left,36.9"),
        "several readings of one seat",
    ),
    "units-mixed": (_rows("1,left,36.978 mm", "1,right,-22 um"), "units are mixed"),
    "unit-of-force": (_rows("1,left,36.978 deg", "1,right,36.97 deg"), "units are mixed"),
    "units-contradict": (b"frame,side,bore_mm\n-,-,in\n1,left,36.9\n1,right,36.9\n", "contradict"),
    "column-twice": (b"frame,side,bore_mm,bore_mm\n1,left,36.9,36.9\n", "2 columns have this name"),
    "shifted-names": (
        b"frame,seite,bohrung\n1,left,36.978\n1,right,36.98\n",
        "no column of this name",
    ),
    "page-of-html": (
        b"<!DOCTYPE html>\n<html><body>not found</body></html>\n",
        "no column of this",
    ),
    "json": (b'{"bore_mm": [36.978, 36.980]}\n', "no column of this name"),
    "right-to-left-override": (_rows("1,left,\u202e89.63", "1,right,36.980"), "\\u202e89.63"),
}
