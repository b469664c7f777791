"""From a path to a frozen study: every file it pulls in read once, every fault collected."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.classes import resolve_classes
from tolsim.spec.document import kind_of, parse, validate
from tolsim.spec.files import (
    Source,
    decode,
    inside,
    read_capped,
    safe_name,
    shown_path,
    specs_root,
)
from tolsim.spec.locate import Locator
from tolsim.spec.parts import PART_KINDS, Adhesive, Bearing, Bore, Feature, Part, Sleeve
from tolsim.spec.route_steps import Readings as ReadingsStep
from tolsim.spec.study import MAY, NEEDS, PART_ROLES, StudySpec

if TYPE_CHECKING:
    from tolsim.spec.readings import Readings

__all__ = ["Stratum", "Study", "available_parts", "load_part", "load_study"]


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Study:
    """A study with everything that it names."""

    spec: StudySpec
    name: str
    strata: tuple[Stratum, ...]
    sources: tuple[Source, ...]
    warnings: tuple[str, ...] = ()


def available_parts(folder: Path | None = None) -> dict[str, Path]:
    """Names that a study in `folder` may use, its own parts before those that come with tolsim."""
    found: dict[str, Path] = {}
    for root in ([folder] if folder is not None else []) + [specs_root()]:
        for path in sorted(root.glob("*/*.toml")):
            found.setdefault(f"{path.parent.name}/{path.stem}", path)
    return found


@dataclass
class _Reader:
    """Collects problems over all files of one study and reads each file once."""

    folder: Path
    allow_outside: bool = False
    problems: list[Problem] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)
    _parts: dict[str, tuple[Part, Path, str, Mapping[str, Readings]] | None] = field(
        default_factory=dict
    )

    def part(self, name: str) -> tuple[Part, Path, str, Mapping[str, Readings]] | None:
        if name not in self._parts:
            self._parts[name] = None
            path = self._find(name)
            if path is not None:
                self._parts[name] = self._read(name, path)
        return self._parts[name]

    def _find(self, name: str) -> Path | None:
        for root in (self.folder, specs_root()):
            path = root / f"{name}.toml"
            if path.is_file():
                if inside(path, root) or self.allow_outside:
                    return path
                self.problems.append(
                    Problem(file=shown_path(path), message="lies outside the study's folder")
                )
                return None
        return None

    def exists(self, name: str) -> bool:
        return any((root / f"{name}.toml").is_file() for root in (self.folder, specs_root()))

    def _read(self, name: str, path: Path) -> tuple[Part, Path, str, Mapping[str, Readings]] | None:
        shown = shown_path(path)
        raw: dict[str, Any] = {}
        text = ""
        try:
            text, digest = read_capped(path, shown)
            raw = parse(text, shown)
            part = validate(
                raw, kind_of(raw, PART_KINDS, text=text, shown=shown), text=text, shown=shown
            )
        except SpecError as e:
            self.problems.extend(e.problems)
            self._look_on(raw, path, text, shown, name)
            return None
        self.sources[f"{name}.toml"] = Source(name=f"{name}.toml", sha256=digest)
        at = Locator(text)
        part, refused = resolve_classes(part, at, shown)
        self.problems.extend(refused)
        self._material(getattr(part, "material", None), at, shown)
        return part, path, text, self._readings(part, path, at, shown, name)

    def _look_on(self, raw: dict[str, Any], path: Path, text: str, shown: str, name: str) -> None:
        """Faults beyond a part's own: its material and readings, though the part is not valid."""
        at = Locator(text) if raw else None
        if at is None:
            return
        self._material(raw.get("material"), at, shown)
        for key, table in raw.items():
            route = table.get("route") if isinstance(table, dict) else None
            first = route[0] if isinstance(route, list) and route else None
            if not isinstance(first, dict) or first.get("step") != "readings":
                continue
            nominal = table.get("nominal_mm", raw.get("outside_diameter_mm"))
            try:
                step = ReadingsStep.model_validate(first)
            except ValidationError:
                continue
            if isinstance(nominal, int | float) and not isinstance(nominal, bool):
                self._read_step(step, key, float(nominal), path, at, shown, name)

    def _material(self, name: object, at: Locator, shown: str) -> None:
        from tolsim.mechanics.materials import MATERIALS

        if isinstance(name, str) and name not in MATERIALS:
            self.problems.append(
                Problem(
                    file=shown,
                    line=at.line(("material",)),
                    key="material",
                    message="unknown material",
                    found=f'material = "{name}"',
                    allowed=f"{', '.join(MATERIALS)}; or a [material] table",
                    closest=closest(name, MATERIALS),
                )
            )

    def _readings(
        self, part: Part, path: Path, at: Locator, shown: str, name: str
    ) -> Mapping[str, Readings]:
        out: dict[str, Readings] = {}
        for key, feature in features(part).items():
            step = feature.readings
            if step is not None:
                nominal = nominal_of(part, key)
                readings = self._read_step(step, key, nominal, path, at, shown, name)
                if readings is not None:
                    out[key] = readings
        return out

    def _read_step(
        self,
        step: ReadingsStep,
        key: str,
        nominal: float,
        path: Path,
        at: Locator,
        shown: str,
        name: str,
    ) -> Readings | None:
        """Readings of one route, or None with the reason among the problems."""
        wrong = None if self.allow_outside else safe_name(step.file)
        file = path.parent / step.file
        if wrong is None and not file.is_file():
            wrong = "no such file beside the part"
        elif (
            wrong is None
            and not self.allow_outside
            and not any(inside(file, root) for root in (self.folder, specs_root()))
        ):
            wrong = "lies outside the study's folder"
        if wrong is not None:
            self.problems.append(
                Problem(
                    file=shown,
                    line=at.line((key, "route", 0, "file")),
                    key=f"{key}.route[0].file",
                    message=wrong,
                    found=f'file = "{step.file}"',
                    closest=closest(step.file, [p.name for p in path.parent.glob("*.csv")]),
                )
            )
            return None
        from tolsim.spec.readings import read_readings

        try:
            readings = read_readings(
                file,
                shown=shown_path(file),
                column=step.column,
                nominal_mm=nominal,
                side=step.side,
                unit=step.unit,
                lot=step.lot,
                order=step.order,
                sheet=step.sheet,
            )
        except SpecError as e:
            self.problems.extend(e.problems)
            return None
        source = f"{name.rpartition('/')[0]}/{step.file}".lstrip("/")
        self.sources[source] = Source(name=source, sha256=readings.sha256)
        return readings


