"""Alternatives against each other on the same draws: the cheaper bearing, the other supplier.

Every unit is drawn once and built in every way, so what the alternatives have in common cancels
in their differences. One rule judges each: acceptable, not acceptable, not enough evidence.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence

from tolsim.answers.compare_alternative import Prices, alternative_of
from tolsim.answers.compare_changes import unlike_questions
from tolsim.answers.compare_ranges import ranges_of
from tolsim.answers.compare_rank import Ranking
from tolsim.answers.compare_results import Comparison
from tolsim.answers.compare_run import Run
from tolsim.answers.compare_shares import RESAMPLED
from tolsim.answers.compare_single import singles_of
from tolsim.answers.compare_variants import told_apart
from tolsim.answers.money import claim_draws, outlay, units_of
from tolsim.errors import UsageError
from tolsim.spec.alternatives import AS_IT_STANDS
from tolsim.spec.load import Study
from tolsim.spec.money import Costs

__all__ = ["DEFAULT_DRAWS", "compare", "labelled"]

DEFAULT_DRAWS = 2**20


def labelled(studies: Sequence[Study]) -> dict[str, Study]:
    """Everything to compare by a name of its own: each study, each of its alternatives.

    Raises
    ------
    UsageError
        If there is only one.
    """
    out: dict[str, Study] = {}
    for study in studies:
        alone = len(studies) == 1
        folder = study.name.partition("/")[0]
        out[_free(study.spec.joint.name or (AS_IT_STANDS if alone else folder), out)] = study
        for name, other in study.alternatives.items():
            out[_free(name if alone else f"{folder}: {name}", out)] = other
    if len(out) < 2:
        raise UsageError(
            "nothing to compare with: the study has no [[alternative]]; add one, or name "
            "several studies"
        )
    return told_apart(out)


def _free(label: str, taken: Container[str]) -> str:
    """The label, or what tells it from those that are taken."""
    while label in taken:
        label += " again"
    return label


def has_reference(studies: Sequence[Study]) -> bool:
    """Whether the first is only what the others are measured against: one study, joint unnamed."""
    return len(studies) == 1 and studies[0].spec.joint.name is None


def compare(
    studies: Sequence[Study],
    *,
    seed: int = 1,
    draws: int = DEFAULT_DRAWS,
    workers: int = 2,
    plain: bool = False,
    deep: bool = True,
    progress: Callable[[int, int], None] | None = None,
    tell: Callable[[str], None] | None = None,
) -> Comparison:
    """Compare a study with its alternatives, or several studies side by side.

    Parameters
    ----------
    studies : sequence of Study
        One with alternatives, or several. The first is the reference of every difference; it is
        judged as a choice itself where there are several, or where its joint has a name.
    seed, draws, workers : int
        Seed of all streams, common units, threads; the answer does not depend on the threads.
    plain : bool
        Count only; no rare-event method.
    deep : bool
        Say as well what would decide, what a lot must show, and what the next lot may do.
    progress : callable, optional
        Told (blocks done, blocks in all).
    tell : callable, optional
        Told what is being done after the draws.

    Raises
    ------
    UsageError
        If there is nothing to compare.
    """
    chosen = labelled(studies)
    run = Run(chosen, seed=seed, draws=draws, workers=workers, plain=plain, progress=progress)
    found = comparison_of(run, has_reference=has_reference(studies), title=studies[0].spec.title)
    if not deep:
        return found
    from tolsim.answers.compare_depth import deepened

    return deepened(found, run, workers=workers, tell=tell)


def comparison_of(run: Run, *, has_reference: bool, title: str) -> Comparison:
    """The comparison that a run gives."""
    reference = run.studies[run.names[0]]
    costs = reference.spec.costs or Costs()
    confidence = reference.spec.targets.confidence
    ranges = ranges_of(run)
    claims = claim_draws(reference.spec.costs, seed=run.seed, n=RESAMPLED)
    outlays = [outlay(s, j, costs) for s, j in zip(run.studies.values(), run.joints, strict=True)]
    prices = Prices(outlays, claims, costs, confidence)
    ranking = Ranking(run, ranges, outlays, claims, costs)
    found = [
        alternative_of(run, j, prices, ranges, ranking, against=has_reference)
        for j in range(len(run.names))
    ]
    return Comparison(
        title=title,
        seed=run.seed,
        draws=run.together.n,
        confidence=confidence,
        currency=costs.currency,
        yearly=units_of(costs)[1],
        alternatives=tuple(found),
        ranked_by=ranking.by,
        within_targets=ranking.within_targets,
        none_best=ranking.none,
        singles=singles_of(run, ranges, ranking.named),
        has_reference=has_reference,
        assumed=run.assumed,
        warnings=unlike_questions(run.studies),
    )
