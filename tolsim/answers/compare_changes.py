"""What an alternative changes, in words; what makes two alternatives answer unlike questions."""

from __future__ import annotations

from collections.abc import Mapping

from tolsim.spec.load import Study

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
    if a.limits != b.limits:
        out["other limits"] = None
    if a.service != b.service:
        out["other service"] = None
    return tuple(out) or ("nothing",)


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
    return tuple(out)
