"""The freedom of design against the study: what there is to choose, and whether it can be built."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tolsim.errors import Problem, closest
from tolsim.spec.choices import Choose, MachineChoice
from tolsim.spec.classes import look_up
from tolsim.spec.faults import key_text
from tolsim.spec.freedoms import Freeable, freeable
from tolsim.spec.locate import Locator
from tolsim.spec.parts import Part
from tolsim.spec.quantities import Table, usual_key
from tolsim.spec.strata import Stratum, Unfit, cannot_meet
from tolsim.spec.study import PART_ROLES, Alternative, StudySpec
from tolsim.standards.tables import TableError

__all__ = ["ChosenFrom", "choice_faults"]

_MOST = 2000  # combinations of parts that are looked at
#: Keys that a choice of each kind may have beside its own; of a feature all but these.
_OF_PARTS, _OF_ALTERNATIVES = ("part", "options"), ("alternatives",)
Key = tuple[str | int, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class ChosenFrom:
    """One joint that design may take: its specification, supplies, and roles that are settled."""

    spec: StudySpec
    strata: tuple[Stratum, ...]
    settled: tuple[str, ...] = ()

    @classmethod
    def alternative(
        cls, spec: StudySpec, strata: tuple[Stratum, ...], given: Alternative
    ) -> ChosenFrom:
        """The joint of an alternative; the parts that it names are not to be chosen any more."""
        settled = tuple(r for r in PART_ROLES if getattr(given, r) is not None)
        return cls(spec=spec, strata=strata, settled=settled)


def choice_faults(
    spec: StudySpec,
    joints: Sequence[ChosenFrom],
    part: Callable[[str], Part | None],
    *,
    raw: Mapping[str, Any],
    at: Locator,
    shown: str,
    unsound: Callable[[Key], bool],
) -> list[Problem]:
    """Every fault of ``[[choose]]`` that single keys cannot show.

    Parameters
    ----------
    spec, joints : StudySpec, sequence of ChosenFrom
        The study, its own joint first, and those that it may choose.
    part : callable
        The part of a name, None where it is not to be had.
    raw, at, shown : mapping, Locator, str
        The document as written, its lines and its name.
    unsound : callable
        Whether a key is told already as faulty.
    """
    tables = raw.get("choose", [])
    told = _Told(tables if isinstance(tables, list) else [], at, shown)
    sound = [(k, c) for k, c in enumerate(spec.choose) if not unsound(("choose", k))]
    out = [
        *_strays(sound, told),
        *_twice(sound, told),
        *_alternatives(sound, [a.name for a in spec.alternative], told),
    ]
    if all(j.strata for j in joints):
        combined = _combined(joints, sound, part)
        out += _roles(sound, combined, told)
        out += _unfit_options(sound, combined, told)
        for k, choice in sound:
            if choice.feature is not None:
                out += _of_feature(k, choice, [c for c in combined if not c.unfit], told)
    return out


class _Told:
    """Problems at keys of ``[[choose]]``, as the user wrote them."""

    def __init__(self, tables: Sequence[Any], at: Locator, shown: str) -> None:
        self._tables, self._at, self._shown = tables, at, shown

    def __call__(
        self,
        where: Key,
        message: str,
        allowed: str | None,
        near: str | None = None,
        found: str | None = None,
    ) -> Problem:
        """A problem at a key below ``choose``: ``(0, "process", 1, "width_um")``."""
        path: Key = ("choose",)
        node: Any = self._tables
        for part in where:
            if isinstance(node, dict) and isinstance(part, str):
                part = next((k for k in node if usual_key(k, (part,)) == part), part)
                node = node.get(part)
            elif isinstance(node, list) and isinstance(part, int):
                node = node[part] if part < len(node) else None
            else:
                node = None
            path = (*path, part)
        name = key_text(path[max(i for i, p in enumerate(path) if isinstance(p, str)) :])
        if found is None and node is not None and not isinstance(node, dict):
            text = f'"{node}"' if isinstance(node, str) else repr(node)
            found = f"{name} = {text}"[:90]
        return Problem(
            file=self._shown,
            line=self._at.line(path),
            key=key_text(path),
            message=message,
            found=found,
            allowed=allowed,
            closest=near,
        )


Sound = Sequence[tuple[int, Choose]]


def _strays(sound: Sound, told: _Told) -> Iterator[Problem]:
    """Keys that belong to a choice of another kind."""
    for k, choice in sound:
        kind, own = (
            "a feature",
            tuple(n for n in Choose.model_fields if n not in (*_OF_PARTS, *_OF_ALTERNATIVES)),
        )
        if choice.part is not None:
            kind, own = "a part", _OF_PARTS
        elif choice.alternatives is not None:
            kind, own = "alternatives", _OF_ALTERNATIVES
        allowed = ", ".join(_alias(Choose, n) for n in own)
        for name in sorted(choice.model_fields_set - set(own)):
            yield told((k, _alias(Choose, name)), f"a choice of {kind} has no such key", allowed)


def _alias(table: type[Table], name: str) -> str:
    return table.model_fields[name].alias or name


def _twice(sound: Sound, told: _Told) -> Iterator[Problem]:
    """What is chosen by two tables, or stands twice in one list."""
    seen: dict[tuple[str, str], int] = {}
    for k, choice in sound:
        for key in ("feature", "part"):
            value = getattr(choice, key)
            if value is not None and seen.setdefault((key, value), k) != k:
                yield told(
                    (k, key),
                    f"{value} is free already, by choose[{seen[key, value]}]",
                    f"one [[choose]] for each {key}",
                )
        for key in ("options", "alternatives", "classes"):
            values = getattr(choice, key) or ()
            for i, value in enumerate(values):
                if value in values[:i]:
                    yield told((k, key, i), "stands in the list twice", "each once")
        names = [m.name for m in choice.process]
        for i, name in enumerate(names):
            if name in names[:i]:
                yield told(
                    (k, "process", i, "name"), "two ways of making have one name", "another name"
                )


def _alternatives(sound: Sound, known: Sequence[str], told: _Told) -> Iterator[Problem]:
    for k, choice in sound:
        for i, name in enumerate(choice.alternatives or ()):
            if name not in known:
                yield told(
                    (k, "alternatives", i),
                    "no [[alternative]] of this name",
                    ", ".join(known) or "an [[alternative]] of the study; there is none",
                    closest(name, known),
                )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Combined:
    """One joint with one combination of chosen parts, and why that cannot be built."""

    joint: ChosenFrom
    chosen: Mapping[str, str]
    parts: tuple[Mapping[str, Part], ...]
    unfit: tuple[Unfit, ...]


def _combined(
    joints: Sequence[ChosenFrom], sound: Sound, part: Callable[[str], Part | None]
) -> list[_Combined]:
    options = {
        c.part: [n for n in c.options if getattr(part(n), "part", None) == c.part]
        for _, c in sound
        if c.part is not None and c.options is not None
    }
    out = []
    for joint in joints:
        roles = [
            r for r in options if r not in joint.settled and any(r in s.parts for s in joint.strata)
        ]
        products = itertools.product(*(options[r] for r in roles))
        for names in itertools.islice(products, _MOST):
            chosen = dict(zip(map(str, roles), names, strict=True))
            picked = {r: p for r, n in chosen.items() if (p := part(n)) is not None}
            built = [
                replace(s, parts={**s.parts, **picked}, names={**s.names, **chosen})
                for s in joint.strata
            ]
            unfit = itertools.chain.from_iterable(cannot_meet(s, joint.spec) for s in built)
            out.append(
                _Combined(
                    joint=joint,
                    chosen=chosen,
                    parts=tuple(s.parts for s in built),
                    unfit=tuple(unfit),
                )
            )
    return out


def _roles(sound: Sound, combined: Sequence[_Combined], told: _Told) -> Iterator[Problem]:
    """Parts that no joint has, or that each settles by itself."""
    roles = dict.fromkeys(r for c in combined for parts in c.parts for r in parts)
    free = {r for c in combined for r in c.chosen}
    for k, choice in sound:
        if choice.part is not None and choice.part not in roles:
            yield told((k, "part"), "no joint of this study has such a part", ", ".join(roles))
        elif choice.part is not None and choice.part not in free and choice.options:
            yield told((k, "options"), "none of these can be had", f"a {choice.part} each")


def _unfit_options(sound: Sound, combined: Sequence[_Combined], told: _Told) -> Iterator[Problem]:
    """Options that go with no combination of the other parts."""
    for k, choice in sound:
        for i, name in enumerate(choice.options or ()):
            own = [c for c in combined if c.chosen.get(str(choice.part)) == name]
            if own and all(c.unfit for c in own):
                unfit = own[0].unfit[0]
                yield told(
                    (k, "options", i),
                    unfit.message,
                    unfit.allowed,
                    found=f'"{name}": {unfit.found}',
                )


def _of_feature(
    k: int, choice: Choose, combined: Sequence[_Combined], told: _Told
) -> Iterator[Problem]:
    """What is wrong with the band of a feature."""
    path = choice.feature
    assert path is not None
    found = [freeable(c.joint.spec.joint.kind, parts) for c in combined for parts in c.parts]
    every: dict[str, Freeable] = {}
    for own in found:
        every |= own
    if path not in every:
        yield told(
            (k, "feature"),
            "no such size or scatter in this study",
            ", ".join(every),
            closest(path, every),
        )
        return
    for c in combined:
        lacking = [p for p in c.parts if path not in freeable(c.joint.spec.joint.kind, p)]
        if lacking and len(lacking) < len(c.parts):
            yield told((k, "feature"), "one supply has it, another has not", "what all have")
            return
    what = every[path]
    yield from _units(k, choice, what, told)
    yield from (_of_size if what.is_size else _of_scatter)(k, choice, told)
    if choice.classes is not None and what.is_size:
        yield from _classes(k, choice, combined, told)


def _units(k: int, choice: Choose, what: Freeable, told: _Told) -> Iterator[Problem]:
    wrong, right = ("width_angle", "width_um") if what.unit == "um" else ("width", "width_deg")
    tables: list[tuple[Key, Choose | MachineChoice]] = [((k,), choice)]
    tables += [((k, "process", i), m) for i, m in enumerate(choice.process)]
    for where, table in tables:
        if getattr(table, wrong) is not None:
            kind = "a length" if what.unit == "um" else "an angle"
            yield told((*where, _alias(type(table), wrong)), f"{what.path} is {kind}", right)


def _of_size(k: int, choice: Choose, told: _Told) -> Iterator[Problem]:
    if choice.centre is None and choice.classes is None:
        yield told(
            (k, "feature"),
            "a size needs the range of its middle",
            "centre_um = [least, most] beside it, or classes",
        )
    classed = [choice.cost, *(m.cost for m in choice.process)]
    if choice.classes is None and any(c is not None and c.classes for c in classed):
        yield told(
            (k, "cost"),
            "the cost names classes, the band is free",
            "fixed, per_width and power, or at; or classes to choose from",
            found="cost.classes",
        )


def _of_scatter(k: int, choice: Choose, told: _Told) -> Iterator[Problem]:
    if choice.centre is not None:
        yield told((k, "centre_um"), "a scatter about nothing has no middle", "its width alone")
    if choice.follows == "gauge":
        yield told((k, "follows"), "a gauge sorts sizes, not scatter about nothing", "process")
    if choice.classes is not None:
        yield told((k, "classes"), "classes are for sizes", "width_um or width_deg")


def _classes(
    k: int, choice: Choose, combined: Sequence[_Combined], told: _Told
) -> Iterator[Problem]:
    assert choice.feature is not None
    role, _, name = choice.feature.partition(".")
    for i, word in enumerate(choice.classes or ()):
        for part in (p[role] for c in combined for p in c.parts if role in p):
            look = look_up(part, name)
            if look is None:
                yield told((k, "classes", i), "no standard has classes of it", "width_um")
                return
            try:
                look(word)
            except TableError as e:
                yield told((k, "classes", i), e.message, e.allowed, e.closest)
                break
