"""A study as written in TOML: a question with its joint, supplies, service, limits and targets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.spec.choices import Choose
from tolsim.spec.money import Costs, Kind
from tolsim.spec.quantities import Band, Distribution, Share, Table, Text, not_negative, scaled
from tolsim.spec.stated import Constants

__all__ = [
    "PART_ROLES",
    "Alternative",
    "AlternativeSupply",
    "Choose",
    "Contradiction",
    "Costs",
    "Joint",
    "Limits",
    "Service",
    "StudySpec",
    "Supply",
    "Targets",
]

#: Roles of a joint that a part file fills, in the order in which they are shown.
PART_ROLES = ("bore", "bearing", "sleeve", "adhesive")
#: Which roles each kind of joint needs.
NEEDS = {
    "pressed": ("bore", "bearing"),
    "sleeved": ("bore", "bearing", "sleeve"),
    "bonded": ("bore", "bearing", "sleeve", "adhesive"),
    "threaded": ("bore", "bearing", "sleeve"),
}
#: Roles that a kind may have besides: a sleeve pressed and glued.
MAY = {"sleeved": ("adhesive",)}

Force = Annotated[Distribution, AfterValidator(not_negative), scaled("N")]
Positive = Annotated[float, Field(gt=0.0)]
Probability = Annotated[float, Field(gt=0.0, lt=1.0)]


def _unique(values: tuple[float, ...]) -> tuple[float, ...]:
    if len(set(values)) != len(values):
        raise PydanticCustomError("twice", "the same value stands here twice", {})
    return values


class _Parts(Table):
    bore: Text | None = None
    bearing: Text | None = None
    sleeve: Text | None = None
    adhesive: Text | None = None


class Pick(Table):
    """Selective assembly: receiving bores and rings sorted into classes and paired."""

    classes: Annotated[int, Field(ge=1, le=50)]
    by: Literal["count", "width"] = "count"
    pairing: Literal["matched", "bounded"] = "matched"
    reach: Annotated[int, Field(ge=0, le=50)] = 1
    sorting_sd: Annotated[float, Field(ge=0.0), scaled("um")] = Field(
        default=0.0, alias="sorting_sd_um"
    )


class Joint(_Parts):
    """What is joined with what, and how old the parts are when they meet.

    A `name` is what the joint is called beside its alternatives; it is then one of the choices,
    not only what they are measured against.
    """

    name: Text | None = None
    kind: Kind
    age_at_assembly: Annotated[float, Field(ge=0.0, le=1e6)] = Field(
        default=0.0, alias="age_at_assembly_h"
    )
    smoothing_factor: Annotated[float, Field(ge=0.0, le=2.0)] | None = None
    removals: Annotated[int, Field(ge=0, le=100)] = 0
    removal_retention: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    friction: Annotated[Distribution, AfterValidator(not_negative)] | None = None
    pick: Pick | None = None


class Supply(_Parts):
    """A shop, a lot or a make: which parts it delivers and which share of the units."""

    name: Text
    share: Annotated[float, Field(gt=0.0, le=1.0)]


class Service(Table):
    """What the unit meets in use.

    The chain pulls with `chain_force`, or with the pedal's torque over the chainring's radius, at
    `chain_line` from the mid-plane on the side of `drive_seat` (the second), at `chain_angle` to
    the pedal's force (at right angles).
    """

    temperature: Annotated[
        tuple[Annotated[float, Field(ge=-60.0, le=200.0)], ...],
        Field(strict=False, min_length=1, max_length=12, alias="temperature_C"),
        AfterValidator(_unique),
    ] = (20.0,)
    seat_load: Force | None = Field(default=None, alias="seat_load_N")
    pedal_force: Force | None = Field(default=None, alias="pedal_force_N")
    overhang: Annotated[float, Field(ge=0.0, le=1000.0)] | None = Field(
        default=None, alias="overhang_mm"
    )
    chain_force: Force | None = Field(default=None, alias="chain_force_N")
    crank_length: Annotated[float, Field(gt=0.0, le=1000.0)] | None = Field(
        default=None, alias="crank_length_mm"
    )
    chainring_radius: Annotated[float, Field(gt=0.0, le=1000.0)] | None = Field(
        default=None, alias="chainring_radius_mm"
    )
    chain_line: Annotated[float, Field(ge=0.0, le=1000.0)] | None = Field(
        default=None, alias="chain_line_mm"
    )
    chain_angle: Annotated[float, Field(ge=0.0, le=180.0), scaled("deg")] | None = Field(
        default=None, alias="chain_angle_deg"
    )
    drive_seat: Literal[1, 2] | None = None
    ball_plane_offset: Annotated[float, Field(ge=0.0, le=50.0)] = Field(
        default=0.0, alias="ball_plane_offset_mm"
    )
    life: Annotated[float, Field(ge=0.0, le=1e6)] | None = Field(default=None, alias="life_h")
    inner_ring_warmer: Annotated[float, Field(ge=0.0, le=50.0)] | None = Field(
        default=None, alias="inner_ring_warmer_K"
    )
    bearing_warmer: Annotated[float, Field(ge=0.0, le=100.0)] | None = Field(
        default=None, alias="bearing_warmer_K"
    )
    moisture: Share | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_temperature(cls, raw: Any) -> Any:
        if isinstance(raw, dict):
            t = raw.get("temperature_C")
            if isinstance(t, int | float) and not isinstance(t, bool):
                return {**raw, "temperature_C": [t]}
        return raw

    @model_validator(mode="after")
    def _one_load(self) -> Service:
        if self.seat_load is not None and self.pedal_force is not None:
            raise PydanticCustomError(
                "load",
                "seat_load_N and pedal_force_N both give the load of a seat",
                {"allowed": "one of them"},
            )
        if self.pedal_force is not None and self.overhang is None:
            raise PydanticCustomError(
                "load",
                "pedal_force_N needs the overhang of the pedal plane",
                {"allowed": "overhang_mm, pedal plane to the unit's mid-plane"},
            )
        self._one_chain()
        return self

    def _one_chain(self) -> None:
        """Raise where the keys of the chain do not make one pull of it."""
        by_crank = (self.crank_length is not None, self.chainring_radius is not None)
        if any(by_crank) and not all(by_crank):
            raise PydanticCustomError(
                "load",
                "crank_length_mm and chainring_radius_mm give the chain's pull together",
                {"allowed": "both of them, or chain_force_N"},
            )
        if self.chain_force is not None and any(by_crank):
            raise PydanticCustomError(
                "load",
                "chain_force_N and the crank's length both give the chain's pull",
                {"allowed": "chain_force_N, or crank_length_mm with chainring_radius_mm"},
            )
        chained = self.chain_force is not None or any(by_crank)
        if chained and self.pedal_force is None:
            raise PydanticCustomError(
                "load",
                "a chain's pull adds to a pedal force; seat_load_N holds everything already",
                {"allowed": "pedal_force_N with overhang_mm beside it"},
            )
        if chained and self.chain_line is None:
            raise PydanticCustomError(
                "load",
                "the chain's pull needs to know where the chain runs",
                {"allowed": "chain_line_mm, chain to the unit's mid-plane"},
            )
        placed = {
            "chain_line_mm": self.chain_line,
            "chain_angle_deg": self.chain_angle,
            "drive_seat": self.drive_seat,
        }
        stray = [key for key, value in placed.items() if value is not None]
        if stray and not chained:
            raise PydanticCustomError(
                "load",
                f"{' and '.join(stray)} without a pull of the chain",
                {"allowed": "chain_force_N, or crank_length_mm with chainring_radius_mm"},
            )


class Loose(Table):
    """When a ring counts as loose."""

    interference: Annotated[float, scaled("um")] | None = Field(
        default=None, alias="interference_um"
    )
    separation: bool = False
    creep: bool = False
    sleeve_interference: Annotated[float, scaled("um")] | None = Field(
        default=None, alias="sleeve_interference_um"
    )
    sleeve_separation: bool | None = None
    micro_slip: bool = False
    slip_torque: Annotated[float, Field(gt=0.0), scaled("Nm")] | None = Field(
        default=None, alias="slip_torque_Nm"
    )
    pull_out: Positive | None = Field(default=None, alias="pull_out_N")
    loosening: bool = False
    flange_contact: bool = False


class Tight(Table):
    """When a seat counts as overly tight."""

    clearance: Annotated[float, scaled("um")] | None = Field(default=None, alias="clearance_um")
    hoop_stress_share: Annotated[float, Field(gt=0.0, le=10.0)] | None = None
    press_force: Positive | None = Field(default=None, alias="press_force_N")
    raceway_lobe: Annotated[float, Field(gt=0.0), scaled("um")] | None = Field(
        default=None, alias="raceway_lobe_um"
    )
    sleeve_press_force: Positive | None = Field(default=None, alias="sleeve_press_force_N")


class Misaligned(Table):
    """When the two seats of a unit count as out of line."""

    angle: Annotated[float, Field(gt=0.0, le=10.0), scaled("deg")] | None = Field(
        default=None, alias="angle_deg"
    )
    offset: Annotated[float, Field(gt=0.0), scaled("um")] | None = Field(
        default=None, alias="offset_um"
    )
    bearing_tilt: Annotated[float, Field(gt=0.0), scaled("arcmin")] | None = Field(
        default=None, alias="bearing_tilt_arcmin"
    )
    free_tilt: bool = False


class Bond(Table):
    """When a bond counts as lost."""

    gap: Annotated[Band, scaled("um")] | None = Field(default=None, alias="gap_um")
    peel: bool = False
    shear: bool = False
    safety: Annotated[float, Field(ge=1.0, le=20.0)] = 1.0


class Limits(Table):
    """What counts as failed."""

    loose: Loose | None = None
    tight: Tight | None = None
    misaligned: Misaligned | None = None
    bond: Bond | None = None
    source: Text | None = None

    def judged(self) -> set[str]:
        """Modes of failure that some key asks about; any but tight makes a unit creak."""
        out = set()
        for mode in ("loose", "tight", "misaligned", "bond"):
            table = getattr(self, mode)
            keys = set() if table is None else set(type(table).model_fields) - {"safety"}
            # a limit of 0 is a limit
            if any(
                getattr(table, key) is not None and getattr(table, key) is not False for key in keys
            ):
                out.add(mode)
        return out | ({"creak"} if out - {"tight"} else set())


class Targets(Table):
    """Largest share of units that may fail, and how sure the answer must be."""

    loose: Probability | None = None
    tight: Probability | None = None
    misaligned: Probability | None = None
    bond: Probability | None = None
    creak: Probability | None = None
    confidence: Annotated[float, Field(ge=0.5, le=0.9999)] = 0.95


class AlternativeSupply(_Parts):
    """A supply of an alternative: what changes of one that is there, or a further one.

    A share of 0 leaves the supply out; without `share` it keeps the one it has.
    """

    name: Text
    share: Share | None = None


class Alternative(_Parts):
    """Another way to build the joint, for a comparison; what is not named stays as it is.

    A part replaces that role in every supply, a table of `limits` the whole table of its name.
    `price_each` is the price of the one part that the alternative replaces.
    """

    name: Text
    kind: Kind | None = None
    price_each: Annotated[float, Field(ge=0.0, le=1e12)] | None = None
    supply: Annotated[tuple[AlternativeSupply, ...], Field(strict=False, max_length=50)] = ()
    limits: Limits | None = None
    age_at_assembly: Annotated[float, Field(ge=0.0, le=1e6)] | None = Field(
        default=None, alias="age_at_assembly_h"
    )
    pick: Pick | None = None


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Keys that are right one by one and wrong together: where to tell it, and on what it rests."""

    where: tuple[str | int, ...]
    message: str
    allowed: str | None = None
    depends: tuple[tuple[str | int, ...], ...] = ()


