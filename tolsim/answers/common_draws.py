"""Several studies on the same draws: rates, and differences far more precise than either."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tolsim.answers.tally import Event, events_of, evidence_table
from tolsim.chance.estimate import estimate
from tolsim.chance.event import event_of
from tolsim.chance.streams import BLOCK, Streams
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Joint
from tolsim.spec.load import Study

__all__ = ["Common", "Difference", "difference", "outcomes"]

FloatArray = NDArray[np.float64]
_FEW = 60  # failed units below which a rate is left to the rare-event sampler


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """Rates of two studies and their difference with its interval; shares of units."""

    before: float
    after: float
    change: float
    low: float
    high: float
    method: str


class Common:
    """One study run on named streams: what became of every unit, by mode.

    `value` maps a mode to the share of supplies in which each unit fails, (n,); `rare` holds the
    estimate and its relative error where too few failed.
    """

    def __init__(self, study: Study, *, seed: int, n: int, modes: tuple[str, ...]) -> None:
        self.study, self.seed, self.n, self.modes = study, seed, n, modes
        self.joint = assemble(study)
        self.value = outcomes(self.joint, seed=seed, n=n, modes=modes)
        self._rare: dict[str, tuple[float, float]] = {}

    def rate(self, mode: str) -> tuple[float, float]:
        """Share of units that fail in a mode, and its standard error."""
        v = self.value[mode]
        share = float(v.mean())
        if np.count_nonzero(v) >= _FEW:
            return share, float(v.std() / math.sqrt(self.n))
        if mode not in self._rare:
            self._rare[mode] = self._estimate(mode)
        return self._rare[mode]

    @property
    def shares(self) -> dict[str, float]:
        """Rate of every mode."""
        return {m: self.rate(m)[0] for m in self.modes}

    def _estimate(self, mode: str) -> tuple[float, float]:
        total = variance = 0.0
        for build in self.joint.builds:
            rows = events_of(build).get((mode, 0))
            if not rows:
                continue
            found = estimate(
                event_of(self.joint.recording, rows),
                seed=self.seed,
                plain_draws=2**17,
                target_relative=0.1,
                budget=2e6,
            )
            total += build.share * found.value
            half = 0.5 * (found.high - found.low) / 1.96
            variance += (build.share * half) ** 2
        return total, math.sqrt(variance)


def outcomes(
    joint: Joint, *, seed: int, n: int, modes: tuple[str, ...], seat: int = 0
) -> dict[str, FloatArray]:
    """Weighted failures (n,) of every unit by mode: the share of the supplies that fail there."""
    streams = Streams(seed, joint.latent)
    reads = set(joint.recording.reads)
    rows = [i for i in range(len(joint.latent)) if i in reads and i not in joint.evidence]
    table = evidence_table(joint, seed)
    run = joint.recording.runner(BLOCK)
    for i in joint.evidence:
        run.z[i] = np.tile(table[i], BLOCK // table.shape[1])
    drawn = np.empty((len(rows), BLOCK))
    value = {m: np.zeros(n) for m in modes}
    events: list[dict[Event, list[int]]] = [events_of(b) for b in joint.builds]
    for block in range(-(-n // BLOCK)):
        streams.fill(block, drawn, rows=rows)
        run.z[rows] = drawn
        failed = run() < 0.0
        at = slice(block * BLOCK, min(n, (block + 1) * BLOCK))
        width = at.stop - at.start
        for build, known in zip(joint.builds, events, strict=True):
            for m in modes:
                outputs = known.get((m, seat))
                if outputs:
                    hit = np.logical_or.reduce(failed[outputs], axis=0)[:width]
                    value[m][at] += build.share * hit
    return value


def difference(
    a: Common, b: Common, mode: str, *, confidence: float = 0.95, rare: bool = True
) -> Difference:
    """How much more often units of `b` fail than those of `a`, draw by draw.

    Where enough units change sides the interval is that of paired draws; where nothing changes on
    any draw the difference is at most what the draws rule out; where either rate is rare, that of
    two independent estimates.
    """
    z = float(ndtri(0.5 * (1.0 + confidence)))
    va, vb = a.value[mode], b.value[mode]
    d = vb - va
    moved = int(np.count_nonzero(d))
    enough = np.count_nonzero(va) >= _FEW and np.count_nonzero(vb) >= _FEW
    if enough or not rare or (moved == 0 and np.count_nonzero(va) >= _FEW):
        change = float(d.mean())
        # a unit that changed sides more or less keeps the interval open where none did
        half = z * math.sqrt(float(np.square(d).sum()) + 2.0) / a.n
        return Difference(
            before=float(va.mean()),
            after=float(vb.mean()),
            change=change,
            low=change - half,
            high=change + half,
            method="paired draws",
        )
    (pa, ea), (pb, eb) = a.rate(mode), b.rate(mode)
    half = z * math.hypot(ea, eb)
    return Difference(
        before=pa,
        after=pb,
        change=pb - pa,
        low=pb - pa - half,
        high=pb - pa + half,
        method="rare-event estimates",
    )
