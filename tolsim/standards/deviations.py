"""Grades and fundamental deviations of ISO 286-1: how wide a band is and where it lies.

A class is a letter (capital: hole, small: shaft) that places the band and a grade that sets its
width. The grade is the table of the standard, not its formula; the two differ in 43 of 260 cells.
Sizes up to 500 mm; letters d to n, p, r, s, t, u and the same for holes. The values were seen in
published tables that quote ISO 286-1:2010, not in the standard itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias

from tolsim.standards.tables import Row, TableError, mm, pick, rows

__all__ = [
    "GRADES",
    "Deviation",
    "Feature",
    "classes",
    "existing",
    "fundamental_deviation",
    "grade_row",
    "grade_width",
    "letters",
    "split",
]

Feature: TypeAlias = Literal["hole", "shaft"]

#: Standard tolerance grades, finest first.
GRADES: tuple[str, ...] = ("01", "0", *(str(n) for n in range(1, 19)))
#: Every letter of ISO 286-1 in its order, to find the nearest one that is kept here.
# fmt: off
_ORDER = (
    "a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h", "j", "js", "k", "m", "n", "p", "r",
    "s", "t", "u", "v", "x", "y", "z", "za", "zb", "zc",
)
# fmt: on
_WORD = re.compile(r"([A-Za-z]{1,2})\s*(0?\d{1,2})", re.ASCII)
_SIZES = ("size_over_mm", "size_incl_mm")
_NO_COARSE_BELOW = 1.0  # mm: IT14 to IT18 (and N above grade 8) are not used up to this size


@dataclass(frozen=True, kw_only=True, slots=True)
class Deviation:
    """The limit of a class that lies nearer to zero; `value` in mm, `symbol` ES, EI, es or ei."""

    value: float
    symbol: str
    confidence: str
    source: str
    notes: tuple[str, ...] = ()


def split(designation: str) -> tuple[Feature, str, str]:
    """Split a class into feature, letter and grade.

    >>> split("P7"), split("js6")
    (('hole', 'P', '7'), ('shaft', 'js', '6'))

    Raises
    ------
    TableError
        Where the word is no class or its grade no standard tolerance grade.
    """
    match = _WORD.fullmatch(designation.strip())
    if match is None or match[1].upper() == "IT":
        raise TableError(
            "a grade alone has a width but no place" if match else "this is no tolerance class",
            found=repr(designation),
            allowed="a letter and a grade: P7 (hole), js6 (shaft)",
            closest=_guess(designation),
        )
    letter, grade = match.groups()
    feature: Feature = "hole" if letter[0].isupper() else "shaft"
    letter = letter.upper() if feature == "hole" else letter.lower()
    if grade not in GRADES:
        near = _near_grade(grade)
        raise TableError(
            f"there is no grade {grade}",
            found=designation,
            allowed=f"grades {GRADES[0]}, {GRADES[1]}, {GRADES[2]} to {GRADES[-1]}",
            closest=f"{letter}{near}",
        )
    return feature, letter, grade


def letters(feature: Feature) -> tuple[str, ...]:
    """Letters kept here for holes or shafts, in the order of the standard.

    >>> letters("shaft")[:5]
    ('d', 'e', 'f', 'g', 'h')
    """
    kept = {letter.lower() for f, letter in _deviations() if f == feature}
    ordered = (a for a in _ORDER if a in kept)
    return tuple(a.upper() if feature == "hole" else a for a in ordered)


def grade_width(nominal: float, grade: str | int) -> float:
    """Width in mm of a standard tolerance grade at the size `nominal` [mm].

    >>> grade_width(37.0, 7)
    0.025

    Raises
    ------
    TableError
        Outside 500 mm, for an unknown grade, and for IT14 to IT18 up to 1 mm.

    References
    ----------
    .. [1] ISO 286-1:2010, Table 1, as printed in a bearing maker's catalogue and a public
       transcription (the rows name them).
    """
    return mm(grade_row(nominal, grade)["it_um"])


def fundamental_deviation(nominal: float, letter: str, grade: str | int) -> Deviation:
    """The deviation that a letter gives at a size [mm], with the delta of fine holes added.

    ``ES = value + delta`` with ``delta = IT(n) - IT(n-1)`` for K, M, N up to grade 8 and P to U up
    to grade 7; js and JS lie half the grade above and below zero.

    >>> fundamental_deviation(37.0, "P", 7).value
    -0.017

    Raises
    ------
    TableError
        Where the letter is not kept, or not used at this size or grade.
    """
    text = _grade(grade)
    feature: Feature = "hole" if letter[0].isupper() else "shaft"
    number = _number(text)
    kept = _deviations().get((feature, letter))
    word = f"{letter}{text}"
    if kept is None:
        known = letter.lower() in _ORDER
        raise TableError(
            f"letter {letter} is {'not kept here' if known else 'no letter of ISO 286'}",
            found=word,
            allowed=" ".join(letters(feature)),
            closest=_near(nominal, feature, letter, number),
        )
    pick(_steps(), nominal, *_SIZES, what="the size")  # a size outside every step says so first
    here = [r for r in kept if float(r[_SIZES[0]]) < nominal <= float(r[_SIZES[1]])]
    if not here:
        start = min(float(r[_SIZES[0]]) for r in kept)
        raise TableError(
            f"{letter} is not used at this size",
            found=f"{word} at {nominal:g} mm",
            allowed=f"{letter} over {start:g} mm up to and including 500 mm",
            closest=_near(nominal, feature, letter, number),
        )
    fitting = [r for r in here if _holds(r["grades"], number)]
    if not fitting or _unused(nominal, letter, number):
        allowed = [g for g in GRADES if _defined(nominal, feature, letter, g)]
        raise TableError(
            f"{letter} is not used in grade {text} at this size",
            found=f"{word} at {nominal:g} mm",
            allowed=f"{letter} in grades {_span(allowed)}",
            closest=_near(nominal, feature, letter, number),
        )
    return _read(nominal, letter, text, fitting[0])


def classes(nominal: float, feature: Feature) -> Iterator[str]:
    """Every class that exists at a size [mm], letter by letter, finest grade first."""
    pick(_steps(), nominal, *_SIZES, what="the size")
    for letter in letters(feature):
        for grade in GRADES:
            if _defined(nominal, feature, letter, grade):
                yield f"{letter}{grade}"


def _guess(designation: str) -> str | None:
    """A class from a word turned round or cut short: 7P, P, IT7."""
    letter = "".join(c for c in designation if c.isalpha())
    grade = "".join(c for c in designation if c.isdecimal())
    if letter.upper() == "IT":
        letter = "H"
    return f"{letter}{_near_grade(grade or '7')}" if letter.lower() in _ORDER else None


def _near_grade(grade: str) -> str:
    """The grade that exists nearest to one written in digits."""
    if grade in GRADES:
        return grade
    return GRADES[-1] if len(grade.lstrip("0")) > 2 or int(grade) > 18 else str(int(grade))


def _grade(grade: str | int) -> str:
    text = str(grade).upper().removeprefix("IT")
    if text not in GRADES:
        raise TableError(
            f"there is no grade {grade}",
            found=str(grade),
            allowed="IT01, IT0, IT1 to IT18",
            closest="IT18" if text.isdecimal() and int(text) > 18 else None,
        )
    return text


def _number(grade: str) -> int:
    """Grades as numbers that can be compared: IT01 is -1."""
    return -1 if grade == "01" else int(grade)


@cache
def _grade_rows() -> dict[str, tuple[Row, ...]]:
    table = rows("iso286_it_grades")
    return {g: tuple(r for r in table if r["grade"] == f"IT{g}") for g in GRADES}


def _steps() -> tuple[Row, ...]:
    return _grade_rows()["7"]


def grade_row(nominal: float, grade: str | int) -> Row:
    """Row of a tolerance grade in the table of ISO 286-1 that holds a size [mm].

    Raises `TableError` outside the table, and for IT14 and coarser up to 1 mm.
    """
    text = _grade(grade)
    row = pick(_grade_rows()[text], nominal, *_SIZES, what="the size")
    if nominal <= _NO_COARSE_BELOW and _number(text) >= 14:
        raise TableError(
            f"IT{text} is not used up to 1 mm",
            found=f"IT{text} at {nominal:g} mm",
            allowed="IT01 to IT13 up to 1 mm",
            closest="IT13",
        )
    return row


@cache
def _deviations() -> dict[tuple[str, str], tuple[Row, ...]]:
    kept: dict[tuple[str, str], list[Row]] = {}
    for row in rows("iso286_fundamental_deviations"):
        kept.setdefault((row["feature"], row["letter"]), []).append(row)
    return {key: tuple(found) for key, found in kept.items()}


def _holds(words: str, number: int) -> bool:
    """Whether a cell such as ``all``, ``5-6``, ``<=8`` or ``<=3 or >7`` holds a grade.

    >>> _holds("<=3 or >7", 8), _holds("4-7", 8)
    (True, False)
    """
    if words == "all":
        return True
    for part in words.split(" or "):
        if part.startswith("<="):
            hit = number <= int(part[2:])
        elif part.startswith(">"):
            hit = number > int(part[1:])
        else:
            low, _, high = part.partition("-")
            hit = int(low) <= number <= int(high or low)
        if hit:
            return True
    return False


def _unused(nominal: float, letter: str, number: int) -> bool:
    """Classes that the standard leaves out although its rows would give a number."""
    if nominal <= _NO_COARSE_BELOW and (number >= 14 or (letter == "N" and number > 8)):
        return True
    # delta is given from IT3 upwards only; up to 3 mm it is zero
    return nominal > 3.0 and number < 3 and letter in ("K", "M", "N", "P", "R", "S", "T", "U")


def _defined(nominal: float, feature: Feature, letter: str, grade: str) -> bool:
    number = _number(grade)
    return not _unused(nominal, letter, number) and any(
        float(r[_SIZES[0]]) < nominal <= float(r[_SIZES[1]]) and _holds(r["grades"], number)
        for r in _deviations()[feature, letter]
    )


def existing(nominal: float, word: str | None) -> str | None:
    """The class `word` where it exists at a size [mm], else the nearest one that does.

    >>> existing(0.8, "P18"), existing(37.0, "P7")
    ('P13', 'P7')
    """
    if word is None:
        return None
    feature, letter, grade = split(word)
    return _near(nominal, feature, letter, _number(grade))


def _near(nominal: float, feature: Feature, letter: str, number: int) -> str | None:
    """The class nearest to one that does not exist: first the letter, then the grade."""
    alphabet = [*_ORDER, letter.lower()]
    if letter.lower() not in _ORDER:
        alphabet.sort()
    place = alphabet.index(letter.lower())

    def distance(word: str) -> tuple[int, int]:
        _, other, grade = split(word)
        return abs(alphabet.index(other.lower()) - place), abs(_number(grade) - number)

    at = min(max(nominal, 1e-6), 500.0)
    return min(classes(at, feature), key=distance, default=None)


def _span(grades: list[str]) -> str:
    if len(grades) == 1:
        return grades[0]
    numbers = [_number(g) for g in grades]
    if len(grades) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{grades[0]} to {grades[-1]}"
    return ", ".join(grades)


def _read(nominal: float, letter: str, grade: str, row: Row) -> Deviation:
    it = float(grade_row(nominal, grade)["it_um"])
    notes: list[str] = []
    if letter.lower() == "js":
        value = 0.5 * it
        if 7 <= _number(grade) <= 11 and it % 2.0 == 1.0:
            notes.append("the 1988 edition allowed this odd grade to be rounded to whole halves")
    else:
        value = float(row["value_um"])
    if row["plus_delta"] == "1":
        if letter == "M" and grade == "6" and 250.0 < nominal <= 315.0:
            value = -9.0  # the standard's own exception
            notes.append("exception of the standard: ES = -9 µm, the rule would give -11 µm")
        else:
            finer = float(grade_row(nominal, GRADES[GRADES.index(grade) - 1])["it_um"])
            value += it - finer
    if letter in ("S", "T", "U", "t", "u"):
        notes.append("seen as a deviation only, no published limits of this class compared")
    return Deviation(
        value=mm(value),
        symbol=row["deviation"],
        confidence=row["confidence"],
        source=row["provenance"],
        notes=tuple(notes),
    )
