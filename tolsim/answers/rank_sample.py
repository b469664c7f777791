"""Units of a study to recount moves on: plain ones where failures are frequent, else weighted ones.

A rare failure is drawn from the mixture that the rare-event estimator has fitted to it, so a moved
study can be recounted on the same units at any rate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import SETS, events_of, evidence_table
from tolsim.chance.densities import Mixture
from tolsim.chance.estimate import Estimate, estimate
from tolsim.chance.event import event_of
from tolsim.chance.mixture import MixtureSettings
from tolsim.chance.streams import BLOCK, Streams, generator
from tolsim.joint.assemble import assemble, assemble_each
from tolsim.joint.assumed import Assumptions
from tolsim.joint.model import Joint
from tolsim.spec.load import Study

__all__ = ["Base", "Key", "Rate", "Sample", "base_of", "fresh_rates", "rates_of", "standard_error"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
#: A build by its number, and a mode.
Key = tuple[int, str]

ORDER = ("creak", "loose", "tight", "misaligned", "bond")
_PLAIN = 2**16  # plain units that moves are recounted on at most
_PRECISE = 0.02  # relative error of a rate that they must reach, or weighted ones take over
_WEIGHTED = 2**14  # units drawn from a mixture
_SETTINGS = MixtureSettings(subset_samples=5000, pilot=4096, rounds=4)
_BUDGET = 2e6
_WIDE = 1.96


@dataclass(frozen=True, kw_only=True, slots=True)
class Rate:
    """A share of units with the interval of the draws; `error` is its standard error."""

    value: float
    low: float
    high: float
    error: float
    method: str


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Sample:
    """Units of one build to recount one mode on.

    `z` (d, n) in the rows of the study, `weight` (n,) what each counts, `fails` (n,) whether it
    fails as the study stands. The plain samples of all builds hold the same units.
    """

    z: FloatArray
    weight: FloatArray
    fails: BoolArray
    plain: bool

    @property
    def n(self) -> int:
        """Units drawn."""
        return int(self.z.shape[1])


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Base:
    """A study as it stands, its rates, and units of it for every build and mode that can fail."""

    study: Study
    joint: Joint
    modes: tuple[str, ...]
    plain: FloatArray
    known: Mapping[Key, Estimate]
    samples: Mapping[Key, Sample]
    rates: Mapping[str, Rate]

    def rows(self, key: Key) -> list[int]:
        """Outputs of the recording whose failure is a mode of a build."""
        return events_of(self.joint.builds[key[0]])[key[1], 0]


def modes_of(joint: Joint) -> tuple[str, ...]:
    """Every way in which a unit of some build can fail, in the order in which they are told."""
    known = {m for b in joint.builds for m, seat in events_of(b) if seat == 0}
    return tuple(m for m in ORDER if m in known)


def base_of(study: Study, *, seed: int, draws: int) -> Base:
    """Count a study, then draw units of every build and mode to recount moves on."""
    joint = assemble(study, values=True)
    modes = modes_of(joint)
    counts, kept = _counted(joint, modes, seed, draws, _PLAIN)
    known = _known(joint, counts, seed, _PRECISE)
    samples = {key: _sample(joint, key, e, seed, counts[key], kept) for key, e in known.items()}
    return Base(
        study=study,
        joint=joint,
        modes=modes,
        plain=kept,
        known=known,
        samples=samples,
        rates=rates_of(joint, known, modes),
    )


def fresh_rates(
    study: Study, modes: Sequence[str], *, seed: int, draws: int, precision: float = 0.1
) -> tuple[Joint, dict[Key, Estimate]]:
    """Rates of every build of a study by counting, and by the rare-event method where few fail."""
    (joint,) = assemble_each([(study, Assumptions())], tell=False)
    counts, _ = _counted(joint, tuple(modes), seed, draws, 0)
    return joint, _known(joint, counts, seed, precision)


def rates_of(joint: Joint, known: Mapping[Key, Estimate], modes: Sequence[str]) -> dict[str, Rate]:
    """Rates of the study as a whole, its builds in their shares."""
    out = {}
    for mode in modes:
        parts = [(joint.builds[b].share, e) for (b, m), e in known.items() if m == mode]
        value = math.fsum(w * e.value for w, e in parts)
        error = math.sqrt(math.fsum((w * standard_error(e)) ** 2 for w, e in parts))
        down = math.sqrt(math.fsum((w * (e.value - e.low)) ** 2 for w, e in parts))
        up = math.sqrt(math.fsum((w * (e.high - e.value)) ** 2 for w, e in parts))
        out[mode] = Rate(
            value=value,
            low=max(0.0, value - down),
            high=value + up,
            error=error,
            method=" and ".join(sorted({e.method for _, e in parts})),
        )
    return out


def standard_error(e: Estimate) -> float:
    """Of an estimate; where nothing failed, half of what the draws do not rule out."""
    return 0.5 * e.high if e.value == 0.0 else 0.5 * (e.high - e.low) / _WIDE


def _rows(joint: Joint, modes: Sequence[str]) -> dict[Key, list[int]]:
    out = {}
    for b, build in enumerate(joint.builds):
        known = events_of(build)
        out.update({(b, m): known[m, 0] for m in modes if (m, 0) in known})
    return out


def _counted(
    joint: Joint, modes: Sequence[str], seed: int, draws: int, keep: int
) -> tuple[dict[Key, tuple[int, int]], FloatArray]:
    """Failures among plain units by build and mode, and the first of the units themselves."""
    rows = _rows(joint, modes)
    streams = Streams(seed, joint.latent)
    table = evidence_table(joint, seed)
    wanted = sorted({r for own in rows.values() for r in own})
    at = {r: i for i, r in enumerate(wanted)}
    run = joint.recording.select(wanted).runner(BLOCK)
    blocks = -(-draws // BLOCK)
    kept = np.empty((len(joint.latent), min(keep, blocks * BLOCK)))
    z = np.empty((len(joint.latent), BLOCK))
    failed = dict.fromkeys(rows, 0)
    for block in range(blocks):
        streams.fill(block, z)
        for i in joint.evidence:
            z[i] = np.tile(table[i], BLOCK // SETS)
        if (block + 1) * BLOCK <= kept.shape[1]:
            kept[:, block * BLOCK : (block + 1) * BLOCK] = z
        np.copyto(run.z, z)
        negative = run() < 0.0
        for key, outputs in rows.items():
            hit = negative[[at[r] for r in outputs]].any(axis=0)
            failed[key] += int(np.count_nonzero(hit))
    return {key: (x, blocks * BLOCK) for key, x in failed.items()}, kept


def _known(
    joint: Joint, counts: Mapping[Key, tuple[int, int]], seed: int, precision: float
) -> dict[Key, Estimate]:
    """Estimates of every build and mode; two modes that are one event have one."""
    rows = _rows(joint, sorted({m for _, m in counts}))
    found: dict[tuple[int, ...], Estimate] = {}
    for key, counted in counts.items():
        event = tuple(rows[key])
        if event not in found:
            found[event] = estimate(
                event_of(joint.recording, rows[key]),
                seed=seed,
                plain_counts=counted,
                target_relative=precision,
                budget=_BUDGET,
                settings=_SETTINGS,
            )
    return {key: found[tuple(rows[key])] for key in counts}


def _sample(
    joint: Joint, key: Key, known: Estimate, seed: int, counts: tuple[int, int], plain: FloatArray
) -> Sample:
    """Plain units where enough of them fail or no mixture is to be had, else a mixture's."""
    rate = counts[0] / counts[1]
    frequent = rate * plain.shape[1] >= (1.0 - rate) / _PRECISE**2
    mixture: Mixture | None = None if frequent else known.mixture
    rows = events_of(joint.builds[key[0]])[key[1], 0]
    event = event_of(joint.recording, rows)
    if mixture is None:
        z, weight = plain, np.ones(plain.shape[1])
    else:
        # by the event: two modes that are one event have one sample
        rng = generator(seed, f"recounted {rows}", key[0])
        z, _ = mixture.draw(rng, _WEIGHTED)
        weight = mixture.weight(z)
    return Sample(z=z, weight=weight, fails=event.values(z) < 0.0, plain=mixture is None)
