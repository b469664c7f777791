"""What an alternative changes, in words; what makes two alternatives answer unlike questions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from tolsim.spec.load import Study
from tolsim.spec.study import Joint

__all__ = ["changes", "unlike_questions"]


def changes(reference: Study, study: Study) -> tuple[str, ...]:
    """What an alternative changes, in words."""
    out: dict[str, None] = {}
    a, b = reference.spec, study.spec
    if a.joint.kind != b.joint.kind:
        out[f"{a.joint.kind} becomes {b.joint.kind}"] = None
    before = {s.name: s for s in reference.strata}
    for s in study.strata:
        old = before.get(s.name)
        if old is None:
            if len(reference.strata) > 1 or len(study.strata) > 1:
                out[f"{s.name} delivers {100 * s.share:g} %"] = None
            continue
        for role in dict.fromkeys((*old.names, *s.names)):
            one, two = old.names.get(role), s.names.get(role)
            if one == two:
                continue
            who = f"{s.name}: " if len(study.strata) > 1 and not _everywhere(study, role) else ""
            if one is None:
                out[f"{who}{role} {two} added"] = None
            elif two is None:
                out[f"{who}no {role}"] = None
            else:
                whom = one if who or _everywhere(reference, role) else "every " + role
                out[f"{who}{role} {two} for {whom}"] = None
        if old.share != s.share:
            out[f"{s.name} {100 * old.share:g} % becomes {100 * s.share:g} %"] = None
    for name in before:
        if name not in {s.name for s in study.strata}:
            out[f"without {name}"] = None
    for word in ("limits", "service", "constant"):
        if getattr(a, word) != getattr(b, word):
            out[f"other {word}s" if word == "constant" else f"other {word}"] = None
    out.update(dict.fromkeys(_of_joint(a.joint, b.joint)))
    out.update(dict.fromkeys(_of_prices(reference, study)))
    return tuple(out) or ("nothing",)


def _of_joint(a: Joint, b: Joint) -> Iterator[str]:
    """What differs in the joint beside its kind and parts."""
    if a.age_at_assembly != b.age_at_assembly:
        yield f"{b.age_at_assembly:g} h old at assembly for {a.age_at_assembly:g} h"
    if a.pick != b.pick:
        other = "parts picked by classes" if a.pick is None else "other picking of parts"
        yield "no picking of parts" if b.pick is None else other
    words = {
        "smoothing_factor": "smoothing factor",
        "removals": "number of removals",
        "removal_retention": "retention at removal",
        "friction": "friction",
    }
    for name, word in words.items():
        if getattr(a, name) != getattr(b, name):
            yield f"other {word}"


def _of_prices(reference: Study, study: Study) -> Iterator[str]:
    """Parts of one name at other prices."""
    before = {s.names[r]: p for s in reference.strata for r, p in s.parts.items()}
    for s in study.strata:
        for role, part in s.parts.items():
            old = before.get(s.names[role])
            if old is not None and old.price_each != part.price_each:
                yield f"{s.names[role]} at another price"


def _everywhere(study: Study, role: str) -> bool:
    return len({s.names.get(role) for s in study.strata}) == 1


def unlike_questions(studies: Mapping[str, Study]) -> tuple[str, ...]:
    """Alternatives that answer another question than the reference does."""
    (reference, base), *others = studies.items()
    first = base.spec
    out = []
    for name, study in others:
        spec = study.spec
        told = [
            word
            for word, a, b in (
                ("limits", first.limits, spec.limits),
                ("targets", first.targets, spec.targets),
                ("service", first.service, spec.service),
            )
            if a != b
        ]
        if told:
            out.append(f"{name} has other {' and '.join(told)} than {reference}")
        if first.costs is not None and spec.costs not in (first.costs, None):
            out.append(
                f"{name} has other costs than {reference}; those of {reference} count for all"
            )
        if first.costs is None and spec.costs is not None:
            out.append(f"{name} has costs, {reference} has none: no money is compared")
    return tuple(out)
