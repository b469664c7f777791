"""What would decide: further readings, the condition of a purchase, the next lot, whole ranges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tolsim.answers.compare_bag import next_lots
from tolsim.answers.compare_concepts import Corners, whole_range
from tolsim.answers.compare_condition import FITS, Condition, condition_of, demanded, ranging
from tolsim.answers.compare_demand import demand_of
from tolsim.answers.compare_results import AlternativeResult, Comparison
from tolsim.answers.compare_run import Run
from tolsim.answers.compare_shares import RESAMPLED
from tolsim.answers.evidence_plan import EvidencePlan, evidence_plan
from tolsim.answers.evidence_rule import rule_for
from tolsim.answers.money import ClaimDraws, claim_draws
from tolsim.spec.load import Study
from tolsim.spec.money import Costs

__all__ = ["deepened"]

_CONDITION_DRAWS = 2**18
_OPEN = "not enough evidence"


def deepened(
    c: Comparison,
    run: Run,
    *,
    workers: int,
    tell: Callable[[str], None] | None = None,
) -> Comparison:
    """The comparison with what would decide about every choice that it leaves open.

    Parameters
    ----------
    c, run : Comparison, Run
        The comparison and what it was made from.
    workers : int
        Threads of further counts.
    tell : callable, optional
        Told what is being done.
    """
    reference = run.studies[run.names[0]]
    costs = reference.spec.costs or Costs()
    claims = claim_draws(reference.spec.costs, seed=run.seed, n=RESAMPLED)
    out = []
    for j, a in enumerate(c.alternatives):
        if a in c.choices:
            a = _deepened(a, j, run, costs, claims, workers, tell)
        out.append(a)
    return replace(c, alternatives=tuple(out))


def _deepened(
    a: AlternativeResult,
    j: int,
    run: Run,
    costs: Costs,
    claims: ClaimDraws | None,
    workers: int,
    tell: Callable[[str], None] | None,
) -> AlternativeResult:
    study, reference = run.studies[a.name], run.studies[run.names[0]]
    if tell is not None:
        tell(f"{a.name}: what would decide")
    rule = rule_for(run, j, a.reasons, a.money, claims, costs)
    plan: EvidencePlan | None = None
    if a.verdict == _OPEN and rule.features:
        plan = evidence_plan(rule, seed=run.seed)
    conditions: list[Condition] = []
    counted = Corners(rule, study, workers)
    demand = demand_of(rule, study, counted)
    if demand is not None:
        conditions = demanded(demand, study, rule.confidence)
    elif a.verdict not in (None, "acceptable"):
        conditions = _conditions(study, reference, run, j, a, costs, claims, workers)
    changed = [n for n in _names(study) if n not in _names(reference)]
    modes = [m for m in ("creak", "tight") if run.judges[j].knows((m, 0))]
    return replace(
        a,
        plan=plan,
        conditions=tuple(conditions),
        next_lots=next_lots(study, changed, seed=run.seed, workers=workers, modes=modes)
        if j
        else (),
        whole=whole_range(rule, study, counted),
        demand=demand,
    )


def _names(study: Study) -> list[str]:
    return list(dict.fromkeys(n for s in study.strata for n in s.names.values()))


def _conditions(
    study: Study,
    reference: Study,
    run: Run,
    j: int,
    a: AlternativeResult,
    costs: Costs,
    claims: ClaimDraws | None,
    workers: int,
) -> list[Condition]:
    """Of the one part that the alternative brings."""
    if not j:
        return []
    brought = {
        (role, name)
        for s in study.strata
        for role, name in s.names.items()
        if name not in _names(reference) and role in FITS
    }
    if len(brought) != 1:
        return []
    role, part = brought.pop()
    found = ranging(study, role, part)
    if found is None:
        return []
    variant, label, step = found
    again = Run(
        {run.names[0]: reference, a.name: variant},
        seed=run.seed,
        draws=_CONDITION_DRAWS,
        workers=workers,
        plain=True,
        events=[(m, 0) for m in ("loose", "tight", "misaligned", "bond", "creak")],
    )
    wide = rule_for(again, 1, a.reasons, a.money, claims, costs)
    return [condition_of(wide, label, f"{role}.{FITS[role]}", step)]
