"""Supplies and the parts they bring: which are needed, and whether they can meet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tolsim.errors import Problem
from tolsim.spec.locate import Locator
from tolsim.spec.parts import Adhesive, Bearing, Bore, Part, Sleeve
from tolsim.spec.reader import Reader
from tolsim.spec.study import MAY, NEEDS, PART_ROLES, StudySpec

if TYPE_CHECKING:
    from tolsim.spec.readings import Readings

__all__ = ["Stratum", "Unfit", "cannot_meet", "strata_of"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Stratum:
    """One supply: a share of the units and the parts that they are built from."""

    name: str
    share: float
    parts: Mapping[str, Part]
    names: Mapping[str, str]
    readings: Mapping[str, Readings]

    @property
    def bore(self) -> Bore:
        """The shell with its two bores."""
        part = self.parts["bore"]
        assert isinstance(part, Bore)
        return part

    @property
    def bearing(self) -> Bearing:
        """The bearing whose outer ring is held."""
        part = self.parts["bearing"]
        assert isinstance(part, Bearing)
        return part

    @property
    def sleeve(self) -> Sleeve | None:
        """The sleeve, if the joint has one."""
        part = self.parts.get("sleeve")
        return part if isinstance(part, Sleeve) else None

    @property
    def adhesive(self) -> Adhesive | None:
        """The adhesive, if the joint has one."""
        part = self.parts.get("adhesive")
        return part if isinstance(part, Adhesive) else None


@dataclass(frozen=True, slots=True)
class Unfit:
    """Why parts do not go together, what they are and what they may be."""

    message: str
    found: str
    allowed: str


def strata_of(
    spec: StudySpec, reader: Reader, at: Locator, shown: str
) -> tuple[tuple[Stratum, ...], list[Problem]]:
    """The supplies of a study with their parts, and every reason why parts do not go together."""
    problems: list[Problem] = []
    out: list[Stratum] = []
    rows: list[tuple[tuple[str | int, ...], str, float, Any]]
    rows = [(("supply", i), s.name, s.share, s) for i, s in enumerate(spec.supply)]
    if not rows:
        rows = [(("joint",), "all parts", 1.0, None)]
    for where, name, share, supply in rows:
        names: dict[str, str] = {}
        for role in PART_ROLES:
            chosen = (getattr(supply, role) if supply is not None else None) or getattr(
                spec.joint, role
            )
            if chosen is not None:
                names[role] = chosen
        needed = NEEDS[spec.joint.kind]
        whose = "" if supply is None else f"{name}: "
        missing = [r for r in needed if r not in names]
        if missing:
            problems.append(
                Problem(
                    file=shown,
                    line=at.line(where),
                    key=str(where[0]) if len(where) == 1 else f"{where[0]}[{where[1]}]",
                    message=f"{whose}a {spec.joint.kind} joint needs {', '.join(missing)}",
                    allowed=", ".join(needed),
                )
            )
            continue
        spare = [r for r in names if r not in (*needed, *MAY.get(spec.joint.kind, ()))]
        if spare:
            problems.append(
                Problem(
                    file=shown,
                    line=at.line((*where, spare[0])) or at.line(("joint", spare[0])),
                    key=f"joint.{spare[0]}",
                    message=f"a {spec.joint.kind} joint has no {', '.join(spare)}",
                    allowed=", ".join(needed),
                )
            )
        twice = sorted({n for n in names.values() if list(names.values()).count(n) > 1})
        if twice:
            problems.append(
                Problem(
                    file=shown,
                    line=at.line(where),
                    key="joint",
                    message=f"the same part is used twice: {', '.join(twice)}",
                )
            )
        found = {r: reader.part(n) for r, n in names.items()}
        if any(f is None for f in found.values()):
            continue
        parts = {r: f[0] for r, f in found.items() if f is not None}
        if any(getattr(p, "part", r) != r for r, p in parts.items()):
            continue
        readings = {
            f"{r}.{key}": value
            for r, f in found.items()
            if f is not None
            for key, value in f[3].items()
        }
        stratum = Stratum(name=name, share=share, parts=parts, names=names, readings=readings)
        problems += [
            Problem(
                file=shown,
                line=at.line(where),
                key=".".join(str(w) for w in where if isinstance(w, str)),
                message=unfit.message,
                found=unfit.found,
                allowed=unfit.allowed,
            )
            for unfit in cannot_meet(stratum, spec)
        ]
        out.append(stratum)
    return tuple(out), problems


def cannot_meet(stratum: Stratum, spec: StudySpec) -> tuple[Unfit, ...]:
    """Every reason why the parts of a supply cannot become the joint that is asked for."""
    out: list[Unfit] = []
    bore, bearing = stratum.bore, stratum.bearing
    assert bore.diameter.nominal is not None

    def complain(message: str, found: str, allowed: str) -> None:
        out.append(Unfit(message, found, allowed))

    if spec.joint.kind == "pressed" and (
        abs(bore.diameter.nominal - bearing.outside_diameter) > 1.0
    ):
        complain(
            f"{stratum.name}: bore and bearing cannot meet",
            f"bore {bore.diameter.nominal:g} mm, ring {bearing.outside_diameter:g} mm",
            "nominal sizes within 1 mm of each other",
        )
    sleeve = stratum.sleeve
    if sleeve is not None:
        assert sleeve.inside.nominal is not None
        assert sleeve.outer_diameter is not None
        kind, names = spec.joint.kind, stratum.names
        if abs(sleeve.inside.nominal - bearing.outside_diameter) > 1.0:
            complain(
                f"{stratum.name}: sleeve and bearing cannot meet",
                f"sleeve bore {sleeve.inside.nominal:g} mm, ring {bearing.outside_diameter:g} mm",
                "nominal sizes within 1 mm of each other",
            )
        room = bore.diameter.nominal - sleeve.outer_diameter
        if kind == "bonded" and not 0.0 < room <= 1.0:
            complain(
                f"{stratum.name}: no room for the adhesive, or far too much",
                f"bore {bore.diameter.nominal:g} mm, sleeve {sleeve.outer_diameter:g} mm",
                "a nominal gap above 0 and up to 1 mm on the diameter",
            )
        if kind != "bonded" and abs(room) > 1.0:
            complain(
                f"{stratum.name}: sleeve and shell cannot meet",
                f"bore {bore.diameter.nominal:g} mm, sleeve {sleeve.outer_diameter:g} mm",
                "nominal sizes within 1 mm of each other",
            )
        if kind == "threaded" and sleeve.thread is None:
            complain(
                f"{stratum.name}: a threaded joint needs a sleeve with a thread",
                f"{names['sleeve']} without [thread]",
                "[thread] in the sleeve",
            )
        if kind != "threaded" and sleeve.outside is None:
            complain(
                f"{stratum.name}: a {kind} joint needs the sleeve's outside",
                f"{names['sleeve']} without [outside]",
                "[outside] in the sleeve",
            )
        if sleeve.inside.nominal >= bore.diameter.nominal:
            complain(
                f"{stratum.name}: the sleeve has no room in the shell",
                f"sleeve bore {sleeve.inside.nominal:g} mm, shell bore "
                f"{bore.diameter.nominal:g} mm",
                "a shell bore above the sleeve's",
            )
    one_piece = sleeve is not None and sleeve.pieces == 1
    if spec.limits.misaligned is not None and bore.alignment is None and not one_piece:
        complain(
            f"{stratum.name}: the limits name misalignment, the bore no alignment",
            f"{stratum.names['bore']} without [alignment]",
            "[alignment] with offset_um and tilt_deg in the bore",
        )
    return tuple(out)
