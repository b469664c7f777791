"""What the physics itself does not know: remembered constants at both ends of their ranges."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from tolsim.answers.judge import Judge
from tolsim.answers.left_open import judge_left_open
from tolsim.answers.lots_taken import over_any_lot
from tolsim.answers.results import ModeResult, Prediction, verdict_of
from tolsim.answers.tally import events_of, tally
from tolsim.joint.assemble import assemble
from tolsim.joint.assumed import Assumptions
from tolsim.joint.model import Joint
from tolsim.mechanics.assumptions import Assumed
from tolsim.spec.load import Study

__all__ = ["AssumptionRun", "assumption_runs", "turning"]

_GLANCE = 2**16  # units of the short look that every prediction takes
_MODES = ("loose", "tight", "misaligned", "bond", "creak")


@dataclass(frozen=True, kw_only=True, slots=True)
class AssumptionRun:
    """Rates with some constants at an end of their ranges, on the draws of the base run."""

    constants: tuple[Assumed, ...]
    values: tuple[float, ...]
    modes: dict[str, ModeResult]
    turned: tuple[str, ...]


def assumption_runs(
    study: Study,
    base: Prediction,
    *,
    draws: int = 2**18,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[AssumptionRun, ...]:
    """Rerun a study with every remembered constant at both ends, and the worst pair together.

    Parameters
    ----------
    study : Study
        The study of `base`.
    base : Prediction
        Its prediction; runs share its seed, so differences are those of the constants.
    draws, workers : int
        Units drawn of each combination of parts, for every run; threads.
    progress : callable, optional
        Told (runs done, runs in all).

    Returns
    -------
    tuple of AssumptionRun
        Two a constant, in the order in which the joint asks for them; the worst pair last, where
        there are two constants. A mode has *turned* where its verdict differs from the base's.
    """
    study = over_any_lot(study)
    constants = assemble(study).assumed
    ends = [(c, v) for c in constants for v in (c.low, c.high) if v != c.value]
    total = len(ends) + (1 if len(constants) > 1 else 0)
    out: list[AssumptionRun] = []
    for done, (constant, value) in enumerate(ends):
        out.append(_run(study, base, ((constant, value),), draws, workers))
        if progress is not None:
            progress(done + 1, total)
    pair = _worst_pair(out)
    if pair is not None:
        out.append(_run(study, base, pair, draws, workers))
        if progress is not None:
            progress(total, total)
    return tuple(out)


def _run(
    study: Study,
    base: Prediction,
    settings: tuple[tuple[Assumed, float], ...],
    draws: int,
    workers: int,
) -> AssumptionRun:
    assumptions = Assumptions({c.name: v for c, v in settings})
    joint = assemble(study, assumptions)
    counted = tally(joint, seed=base.seed, n=draws, workers=workers)
    other = judge_left_open(
        study, joint, seed=base.seed, draws=draws, workers=workers, assumptions=assumptions
    )
    judge = Judge(study, joint, counted, base.seed, left_open=other)
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes = {
        mode: judge.mode((mode, 0), everything, target=True)
        for mode in _MODES
        if any((mode, 0) in events_of(b) for b in joint.builds)
    }
    turned = tuple(
        mode
        for mode, m in modes.items()
        if m.verdict is not None and m.verdict != _verdict(base, mode)
    )
    return AssumptionRun(
        constants=tuple(c for c, _ in settings),
        values=tuple(v for _, v in settings),
        modes=modes,
        turned=turned,
    )


def _verdict(base: Prediction, mode: str) -> str | None:
    found = base.modes.get(mode)
    return None if found is None else found.verdict


def _worst_pair(runs: list[AssumptionRun]) -> tuple[tuple[Assumed, float], ...] | None:
    """The two constants whose ends raise creak (else any rate) the most."""
    best: dict[str, tuple[float, Assumed, float]] = {}
    for run in runs:
        rate = max(
            (m.share for mode, m in run.modes.items() if mode in ("creak", "tight")), default=0.0
        )
        constant, value = run.constants[0], run.values[0]
        if constant.name not in best or rate > best[constant.name][0]:
            best[constant.name] = (rate, constant, value)
    ranked = sorted(best.values(), key=lambda x: -x[0])[:2]
    return None if len(ranked) < 2 else tuple((c, v) for _, c, v in ranked)


def turning(
    study: Study, joint: Joint, modes: Mapping[str, ModeResult | None], seed: int, workers: int
) -> dict[str, tuple[str, ...]]:
    """A short look at which constants could turn which verdicts.

    Counts 65 536 units with each constant at either end and scales the base's interval by how
    the count moved on common draws; `assumption_runs` judges in full.

    Returns
    -------
    dict
        Name of the constant -> modes whose verdict it could turn.
    """
    judged = {m: r for m, r in modes.items() if r is not None and r.target is not None}
    if not judged or not joint.assumed:
        return {}
    base = _counts(joint, seed, workers)
    out: dict[str, tuple[str, ...]] = {}
    for constant in joint.assumed:
        found: dict[str, None] = {}
        for value in (constant.low, constant.high):
            if value == constant.value:
                continue
            moved = _counts(assemble(study, Assumptions({constant.name: value})), seed, workers)
            for mode, r in judged.items():
                ratio = (moved.get(mode, 0.0) + 1.0) / (base.get(mode, 0.0) + 1.0)
                ends = (r.low * ratio, min(1.0, r.high * ratio))
                if verdict_of(*ends, r.target) != r.verdict:
                    found[mode] = None
        if found:
            out[constant.name] = tuple(found)
    return out


def _counts(joint: Joint, seed: int, workers: int) -> dict[str, float]:
    counted = tally(joint, seed=seed, n=_GLANCE, workers=workers)
    out: dict[str, float] = {}
    for i, build in enumerate(joint.builds):
        for mode in _MODES:
            count = counted.events.get((i, (mode, 0)), 0)
            out[mode] = out.get(mode, 0.0) + build.share * count
    return out
