"""Which input is to blame, in moves that an engineer can make."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.common_draws import Common, Difference, difference
from tolsim.answers.lots_taken import over_any_lot
from tolsim.answers.tally import events_of
from tolsim.chance.streams import BLOCK, Streams
from tolsim.errors import InternalError
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study
from tolsim.spec.variants import Contributor, contributors, with_moved

__all__ = ["Effect", "Move", "Ranking", "Sat", "rank"]

FloatArray = NDArray[np.float64]
_DRAWS = 2**18
_LOOK = 2**15
_HALF = 0.5


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
    """A larger move, rerun with the move applied: what it takes each rate to."""

    path: str
    supply: str | None
    kind: str
    amount: float
    unit: str
    rates: dict[str, Difference]


@dataclass(frozen=True, kw_only=True, slots=True)
class Sat:
    """Where failed units sat in one row of normals: mean and spread in standard deviations."""

    row: str
    mode: str
    supply: str
    mean: float
    spread: float
    failed: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Ranking:
    """The answer to `rank`; `moves` are sorted by what they do for `main`."""

    study: Study
    seed: int
    draws: int
    main: str
    modes: tuple[str, ...]
    before: dict[str, float]
    effects: tuple[Effect, ...]
    moves: tuple[Move, ...]
    sat: tuple[Sat, ...]
    variance: dict[str, dict[str, float]]


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
        Of the common draws of all moves.
    tell : callable, optional
        Told (moves done, moves in all).

    Returns
    -------
    Ranking

    Raises
    ------
    InternalError
        If the rerun of a move contradicts what a short look at it had said.
    """
    study = over_any_lot(study)
    modes = _modes(study)
    base = Common(study, seed=seed, n=draws, modes=modes)
    who = _owners(study)
    total = 3 * len(who)
    done = 0
    effects: list[Effect] = []
    moves: list[Move] = []
    main = _main(study, base)
    for c, supply in who:
        step = _step(c)
        moved = Common(
            with_moved(study, c.path, shift=step, supply=supply), seed=seed, n=draws, modes=modes
        )
        tighter = Common(
            with_moved(study, c.path, factor=0.9, supply=supply), seed=seed, n=draws, modes=modes
        )
        effects.append(
            Effect(
                path=c.path,
                supply=supply,
                unit=c.unit,
                step=step * c.scale,
                mean={m: difference(base, moved, m, rare=m == main) for m in modes},
                spread={m: difference(base, tighter, m, rare=m == main) for m in modes},
            )
        )
        moves += _larger(study, base, c, supply, main, modes, seed, draws)
        done += 3
        if tell is not None:
            tell(done, total)
    moves.sort(key=lambda m: m.rates[main].after)
    return Ranking(
        study=study,
        seed=seed,
        draws=draws,
        main=main,
        modes=modes,
        before={m: base.rate(m)[0] for m in modes},
        effects=tuple(effects),
        moves=tuple(moves),
        sat=_sat(base, modes, seed),
        variance=_variance(base, seed),
    )


def _modes(study: Study) -> tuple[str, ...]:
    joint = assemble(study)
    known = {m for b in joint.builds for m, seat in events_of(b) if seat == 0}
    return tuple(m for m in ("loose", "tight", "misaligned", "bond", "creak") if m in known)


def _main(study: Study, base: Common) -> str:
    """The mode that stands worst against its target, creak where none has one."""
    targets = {m: t for m in base.modes if (t := getattr(study.spec.targets, m, None)) is not None}
    if not targets:
        return "creak" if "creak" in base.modes else base.modes[0]
    return max(targets, key=lambda m: base.rate(m)[0] / targets[m])


def _owners(study: Study) -> list[tuple[Contributor, str | None]]:
    """Contributors, supply by supply where the supplies differ in that part."""
    out: list[tuple[Contributor, str | None]] = []
    for c in contributors(study):
        names = {s.names.get(c.role) for s in study.strata}
        if c.role in ("service", "joint") or len(names) == 1:
            out.append((c, None))
        else:
            out += [(c, s.name) for s in study.strata if c.role in s.parts and _has(s, c)]
    return out


def _has(stratum: object, c: Contributor) -> bool:
    node: object = stratum.parts[c.role]  # type: ignore[attr-defined]
    for name in c.path.split(".")[1:]:
        node = getattr(node, name, None)
    return node is not None


def _step(c: Contributor) -> float:
    """A small move of the mean in inner units: 1 µm, 0.01 degrees, 1 N; 0.01 of a bare number."""
    if c.unit == "°":
        return 0.01 / c.scale
    if c.unit in ("µm", "N", "MPa", "N m"):
        return 1.0 / c.scale
    return 0.01