def features(part: Part) -> dict[str, Feature]:
    """Features of size of a part by key."""
    return {
        name: value
        for name in type(part).model_fields
        if isinstance(value := getattr(part, name), Feature)
    }


def nominal_of(part: Part, key: str) -> float:
    """Nominal size of a feature [mm]; 0 for a clearance."""
    feature: Feature = getattr(part, key)
    if feature.nominal is not None:
        return feature.nominal
    if isinstance(part, Bearing) and key == "outside":
        return part.outside_diameter
    return 0.0


def load_part(path: Path, *, allow_outside: bool = False) -> Part:
    """One part file, checked whole; raises `SpecError`."""
    reader = _Reader(folder=path.parent, allow_outside=allow_outside)
    found = reader._read(path.stem, path)
    if reader.problems or found is None:
        raise SpecError(reader.problems)
    return found[0]


def load_study(path: Path | str, *, allow_outside: bool = False) -> Study:
    """A study and everything it pulls in.

    Parameters
    ----------
    path : Path or str
        ``study.toml``, the folder that holds it, or ``-`` for standard input.
    allow_outside : bool
        Let names lead out of the study's folder and ``specs/``.

    Raises
    ------
    SpecError
        With all faults of all files; nothing was run.
    """
    if str(path) == "-":
        folder, shown, name = Path.cwd(), "standard input", "standard input"
        text, digest = decode(sys.stdin.buffer.read(256 * 1024 + 1), shown)
    else:
        path = Path(path)
        if path.is_dir():
            path = path / "study.toml"
        folder, shown = path.parent, shown_path(path)
        name = f"{path.resolve().parent.name}/{path.name}"
        text, digest = read_capped(path, shown)
    reader = _Reader(folder=folder, allow_outside=allow_outside)
    raw = parse(text, shown)
    problems: list[Problem] = []
    spec: StudySpec | None = None
    try:
        spec = validate(raw, StudySpec, text=text, shown=shown)
    except SpecError as e:
        problems.extend(e.problems)
    at = Locator(text)
    for where, role, part_name in _named(raw):
        problems.extend(_check_named(reader, where, role, part_name, at, shown, folder))
    strata: tuple[Stratum, ...] = ()
    if spec is not None:
        strata, more = _strata(spec, reader, at, shown)
        problems.extend(more)
    problems.sort(key=lambda p: p.line or 0)
    problems += reader.problems
    if problems or spec is None:
        raise SpecError(list(dict.fromkeys(problems)))
    used = (Source(name=name, sha256=digest), *reader.sources.values())
    return Study(spec=spec, name=name, strata=strata, sources=used)


