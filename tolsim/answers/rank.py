"""Which input is to blame, in moves that an engineer can make."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from tolsim.answers.lots_taken import over_any_lot
from tolsim.answers.predict import predict
from tolsim.answers.provable import Provable, provable
from tolsim.answers.rank_moves import Difference, Owner, owners, recount, step_of
from tolsim.answers.rank_parts import MarginParts, variance_parts
from tolsim.answers.rank_rerun import Rerun, apart, rerun, settled
from tolsim.answers.rank_sample import Base, Rate, base_of
from tolsim.answers.rank_sat import Sat, sat
from tolsim.answers.readings_taken import reading_steps
from tolsim.answers.results import ModeResult
from tolsim.spec.load import Study

__all__ = ["Effect", "Move", "Ranking", "rank", "worsened"]

_DRAWS = 2**18
_SMALLER = 0.9
_TODAY = 2**17  # units that today's ranges are told by
_HALF = 0.5
_SENTENCES = 5
_NEARLY = 0.95  # share of the best gain that the shortest recentring must have
_WALK = (2, 4, 7, 11, 16, 22)  # micrometres of recentring that are tried, then some between


@dataclass(frozen=True, kw_only=True, slots=True)
class Effect:
    """What a small move of one contributor does to every rate."""

    path: str
    supply: str | None
    unit: str
    step: float
    mean: dict[str, Difference]
    spread: dict[str, Difference]


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """A larger move and what it takes each rate to; `rerun` where it makes a sentence."""

    path: str
    supply: str | None
    kind: str
    amount: float
    unit: str
    rates: dict[str, Difference]
    rerun: Rerun | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Ranking:
    """The answer to `rank`; `moves` are sorted by what they do for `main`."""

    study: Study
    seed: int
    draws: int
    main: str
    modes: tuple[str, ...]
    targets: dict[str, float]
    before: Mapping[str, Rate]
    effects: tuple[Effect, ...]
    moves: tuple[Move, ...]
    sat: tuple[Sat, ...]
    variance: tuple[MarginParts, ...]
    #: The rates as they stand with all that readings leave open; empty where nothing is measured.
    today: dict[str, ModeResult] = field(default_factory=dict)
    #: Measured sizes whose parts are too few to prove the smallest target without a shape.
    provable: tuple[Provable, ...] = ()

    @property
    def sentences(self) -> tuple[Move, ...]:
        """The moves that are told, each rerun with the move applied."""
        return tuple(m for m in self.moves if m.rerun is not None)


def rank(
    study: Study,
    *,
    seed: int = 1,
    draws: int = _DRAWS,
    tell: Callable[[int, int], None] | None = None,
) -> Ranking:
    """Rank the contributors of a study by what moving them does.

    Parameters
    ----------
    study : Study
        Anything that `predict` runs.
    seed, draws : int
        Of the units that are counted first.
    tell : callable, optional
        Told (contributors done, contributors in all).

    Returns
    -------
    Ranking

    Raises
    ------
    InternalError
        If reruns of a move on fresh draws contradict each other.

    Notes
    -----
    Moves are recounted on the units of the study as it stands, drawn from the mixture that the
    rare-event estimator fitted where too few fail by themselves; see `recount`. What is told in a
    sentence was rerun on fresh draws with the move applied.
    """
    today = _today(study, seed)
    study = over_any_lot(study)
    base = base_of(study, seed=seed, draws=draws)
    who = owners(study)
    targets = {m: t for m in base.modes if (t := getattr(study.spec.targets, m, None)) is not None}
    main = _main(base, targets)
    effects: list[Effect] = []
    tried: list[_Tried] = []
    for done, owner in enumerate(who, 1):
        mean = recount(base, owner, base.modes, shift=step_of(owner.contributor))
        effects.append(
            Effect(
                path=owner.contributor.path,
                supply=owner.supply,
                unit=owner.contributor.unit,
                step=step_of(owner.contributor) * owner.contributor.scale,
                mean=mean,
                spread=recount(base, owner, base.modes, factor=_SMALLER),
            )
        )
        tried += _larger(base, owner, mean, main, targets)
        if tell is not None:
            tell(done, len(who))
    moves = [*_rerun(base, tried, main, targets, seed)]
    moves.sort(key=lambda m: m.rates[main].after)
    return Ranking(
        study=study,
        seed=seed,
        draws=draws,
        main=main,
        modes=base.modes,
        targets=targets,
        before=base.rates,
        effects=tuple(effects),
        moves=tuple(moves),
        sat=sat(base, who),
        variance=variance_parts(base.joint, seed=seed),
        today=today,
        provable=provable(study),
    )


def _today(study: Study, seed: int) -> dict[str, ModeResult]:
    if not reading_steps(study):
        return {}
    found = predict(study, seed=seed, draws=_TODAY, workers=1, plain=True, glance=False)
    return {mode: m for mode, m in found.modes.items() if m is not None}


def _main(base: Base, targets: Mapping[str, float]) -> str:
    """The mode that stands worst against its target, creak where none has one."""
    if not targets:
        return "creak" if "creak" in base.modes else base.modes[0]
    return max(targets, key=lambda m: base.rates[m].value / targets[m])


@dataclass(frozen=True, slots=True)
class _Tried:
    """A larger move by its numbers, and what it was recounted to."""

    owner: Owner
    shift: float
    factor: float
    move: Move


def _larger(
    base: Base,
    owner: Owner,
    small: dict[str, Difference],
    main: str,
    targets: Mapping[str, float],
) -> Iterator[_Tried]:
    """The best recentring of a size, and half the spread of anything."""
    c = owner.contributor
    if c.kind == "size":
        best = _recentred(base, owner, small, main, targets)
        if best is not None:
            yield _tried(owner, 1e-3 * best[0], 1.0, "recentre", float(best[0]), "µm", best[1])
    half = recount(base, owner, base.modes, factor=_HALF)
    yield _tried(owner, 0.0, _HALF, "spread", _HALF, "", half)


def _tried(
    owner: Owner,
    shift: float,
    factor: float,
    kind: str,
    amount: float,
    unit: str,
    rates: dict[str, Difference],
) -> _Tried:
    move = Move(
        path=owner.contributor.path,
        supply=owner.supply,
        kind=kind,
        amount=amount,
        unit=unit,
        rates=rates,
    )
    return _Tried(owner, shift, factor, move)


def _recentred(
    base: Base,
    owner: Owner,
    small: dict[str, Difference],
    main: str,
    targets: Mapping[str, float],
) -> tuple[int, dict[str, Difference]] | None:
    """Whole micrometres of recentring that serve best, and what they do; None where none helps.

    What counts is the worst rate over its target, so that what lowers one rate does not drive
    another past its own; the shortest way that has nearly all of the best gain is taken.
    """
    modes = tuple(targets) or (main,)
    if all(small[m].method == "not read" for m in modes):
        return None

    def worst(rates: Mapping[str, float]) -> float:
        return max(rates[m] / targets.get(m, 1.0) for m in modes)

    found = {0: worst({m: base.rates[m].value for m in modes})}
    found[1] = worst({m: small[m].after for m in modes})

    def at(k: int) -> float:
        if k not in found:
            rates = recount(base, owner, modes, shift=1e-3 * k)
            found[k] = worst({m: d.after for m, d in rates.items()})
        return found[k]

    way = 1 if at(1) < at(-1) else -1
    if at(way) >= at(0):
        return None
    last = 1
    for step in _WALK:
        if at(way * step) >= at(way * last):
            break
        last = step
    tried = sorted(k for k in found if k * way >= 0)
    i = tried.index(way * last)
    for other in tried[max(0, i - 1) : i] + tried[i + 1 : i + 2]:
        at((other + way * last) // 2)
    enough = at(0) - _NEARLY * (at(0) - min(found.values()))
    best = min((k for k, v in found.items() if v <= enough), key=abs)
    return best, recount(base, owner, base.modes, shift=1e-3 * best)


def _rerun(
    base: Base, tried: list[_Tried], main: str, targets: Mapping[str, float], seed: int
) -> Iterator[Move]:
    """All moves, those that help most rerun on fresh draws."""
    helping = [t for t in tried if t.move.rates[main].high < 0.0]
    told = sorted(helping, key=lambda t: t.move.rates[main].after)[:_SENTENCES]
    for t in tried:
        if t not in told:
            yield t.move
            continue
        what = f"{t.owner.contributor.path}, {t.move.kind} {t.move.amount:g} {t.move.unit}".strip()
        rates = dict(t.move.rates)
        modes = [main, *(m for m in worsened(rates, targets) if m != main)]
        again = rerun(base, t.owner, modes, shift=t.shift, factor=t.factor, seed=seed)
        for mode in modes:
            if apart(rates[mode], again.rates[mode]):
                other = rerun(base, t.owner, [mode], shift=t.shift, factor=t.factor, seed=seed + 1)
                rates[mode] = settled(rates[mode], again.rates[mode], other.rates[mode], what)
        yield replace(t.move, rates=rates, rerun=again)


def worsened(rates: Mapping[str, Difference], targets: Mapping[str, float]) -> list[str]:
    """Modes that a move takes past their targets, or further past them."""
    return [m for m, t in targets.items() if rates[m].after > t and rates[m].low > 0.0]