def _larger(
    study: Study,
    base: Common,
    c: Contributor,
    supply: str | None,
    main: str,
    modes: tuple[str, ...],
    seed: int,
    draws: int,
) -> list[Move]:
    """The best recentring of a size, and half the spread of anything; each rerun in full."""
    out: list[Move] = []
    if c.kind == "size":
        look = {
            k: Common(
                with_moved(study, c.path, shift=1e-3 * k, supply=supply),
                seed=seed,
                n=_LOOK,
                modes=(main,),
            )
            for k in (-8, -5, -3, -2, -1, 1, 2, 3, 5, 8)
        }
        counts = {k: float(v.value[main].mean()) for k, v in look.items()}
        best = min(counts, key=lambda k: (counts[k], abs(k)))
        shift = 1e-3 * best
        full = Common(
            with_moved(study, c.path, shift=shift, supply=supply), seed=seed, n=draws, modes=modes
        )
        _agree(look[best], full, main, f"{c.path} moved by {best} µm")
        out.append(
            Move(
                path=c.path,
                supply=supply,
                kind="recentre",
                amount=float(best),
                unit="µm",
                rates={m: difference(base, full, m, rare=m == main) for m in modes},
            )
        )
    half = Common(
        with_moved(study, c.path, factor=_HALF, supply=supply), seed=seed, n=draws, modes=modes
    )
    out.append(
        Move(
            path=c.path,
            supply=supply,
            kind="spread",
            amount=_HALF,
            unit="",
            rates={m: difference(base, half, m, rare=m == main) for m in modes},
        )
    )
    return out


def _agree(look: Common, full: Common, mode: str, what: str) -> None:
    """A short look and the rerun in full speak of one rate, or the run ends."""
    a, b = look.value[mode], full.value[mode]
    slack = 6.0 * math.sqrt(float(a.var()) / len(a) + float(b.var()) / len(b)) + 20.0 / len(a)
    if abs(float(a.mean()) - float(b.mean())) > slack:
        raise InternalError(
            f"{what}: {mode} of {a.mean():.3g} at a glance, {b.mean():.3g} when rerun; one of "
            "them is wrong"
        )


def _draw(base: Common, seed: int, n: int) -> FloatArray:
    joint = base.joint
    streams = Streams(seed, joint.latent)
    z = np.empty((len(joint.latent), n))
    for k in range(n // BLOCK):
        part = np.empty((len(joint.latent), BLOCK))
        streams.fill(k, part)
        z[:, k * BLOCK : (k + 1) * BLOCK] = part
    return z


def _sat(base: Common, modes: tuple[str, ...], seed: int) -> tuple[Sat, ...]:
    """Mean and spread of each row of normals among failed units, the three furthest of each."""
    joint = base.joint
    z = _draw(base, seed, 16 * BLOCK)
    failed = joint.recording(z) < 0.0
    out: list[Sat] = []
    for build in joint.builds:
        known = events_of(build)
        for mode in modes:
            rows = known.get((mode, 0))
            if not rows:
                continue
            hit = failed[rows].any(axis=0)
            count = int(np.count_nonzero(hit))
            if count < 20:
                continue
            mean, spread = z[:, hit].mean(axis=1), z[:, hit].std(axis=1)
            off = np.abs(mean) + np.abs(spread - 1.0)
            for i in np.argsort(-off)[:3]:
                out.append(
                    Sat(
                        row=joint.latent[i],
                        mode=mode,
                        supply=", ".join(build.names),
                        mean=float(mean[i]),
                        spread=float(spread[i]),
                        failed=count,
                    )
                )
    return tuple(out)


def _variance(base: Common, seed: int) -> dict[str, dict[str, float]]:
    """Part of each row in the variance of every margin of the first build: squared correlation."""
    joint = base.joint
    z = _draw(base, seed, 4 * BLOCK)
    build = joint.builds[0]
    out = joint.recording(z)
    found: dict[str, dict[str, float]] = {}
    for k, margin in enumerate(build.margins):
        y = out[build.first + k]
        y = y - y.mean()
        scale = float(np.dot(y, y))
        if scale <= 0.0:
            continue
        parts = np.square(z @ y) / (np.square(z).sum(axis=1) * scale)
        at = "" if margin.temperature is None else f" at {margin.temperature:g} °C"
        seat = "" if len(margin.seats) > 1 else f", seat {margin.seats[0]}"
        top = np.argsort(-parts)[:4]
        found[f"{margin.cause}{at}{seat}"] = {
            joint.latent[i]: float(parts[i]) for i in top if parts[i] > 0.005
        }
    return found
