"""What share of units will be loose, overly tight or misaligned: the first question."""

from __future__ import annotations

from collections.abc import Callable

from tolsim.answers.assumptions import turning
from tolsim.answers.doubts import doubts_of, shapes_of, unexplained
from tolsim.answers.judge import Clock, Judge
from tolsim.answers.left_open import judge_left_open, kept_open, next_lot
from tolsim.answers.lots_taken import lots_taken, with_any_lot
from tolsim.answers.provable import provable
from tolsim.answers.results import (
    InterferenceRange,
    ModeResult,
    Pictures,
    Prediction,
    ScrapResult,
    SeatResult,
    SupplyResult,
)
from tolsim.answers.shape_results import shape_results
from tolsim.answers.tally import Tally, events_of, tally
from tolsim.joint.assemble import assemble
from tolsim.joint.model import MODES, Joint
from tolsim.spec.load import Study

__all__ = ["DEFAULT_DRAWS", "predict"]

DEFAULT_DRAWS = 2**20
MOST_DRAWS = 2**30


def predict(
    study: Study,
    *,
    seed: int = 1,
    draws: int = DEFAULT_DRAWS,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
    detail: bool = False,
    plain: bool = False,
    precision: float | None = None,
    time_limit: float | None = None,
    glance: bool = True,
) -> Prediction:
    """Predict the shares of loose, overly tight and misaligned units.

    Parameters
    ----------
    study : Study
        From `tolsim.spec.load.load_study`.
    seed, draws, workers : int
        Seed of every stream; units drawn of each combination of parts; threads. The result
        depends on seed and draws, never on the threads.
    progress : callable, optional
        Told (blocks done, blocks in all).
    detail : bool
        Count as well what the figures show.
    plain : bool
        Count only; no rare-event method.
    precision : float, optional
        Half-width of the simulation interval over the share that is wanted for every rate of the
        study; draws go on, doubling, until it is reached by counting or by a rare-event method.
    time_limit : float, optional
        Seconds after which no further draws are begun; what was drawn is then reported as it is.
    glance : bool
        Look as well which remembered constants could turn a verdict.

    Returns
    -------
    Prediction
    """
    if draws < 1:
        raise ValueError(f"need at least one draw, got {draws}")
    asked = study
    lots = lots_taken(study)
    study = with_any_lot(study, {(x.part, x.key) for x in lots if x.random})
    joint = assemble(study)
    clock = Clock(time_limit)
    counted = tally(joint, seed=seed, n=draws, workers=workers, progress=progress, detail=detail)
    other = judge_left_open(
        study, joint, seed=seed, draws=draws, workers=workers, plain=plain, clock=clock
    )

    def judged() -> Judge:
        return Judge(
            study,
            joint,
            counted,
            seed,
            plain=plain,
            precision=precision,
            clock=clock,
            left_open=other,
        )

    judge = judged()
    while precision is not None and judge.coarse() and not clock.spent and draws < MOST_DRAWS:
        draws *= 2
        counted = tally(
            joint, seed=seed, n=draws, workers=workers, progress=progress, detail=detail
        )
        judge = judged()
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes: dict[str, ModeResult | None] = {}
    for mode in (*MODES, "creak"):
        has = any(b.rows_of(mode) for b in joint.builds) or mode == "creak"
        modes[mode] = judge.mode((mode, 0), everything, target=True) if has else None
    later = next_lot(study, seed=seed, draws=draws, workers=workers)
    modes = {
        mode: None if m is None else kept_open(m, later.get(mode)) for mode, m in modes.items()
    }
    seats = tuple(_seat(judge, joint, counted, number) for number in (1, 2))
    supply = _supplies(study, joint, judge)
    return Prediction(
        study=asked,
        seed=seed,
        draws=draws,
        modes=modes,
        seats=(seats[0], seats[1]),
        causes=judge.causes(everything),
        supply=supply,
        populations=tuple((", ".join(b.names), p) for b in joint.builds for p in b.populations),
        scrap=tuple(
            ScrapResult(build=", ".join(b.names), feature=key, gauge=gauge, share=share)
            for b in joint.builds
            for key, gauge, share in b.scrap
        ),
        assumed=joint.assumed,
        stated=joint.stated,
        turning=turning(study, joint, modes, seed, workers) if glance else {},
        pictures=Pictures(joint=joint, counted=counted) if detail else None,
        warnings=_warnings(study, joint),
        shapes=shape_results(joint, counted),
        lots=lots,
        loads=tuple((", ".join(b.names), b.strokes) for b in joint.builds if b.strokes is not None),
        next_lot=later,
        provable=provable(study),
    )


def _seat(judge: Judge, joint: Joint, counted: Tally, number: int) -> SeatResult:
    everything = [(i, b.share) for i, b in enumerate(joint.builds)]
    modes = {
        mode: judge.mode((mode, number), everything)
        for mode in (*MODES, "creak")
        if any((mode, number) in events_of(b) for b in joint.builds)
    }
    ranges = []
    for i, build in enumerate(joint.builds):
        h = counted.interference[i, number - 1]
        ranges.append(
            InterferenceRange(
                build=", ".join(build.names),
                share=build.share,
                known=build.known[number - 1],
                mean=h.mean,
                sd=h.sd,
                central=(h.quantile(0.00135), h.quantile(0.99865)),
                resolution=h.resolution,
            )
        )
    return SeatResult(
        seat=number, name=joint.seat_names[number - 1], modes=modes, interference=tuple(ranges)
    )


def _supplies(study: Study, joint: Joint, judge: Judge) -> tuple[SupplyResult, ...]:
    out = []
    for stratum in study.strata:
        i = next(k for k, b in enumerate(joint.builds) if stratum.name in b.names)
        known = events_of(joint.builds[i])
        modes = {
            mode: judge.mode((mode, 0), [(i, 1.0)], target=True)
            for mode in (*MODES, "creak")
            if (mode, 0) in known
        }
        out.append(
            SupplyResult(
                name=stratum.name,
                share=stratum.share,
                parts=dict(stratum.names),
                modes=modes,
                causes=judge.causes([(i, 1.0)]),
            )
        )
    return tuple(out)


def _warnings(study: Study, joint: Joint) -> tuple[str, ...]:
    found: dict[str, None] = dict.fromkeys(joint.warnings)
    for build in joint.builds:
        for text in build.warnings:
            found.setdefault(f"{', '.join(build.names)}: {text}")
        for measured in build.measured:
            for text in measured.notes:
                if measured.shape is not None and text.endswith(f": {measured.shape.reason}"):
                    continue  # told by itself
                found.setdefault(f"{measured.part_name}: {text}")
    shapes, left = shapes_of(joint), unexplained(study, joint)
    for doubt in doubts_of(study):
        name = doubt.part, doubt.key
        shape = shapes.get(name, "normal")
        if doubt not in left and shape == "normal":
            continue  # lots that differ look like that when they are thrown together
        hardly = f"{doubt.part}: the readings of {doubt.key} are hardly those of one normal process"
        if doubt not in left:
            end = f"the shape taken instead is {shape}"
        elif shape == "normal":
            end = "they are taken as one, and the intervals may be too narrow"
        else:
            end = f"the shape taken, {shape}, does not explain it: the intervals may be too narrow"
        found.setdefault(f"{hardly} ({doubt.text}); {end}")
    return tuple(found)
