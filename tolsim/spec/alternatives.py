"""Alternatives of a study as studies of their own: what each replaces, what that needs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from tolsim.errors import Problem
from tolsim.spec.faults import key_text
from tolsim.spec.locate import Locator
from tolsim.spec.reader import Reader
from tolsim.spec.strata import Stratum, strata_of
from tolsim.spec.study import (
    NEEDS,
    PART_ROLES,
    Alternative,
    AlternativeSupply,
    Contradiction,
    Joint,
    Limits,
    StudySpec,
    Supply,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["AS_IT_STANDS", "alternatives_of"]

#: What a study whose joint has no name is called beside its alternatives.
AS_IT_STANDS = "as it stands"


def alternatives_of(
    spec: StudySpec, reader: Reader, at: Locator, shown: str, *, told: Collection[str] = ()
) -> tuple[dict[str, tuple[StudySpec, tuple[Stratum, ...]]], list[Problem]]:
    """Each alternative's own specification and supplies by its name, and every fault in them.

    Faults stand at the alternative that brings them; messages that are `told` already of the
    study itself are not told again.
    """
    problems: list[Problem] = []
    out: dict[str, tuple[StudySpec, tuple[Stratum, ...]]] = {}
    inherited = {c.message for c in spec.contradictions()} | set(told)
    for i, alternative in enumerate(spec.alternative):
        where: tuple[str | int, ...] = ("alternative", i)
        changed = _changed(spec, alternative)
        faults = [
            *_own_faults(spec, alternative, out),
            *(c for c in changed.contradictions() if c.message not in inherited),
        ]
        problems += [_told(c, where, at, shown) for c in faults]
        strata, found = strata_of(changed, reader, at, shown)
        moved = [
            replace(p, line=at.line(where), key=key_text(where)) if p.file == shown else p
            for p in found
            if p.message not in inherited
        ]
        problems += dict.fromkeys(moved)
        out[alternative.name] = (changed, _priced(alternative, strata))
    return out, problems


def _told(c: Contradiction, where: tuple[str | int, ...], at: Locator, shown: str) -> Problem:
    path = (*where, *c.where)
    return Problem(
        file=shown,
        line=at.line(path) or at.line(where),
        key=key_text(path),
        message=c.message,
        allowed=c.allowed,
    )


def _own_faults(
    spec: StudySpec, alternative: Alternative, before: Mapping[str, object]
) -> Iterator[Contradiction]:
    """What is wrong within one alternative, whatever it would be built from."""
    if alternative.name in before:
        yield Contradiction(("name",), f"two alternatives have the same name: {alternative.name}")
    first = spec.joint.name or AS_IT_STANDS
    if alternative.name == first:
        yield Contradiction(
            ("name",), f"the study's own joint is already called {first}", "another name"
        )
    kind = alternative.kind or spec.joint.kind
    own = _roles(alternative)
    if alternative.price_each is not None and len(own) != 1:
        yield Contradiction(
            ("price_each",),
            "price_each is the price of one part, this alternative replaces "
            f"{', '.join(own) if own else 'none'}",
            "one of " + ", ".join(NEEDS[kind]) + "; or price_each in the files of the parts",
        )
    known = {s.name for s in spec.supply}
    for j, supply in enumerate(alternative.supply):
        if supply.name not in known and supply.share is None:
            yield Contradiction(
                ("supply", j),
                f"{supply.name} is a further supply, it needs a share",
                f"share; or one of {', '.join(sorted(known))}" if known else "share",
            )
        if supply.name in [s.name for s in alternative.supply[:j]]:
            yield Contradiction(
                ("supply", j, "name"), f"two supplies have the same name: {supply.name}"
            )


def _roles(table: Alternative | AlternativeSupply | Supply | Joint) -> tuple[str, ...]:
    return tuple(r for r in PART_ROLES if getattr(table, r) is not None)


def _changed(spec: StudySpec, alternative: Alternative) -> StudySpec:
    """The specification with everything replaced that the alternative names."""
    kind = alternative.kind or spec.joint.kind
    own = {r: getattr(alternative, r) for r in _roles(alternative)}
    # what the new kind does not need goes; what it does not have, and is named, is a fault
    gone = () if kind == spec.joint.kind else tuple(r for r in PART_ROLES if r not in NEEDS[kind])
    dropped = dict.fromkeys((r for r in gone if r not in own), None)
    joint: dict[str, object] = {"kind": kind, **dropped, **own}
    if alternative.age_at_assembly is not None:
        joint["age_at_assembly"] = alternative.age_at_assembly
    if alternative.pick is not None:
        joint["pick"] = alternative.pick
    supplies = [s.model_copy(update={**dropped, **dict.fromkeys(own)}) for s in spec.supply]
    return spec.model_copy(
        update={
            "joint": spec.joint.model_copy(update=joint),
            "supply": _supplies(supplies, alternative.supply),
            "limits": _limits(spec.limits, alternative.limits),
            "alternative": (),
        }
    )


def _supplies(there: list[Supply], changes: tuple[AlternativeSupply, ...]) -> tuple[Supply, ...]:
    out = {s.name: s for s in there}
    for change in changes:
        parts = {r: getattr(change, r) for r in _roles(change)}
        known = out.get(change.name)
        share = change.share if change.share is not None else known.share if known else 1.0
        if share == 0.0:
            out.pop(change.name, None)
        elif known is not None:
            out[change.name] = known.model_copy(update={**parts, "share": share})
        else:
            out[change.name] = Supply.model_construct(name=change.name, share=share, **parts)
    return tuple(out.values())


def _limits(there: Limits, given: Limits | None) -> Limits:
    if given is None:
        return there
    names = [n for n in type(given).model_fields if getattr(given, n) is not None]
    return there.model_copy(update={n: getattr(given, n) for n in names})


def _priced(alternative: Alternative, strata: tuple[Stratum, ...]) -> tuple[Stratum, ...]:
    own = _roles(alternative)
    if alternative.price_each is None or len(own) != 1:
        return strata
    role, price = own[0], {"price_each": alternative.price_each}
    return tuple(
        replace(s, parts={**s.parts, role: s.parts[role].model_copy(update=price)})
        if role in s.parts
        else s
        for s in strata
    )
