"""The same study with something else in it: a part, a moved process, a scaled spread.

Every function returns a new `Study`; nothing is read but what `load` has read or is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from tolsim.spec.load import Stratum, Study
from tolsim.spec.parts import Feature, Part
from tolsim.spec.quantities import Distribution, Table
from tolsim.spec.route_steps import Move

__all__ = [
    "Contributor",
    "contributors",
    "with_feature",
    "with_limits",
    "with_moved",
    "with_part",
    "with_spec",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Contributor:
    """Something that scatters in a study, by the path that commands take.

    `kind` is "size" (a feature with mean and spread, in mm) or "spread" (a distribution about
    zero or of a quantity without a drawing: offset, tilt, load, friction). `unit` and `scale`
    turn inner units into those of people.
    """

    path: str
    kind: str
    role: str
    unit: str
    scale: float


_UNITS = {
    "offset": ("µm", 1e3),
    "tilt": ("°", 57.29577951308232),
    "seating_tilt": ("°", 57.29577951308232),
    "seat_load": ("N", 1.0),
    "pedal_force": ("N", 1.0),
    "chain_force": ("N", 1.0),
    "friction": ("", 1.0),
    "strength": ("MPa", 1.0),
    "peel_strength": ("MPa", 1.0),
    "wetted_share": ("", 1.0),
    "thickness": ("µm", 1e3),
    "clearance": ("µm", 1e3),
    "face_run_out": ("µm", 1e3),
    "torque": ("N m", 1e-3),
    "inner_fit": ("µm", 1e3),
    "amplitude": ("µm", 1e3),
}


def contributors(study: Study) -> tuple[Contributor, ...]:
    """Everything that scatters, in the order bore, bearing, sleeve, adhesive, service, joint."""
    found: dict[str, Contributor] = {}
    for stratum in study.strata:
        for role, part in stratum.parts.items():
            for path, value in _scattering(part):
                full = f"{role}.{path}"
                if isinstance(value, Feature):
                    if role == "bore" and study.spec.joint.kind == "threaded":
                        continue
                    item = Contributor(path=full, kind="size", role=role, unit="µm", scale=1e3)
                else:
                    unit, scale = _UNITS.get(path.rpartition(".")[2], ("", 1.0))
                    item = Contributor(path=full, kind="spread", role=role, unit=unit, scale=scale)
                found.setdefault(full, item)
    for table, owner in (("service", study.spec.service), ("joint", study.spec.joint)):
        for path, _ in _scattering(owner):
            unit, scale = _UNITS.get(path, ("", 1.0))
            full = f"{table}.{path}"
            found[full] = Contributor(path=full, kind="spread", role=table, unit=unit, scale=scale)
    return tuple(found.values())


def _scattering(table: Table, prefix: str = "") -> list[tuple[str, Feature | Distribution]]:
    out: list[tuple[str, Feature | Distribution]] = []
    for name in type(table).model_fields:
        value = getattr(table, name)
        if isinstance(value, Feature | Distribution):
            if not (isinstance(value, Distribution) and value.shape == "fixed"):
                out.append((f"{prefix}{name}", value))
        elif isinstance(value, Table) and name not in ("state", "material"):
            out += _scattering(value, f"{prefix}{name}.")
    return out


def _changed(table: Table, path: str, change: Callable[[Any], Any]) -> Any:
    """A copy of the table with the value at a dotted path changed."""
    name, _, rest = path.partition(".")
    value = getattr(table, name)
    if value is None:
        raise ValueError(f"{name} is not given, so it cannot be changed")
    new = _changed(value, rest, change) if rest else change(value)
    return table.model_copy(update={name: new})


def _with_role(
    study: Study, role: str, change: Callable[[Part], Part], supply: str | None
) -> Study:
    strata: list[Stratum] = []
    for stratum in study.strata:
        if role in stratum.parts and supply in (None, stratum.name):
            parts: Mapping[str, Part] = {**stratum.parts, role: change(stratum.parts[role])}
            # builds are told apart by the names of their parts
            suffix = "" if supply is None else f" ({supply}, changed)"
            names = {**stratum.names, role: stratum.names[role] + suffix}
            stratum = replace(stratum, parts=parts, names=names)
        strata.append(stratum)
    return replace(study, strata=tuple(strata))


def with_feature(
    study: Study, path: str, change: Callable[[Any], Any], *, supply: str | None = None
) -> Study:
    """The study with the value at ``role.field...`` changed, in one supply or in all.

    Raises
    ------
    ValueError
        If the study has nothing at that path.
    """
    role, _, rest = path.partition(".")
    if role in ("service", "joint"):
        table = getattr(study.spec, role)
        return with_spec(study, **{role: _changed(table, rest, change)})
    if not any(role in s.parts for s in study.strata):
        raise ValueError(f"the study has no {role}")
    return _with_role(study, role, lambda part: _part(_changed(part, rest, change)), supply)


def _part(value: Any) -> Part:
    assert isinstance(value, Part)
    return value


def with_moved(
    study: Study, path: str, *, shift: float = 0.0, factor: float = 1.0, supply: str | None = None
) -> Study:
    """The study with a contributor's mean shifted (inner unit) and its spread scaled."""

    def change(value: Any) -> Any:
        if isinstance(value, Feature):
            step = Move.model_validate(
                {"step": "move", "shift_um": shift * 1e3, "spread_factor": factor}
            )
            return value.model_copy(update={"route": (*value.route, step)})
        assert isinstance(value, Distribution)
        return moved_distribution(value, shift, factor)

    return with_feature(study, path, change, supply=supply)


def moved_distribution(value: Distribution, shift: float, factor: float) -> Distribution:
    """A distribution shifted by `shift` and scaled by `factor` about its middle."""
    p = value.parameters()
    if "mean" in p or value.shape in ("normal", "skewed"):
        middle = p.get("mean", 0.0)
    elif value.shape == "triangular":
        middle = p["mode"]
    elif "low" in p and "high" in p:
        middle = 0.5 * (p["low"] + p["high"])
    else:
        middle = 0.0
    update: dict[str, float] = {}
    for name, number in p.items():
        if name in ("sd", "scale"):
            update[name] = number * factor
        elif name in ("mean", "mode", "low", "high", "value"):
            update[name] = middle + shift + (number - middle) * factor
    if value.shape == "normal" and shift != 0.0 and "mean" not in p:
        update["mean"] = shift
    return value.model_copy(update=update)


def with_part(
    study: Study, role: str, part: Part, name: str, *, supply: str | None = None
) -> Study:
    """The study with another part in a role; its readings, if any, are dropped from that role."""
    strata: list[Stratum] = []
    for stratum in study.strata:
        if supply in (None, stratum.name):
            readings = {k: v for k, v in stratum.readings.items() if not k.startswith(f"{role}.")}
            stratum = replace(
                stratum,
                parts={**stratum.parts, role: part},
                names={**stratum.names, role: name},
                readings=readings,
            )
        strata.append(stratum)
    return replace(study, strata=tuple(strata))


def with_spec(study: Study, **update: Any) -> Study:
    """The study with tables of its own file replaced."""
    return replace(study, spec=study.spec.model_copy(update=update))


def with_limits(study: Study, **update: Any) -> Study:
    """The study with limits replaced."""
    return with_spec(study, limits=study.spec.limits.model_copy(update=update))
