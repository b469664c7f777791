"""From a path to a frozen study: every file it pulls in read once, every fault collected."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.alternatives import alternatives_of
from tolsim.spec.document import Examined, examine, parse
from tolsim.spec.faults import key_text
from tolsim.spec.files import (
    Source,
    decode,
    is_dir,
    read_capped,
    safe_name,
    shown_path,
    specs_root,
)
from tolsim.spec.locate import Locator
from tolsim.spec.parts import Part
from tolsim.spec.reader import Reader
from tolsim.spec.strata import Stratum, strata_of
from tolsim.spec.study import PART_ROLES, StudySpec

if TYPE_CHECKING:
    from tolsim.spec.readings import Readings

__all__ = ["Stratum", "Study", "available_parts", "load_part", "load_study"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Study:
    """A study with everything that it names."""

    spec: StudySpec
    name: str
    strata: tuple[Stratum, ...]
    sources: tuple[Source, ...]
    #: Parts that alternatives and choices name, with their readings.
    options: Mapping[str, tuple[Part, Mapping[str, Readings]]] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    #: Each alternative as a study of its own, by its name.
    alternatives: Mapping[str, Study] = field(default_factory=dict)
    #: Line of every ``[[choose]]``, for what only its search can find wrong with it.
    choose_lines: tuple[int | None, ...] = ()


def available_parts(folder: Path | None = None) -> dict[str, Path]:
    """Names that a study in `folder` may use, its own parts before those that come with tolsim."""
    found: dict[str, Path] = {}
    for root in ([folder] if folder is not None else []) + [specs_root()]:
        for path in sorted(root.glob("*/*.toml")):
            found.setdefault(f"{path.parent.name}/{path.stem}", path)
    return found


def load_part(path: Path, *, allow_outside: bool = False) -> Part:
    """One part file, checked whole; raises `SpecError`."""
    reader = Reader(folder=path.parent, allow_outside=allow_outside)
    found = reader.read(path.stem, path)
    if reader.problems or found is None:
        raise SpecError(_in_order(reader.problems))
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
        if is_dir(path):
            path = path / "study.toml"
        folder, shown = path.parent, shown_path(path)
        name = f"{path.resolve().parent.name}/{path.name}"
        text, digest = read_capped(path, shown)
    reader = Reader(folder=folder, allow_outside=allow_outside)
    raw = parse(text, shown)
    at = Locator(text)
    seen = examine(raw, StudySpec, text=text, shown=shown)
    problems, spec = seen.problems, seen.record
    for where, role, part_name in _named(raw):
        problems.extend(_check_named(reader, where, role, part_name, at, shown, folder))
    strata: tuple[Stratum, ...] = ()
    others: dict[str, tuple[StudySpec, tuple[Stratum, ...]]] = {}
    if spec is not None:
        problems.extend(_contradictions(spec, seen, at, shown))
        strata, more = strata_of(spec, reader, at, shown)
        problems.extend(more)
        told = [p.message for p in more]
        others, more = alternatives_of(spec, reader, at, shown, told=told)
        problems.extend(more)
        problems.extend(_choices(spec, strata, others, reader, seen, raw, at, shown))
    problems += reader.problems
    if problems or spec is None:
        raise SpecError(_in_order(problems))
    used = (Source(name=name, sha256=digest), *reader.sources.values())
    options = {n: (f[0], f[3]) for n, f in reader.read_parts().items()}
    return Study(
        spec=spec,
        name=name,
        strata=strata,
        sources=used,
        options=options,
        alternatives={
            n: Study(spec=s, name=name, strata=x, sources=used) for n, (s, x) in others.items()
        },
        choose_lines=tuple(at.line(("choose", k)) for k in range(len(spec.choose))),
    )


def _choices(
    spec: StudySpec,
    strata: tuple[Stratum, ...],
    others: Mapping[str, tuple[StudySpec, tuple[Stratum, ...]]],
    reader: Reader,
    seen: Examined[StudySpec],
    raw: Mapping[str, Any],
    at: Locator,
    shown: str,
) -> list[Problem]:
    """What is wrong with the freedom of design, where there is any."""
    if not spec.choose:
        return []
    from tolsim.spec.chosen import ChosenFrom, choice_faults

    wanted = {name for c in spec.choose for name in c.alternatives or ()}
    given = {a.name: a for a in spec.alternative}
    joints = [ChosenFrom(spec=spec, strata=strata)]
    joints += [
        ChosenFrom.alternative(*found, given[name])
        for name, found in others.items()
        if name in wanted
    ]

    def part(name: str) -> Part | None:
        found = reader.part(name)
        return None if found is None else found[0]

    return choice_faults(spec, joints, part, raw=raw, at=at, shown=shown, unsound=seen.explains)


def _in_order(problems: list[Problem]) -> list[Problem]:
    """Each problem once: file by file as they were opened, from top to bottom."""
    files = {name: i for i, name in enumerate(dict.fromkeys(p.file for p in problems))}
    return sorted(dict.fromkeys(problems), key=lambda p: (files[p.file], p.line or 0))


def _contradictions(
    spec: StudySpec, seen: Examined[StudySpec], at: Locator, shown: str
) -> list[Problem]:
    """What single keys cannot show, unless a faulty key has a hand in it."""
    return [
        Problem(
            file=shown,
            line=at.line(c.where) or 1,
            key=key_text(c.where),
            message=c.message,
            allowed=c.allowed,
        )
        for c in spec.contradictions()
        if not any(seen.explains(path) for path in (c.where, *c.depends))
    ]


def _named(raw: dict[str, Any]) -> Iterable[tuple[tuple[str | int, ...], str, str]]:
    """Every part that the document names, valid or not: (path, role, name)."""
    tables: list[tuple[tuple[str | int, ...], Any]] = [(("joint",), raw.get("joint"))]
    for key in ("supply", "alternative"):
        rows = raw.get(key)
        if isinstance(rows, list):
            tables.extend(((key, i), row) for i, row in enumerate(rows))
            for i, row in enumerate(rows if key == "alternative" else []):
                nested = row.get("supply") if isinstance(row, dict) else None
                if isinstance(nested, list):
                    tables.extend(
                        (("alternative", i, "supply", j), x) for j, x in enumerate(nested)
                    )
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
    reader: Reader,
    where: tuple[str | int, ...],
    role: str,
    name: str,
    at: Locator,
    shown: str,
    folder: Path,
) -> list[Problem]:
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
