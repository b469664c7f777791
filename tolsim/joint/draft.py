"""One combination of parts: what varies in it, its margins, and what is known without drawing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from tolsim.joint.aligned import alignment_notes
from tolsim.joint.assumed import Assumptions
from tolsim.joint.axes import (
    Vector,
    face_tilts,
    glued_axes,
    part_axes,
    screwed_axes,
    tilted_axes,
)
from tolsim.joint.bore_form import Form, form_as_read
from tolsim.joint.doubts import doubts
from tolsim.joint.films import with_film
from tolsim.joint.formed import form_errors, with_form
from tolsim.joint.idle import idle, idle_constants
from tolsim.joint.known import known_interference, not_asked
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.layers import build_seat
from tolsim.joint.loads import Loads, StrokeLoads, seat_loads
from tolsim.joint.materials import default_friction, material_of, tabled_name
from tolsim.joint.measured import Measured
from tolsim.joint.model import Interference, Margin
from tolsim.joint.pair import Pair, pair_margins
from tolsim.joint.picking import picked_sizes
from tolsim.joint.screwed import screwed_margins
from tolsim.joint.seat import SeatMargins
from tolsim.joint.seat_model import REFERENCE, BondInputs, Seat, SeatInputs
from tolsim.joint.sizes import SeatSizes, process_of, seat_sizes
from tolsim.joint.stated import stated_constants, stated_friction
from tolsim.record import Array
from tolsim.spec.load import Stratum
from tolsim.spec.quantities import Distribution
from tolsim.spec.study import StudySpec

__all__ = ["Draft", "Group", "draft_build"]


@dataclass(frozen=True, slots=True)
class Group:
    """Margins that are computed together."""

    described: list[Margin]
    compute: Callable[[Rows], list[Array]]


@dataclass(frozen=True, slots=True)
class Draft:
    """Everything of one combination of parts, before its outputs get their places."""

    margins: list[Group]
    interference: tuple[Source, Source]
    known: tuple[Interference, Interference]
    sizes: dict[str, SeatSizes]
    warnings: tuple[str, ...]

    more: tuple[Measured, ...] = ()
    #: What statics makes of pedal and chain, where the study states them.
    strokes: StrokeLoads | None = None

    @property
    def measured(self) -> list[tuple[Measured, tuple[Source, Source]]]:
        """What rests on readings, and where its sizes as gauged are to be had."""
        found = [(s.measured, s.gauged) for s in self.sizes.values() if s.measured is not None]
        found += [(m, m.seats) for s in self.sizes.values() for m in s.changes]
        return [*found, *((m, m.seats) for m in self.more)]


def draft_build(
    spec: StudySpec,
    stratum: Stratum,
    latent: Latent,
    assumptions: Assumptions,
    *,
    tell: bool = True,
) -> Draft:
    """Margins of one combination of parts over the rows of `latent`.

    `tell` works out what is told of the parts besides their margins, and looks for where the
    physics does not hold; that costs more than all else.

    Raises
    ------
    ValueError
        If mechanics or a process refuses the parts; says why.
    """
    assumptions = assumptions.of(stated_constants(spec, stratum))
    sizes = _sizes(spec, stratum, latent, assumptions)
    seat = build_seat(spec, stratum, assumptions)
    loads = seat_loads(latent, spec.service, stratum.bore.span, tell=tell)
    form = form_as_read(stratum, latent, spec.joint.kind)
    inputs = [
        _inputs(spec, stratum, latent, assumptions, sizes, loads, form, number) for number in (1, 2)
    ]
    pair, groups = _axes(spec, stratum, latent, assumptions, seat, inputs)
    doubtful = doubts(seat, spec, stratum, inputs, len(latent.names)) if tell else ()
    doubtful += idle(seat, spec, stratum)
    warnings = [*seat.warnings, *doubtful, *(note for s in sizes.values() for note in s.notes)]
    for role in ("bore", "sleeve"):
        alignment = getattr(stratum.parts.get(role), "alignment", None)
        if alignment is not None and alignment.seen is not None and pair is not None:
            warnings += alignment_notes(stratum.names[role], alignment.seen)
    interference: list[Source] = []
    for number, at in zip((1, 2), inputs, strict=True):
        margins = SeatMargins(
            seat=seat,
            number=number,
            at=at,
            limits=spec.limits,
            temperatures=spec.service.temperature,
            moment_arm=spec.service.ball_plane_offset,
            tilt=pair.bearing_tilt(number) if pair is not None else None,
            assumptions=assumptions,
            hybrid=_hybrid(spec, stratum, assumptions),
            late=_late(spec, seat, sizes, at, number),
        )
        groups.append(Group(margins.described, margins.compute))
        interference.append(_held(seat, at))
    if pair is not None and spec.limits.misaligned is not None:
        described, compute = pair_margins(pair, spec.limits.misaligned)
        groups.append(Group(described, compute))
    known = known_interference(spec.joint.kind, seat, sizes) if tell else not_asked()
    warnings += idle_constants(spec, assumptions)
    return Draft(
        margins=groups,
        interference=(interference[0], interference[1]),
        known=known,
        sizes=sizes,
        warnings=tuple(warnings),
        strokes=None if loads is None else loads.told,
        more=(*form.tapers, *form.oval, *(() if pair is None else pair.axes.measured)),
    )


def _sizes(
    spec: StudySpec, stratum: Stratum, latent: Latent, assumptions: Assumptions
) -> dict[str, SeatSizes]:
    bore, sleeve, kind = stratum.bore, stratum.sleeve, spec.joint.kind
    together = None if bore.sides is None else bore.sides.diameter
    wanted: list[tuple[str, float | None, tuple[str, float] | None]] = []
    if kind != "threaded":
        wanted.append(("bore.diameter", together, None))
    alike = 1.0 if stratum.bearing.drawn == "per-unit" else 0.0
    wanted += [("bearing.outside", alike, None), ("bearing.clearance", alike, None)]
    if sleeve is not None:
        sides = None if sleeve.sides is None else sleeve.sides.diameter
        wanted.append(("sleeve.inside", sides, None))
        if kind != "threaded":
            wanted.append(("sleeve.outside", sides, ("sleeve.inside", sleeve.together)))
    materials = {"bore": bore.material, "bearing": stratum.bearing.material}
    if sleeve is not None:
        materials["sleeve"] = sleeve.material
    sizes: dict[str, SeatSizes] = {}
    for key, correlation, tied in wanted:
        role, name = key.split(".")
        sizes[key] = seat_sizes(
            latent,
            key,
            getattr(stratum.parts[role], name),
            part_name=stratum.names[role],
            material=materials[role],
            assumptions=assumptions,
            readings=stratum.readings.get(key),
            correlation=correlation,
            age=spec.joint.age_at_assembly,
            tied=tied,
            life=spec.service.life,
        )
    sizes = with_form(latent, sizes, stratum)
    if sleeve is not None and sleeve.coating is not None:
        pressed = kind == "sleeved"
        sizes = with_film(
            latent, sizes, sleeve, sleeve.coating, pressed=pressed, assumptions=assumptions
        )
    if spec.joint.pick is not None:
        receives = "bore.diameter" if kind == "pressed" else "sleeve.inside"
        sizes = picked_sizes(latent, sizes, receives, spec.joint.pick)
    return sizes


def _inputs(
    spec: StudySpec,
    stratum: Stratum,
    latent: Latent,
    assumptions: Assumptions,
    sizes: dict[str, SeatSizes],
    loads: Loads | None,
    form: Form,
    number: int,
) -> SeatInputs:
    def at(key: str) -> Source | None:
        found = sizes.get(key)
        return None if found is None else found.seats[number - 1]

    sleeve, adhesive = stratum.sleeve, stratum.adhesive
    received = stratum.bore.material if sleeve is None else sleeve.material
    given = spec.joint.friction

    def friction(into: str, pressed: str | None, default: Callable[[], Distribution]) -> Source:
        stated = stated_friction(stratum, into, pressed)
        spread = given
        if spread is None:
            spread = default() if stated is None else assumptions.spread_of(stated)
        name = "friction" if pressed == "bearing" else "sleeve.friction"
        return _row(latent, f"{name}@{number}", spread)

    tight, loose = spec.limits.tight, spec.limits.loose
    # an assumption counts as used only where a limit asks for friction
    slides = (tight is not None and tight.press_force is not None) or (
        loose is not None
        and (loose.micro_slip or loose.slip_torque is not None or loose.pull_out is not None)
    )
    ring, clearance = at("bearing.outside"), at("bearing.clearance")
    assert ring is not None
    assert clearance is not None
    return SeatInputs(
        bore=at("bore.diameter") or _nothing,
        ring=ring,
        clearance=clearance,
        inner_fit=_drawn(latent, f"bearing.inner_fit@{number}", stratum.bearing.inner_fit),
        load=None if loads is None else loads.seats[number - 1],
        friction=friction(
            "bore" if sleeve is None else "sleeve",
            "bearing",
            lambda: default_friction(assumptions, received),
        )
        if slides
        else _nothing,
        inside=at("sleeve.inside"),
        outside=at("sleeve.outside"),
        sleeve_friction=None
        if sleeve is None or tight is None or tight.sleeve_press_force is None
        else friction(
            "bore",
            None,
            lambda: default_friction(assumptions, stratum.bore.material, inner=sleeve.material),
        ),
        bond=None if adhesive is None else _bond(latent, stratum, assumptions, number),
        lobes=tuple(
            form.amplitude(number)
            if e.role == "bore" and form.oval
            else e.amplitude(latent, number)
            for e in form_errors(spec.joint.kind, stratum)
        ),
        taper=form.taper(number) or _drawn(latent, f"bore.taper@{number}", stratum.bore.taper),
    )


def _late(
    spec: StudySpec, seat: Seat, sizes: dict[str, SeatSizes], at: SeatInputs, number: int
) -> SeatInputs | None:
    """What varies at the end of life, where something has changed by then."""
    if spec.service.life is None:
        return None
    late = {key: s.late[number - 1] for key, s in sizes.items() if s.late is not s.seats}
    if not late and seat.aged is None:
        return None
    return replace(
        at,
        bore=late.get("bore.diameter", at.bore),
        ring=late.get("bearing.outside", at.ring),
        inside=late.get("sleeve.inside", at.inside),
        outside=late.get("sleeve.outside", at.outside),
        made=at,
    )


def _nothing(z: Rows) -> Array:
    return 0.0


def _bond(latent: Latent, stratum: Stratum, assumptions: Assumptions, number: int) -> BondInputs:
    adhesive = stratum.adhesive
    assert adhesive is not None
    strength, kept = adhesive.strength, 1.0
    if strength is None:
        kind = "retaining" if tabled_name(adhesive.material) == "retaining-adhesive" else "epoxy"
        strength = assumptions.spread(f"bond-strength-{kind}")
        kept = _surface(stratum, assumptions) if kind == "retaining" else 1.0
    drawn = _row(latent, f"adhesive.strength@{number}", strength)
    return BondInputs(
        strength=drawn if kept == 1.0 else lambda z: drawn(z) * kept,
        peel_strength=_row(
            latent,
            f"adhesive.peel_strength@{number}",
            adhesive.peel_strength or assumptions.spread("peel-strength"),
        ),
        wetted=_row(
            latent,
            f"adhesive.wetted@{number}",
            adhesive.wetted_share or assumptions.spread("wetted-share"),
        ),
        loss_per_kelvin=adhesive.loss_per_kelvin,
    )


def _surface(stratum: Stratum, assumptions: Assumptions) -> float:
    """What the weaker surface leaves of the strength that a retaining grade has on steel."""
    sleeve = stratum.sleeve
    if sleeve is not None and sleeve.coating is not None:
        return assumptions.value("bond-substrate-anodised")
    parts = [stratum.bore.material, *([] if sleeve is None else [sleeve.material])]
    if any(material_of(m).family == "aluminium" for m in parts):
        return assumptions.value("bond-substrate-aluminium")
    return 1.0


def _hybrid(spec: StudySpec, stratum: Stratum, assumptions: Assumptions) -> float:
    """Share of the bond that a sleeve pressed and glued keeps."""
    if spec.joint.kind != "sleeved" or stratum.adhesive is None:
        return 0.0
    share = stratum.adhesive.bond_share
    return assumptions.value("bond-share-pressed") if share is None else share


def _axes(
    spec: StudySpec,
    stratum: Stratum,
    latent: Latent,
    assumptions: Assumptions,
    seat: Seat,
    inputs: list[SeatInputs],
) -> tuple[Pair | None, list[Group]]:
    """The pair of seats, and margins that belong to how their axes come about."""
    bore, sleeve, adhesive = stratum.bore, stratum.sleeve, stratum.adhesive
    groups: list[Group] = []
    if sleeve is not None and sleeve.pieces == 1:
        # a rigid sleeve through both bores carries its seats in its own axis
        assert sleeve.alignment is not None
        return Pair(
            part_axes(latent, "sleeve", sleeve.alignment, stratum.names["sleeve"]), bore.span
        ), groups
    if bore.alignment is None:
        return None, groups
    axes = part_axes(latent, "bore", bore.alignment, stratum.names["bore"])
    if sleeve is None:
        return Pair(axes, bore.span), groups
    if sleeve.alignment is not None:
        axes = axes.plus(part_axes(latent, "sleeve", sleeve.alignment, stratum.names["sleeve"]))
    if sleeve.seating_tilt is not None:
        axes = axes.plus(tilted_axes(latent, "sleeve.seating", sleeve.seating_tilt))
    if spec.joint.kind == "bonded" and adhesive is not None and seat.gap is not None:
        gaps = [_gap(seat, at) for at in inputs]
        if adhesive.fixture_share > 0.0:
            axes = axes.plus(glued_axes(latent, gaps, sleeve.length, adhesive.fixture_share))
    if spec.joint.kind == "threaded":
        assert sleeve.thread is not None
        clearances = [
            _row(latent, f"thread.clearance@{k}", sleeve.thread.clearance) for k in (1, 2)
        ]
        faces: tuple[Vector, Vector] = face_tilts(latent, sleeve.thread)
        axes = axes.plus(screwed_axes(latent, sleeve.thread, clearances, faces))
        groups += [
            Group(
                *screwed_margins(
                    latent, sleeve.thread, spec.limits, k, clearance, face, assumptions
                )
            )
            for k, clearance, face in zip((1, 2), clearances, faces, strict=True)
        ]
    return Pair(axes, bore.span), groups


def _gap(seat: Seat, at: SeatInputs) -> Source:
    gap = seat.gap
    assert gap is not None
    return lambda z: gap(z, at)


def _held(seat: Seat, at: SeatInputs) -> Source:
    """Interference of the ring in the assembled seat at 20 °C."""
    return lambda z: seat.contact(seat.interferences(z, at), REFERENCE).interference(0)


def _row(latent: Latent, name: str, given: Distribution) -> Source:
    """A quantity with a row of its own."""
    process, row = process_of(given), latent.row(name)
    return lambda z: process.size(row(z))


def _drawn(latent: Latent, name: str, given: Distribution | None) -> Source | None:
    return None if given is None else _row(latent, name, given)