def _named(raw: dict[str, Any]) -> Iterable[tuple[tuple[str | int, ...], str, str]]:
    """Every part that the document names, valid or not: (path, role, name)."""
    tables: list[tuple[tuple[str | int, ...], Any]] = [(("joint",), raw.get("joint"))]
    for key in ("supply", "alternative"):
        rows = raw.get(key)
        if isinstance(rows, list):
            tables.extend(((key, i), row) for i, row in enumerate(rows))
    for path, table in tables:
        if isinstance(table, dict):
            for role in PART_ROLES:
                if isinstance(table.get(role), str):
                    yield (*path, role), role, table[role]
    rows = raw.get("choose")
    for i, row in enumerate(rows if isinstance(rows, list) else []):
        if isinstance(row, dict) and row.get("part") in PART_ROLES:
            options = row.get("options")
            for j, option in enumerate(options if isinstance(options, list) else []):
                if isinstance(option, str):
                    yield ("choose", i, "options", j), row["part"], option


def _check_named(
    reader: _Reader,
    where: tuple[str | int, ...],
    role: str,
    name: str,
    at: Locator,
    shown: str,
    folder: Path,
) -> list[Problem]:
    from tolsim.spec.faults import key_text

    def problem(message: str, allowed: str | None = None, near: str | None = None) -> Problem:
        return Problem(
            file=shown,
            line=at.line(where),
            key=key_text(where),
            message=message,
            found=f'{where[-1] if isinstance(where[-1], str) else "option"} = "{name}"',
            allowed=allowed,
            closest=near,
        )

    wrong = None if reader.allow_outside else safe_name(name)
    if wrong is not None:
        return [problem(wrong, "a name in the study's folder or in specs/")]
    if not reader.exists(name):
        names = list(available_parts(folder))
        return [
            problem(
                "no such part in the study's folder or in specs/",
                ", ".join(n for n in names if n.startswith(_FOLDER.get(role, ""))) or None,
                closest(name, names),
            )
        ]
    found = reader.part(name)
    if found is not None and getattr(found[0], "part", role) != role:
        return [problem(f"is a {getattr(found[0], 'part', '?')}, not a {role}", f"a {role}")]
    return []


_FOLDER = {"bore": "bores/", "bearing": "bearings/", "sleeve": "sleeves/", "adhesive": "adhesives/"}


def _strata(
    spec: StudySpec, reader: _Reader, at: Locator, shown: str
) -> tuple[tuple[Stratum, ...], list[Problem]]:
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
        missing = [r for r in needed if r not in names]
        if missing:
            problems.append(
                Problem(
                    file=shown,
                    line=at.line(where),
                    key=str(where[0]) if len(where) == 1 else f"{where[0]}[{where[1]}]",
                    message=f"a {spec.joint.kind} joint needs {', '.join(missing)}",
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
        problems.extend(_cannot_meet(stratum, spec, at, shown, where))
        out.append(stratum)
    return tuple(out), problems


def _cannot_meet(
    stratum: Stratum, spec: StudySpec, at: Locator, shown: str, where: tuple[str | int, ...]
) -> list[Problem]:
    problems: list[Problem] = []
    bore, bearing = stratum.bore, stratum.bearing
    assert bore.diameter.nominal is not None

    def complain(message: str, found: str, allowed: str) -> None:
        problems.append(
            Problem(
                file=shown,
                line=at.line(where),
                key=".".join(str(w) for w in where if isinstance(w, str)),
                message=message,
                found=found,
                allowed=allowed,
            )
        )

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
    return problems