class StudySpec(Table):
    """The whole of ``study.toml``."""

    title: Text
    joint: Joint
    supply: Annotated[tuple[Supply, ...], Field(strict=False, max_length=50)] = ()
    service: Service = Service()
    limits: Limits
    targets: Targets = Targets()
    alternative: Annotated[tuple[Alternative, ...], Field(strict=False, max_length=64)] = ()
    costs: Costs | None = None
    choose: Annotated[tuple[Choose, ...], Field(strict=False, max_length=40)] = ()
    constant: Constants = ()

    def contradictions(self) -> Iterator[Contradiction]:
        """Everything that single keys cannot show: shares, names, limits without a load."""
        total = sum(s.share for s in self.supply)
        if self.supply and abs(total - 1.0) > 1e-6:
            yield Contradiction(
                ("supply",), f"shares of the supplies must add up to 1, they give {total:.6g}"
            )
        names = [s.name for s in self.supply]
        for i, name in enumerate(names):
            if name in names[:i]:
                yield Contradiction(
                    ("supply", i, "name"), f"two supplies have the same name: {name}"
                )
        limits = self.limits
        if not (limits.loose or limits.tight or limits.misaligned or limits.bond):
            yield Contradiction(
                ("limits",), "nothing counts as failed", "loose, tight, misaligned, bond"
            )
        if self.service.seat_load is not None or self.service.pedal_force is not None:
            return
        for table, keys in (
            ("loose", ("separation", "creep", "micro_slip")),
            ("bond", ("peel", "shear")),
        ):
            held = getattr(limits, table)
            asked = [k for k in keys if held is not None and getattr(held, k)]
            if asked:
                yield Contradiction(
                    ("limits", table),
                    f"{' and '.join(asked).replace('_', '-')} need{'s' * (len(asked) == 1)} a load",
                    "service.seat_load_N, or service.pedal_force_N with overhang_mm",
                    depends=(("service",),),
                )
