"""A column of lengths read with one decimal mark, and what to say when no mark makes sense."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from tolsim.errors import Problem
from tolsim.spec.cells import Number, safe
from tolsim.spec.column_units import listed_rows
from tolsim.units import SUFFIXES, suffixes_of

__all__ = ["Trial", "diagnosis", "trial_of"]

_REACH_MM = Decimal(1)
_FAR = Decimal(10) ** 30


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """The column read with one decimal mark: indices of sizes, deviations and neither."""

    mark: str
    numbers: dict[int, Number]
    unread: tuple[int, ...]
    sizes: tuple[int, ...]
    deviations: tuple[int, ...]
    neither: tuple[int, ...]

    @property
    def fits(self) -> bool:
        """Whether every number is a size, or every number a deviation."""
        return not (self.unread or self.neither) and not (self.sizes and self.deviations)

    @property
    def placed(self) -> int:
        """How many numbers mean the same kind."""
        return max(len(self.sizes), len(self.deviations))


def trial_of(
    mark: str,
    numbers: dict[int, Number],
    both: Sequence[int],
    factor: Decimal,
    nominal: Decimal,
    deviations_allowed: bool,
    reach: Decimal | None = None,
) -> Trial:
    """Sort the numbers of one reading of the column into sizes, deviations and neither.

    A number counts when it lies within `reach` of nominal or of zero: 1 mm, or a third of the
    nominal if that is less. With nominal zero all are sizes, and a unit must be known.
    """
    if reach is None:
        reach = min(_REACH_MM, nominal / 3) if nominal else _REACH_MM
    zero_based = not nominal
    sizes, deviations, neither = [], [], []
    for i, number in numbers.items():
        value = number.value * factor
        if abs(value - nominal) <= reach and (deviations_allowed or not zero_based):
            sizes.append(i)
        elif deviations_allowed and abs(value) <= reach:
            deviations.append(i)
        else:
            neither.append(i)
    return Trial(
        mark=mark,
        numbers=numbers,
        unread=tuple(i for i in both if i not in numbers),
        sizes=tuple(sizes),
        deviations=tuple(deviations),
        neither=tuple(neither),
    )


def diagnosis(
    shown: str,
    name: str,
    cells: Sequence[str],
    lines: Sequence[int],
    trials: Sequence[Trial],
    nominal: Decimal,
    unit: str | None,
) -> Problem:
    """Why no reading of the column makes sense, with the rows that say so."""
    best = max(trials, key=lambda t: (t.placed, len(t.neither)))
    other = next(t for t in trials if t is not best)
    placed = set(best.sizes) | set(best.deviations)
    rescued = [i for i in (*other.sizes, *other.deviations) if i not in placed]
    size_text = f"{nominal.normalize():f} mm"

    def problem(indices: Sequence[int], message: str, allowed: str) -> Problem:
        first = min(indices)
        return Problem(
            file=shown,
            line=lines[first],
            key=name,
            message=f"{message}: {listed_rows(sorted(lines[i] for i in indices))}",
            found=safe(cells[first]),
            allowed=allowed,
        )

    if placed and rescued and (best.unread or best.neither):
        return problem(
            rescued,
            f"decimal marks are mixed: most rows use "
            f"{'a point' if best.mark == '.' else 'a comma'}, these the other",
            "one decimal mark for the whole column",
        )
    if best.sizes and best.deviations:
        fewer = min(best.sizes, best.deviations, key=len)
        kind = "sizes" if fewer is best.sizes else "deviations"
        rest = "deviations" if fewer is best.sizes else "sizes"
        return problem(
            fewer,
            f"sizes and deviations are mixed: these are {kind}, the others {rest}",
            f"sizes near {size_text} in every row, or deviations in every row",
        )
    if best.placed:
        bad = best.neither or best.unread
        in_um = _would_fit(replace(best, numbers={i: best.numbers[i] for i in best.neither}), "um")
        kind = "a size near" if best.sizes else "a deviation from"
        ask = " (deviations in um among sizes?)" if best.sizes and in_um else ""
        return problem(
            bad,
            f"not {kind} {size_text}, as the other rows are{ask}",
            "values within 1 mm; a line that starts with # is left out",
        )
    hints = [u for u in suffixes_of("length") if u != unit and _would_fit(best, u, nominal)]
    if unit is None:
        return problem(
            best.neither or best.unread,
            f"the unit is not known and the values are no sizes near {size_text} in mm",
            f"a name that ends in {', '.join('_' + u for u in suffixes_of('length'))}, "
            "or a row of units below the header",
        )
    message = f"no value is near {size_text} or near zero in {unit}"
    as_sizes = [u for u in hints if not _would_fit(best, u)]
    if hints:
        unit = (as_sizes or hints)[0]
        message += f" (in {unit} they would be {'sizes' if as_sizes else 'deviations'})"
    return problem(best.neither or best.unread, message, "the right column, unit and nominal size")


def _would_fit(trial: Trial, unit: str, nominal: Decimal | None = None) -> bool:
    """Whether the numbers would make sense in this unit: as deviations, or near this nominal."""
    factor = Decimal(repr(SUFFIXES[unit].factor)).normalize()
    again = trial_of(trial.mark, trial.numbers, (), factor, nominal or _FAR, True)
    return again.fits and again.placed > 0
