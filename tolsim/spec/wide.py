"""Several readings a bore, at depths and angles: reduced to mean, taper and ovality.

Two layouts: wide, a column for each place, and long, columns that hold depth and angle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import Problem, SpecError
from tolsim.spec.bore_places import PlacedReading, long_readings, wide_readings
from tolsim.spec.bore_reduction import Reduced, reduce_bores
from tolsim.spec.form_noise import Gains
from tolsim.spec.places import Place
from tolsim.spec.readings import Readings
from tolsim.spec.roles import pair_notes, too_few, too_many_seats, two_seats
from tolsim.spec.sifting import Excluded
from tolsim.spec.states import MeasuredState

__all__ = ["Bores", "read_bores"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Bores:
    """Bores of one nominal size, each reduced from its readings; arrays of shape (n,), in mm.

    ``mean`` is the mean diameter at the middle of the band of depths, as deviation from nominal;
    ``taper`` the change of diameter over the band, positive where deeper is wider; ``oval`` the
    greatest minus the least diameter of the oval. ``taper`` and ``oval`` are None where the places
    cannot tell them; ``oval_is_least`` says that only two angles were measured, so that the true
    ovality is at least this. ``residual_sd`` is what the model leaves, over ``residual_dof``;
    ``gains`` how the scatter of one reading shows in what is fitted.

    ``readings_in`` = ``readings_used`` + number of ``excluded``; ``bores_in`` = n + number of
    ``bores_excluded``.
    """

    shown: str
    nominal_mm: float
    mean: NDArray[np.float64] = field(compare=False)
    taper: NDArray[np.float64] | None = field(compare=False)
    oval: NDArray[np.float64] | None = field(compare=False)
    oval_is_least: bool
    residual_sd: float | None
    residual_dof: int
    gains: Gains | None
    row: tuple[int, ...]
    side: tuple[str, ...] | None
    unit: tuple[str, ...] | None
    lot: tuple[str, ...] | None
    seats: tuple[str, str] | None
    places: tuple[Place, ...]
    readings_in: int
    readings_used: int
    excluded: tuple[Excluded, ...]
    bores_in: int
    bores_excluded: tuple[Excluded, ...]
    understood: tuple[str, ...]
    notes: tuple[str, ...]
    sha256: str
    resolution_mm: float
    state: MeasuredState

    def as_readings(self, column: str = "mean") -> Readings:
        """Mean diameters as readings, one a bore.

        The step of the means is the step of the readings divided by the readings of a bore.
        """
        exact = tuple(Decimal(repr(float(v))) for v in self.mean)
        return Readings(
            shown=self.shown,
            column=column,
            nominal_mm=self.nominal_mm,
            deviation=self.mean,
            exact=exact,
            row=self.row,
            side=self.side,
            unit=self.unit,
            lot=self.lot,
            order=None,
            seats=self.seats,
            rows_in=self.bores_in,
            excluded=self.bores_excluded,
            understood=self.understood,
            notes=self.notes,
            sha256=self.sha256,
            resolution_mm=self.resolution_mm * len(self.row) / max(1, self.readings_used),
            state=self.state,
        )


def read_bores(
    path: Path,
    *,
    shown: str,
    nominal_mm: float,
    column: str | None = None,
    depth: str | None = None,
    angle: str | None = None,
    places: Sequence[Place] | None = None,
    side: str | None = None,
    unit: str | None = None,
    lot: str | None = None,
    sheet: str | None = None,
    band_mm: tuple[float, float] | None = None,
) -> Bores:
    """Read several readings a bore and reduce them.

    Parameters
    ----------
    path, shown, nominal_mm, sheet
        As for :func:`tolsim.spec.readings.read_readings`.
    column, depth, angle : str, optional
        Long layout: the columns of readings, of depth (``_mm``) and of angle (``_deg``).
    places : sequence of Place, optional
        Wide layout: a column for each place. Without them, and without `column`, places are read
        from names such as ``left z2 a90_mm``; groups of names above each other are joined.
    side, unit, lot : str, optional
        Columns that name the seat, the unit and the lot; needed in the long layout to tell which
        readings belong to one bore.
    band_mm : pair of float, optional
        Depths [mm] that the ring covers; the measured ones if not given.

    Raises
    ------
    SpecError
        If the file does not hold such readings; every fault found, each with its line.
    """
    roles = {"seat": side, "unit": unit, "lot": lot}
    given = {role: name for role, name in roles.items() if name is not None}
    if column is not None:
        source = long_readings(
            path,
            shown=shown,
            nominal_mm=nominal_mm,
            column=column,
            depth=depth,
            angle=angle,
            given=given,
            sheet=sheet,
        )
    else:
        source = wide_readings(
            path, shown=shown, nominal_mm=nominal_mm, places=places, given=given, sheet=sheet
        )
    _refuse_twice(source.shown, source.readings)
    reduced = reduce_bores(source.readings, band_mm)
    excluded = sorted((*source.excluded, *reduced.excluded), key=lambda e: (e.row, e.column))
    lines = tuple(b[0].line for b in reduced.bores)
    sides = _texts([b[0].side for b in reduced.bores])
    units = _texts([b[0].unit for b in reduced.bores])
    used = sum(len(b) for b in reduced.bores)
    empty = source.bores_without_reading
    bores_in = len(reduced.bores) + len(reduced.bores_excluded) + len(empty)
    bores_excluded = tuple(sorted((*reduced.bores_excluded, *empty), key=lambda e: e.row))
    problems = [
        *too_few(source.shown, "", bores_in, len(reduced.bores), bores_excluded),
        *too_many_seats(source.shown, given.get("seat", "seat"), sides, lines),
    ]
    if problems:
        raise SpecError(problems)
    seats = two_seats(sides)
    return Bores(
        shown=source.shown,
        nominal_mm=float(nominal_mm),
        mean=reduced.mean,
        taper=reduced.taper,
        oval=reduced.oval,
        oval_is_least=reduced.model.oval == "across",
        residual_sd=reduced.residual_sd,
        residual_dof=reduced.residual_dof,
        gains=reduced.gains,
        row=lines,
        side=sides,
        unit=units,
        lot=_texts([b[0].lot for b in reduced.bores]),
        seats=seats,
        places=source.places,
        readings_in=used + len(excluded),
        readings_used=used,
        excluded=tuple(excluded),
        bores_in=bores_in,
        bores_excluded=bores_excluded,
        understood=(
            *source.understood,
            f"{used + len(excluded)} readings = {used} used + {len(excluded)} excluded",
            f"{bores_in} bores = {len(reduced.bores)} used + {len(bores_excluded)} excluded",
        ),
        notes=(*_form_notes(reduced), *pair_notes(units, sides, seats)),
        sha256=source.sha256,
        resolution_mm=source.resolution_mm,
        state=source.state,
    )


def _texts(values: Sequence[str | None]) -> tuple[str, ...] | None:
    """Texts where every bore has one, else None."""
    texts = tuple(v for v in values if v is not None)
    return texts if values and len(texts) == len(values) else None


def _refuse_twice(shown: str, readings: Sequence[PlacedReading]) -> None:
    """Refuse two readings of one place of one bore."""
    seen: dict[tuple[object, ...], PlacedReading] = {}
    problems = []
    for r in readings:
        first = seen.setdefault((*r.bore, r.depth, r.angle), r)
        if first is not r:
            problems.append(
                Problem(
                    file=shown,
                    line=r.line,
                    key=r.column,
                    message=f"two readings of one place, and which is right is not known: "
                    f"rows {first.line}, {r.line}",
                    allowed="one reading a place of a bore",
                )
            )
    if problems:
        raise SpecError(problems[:50])


def _form_notes(reduced: Reduced) -> list[str]:
    """What the places cannot show."""
    notes = []
    if reduced.model.oval == "across":
        notes.append("two angles: their difference is shown; the bore is at least so oval")
    if reduced.model.oval == "none":
        notes.append("angles that cannot show ovality: an oval bore moves the mean")
    if not reduced.model.taper:
        notes.append("one depth: taper is not seen")
    return notes
