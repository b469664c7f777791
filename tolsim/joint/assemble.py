"""A study made runnable: every supply's parts become margins over shared rows of normals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tolsim.errors import Problem, SpecError
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.materials import default_friction
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build, Interference, Joint, Margin
from tolsim.joint.pair import Pair, pair_margins
from tolsim.joint.population import Population
from tolsim.joint.seat import PressedSeat, SeatInputs, seat_margins
from tolsim.joint.sizes import SeatSizes, process_of, seat_sizes
from tolsim.mechanics.grip import seat_load
from tolsim.record import Array, record
from tolsim.spec.load import Stratum, Study
from tolsim.spec.study import Service

__all__ = ["assemble"]


@dataclass(frozen=True, slots=True)
class _Draft:
    margins: list[Margin]
    compute: list[Callable[[Rows], list[Array]]]
    interference: tuple[Source, Source]
    known: tuple[Interference, Interference]
    measured: tuple[Measured, ...]
    gauged: tuple[tuple[Source, Source], ...]
    populations: tuple[Population, ...]
    warnings: tuple[str, ...]


def assemble(study: Study) -> Joint:
    """The study as one recorded function of standard normals.

    Supplies built from the same parts share one build; all builds read the same rows, so their
    draws are common and differences between them are far more precise than either.

    Raises
    ------
    SpecError
        If the mechanics refuses a combination of parts; names the supply.
    """
    latent = Latent()
    groups: dict[tuple[tuple[str, str], ...], list[Stratum]] = {}
    for stratum in study.strata:
        groups.setdefault(tuple(sorted(stratum.names.items())), []).append(stratum)
    drafts: list[_Draft] = []
    ordered = [groups[key] for key in sorted(groups)]
    for members in ordered:
        try:
            drafts.append(_draft(study, members[0], latent))
        except ValueError as e:
            raise SpecError(
                [Problem(file=study.name, key=members[0].name, message=f"cannot be built: {e}")]
            ) from e
    layout: list[Callable[[Rows], list[Array]]] = []
    builds: list[Build] = []
    row = 0
    for members, draft in zip(ordered, drafts, strict=True):
        first = row
        row += len(draft.margins)
        interference = (row, row + 1)
        row += 2
        gauged = tuple((row + 2 * i, row + 2 * i + 1) for i in range(len(draft.gauged)))
        row += 2 * len(draft.gauged)
        layout.extend(draft.compute)
        layout.append(_both(draft.interference))
        layout.extend(_both(g) for g in draft.gauged)
        builds.append(
            Build(
                key=" + ".join(members[0].names.values()),
                names=tuple(m.name for m in members),
                share=math.fsum(m.share for m in members),
                parts=members[0].names,
                margins=tuple(draft.margins),
                first=first,
                interference=interference,
                known=draft.known,
                measured=draft.measured,
                gauged=gauged,
                populations=draft.populations,
                warnings=draft.warnings,
            )
        )

    def everything(z: Rows) -> list[Array]:
        return [y for f in layout for y in f(z)]

    recording = record(everything, len(latent.names))
    return Joint(
        latent=latent.names,
        evidence=latent.evidence,
        recording=recording,
        builds=tuple(builds),
        seat_names=_seat_names(study),
        warnings=study.warnings,
    )


def _both(sources: tuple[Source, Source]) -> Callable[[Rows], list[Array]]:
    return lambda z: [s(z) for s in sources]


def _seat_names(study: Study) -> tuple[str, str]:
    for stratum in study.strata:
        readings = stratum.readings.get("bore.diameter")
        if readings is not None and readings.seats is not None:
            return readings.seats
    return ("1", "2")


def _draft(study: Study, stratum: Stratum, latent: Latent) -> _Draft:
    spec = study.spec
    bore, bearing = stratum.bore, stratum.bearing
    age = spec.joint.age_at_assembly
    together = None if bore.sides is None else bore.sides.diameter
    sizes = {
        key: seat_sizes(
            latent,
            key,
            getattr(stratum.parts[role], name),
            part_name=stratum.names[role],
            readings=stratum.readings.get(key),
            correlation=correlation,
            age=age,
        )
        for key, role, name, correlation in (
            ("bore.diameter", "bore", "diameter", together),
            ("bearing.outside", "bearing", "outside", 0.0),
            ("bearing.clearance", "bearing", "clearance", 0.0),
        )
    }
    seat = PressedSeat(
        bore,
        bearing,
        smoothing=spec.joint.smoothing_factor,
        temperatures=spec.service.temperature,
    )
    pair = Pair(latent, bore.alignment, bore.span) if bore.alignment is not None else None
    load = _load(latent, spec.service, bore.span)
    friction = process_of(spec.joint.friction or default_friction(bore.material))
    margins: list[Margin] = []
    compute: list[Callable[[Rows], list[Array]]] = []
    interference: list[Source] = []
    for number in (1, 2):
        at = SeatInputs(
            bore=sizes["bore.diameter"].seats[number - 1],
            ring=sizes["bearing.outside"].seats[number - 1],
            clearance=sizes["bearing.clearance"].seats[number - 1],
            inner_fit=_row(latent, f"bearing.inner_fit@{number}", bearing.inner_fit),
            load=load,
            friction=_mapped(friction.size, latent.row(f"friction@{number}")),
        )
        described, function = seat_margins(
            seat,
            number,
            at,
            spec.limits,
            moment_arm=spec.service.ball_plane_offset,
            tilt=pair.bearing_tilt(number) if pair is not None else None,
        )
        margins += described
        compute.append(function)
        interference.append(_interference(seat, at))
    if pair is not None and spec.limits.misaligned is not None:
        described, function = pair_margins(pair, spec.limits.misaligned)
        margins += described
        compute.append(function)
    measured = [s for s in sizes.values() if s.measured is not None]
    return _Draft(
        margins=margins,
        compute=compute,
        interference=(interference[0], interference[1]),
        known=(_known(1, seat, sizes), _known(2, seat, sizes)),
        measured=tuple(s.measured for s in measured if s.measured is not None),
        gauged=tuple(s.gauged for s in measured),
        populations=tuple(p for s in sizes.values() for p in s.populations),
        warnings=tuple(seat.warnings),
    )


def _interference(seat: PressedSeat, at: SeatInputs) -> Source:
    return lambda z: seat.interference(z, at)


def _mapped(size: Callable[[Array], Array], row: Source) -> Source:
    return lambda z: size(row(z))


def _row(latent: Latent, name: str, distribution: object) -> Source | None:
    from tolsim.spec.quantities import Distribution

    if not isinstance(distribution, Distribution):
        return None
    return _mapped(process_of(distribution).size, latent.row(name))


def _load(latent: Latent, service: Service, span: float) -> Source | None:
    """Radial load on a seat [N]: as given, or the near reaction to a pedal force."""
    if service.seat_load is not None:
        process = process_of(service.seat_load)
        return _mapped(process.size, latent.row("seat_load"))
    if service.pedal_force is None:
        return None
    assert service.overhang is not None
    process, overhang = process_of(service.pedal_force), service.overhang
    row = latent.row("pedal_force")
    return lambda z: seat_load(process.size(row(z)), overhang, span)[0]


def _known(number: int, seat: PressedSeat, sizes: dict[str, SeatSizes]) -> Interference:
    bore, ring = sizes["bore.diameter"].limits, sizes["bearing.outside"].limits
    if bore is None or ring is None:
        missing = " and ".join(n for n, b in (("the bore", bore), ("the ring", ring)) if b is None)
        return Interference(
            seat=number, worst=None, root_sum_square=None, why=f"no drawing band for {missing}"
        )
    lost = seat.nominal_difference - seat.smoothing * sum(seat.rz)
    low, high = ring[0] - bore[1] + lost, ring[1] - bore[0] + lost
    middle = 0.5 * (low + high)
    half = 0.5 * math.hypot(bore[1] - bore[0], ring[1] - ring[0])
    return Interference(
        seat=number, worst=(low, high), root_sum_square=(middle - half, middle + half), why=None
    )
