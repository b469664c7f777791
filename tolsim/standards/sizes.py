"""Sizes and fits after ISO 286: the limits of any class, and the classes nearest to a band.

Deviations are in mm from the nominal size. Where a value is doubtful its `confidence` says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from tolsim.standards.deviations import (
    GRADES,
    Feature,
    classes,
    existing,
    fundamental_deviation,
    grade_row,
    grade_width,
    letters,
    split,
)
from tolsim.standards.tables import TableError, mm, weakest

__all__ = [
    "GRADES",
    "Feature",
    "Limits",
    "Nearest",
    "TableError",
    "classes",
    "fundamental_deviation",
    "grade_width",
    "letters",
    "limits",
    "nearest",
    "split",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """The two limits of a class at a size, as deviations from `nominal`; all lengths in mm."""

    nominal: float
    feature: Feature
    designation: str
    lower: float
    upper: float
    grade: str
    confidence: str
    source: str
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> float:
        """Tolerance in mm: upper minus lower limit."""
        return self.upper - self.lower

    @property
    def mid(self) -> float:
        """Middle of the band as a deviation in mm."""
        return 0.5 * (self.lower + self.upper)


def limits(nominal: float, designation: str) -> Limits:
    """Limits of a tolerance class at a size.

    Parameters
    ----------
    nominal : float
        Nominal size [mm], over 0 up to and including 500.
    designation : str
        Letter and grade: ``"P7"`` is a hole, ``"js6"`` a shaft.

    Returns
    -------
    Limits
        Lower and upper deviation [mm], how well they are confirmed and where they were seen.

    Raises
    ------
    TableError
        Unknown class or size outside the table; carries the nearest class that exists.

    References
    ----------
    .. [1] ISO 286-1:2010, Tables 1 to 5; the sources read stand in the rows of the tables.

    Examples
    --------
    >>> seat = limits(37.0, "P7")
    >>> seat.lower, seat.upper
    (-0.042, -0.017)
    """
    try:
        feature, letter, grade = split(designation)
    except TableError as error:
        raise TableError(
            error.message,
            found=error.found,
            allowed=error.allowed,
            closest=existing(nominal, error.closest),
        ) from None
    nearer = fundamental_deviation(nominal, letter, grade)
    row = grade_row(nominal, grade)
    it = float(row["it_um"])
    value = round(1000.0 * nearer.value, 6)  # exact sums are taken in micrometres
    if nearer.symbol in ("ES", "es"):
        lower, upper = value - it, value
    else:
        lower, upper = value, value + it
    return Limits(
        nominal=nominal,
        feature=feature,
        designation=f"{letter}{grade}",
        lower=mm(round(lower, 6)),
        upper=mm(round(upper, 6)),
        grade=f"IT{grade}",
        confidence=weakest([nearer.confidence, row["confidence"]]),
        source=f"{nearer.source}; IT{grade}: {row['provenance']}",
        notes=nearer.notes,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Nearest:
    """Classes nearest to a free band, best first; the band is deviations in mm.

    ``inside`` fit wholly into the band (the widest first), ``outside`` hold all of it (the
    narrowest first), ``overlap`` share most with it. ``exact`` is the class that is the band.
    """

    nominal: float
    feature: Feature
    lower: float
    upper: float
    exact: Limits | None
    inside: tuple[Limits, ...]
    outside: tuple[Limits, ...]
    overlap: tuple[Limits, ...]

    def share(self, found: Limits) -> float:
        """Common width of a class and the band over the width of both together, 0 to 1."""
        common = min(found.upper, self.upper) - max(found.lower, self.lower)
        both = max(found.upper, self.upper) - min(found.lower, self.lower)
        return max(0.0, common) / both


def nearest(
    nominal: float, lower: float, upper: float, feature: Feature, *, count: int = 3
) -> Nearest:
    """Classes nearest to a band: inside it, outside it and by overlap.

    Parameters
    ----------
    nominal : float
        Nominal size [mm].
    lower, upper : float
        The band as deviations from it [mm], ``lower < upper``.
    feature : {"hole", "shaft"}
        Whether classes of holes or of shafts are wanted.
    count : int
        How many classes of each kind are returned at most.

    Notes
    -----
    Every class that exists at the size is compared. Overlap is the common width over the width of
    both together; at equal merit the class with the nearer middle comes first. Equal means equal
    to a picometre.

    Raises
    ------
    TableError
        Size outside the table.
    ValueError
        ``lower < upper`` fails.

    Examples
    --------
    >>> found = nearest(37.0, -0.040, -0.020, "hole")
    >>> [c.designation for c in (*found.inside[:1], *found.outside[:1], *found.overlap[:1])]
    ['P6', 'P7', 'P7']
    """
    if not lower < upper:
        raise ValueError(f"need lower < upper, got {lower} and {upper}")
    every = [limits(nominal, word) for word in classes(nominal, feature)]
    slack = 1e-9
    middle = 0.5 * (lower + upper)
    found = Nearest(
        nominal=nominal,
        feature=feature,
        lower=lower,
        upper=upper,
        exact=None,
        inside=(),
        outside=(),
        overlap=(),
    )

    def best(of: list[Limits], merit: Callable[[Limits], float]) -> tuple[Limits, ...]:
        ranked = sorted(of, key=lambda c: (-round(merit(c), 9), abs(c.mid - middle)))
        return tuple(ranked[:count])

    inside = [c for c in every if c.lower >= lower - slack and c.upper <= upper + slack]
    outside = [c for c in every if c.lower <= lower + slack and c.upper >= upper - slack]
    both = [c for c in inside if c in outside]
    return replace(
        found,
        exact=both[0] if both else None,
        inside=best(inside, lambda c: c.width),
        outside=best(outside, lambda c: -c.width),
        overlap=best([c for c in every if found.share(c) > 0.0], found.share),
    )
