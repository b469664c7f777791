"""One cell of a table: text made safe to print, and numbers read exactly as written."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal

__all__ = [
    "MARKS",
    "Number",
    "TypedNumber",
    "Uncalculated",
    "counted",
    "is_comment",
    "is_number",
    "read_number",
    "safe",
    "unit_word",
    "why_not_number",
]

# Decimal marks that a column may use.
MARKS = (".", ",")

_LONGEST_NUMBER = 64
_SPACES = " \u00a0\u2009\u202f"
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " "})
_BEYOND = re.compile(r"[+-]?(nan|inf|infinity|\u221e)", re.IGNORECASE)
_FORMULA_ERROR = re.compile(r"#(N/A|DIV/0!|REF!|VALUE!|NAME\?|NUM!|NULL!|SPILL!|CALC!|#+)", re.I)
_DATE = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d(\.\d+)?)?)?|\d{1,2}[./]\d{1,2}[./]\d{2,4}")

_UNIT_WORDS = {
    "mm": "mm",
    "millimetre": "mm",
    "millimeter": "mm",
    "\u00b5m": "um",
    "\u03bcm": "um",
    "um": "um",
    "micron": "um",
    "microns": "um",
    "in": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "thou": "thou",
    "deg": "deg",
    "\u00b0": "deg",
    "mrad": "mrad",
    "arcmin": "arcmin",
    "'": "arcmin",
    "\u00b0c": "C",
    "c": "C",
    "h": "h",
}


class TypedNumber(str):
    """A number that the file holds as a number: always written with a point, never ambiguous."""

    __slots__ = ()


class Uncalculated(str):
    """A formula whose value the file does not hold."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written, and the unit where the cell itself names one."""

    value: Decimal
    unit: str | None


def _grammar(mark: str, other: str) -> re.Pattern[str]:
    """Numbers with one decimal mark; thousands in threes, all with the same mark."""
    point, group = re.escape(mark), rf"[{re.escape(other)}'\u2019 ]"
    whole = rf"(?:\d{{1,3}}(?P<g>{group})\d{{3}}(?:(?P=g)\d{{3}})*|\d+)"
    return re.compile(
        rf"(?P<number>[+-]?(?:{whole}(?:{point}\d*)?|{point}\d+)(?:[eE][+-]?\d{{1,4}})?)"
        rf"(?: ?(?P<unit>[^\d\s.,+-]+))?",
        re.ASCII,
    )


_GRAMMARS = {".": _grammar(".", ","), ",": _grammar(",", ".")}
_DROPPED = {".": ",' \u2019", ",": ".' \u2019"}


def unit_word(text: str) -> str | None:
    """The suffix of a unit written as a word, brackets allowed; None where it is no unit.

    >>> unit_word("[mm]"), unit_word("(µm)"), unit_word("left")
    ('mm', 'um', None)
    """
    word = text.strip().strip("[]()").strip()
    return _UNIT_WORDS.get(word.casefold()) if len(word) <= 12 else None


def read_number(text: str, mark: str) -> Number | None:
    """Read a cell as an exact number with this decimal mark; None where it is none.

    Thousands may be marked in threes by the other mark, an apostrophe or a space.

    >>> read_number("36.988,5", ",").value
    Decimal('36988.5')
    >>> read_number("41.978 mm", ".")
    Number(value=Decimal('41.978'), unit='mm')
    >>> read_number("OK", ".") is None
    True
    """
    if len(text) > _LONGEST_NUMBER:
        return None
    if isinstance(text, TypedNumber):
        mark = "."
    match = _GRAMMARS[mark].fullmatch(text.translate(_MINUS).strip())
    if match is None:
        return None
    unit = None
    if match["unit"] is not None:
        unit = unit_word(match["unit"])
        if unit is None:
            return None
    digits = match["number"]
    for dropped in _DROPPED[mark]:
        digits = digits.replace(dropped, "")
    value = Decimal(digits.replace(",", "."))
    exponent = value.as_tuple().exponent
    if not isinstance(exponent, int) or not (exponent >= -30 and value.adjusted() <= 12):
        return None
    return Number(value, unit)


def is_number(text: str) -> bool:
    """Whether a cell is a number with either decimal mark."""
    return any(read_number(text, mark) is not None for mark in MARKS)


def why_not_number(text: str) -> str:
    """Say in words why a cell of a number column is not used.

    >>> why_not_number("1e400")
    'a number beyond every size'
    """
    word = text.translate(_MINUS).strip()
    if not word:
        return "no reading"
    if _BEYOND.fullmatch(word):
        return "not a finite number"
    if _FORMULA_ERROR.fullmatch(word):
        return "the error value of a formula"
    if _DATE.fullmatch(word):
        return "a date, not a number"
    if len(word) <= _LONGEST_NUMBER and any(g.fullmatch(word) for g in _GRAMMARS.values()):
        return "a number with a unit that is not known" if word[-1:].isalpha() else _BEYOND_SIZE
    if re.fullmatch(r"[+-]?\d[\d.,]*[eE][+-]?\d+", word[:_LONGEST_NUMBER], re.ASCII):
        return _BEYOND_SIZE
    return "not a number"


_BEYOND_SIZE = "a number beyond every size"


def is_comment(line: str) -> bool:
    """Whether a line is a comment: it starts with #, which is neither a cell nor an error value."""
    text = line.lstrip(" \t\ufeff")
    if not text.startswith("#") or _FORMULA_ERROR.match(text):
        return False
    return text[1:2] not in {",", ";", "\t", "|"}


def counted(n: int, word: str) -> str:
    """A count with its word.

    >>> counted(1, "row"), counted(2, "row")
    ('1 row', '2 rows')
    """
    return f"{n} {word}{'' if n == 1 else 's'}"


def safe(text: str, limit: int = 60) -> str:
    """Text of a cell as a message may show it: no control characters, one line, not too long.

    >>> safe("left\\x1b[2J")
    'left\\\\x1b[2J'
    """
    cut = text if len(text) <= limit else text[: limit - 1] + "\u2026"
    return "".join(
        c if c == " " or unicodedata.category(c)[0] not in "CZ" else ascii(c)[1:-1] for c in cut
    )
