"""Studies made runnable: every supply's parts become margins over shared rows of normals."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from tolsim.errors import Problem, SpecError
from tolsim.joint.assumed import Assumptions
from tolsim.joint.draft import Draft, draft_build
from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.model import Build, Joint
from tolsim.joint.values import Values, contributor_values
from tolsim.record import Array, nothing_collected, record
from tolsim.spec.load import Stratum, Study

__all__ = ["assemble", "assemble_each", "assemble_together"]


@dataclass(slots=True)
class _Layout:
    """Outputs of the recording, in order, and who they belong to."""

    functions: list[Callable[[Rows], list[Array]]]
    rows: int = 0

    def add(self, function: Callable[[Rows], list[Array]], count: int) -> int:
        first = self.rows
        self.functions.append(function)
        self.rows += count
        return first


def assemble(
    study: Study, assumptions: Assumptions | None = None, *, values: bool = False
) -> Joint:
    """The study as one recorded function of standard normals.

    `assumptions` sets remembered constants to other values than their own; with `values` the
    recording gives what every contributor comes to as well.

    Supplies built from the same parts share one build; all builds read the same rows, so their
    draws are common and differences between them are far more precise than either.

    Raises
    ------
    SpecError
        If the mechanics refuses a combination of parts; names the supply.
    """
    return assemble_together([study], assumptions, values=values)[0]


def assemble_together(
    studies: Sequence[Study], assumptions: Assumptions | None = None, *, values: bool = False
) -> tuple[Joint, ...]:
    """Several studies over the same rows, in one recording that all of them share.

    Rows go by name, so what two studies have in common is drawn, and computed, once; each joint
    lists its own builds. Run the recording once and read every joint's margins from it.

    Raises
    ------
    SpecError
        If the mechanics refuses a combination of parts; names the supply.
    """
    assumptions = assumptions or Assumptions()
    return assemble_each([(study, assumptions) for study in studies], values=values)


def assemble_each(
    studies: Sequence[tuple[Study, Assumptions]], *, values: bool = False, tell: bool = True
) -> tuple[Joint, ...]:
    """The same where each study has remembered constants of its own: one may come several times.

    `tell` works out what is told of the parts besides their margins, and what is doubtful about
    them; a rerun with other constants need not.

    Raises
    ------
    SpecError
        If the mechanics refuses a combination of parts; names the supply.
    """
    latent = Latent()
    layout = _Layout([])

    def everything(z: Rows) -> list[Array]:
        return [y for f in layout.functions for y in f(z)]

    with nothing_collected():
        found = [_builds(study, latent, layout, own, values, tell) for study, own in studies]
        recording = record(everything, len(latent.names))
    return tuple(
        Joint(
            latent=latent.names,
            evidence=latent.evidence,
            recording=recording,
            builds=builds,
            seat_names=_seat_names(study),
            assumed=own.used,
            stated=own.stated,
            warnings=study.warnings,
        )
        for (study, own), builds in zip(studies, found, strict=True)
    )


def _builds(
    study: Study,
    latent: Latent,
    layout: _Layout,
    assumptions: Assumptions,
    values: bool,
    tell: bool,
) -> tuple[Build, ...]:
    """One build for every combination of parts of a study, its outputs given their places."""
    groups: dict[tuple[tuple[str, str], ...], list[Stratum]] = {}
    for stratum in study.strata:
        groups.setdefault(tuple(sorted(stratum.names.items())), []).append(stratum)
    builds: list[Build] = []
    for key in sorted(groups):
        members = groups[key]
        try:
            draft = draft_build(study.spec, members[0], latent, assumptions, tell=tell)
        except ValueError as e:
            raise SpecError(
                [Problem(file=study.name, key=members[0].name, message=f"cannot be built: {e}")]
            ) from e
        known = contributor_values(study.spec, members[0], latent, draft.sizes) if values else {}
        builds.append(_build(members, draft, layout, known))
    return tuple(builds)


def _build(
    members: list[Stratum], draft: Draft, layout: _Layout, values: Mapping[str, Values]
) -> Build:
    first = layout.rows
    for group in draft.margins:
        layout.add(group.compute, len(group.described))
    margins = tuple(m for group in draft.margins for m in group.described)
    fit = layout.add(_both(draft.interference), 2)
    gauged = [layout.add(_both(sources), 2) for _, sources in draft.measured]
    return Build(
        key=" + ".join(members[0].names.values()),
        names=tuple(m.name for m in members),
        share=math.fsum(m.share for m in members),
        parts=members[0].names,
        margins=margins,
        first=first,
        interference=(fit, fit + 1),
        known=draft.known,
        measured=tuple(m for m, _ in draft.measured),
        gauged=tuple((g, g + 1) for g in gauged),
        values={key: _placed(layout, both) for key, both in values.items()},
        scrap=tuple((key, s.gauge, s.share) for key, x in draft.sizes.items() for s in x.scrap),
        populations=tuple(p for s in draft.sizes.values() for p in s.populations),
        warnings=draft.warnings,
        strokes=draft.strokes,
    )


def _placed(layout: _Layout, both: Values) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Outputs of a contributor's components at either seat."""
    sources = [*both[0], *both[1]]
    first = layout.add(lambda z: [s(z) for s in sources], len(sources))
    middle = first + len(both[0])
    return tuple(range(first, middle)), tuple(range(middle, first + len(sources)))


def _both(sources: tuple[Source, Source]) -> Callable[[Rows], list[Array]]:
    return lambda z: [s(z) for s in sources]


def _seat_names(study: Study) -> tuple[str, str]:
    for stratum in study.strata:
        for readings in stratum.readings.values():
            if readings.seats is not None:
                return readings.seats
    return ("1", "2")
