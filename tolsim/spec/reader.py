"""Part files and their readings: each read once, every fault collected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.classes import resolve_classes
from tolsim.spec.document import examine, kind_of, parse
from tolsim.spec.faults import key_text
from tolsim.spec.files import (
    Source,
    inside,
    is_file,
    read_capped,
    safe_name,
    shown_path,
    specs_root,
)
from tolsim.spec.locate import Locator
from tolsim.spec.parts import PART_KINDS, Bearing, Bore, Feature, Part, Roundness
from tolsim.spec.route_steps import Readings as ReadingsStep
from tolsim.spec.route_steps import Settle

if TYPE_CHECKING:
    from tolsim.spec.readings import Readings

__all__ = ["Reader", "features", "nominal_of"]


@dataclass
class Reader:
    """Collects problems over all files of one study and reads each file once."""

    folder: Path
    allow_outside: bool = False
    problems: list[Problem] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)
    _parts: dict[str, tuple[Part, Path, str, Mapping[str, Readings]] | None] = field(
        default_factory=dict
    )

    def read_parts(self) -> dict[str, tuple[Part, Path, str, Mapping[str, Readings]]]:
        """Every part that was read without fault."""
        return {name: found for name, found in self._parts.items() if found is not None}

    def part(self, name: str) -> tuple[Part, Path, str, Mapping[str, Readings]] | None:
        """The part of this name with its readings; None where it is not to be had."""
        if name not in self._parts:
            self._parts[name] = None
            path = self._find(name)
            if path is not None:
                self._parts[name] = self.read(name, path)
        return self._parts[name]

    def _find(self, name: str) -> Path | None:
        for root in (self.folder, specs_root()):
            path = root / f"{name}.toml"
            if is_file(path):
                if inside(path, root) or self.allow_outside:
                    return path
                self.problems.append(
                    Problem(file=shown_path(path), message="lies outside the study's folder")
                )
                return None
        return None

    def exists(self, name: str) -> bool:
        """Whether there is a file for this name."""
        return any(is_file(root / f"{name}.toml") for root in (self.folder, specs_root()))

    def read(self, name: str, path: Path) -> tuple[Part, Path, str, Mapping[str, Readings]] | None:
        """The part of a file and its readings; every fault goes to the problems."""
        shown = shown_path(path)
        try:
            text, digest = read_capped(path, shown)
            raw = parse(text, shown)
            model = kind_of(raw, PART_KINDS, text=text, shown=shown)
        except SpecError as e:
            self.problems.extend(e.problems)
            return None
        seen = examine(raw, model, text=text, shown=shown)
        self.problems.extend(seen.problems)
        if seen.record is None or seen.left_out:
            self._look_on(raw, path, text, shown, name)
            return None
        part = seen.record
        self.sources[f"{name}.toml"] = Source(name=f"{name}.toml", sha256=digest)
        at = Locator(text)
        part, refused = resolve_classes(part, at, shown)
        self.problems.extend(refused)
        self._material(getattr(part, "material", None), at, shown)
        readings = self._readings(part, path, at, shown, name)
        part = self._aligned(part, path, at, shown, name)
        part = self._settled(part, path, at, shown, name)
        part = _formed(part, readings)
        return part, path, text, readings

    def _look_on(self, raw: dict[str, Any], path: Path, text: str, shown: str, name: str) -> None:
        """Faults beyond a part's own: its material and readings, though the part is not valid."""
        at = Locator(text)
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

    def _material(self, given: object, at: Locator, shown: str) -> None:
        from tolsim.mechanics.materials import MATERIALS
        from tolsim.spec.part_material import CustomMaterial

        where: tuple[str, ...] = ("material",)
        name, allowed = given, f"{', '.join(MATERIALS)}; or a [material] table"
        if isinstance(given, dict | CustomMaterial):
            name = given.get("like") if isinstance(given, dict) else given.like
            where, allowed = ("material", "like"), ", ".join(MATERIALS)
        if isinstance(name, str) and name not in MATERIALS:
            self.problems.append(
                Problem(
                    file=shown,
                    line=at.line(where),
                    key=key_text(where),
                    message="unknown material",
                    found=f'{where[-1]} = "{name}"',
                    allowed=allowed,
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
                readings = self._read_step(step, key, nominal, path, at, shown, name, feature)
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
        feature: Feature | None = None,
    ) -> Readings | None:
        """Readings of one route, or None with the reason among the problems."""
        file = self._beside((key, "route", 0, "file"), step.file, path, at, shown)
        if file is None:
            return None
        from tolsim.spec.measured_parts import read_bore_or_size, refuse_state
        from tolsim.spec.stated_shapes import refuse_shape

        try:
            readings = read_bore_or_size(step, file, shown=shown_path(file), nominal_mm=nominal)
        except SpecError as e:
            self.problems.extend(e.problems)
            return None
        if feature is not None:
            self.problems.extend(
                refuse_state(shown_path(file), key, readings.state, feature.state, feature.route)
            )
            for wrong in refuse_shape(step, readings, feature.route):
                where = (key, "route", 0, wrong.key)
                self.problems.append(
                    replace(wrong, file=shown, line=at.line(where), key=key_text(where))
                )
        self._used(name, step.file, readings.sha256)
        return readings

    def _used(self, name: str, file: str, digest: str) -> None:
        source = f"{name.rpartition('/')[0]}/{file}".lstrip("/")
        self.sources[source] = Source(name=source, sha256=digest)

    def _beside(
        self, where: tuple[str | int, ...], file: str, path: Path, at: Locator, shown: str
    ) -> Path | None:
        """The file of this name beside the part, or None with the reason among the problems."""
        found = path.parent / file
        wrong = None if self.allow_outside else safe_name(file)
        if wrong is None and not is_file(found):
            wrong = "no such file beside the part"
        elif (
            wrong is None
            and not self.allow_outside
            and not any(inside(found, root) for root in (self.folder, specs_root()))
        ):
            wrong = "lies outside the study's folder"
        if wrong is None:
            return found
        self.problems.append(
            Problem(
                file=shown,
                line=at.line(where),
                key=key_text(where),
                message=wrong,
                found=f'{where[-1]} = "{file}"',
                closest=closest(file, [p.name for p in path.parent.glob("*.csv")]),
            )
        )
        return None

    def _aligned(self, part: Part, path: Path, at: Locator, shown: str, name: str) -> Part:
        """The part with the readings of its alignment."""
        spec = getattr(part, "alignment", None)
        if spec is None or spec.readings is None:
            return part
        where = ("alignment", "readings", "file")
        file = self._beside(where, spec.readings.file, path, at, shown)
        if file is None:
            return part
        from tolsim.spec.measured_parts import read_alignment

        try:
            seen = read_alignment(spec.readings, file, shown=shown_path(file))
        except SpecError as e:
            self.problems.extend(e.problems)
            return part
        self._used(name, spec.readings.file, seen.sha256)
        return part.model_copy(update={"alignment": spec.with_seen(seen)})

    def _settled(self, part: Part, path: Path, at: Locator, shown: str, name: str) -> Part:
        """The part with what its settling steps read."""
        for key, feature in features(part).items():
            route, read = list(feature.route), False
            for i, step in enumerate(route):
                given = step.readings if isinstance(step, Settle) else None
                if not isinstance(step, Settle) or given is None:
                    continue
                where = (key, "route", i, "readings")
                file = self._beside((*where, "file"), given.file, path, at, shown)
                later = None
                if given.later_file is not None:
                    beside = (*where, "later_file")
                    later = self._beside(beside, given.later_file, path, at, shown)
                if file is None or (given.later_file is not None and later is None):
                    continue
                from tolsim.spec.measured_parts import read_settling

                nominal = nominal_of(part, key)
                try:
                    seen, pairs = read_settling(
                        step, given, file, later, shown=shown_path(file), nominal_mm=nominal
                    )
                except SpecError as e:
                    self.problems.extend(e.problems)
                    continue
                files = (given.file, given.later_file or given.file)
                for one, digest in zip(files, pairs.sha256, strict=True):
                    self._used(name, one, digest)
                route[i], read = step.with_seen(seen), True
            if read:
                changed = feature.model_copy(update={"route": tuple(route)})
                part = part.model_copy(update={key: changed})
        return part


def _formed(part: Part, readings: Mapping[str, Readings]) -> Part:
    """The part with the oval that readings at several angles show, where it states none."""
    read = readings.get("diameter")
    oval = None if read is None else read.oval
    if isinstance(part, Bore) and part.roundness is None and read is not None and oval is not None:
        square = 2.0 * read.oval_variance()
        return part.model_copy(update={"roundness": Roundness.oval(max(square, 1e-16))})
    return part


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
