"""What files beside a part say about more than one size: alignment, form, and settling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tolsim.errors import Problem, SpecError
from tolsim.mechanics.settling import kohlrausch, log_time_share
from tolsim.spec.alignment_axes import Section, read_axes
from tolsim.spec.alignment_readings import AlignmentReadings, Figures, read_alignment_figures
from tolsim.spec.alignment_spec import AlignmentFile
from tolsim.spec.cells import safe
from tolsim.spec.form_noise import ReadingNoise, noise_of
from tolsim.spec.parts import State
from tolsim.spec.readings import Readings, read_readings
from tolsim.spec.route_steps import Readings as ReadingsStep
from tolsim.spec.route_steps import Settle, Settled, Step, TwoAges, Warm
from tolsim.spec.settling_readings import SettlingReadings, pair_ages, read_two_ages
from tolsim.spec.sifting import Excluded, left_out
from tolsim.spec.states import MeasuredState, same_age
from tolsim.spec.wide import Bores, read_bores

__all__ = ["read_alignment", "read_bore_or_size", "read_settling", "refuse_state"]

_LEAST_SHARE = 0.02  # of the whole change between the two ages
_WITHIN_K = 2.0  # common practice, no source


def read_bore_or_size(step: ReadingsStep, path: Path, *, shown: str, nominal_mm: float) -> Readings:
    """Sizes of a file, one a bore; several readings a bore are reduced, taper and ovality kept.

    Raises
    ------
    SpecError
        If the file does not hold such readings.
    """
    if not step.placed:
        assert step.column is not None
        sizes = read_readings(
            path,
            shown=shown,
            column=step.column,
            nominal_mm=nominal_mm,
            side=step.side,
            unit=step.unit,
            lot=step.lot,
            order=step.order,
            sheet=step.sheet,
        )
        _refuse_single(step, shown, sizes)
        return replace(sizes, notes=(*_losses(shown, sizes.excluded, sizes.rows_in), *sizes.notes))
    bores = read_bores(
        path,
        shown=shown,
        nominal_mm=nominal_mm,
        column=step.column,
        depth=step.depth,
        angle=step.angle,
        side=step.side,
        unit=step.unit,
        lot=step.lot,
        sheet=step.sheet,
        band_mm=step.depth_band,
    )
    lost = _losses(shown, bores.excluded, bores.readings_in, "readings")
    notes = [*lost, *_losses(shown, bores.bores_excluded, bores.bores_in, "bores"), *bores.notes]
    n = len(bores.row)
    if bores.taper is not None:
        notes.append(
            f"{shown}: taper of {n} bores from depths: mean {1e3 * bores.taper.mean():+.2g} µm"
        )
    noise = noise_of(bores.gains, step.gauge_sd, bores.residual_sd, bores.residual_dof)
    if bores.oval is not None:
        least = "at least " if bores.oval_is_least else ""
        notes.append(
            f"{shown}: ovality of {n} bores from angles: mean {least}"
            f"{1e3 * bores.oval.mean():.2g} µm (greatest minus least diameter) as read"
        )
    if bores.oval is not None or bores.taper is not None:
        notes.append(f"{shown}: {_noise_text(bores, noise)}")
    as_sizes = bores.as_readings(step.column or "mean of places")
    _refuse_single(step, shown, as_sizes)
    return replace(
        as_sizes,
        notes=tuple(notes),
        taper=bores.taper,
        oval=bores.oval,
        oval_components=1 if bores.oval_is_least else 2,
        gains=bores.gains,
        noise=noise,
    )


def _refuse_single(step: ReadingsStep, shown: str, readings: Readings) -> None:
    """Refuse a seat with one reading, which shows no spread."""
    if readings.seats is None:
        return
    problems = [
        Problem(
            file=shown,
            line=readings.row[list(readings.side or ()).index(seat)],
            key=step.side or "",
            message=f"{safe(seat)}: one usable reading; a spread needs two",
            allowed="at least two readings of each seat; without side both seats are taken alike",
        )
        for seat, values in readings.by_seat().items()
        if len(values) < 2
    ]
    if problems:
        raise SpecError(problems)


def _noise_text(bores: Bores, noise: ReadingNoise | None) -> str:
    """What the scatter of single readings does to the form, and whether it is taken out."""
    form = " and ".join(
        word for word, x in (("taper", bores.taper), ("ovality", bores.oval)) if x is not None
    )
    if noise is None:
        return (
            f"the scatter of single readings is not known and still in the {form}, which it makes "
            "look greater; gauge_sd_um states it"
        )
    text = f"a single reading scatters by {1e3 * noise.sd:.2g} µm ({noise.told})"
    if bores.oval is not None and not bores.oval_is_least:
        text += f", so that a round bore looks {1e3 * noise.looks_oval:.2g} µm oval on average"
    return f"{text}; this is taken out of the spread of the {form}"


def _losses(shown: str, excluded: Sequence[Excluded], of: int, what: str = "rows") -> list[str]:
    """What is not used, said where it is used."""
    return [f"{shown}: {left_out(excluded, of, what)}"] if excluded else []


def read_alignment(step: AlignmentFile, path: Path, *, shown: str) -> AlignmentReadings:
    """Alignment of seats from coordinates or from figures.

    Raises
    ------
    SpecError
        If the file does not hold such readings.
    """
    if step.sections:
        return read_axes(
            path,
            shown=shown,
            sections=tuple(
                Section(x=s.x, y=s.y, depth_mm=s.depth, depth=s.depth_column) for s in step.sections
            ),
            middle_mm=step.middle,
            depth_from=step.depth_from,
            side=step.side,
            unit=step.unit,
            lot=step.lot,
            sheet=step.sheet,
        )
    seen = read_alignment_figures(
        path,
        shown=shown,
        figures=Figures(
            offset=step.offset,
            runout=step.runout,
            coaxiality=step.coaxiality,
            tilt=step.tilt,
            parallelism=step.parallelism,
            length_mm=step.length,
        ),
        side=step.side,
        unit=step.unit,
        lot=step.lot,
        sheet=step.sheet,
    )
    faults = _no_rice(seen, step) if step.shape == "rice" else []
    if faults:
        raise SpecError(faults)
    return replace(seen, shape=step.shape)


def _no_rice(seen: AlignmentReadings, step: AlignmentFile) -> list[Problem]:
    """Columns, seat by seat, that have no distance and spread."""
    columns = {
        "offset": step.offset or step.runout or step.coaxiality,
        "tilt": step.tilt or step.parallelism,
    }
    faults = []
    for what, column in columns.items():
        groups = seen.magnitudes(what)
        names = [""] if len(groups) == 1 else [f" of seat {safe(str(s))}" for s in seen.seats or ()]
        for r, name in zip(groups, names, strict=bool(groups)):
            alike = len(set(r.tolist())) < 2
            if len(r) < 3 or alike:
                faults.append(
                    Problem(
                        file=seen.shown,
                        key=column or what,
                        message=f'shape = "rice" needs at least 3 magnitudes{name} that differ',
                        found=f"{len(r)} readings" + (", all alike" if alike else ""),
                        allowed='more readings, or shape = "rayleigh"',
                    )
                )
    return faults


def read_settling(
    step: Settle, given: TwoAges, path: Path, later: Path | None, *, shown: str, nominal_mm: float
) -> tuple[Settled, SettlingReadings]:
    """Whole change that the same parts at two ages showed, by the step's own law of time.

    Raises
    ------
    SpecError
        If the file does not hold the same parts at two ages, or next to nothing of the change
        falls between them.
    """
    if later is None:
        assert given.age is not None
        pairs = read_two_ages(
            path,
            shown=shown,
            column=given.column,
            nominal_mm=nominal_mm,
            age=given.age,
            unit=given.unit,
            side=given.side,
            lot=given.lot,
            sheet=given.sheet,
        )
    else:
        first, second = (
            read_readings(
                file,
                shown=name,
                column=given.column,
                nominal_mm=nominal_mm,
                side=given.side,
                unit=given.unit,
                lot=given.lot,
                sheet=given.sheet,
            )
            for file, name in ((path, shown), (later, f"{Path(shown).parent / later.name}"))
        )
        pairs = pair_ages(first, second)
    ages = (pairs.first_age, pairs.second_age) if given.ages is None else given.ages
    if ages[0] is None or ages[1] is None:
        raise SpecError(
            [
                Problem(
                    file=shown,
                    message="the ages of the two sets of readings are not stated",
                    allowed="a column of ages, or ages_h = [first, second] in the step",
                )
            ]
        )
    share = _progress(step, ages[1]) - _progress(step, ages[0])
    if share < _LEAST_SHARE:
        raise SpecError(
            [
                Problem(
                    file=shown,
                    message=f"only {100 * share:.2g} % of the change falls between "
                    f"{ages[0]:g} and {ages[1]:g} h by the step's time_h and exponent",
                    allowed=f"at least {100 * _LEAST_SHARE:g} %",
                )
            ]
        )
    means = pairs.mean_of_parts()
    if len(means) < 2:
        raise SpecError([Problem(file=shown, message="one part at two ages; a spread needs two")])
    per_part = len(pairs) / len(means)
    floor = pairs.resolution_mm / np.sqrt(6.0)
    n, sd = len(means), max(float(means.std(ddof=1)), floor)
    gauge = given.gauge_sd * np.sqrt(2.0 / per_part)
    notes = (
        f"{shown}: {n} parts changed by {1e3 * float(means.mean()):+.3g} µm on average (spread "
        f"{1e3 * sd:.2g} µm) from {ages[0]:g} to {ages[1]:g} h, {100 * share:.0f} % of the whole "
        "change by the stated law of time; the law itself is an assumption",
        *(f"{shown}: {note}" for note in pairs.notes if given.ages is None),
    )
    rest = sorted({*pairs.unpaired, *pairs.excluded}, key=lambda e: (e.row, e.column))
    notes = (*notes, *_losses(shown, rest, pairs.rows_in, "readings"))
    return (
        Settled(
            n=n,
            mean=float(means.mean()) / share,
            sd=sd / share,
            share=share,
            gauge_sd=float(gauge) / share,
            notes=notes,
        ),
        pairs,
    )


def _progress(step: Settle, age: float) -> float:
    if step.law == "log-time":
        return float(min(1.0, log_time_share(age, step.time)))
    return float(kohlrausch(age, step.time, step.exponent))


def refuse_state(
    shown: str,
    key: str,
    found: MeasuredState,
    stated: State | None,
    route: tuple[Step, ...],
) -> list[Problem]:
    """Problems where a file of readings says another state than the part does.

    An age counts where the part goes on settling; a temperature may be corrected by a ``warm``
    step.
    """
    state = stated or State()
    warm = next((s.temperature for s in route if isinstance(s, Warm)), None)
    expected = state.temperature if warm is None else warm
    settles = any(isinstance(s, Settle) for s in route)
    wrong: list[tuple[str, str, str]] = []
    if found.temperature is not None and abs(found.temperature - expected) > _WITHIN_K:
        wrong.append(
            (
                "temperature_C",
                f"{found.temperature:g}",
                f"{expected:g}, or a warm step that corrects the readings",
            )
        )
    counts = settles or (stated is not None and "age" in stated.model_fields_set)
    if found.age is not None and counts and not same_age(found.age, state.age):
        wrong.append(("age_h", f"{found.age:g}", f"{state.age:g}"))
    if found.coated is not None and found.coated != state.coated:
        wrong.append(("coated", str(found.coated).lower(), str(state.coated).lower()))
    if found.size is not None and _kind(found.size) != state.size:
        wrong.append(("size", found.size, state.size))
    return [
        Problem(
            file=shown,
            key=f"{key}.state.{name}",
            message="the readings were taken in another state than the part states",
            found=f"{name} = {value}",
            allowed=allowed if stated is not None else f"{allowed} (the part states nothing)",
        )
        for name, value, allowed in wrong
    ]


def _kind(word: str) -> str:
    """A kind of diameter as the part would call it."""
    return word.strip().casefold().replace(" ", "-").replace("_", "-").removesuffix("-diameter")
