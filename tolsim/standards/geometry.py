"""Geometrical tolerances that hold without an indication (ISO 2768-2), and advice for seats.

ISO 2768-2:1989 was withdrawn in 2021. Its successor ISO 22081 has no table of grades: values then
stand on the drawing. A drawing that keeps the old grades names ISO 2768-2:1989 with its date.
Straightness and flatness were seen in two places, perpendicularity in one; symmetry and run-out
are from memory, and every result says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tolsim.errors import closest
from tolsim.standards.deviations import grade_width
from tolsim.standards.tables import Row, TableError, mm, pick, rows

__all__ = ["CHARACTERISTICS", "General", "SeatAdvice", "general", "seat_run_out"]

CHARACTERISTICS: tuple[str, ...] = (
    "straightness and flatness",
    "perpendicularity",
    "symmetry",
    "circular run-out",
)
_CLASSES = ("H", "K", "L")
_COLUMNS = ("length_over_mm", "length_incl_mm")


@dataclass(frozen=True, kw_only=True, slots=True)
class General:
    """A general geometrical tolerance: the width of its zone in mm and where it was seen."""

    characteristic: str
    tolerance_class: str
    tolerance: float
    standard: str
    length_meaning: str
    confidence: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SeatAdvice:
    """Advice for a bearing seat: total radial and axial run-out in mm, in words the grades."""

    seat: str
    bearing_class: str
    size_grade: str
    radial: float
    radial_grade: str
    axial: float
    axial_grade: str
    confidence: str
    source: str


def general(characteristic: str, tolerance_class: str, length: float) -> General:
    """General geometrical tolerance of ISO 2768-2 for a `length` [mm].

    Parameters
    ----------
    characteristic : str
        ``straightness and flatness``, ``perpendicularity``, ``symmetry``, ``circular run-out``
        (the first three words also alone: ``flatness``).
    tolerance_class : str
        H, K or L.
    length : float
        Length of the line or longer side (straightness, flatness), of the shorter side
        (perpendicularity), of the feature (symmetry); run-out is the same at any size.

    Raises
    ------
    TableError
        Unknown characteristic or class, length over 3000 mm.

    Examples
    --------
    >>> general("perpendicularity", "K", 7.0).tolerance
    0.4
    """
    words = characteristic.strip().lower().replace("_", " ")
    alone = {"straightness": CHARACTERISTICS[0], "flatness": CHARACTERISTICS[0]}
    alone |= {"run-out": CHARACTERISTICS[3], "circular runout": CHARACTERISTICS[3]}
    words = alone.get(words, words)
    if words not in CHARACTERISTICS:
        raise TableError(
            "ISO 2768-2 has no such characteristic",
            found=characteristic,
            allowed=", ".join(CHARACTERISTICS),
            closest=closest(words, [*CHARACTERISTICS, *alone]),
        )
    cls = tolerance_class.strip().upper()
    if cls not in _CLASSES:
        raise TableError(
            "unknown class of ISO 2768-2",
            found=tolerance_class,
            allowed=", ".join(_CLASSES),
            closest="H" if cls < "H" else "L",
        )
    table = _general()[words, cls]
    row = table[0]
    if row[_COLUMNS[1]]:
        row = pick(table, length, *_COLUMNS, what="the length")
    return General(
        characteristic=words,
        tolerance_class=cls,
        tolerance=mm(row["tolerance_um"]),
        standard=row["standard"],
        length_meaning=row["note"],
        confidence=row["confidence"],
        source=row["provenance"],
    )


def seat_run_out(diameter: float, seat: str, bearing_class: str) -> SeatAdvice:
    """Advised total run-out of a bearing seat of a `diameter` [mm], from grades of ISO 286-1.

    A handbook's advice, not a standard: one source.

    >>> advice = seat_run_out(37.0, "housing", "Normal")
    >>> advice.radial, advice.axial  # IT6/2 and IT6
    (0.008, 0.016)
    """
    for row in rows("bearing_seat_geometry_recommendation"):
        if row["seat"] == seat and row["bearing_class"].removeprefix("P") == bearing_class:
            radial, axial = row["total_radial_run_out_grade"], row["total_axial_run_out_grade"]
            return SeatAdvice(
                seat=seat,
                bearing_class=bearing_class,
                size_grade=row["dimensional_grade"],
                radial=_part(diameter, radial),
                radial_grade=radial,
                axial=_part(diameter, axial),
                axial_grade=axial,
                confidence=row["confidence"],
                source=row["provenance"],
            )
    raise TableError(
        "no advice for this seat",
        found=f"{seat}, class {bearing_class}",
        allowed="shaft or housing; classes Normal, 6, 5",
    )


def _part(diameter: float, words: str) -> float:
    grade, _, divisor = words.partition("/")
    return round(grade_width(diameter, grade) / float(divisor or 1), 9)


@cache
def _general() -> dict[tuple[str, str], tuple[Row, ...]]:
    found: dict[tuple[str, str], list[Row]] = {}
    for row in rows("iso2768_2_general_geometrical"):
        words = row["characteristic"].replace("_", " ").replace("run out", "run-out")
        found.setdefault((words, row["class"]), []).append(row)
    return {key: tuple(rows_) for key, rows_ in found.items()}
