"""Between which sizes of one feature each drawn unit works, everything else as drawn.

Given all other normals of a unit, each seat holds while its size lies in one interval, and whether
the size falls inside is known exactly for any process. So units are drawn without the feature,
their intervals are found by scanning and refining, and every process is judged on the same ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.tally import events_of
from tolsim.chance.streams import BLOCK, Streams
from tolsim.joint.assemble import assemble
from tolsim.joint.assumed import Assumptions
from tolsim.joint.latent import Latent
from tolsim.joint.model import Joint
from tolsim.joint.sizes import seat_sizes
from tolsim.joint.stated import stated_constants
from tolsim.process.base import Process
from tolsim.record import Recording
from tolsim.spec.load import Stratum, Study
from tolsim.spec.parts import Feature
from tolsim.spec.route_steps import Gauge, Lot, Machine, Settle, ToolWear

__all__ = ["Edges", "Finder", "NotOneWay", "Probe", "Rows", "probe_of", "process_at", "why_not"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
_SPREAD = 0.01  # of the process that the probe reads sizes through [mm]
_NODES = 11  # sizes at which margins are scanned
_ROUNDS = 12  # evaluations at most to refine an edge
_LOOK = 512  # units on which dependence is looked at


class NotOneWay(Exception):
    """Margins do not split by seat and side, so intervals of sizes say nothing."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of one mode in one build: those without the feature, those of each seat by side.

    A margin that fails where the size is too small gives a lower edge, one that fails where it is
    too large an upper edge.
    """

    free: tuple[int, ...]
    lower: tuple[tuple[int, ...], tuple[int, ...]]
    upper: tuple[tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Probe:
    """One build made ready: sizes of the feature are set, not drawn.

    `rho` is the correlation of the two seats; `one` where both have one size.
    """

    joint: Joint
    build: int
    share: float
    recording: Recording
    rows: dict[str, Rows]
    index: tuple[int, int | None]
    rho: float
    ends: tuple[float, float]
    #: What each output gains over the ends, so that margins of all units compare.
    gain: FloatArray

    @property
    def one(self) -> bool:
        """Whether both seats of a unit have the same size."""
        return abs(self.rho) == 1.0

    def normals(self, mean: float, sd: float) -> dict[int, tuple[float, float]]:
        """Shift and factor that make sizes of this mean and spread of normals in their rows."""
        a, b = self.index
        out = {a: (mean / _SPREAD, sd / _SPREAD)}
        if b is not None and not self.one:
            rest = math.sqrt(1.0 - self.rho * self.rho)
            out[b] = (mean * (1.0 - self.rho) / (rest * _SPREAD), sd / _SPREAD)
        return out

    def set(self, z: FloatArray, first: Any, second: Any) -> None:
        """Write sizes of the two seats [mm] into the rows z (d, n)."""
        a, b = self.index
        z[a] = first / _SPREAD
        if b is not None and not self.one:
            rest = math.sqrt(1.0 - self.rho * self.rho)
            z[b] = (second / _SPREAD - self.rho * z[a]) / rest


@dataclass(frozen=True, slots=True)
class Edges:
    """Of n units of one build and mode: which fail anyway, and each seat's interval, (2, n).

    Sizes in mm; minus and plus infinity where a side has no edge in reach.
    """

    anyway: BoolArray
    low: FloatArray
    high: FloatArray


def why_not(study: Study, path: str) -> str | None:
    """Why sizes of a feature cannot be set beside everything else as drawn; None where they can."""
    role, _, rest = path.partition(".")
    for s in study.strata:
        part = s.parts.get(role)
        feature = getattr(part, rest, None)
        if not isinstance(feature, Feature):
            return f"{path} is no size in every supply"
        steps = feature.route
        if any(isinstance(x, Gauge) and x.reject == "unit" for x in steps):
            return "a gauge rejects whole units"
        if steps and isinstance(steps[0], ToolWear) and steps[0].shared_phase:
            return "the seats of a unit share the state of the tool"
        if study.spec.service.life is not None and any(isinstance(x, Settle) for x in steps):
            return "the part goes on settling in service"
        if role == "sleeve" and getattr(part, "together", 0.0) != 0.0:
            return "inside and outside of the sleeve are tied"
        if s.readings.get(path) is not None:
            return "the process rests on readings"
        if any(isinstance(x, Settle) and x.seen is not None for x in steps):
            return "the settling was read from parts at two ages"
        if _rho(s, path) == -1.0:
            return "the seats of a unit mirror each other"
    if study.spec.joint.pick is not None:
        return "parts are picked to match"
    return None


def process_at(study: Study, stratum: Stratum, path: str) -> Process:
    """The population of a feature at assembly, what both seats share left out."""
    role, _, rest = path.partition(".")
    feature: Feature = getattr(stratum.parts[role], rest)
    apart = [
        x.model_copy(update={"common_sd": 0.0}) if isinstance(x, Settle) else x
        for x in feature.route
        if not isinstance(x, Lot)
    ]
    found = seat_sizes(
        Latent(),
        path,
        feature.model_copy(update={"route": tuple(apart)}),
        part_name=stratum.names[role],
        material=getattr(stratum.parts[role], "material", ""),
        assumptions=Assumptions().of(stated_constants(study.spec, stratum)),
        readings=None,
        correlation=0.0,
        age=study.spec.joint.age_at_assembly,
    ).population
    assert found is not None
    return found


def _probed(study: Study, path: str) -> Study:
    """The study with the feature a plain process; lots and common settling stay beside it."""
    role, _, rest = path.partition(".")
    start = Machine.model_validate({"step": "machine", "mean_um": 0.0, "sd_um": 1e3 * _SPREAD})
    strata = []
    for s in study.strata:
        feature: Feature = getattr(s.parts[role], rest)
        kept: list[Any] = [
            x.model_copy(update={"mean": 0.0, "sd": 0.0})
            for x in feature.route
            if isinstance(x, Settle) and x.common_sd > 0.0
        ]
        kept += [x for x in feature.route if isinstance(x, Lot)]
        plain = feature.model_copy(update={"route": (start, *kept)})
        part = s.parts[role].model_copy(update={rest: plain})
        strata.append(replace(s, parts={**s.parts, role: part}))
    return replace(study, strata=tuple(strata))


def probe_of(
    study: Study, path: str, modes: Sequence[str], ends: tuple[float, float], seed: int
) -> list[Probe]:
    """Probes of all builds.

    Parameters
    ----------
    study : Study
        For which `why_not` finds nothing.
    ends : (float, float)
        Sizes between which edges are looked for [mm].

    Raises
    ------
    NotOneWay
        If margins do not split by seat and side.
    """
    joint = assemble(_probed(study, path))
    first = joint.latent.index(f"{path}@1")
    second = joint.latent.index(f"{path}@2") if f"{path}@2" in joint.latent else None
    probes: list[Probe] = []
    for i, build in enumerate(joint.builds):
        stratum = next(s for s in study.strata if s.name in build.names)
        events = events_of(build)
        wanted = {m: events[m, 0] for m in modes if (m, 0) in events}
        outputs = sorted({r for rows in wanted.values() for r in rows})
        probe = Probe(
            joint=joint,
            build=i,
            share=build.share,
            recording=joint.recording.select(outputs),
            rows={},
            index=(first, second),
            rho=_rho(stratum, path),
            ends=ends,
            gain=np.ones((len(outputs), 1)),
        )
        sides = _sides(probe, seed)
        place = {r: k for k, r in enumerate(outputs)}
        for m, rows in wanted.items():
            own = [place[r] for r in rows]
            probe.rows[m] = Rows(
                tuple(k for k in own if sides[k] == (0, 0)),
                (
                    tuple(k for k in own if sides[k] == (1, -1)),
                    tuple(k for k in own if sides[k] == (2, -1)),
                ),
                (
                    tuple(k for k in own if sides[k] == (1, 1)),
                    tuple(k for k in own if sides[k] == (2, 1)),
                ),
            )
        probes.append(probe)
    return probes


def _rho(stratum: Stratum, path: str) -> float:
    role = path.partition(".")[0]
    part = stratum.parts[role]
    if role == "bearing":
        return 1.0 if stratum.bearing.drawn == "per-unit" else 0.0
    sides = getattr(part, "sides", None)
    return 0.0 if sides is None else float(sides.diameter)


def _sides(probe: Probe, seed: int) -> list[tuple[int, int]]:
    """Of every row (seat that it depends on, side of its failure); seat 0 where on none.

    Where both seats have one size, everything that depends on it stands under seat 1.
    """
    run = probe.recording.runner(_LOOK)
    drawn = np.empty_like(run.z)
    Streams(seed, probe.joint.latent).fill(0, drawn)
    run.z[:] = drawn
    low, high = probe.ends
    sizes = np.linspace(low, high, _NODES)

    def at(a: float, b: float) -> FloatArray:
        probe.set(run.z, np.full(_LOOK, a), np.full(_LOOK, b))
        return run().copy()

    scan = np.array([at(v, v) for v in sizes])
    scale = 1e-9 * (1.0 + np.abs(scan).max(axis=(0, 2)))
    moves = (np.abs(np.diff(scan, axis=0)).max(axis=(0, 2)) > scale).tolist()
    on_first, on_second = np.zeros(len(moves), bool), np.zeros(len(moves), bool)
    if not probe.one:
        for a, b in ((1, 4), (4, 6), (6, 9)):
            same = at(sizes[a], sizes[a])
            on_first |= np.abs(at(sizes[b], sizes[a]) - same).max(axis=1) > scale
            on_second |= np.abs(at(sizes[a], sizes[b]) - same).max(axis=1) > scale
    np.copyto(probe.gain[:, 0], np.abs(np.diff(scan, axis=0)).sum(axis=0).mean(axis=1))
    probe.gain[probe.gain <= 0.0] = 1.0
    fails = scan < 0.0
    # a margin that fails at one end and only once changes on the way has one edge
    rises = (fails[0] & ~fails[-1]).any(axis=1)
    falls = (~fails[0] & fails[-1]).any(axis=1)
    changes = np.abs(np.diff(fails.astype(np.int8), axis=0)).sum(axis=0).max(axis=1)
    out: list[tuple[int, int]] = []
    for k, moved in enumerate(moves):
        if not moved:
            out.append((0, 0))
            continue
        if changes[k] > 1 or (rises[k] and falls[k]):
            raise NotOneWay("a margin does not change one way with the size")
        if not probe.one and on_first[k] and on_second[k]:
            raise NotOneWay("a margin depends on the sizes of both seats")
        slope = float(np.median(scan[-1, k] - scan[0, k]))
        side = -1 if rises[k] or (not falls[k] and slope > 0.0) else 1
        out.append((2 if on_second[k] else 1, side))
    return out


class Finder:
    """Finds edges of blocks of `n` units; a thread has its own."""

    def __init__(self, probe: Probe, seed: int, tolerance: float, n: int = BLOCK) -> None:
        self.probe, self.tolerance, self.n = probe, tolerance, n
        self.streams = Streams(seed, probe.joint.latent)
        self.run = probe.recording.runner(n)
        reads = set(probe.recording.reads) - {i for i in probe.index if i is not None}
        self.drawn = sorted(reads)
        self.buffer = np.empty((len(self.drawn), n))
        self.sizes = np.linspace(*probe.ends, _NODES)

    def find(self, block: int) -> dict[str, Edges]:
        """Edges of the units of one block, by mode; `buffer` then holds their other normals."""
        self.streams.fill(block, self.buffer, rows=self.drawn)
        return self.found()

    def found(self) -> dict[str, Edges]:
        """Edges of the units whose other normals stand in `buffer`, in the order of `drawn`."""
        self.run.z[self.drawn] = self.buffer
        scan = np.empty((_NODES, self.probe.recording.outputs, self.n))
        for out, size in zip(scan, self.sizes, strict=True):
            self.probe.set(self.run.z, size, size)
            np.divide(self.run(), self.probe.gain, out=out)
        found: dict[str, Edges] = {}
        for mode, rows in self.probe.rows.items():
            anyway = np.logical_or.reduce(scan[0, list(rows.free)] < 0.0, axis=0)
            low = self._edge(scan, rows.lower, rising=True)
            high = self._edge(scan, rows.upper, rising=False)
            found[mode] = Edges(anyway, low, high)
        return found

    def _edge(
        self, scan: FloatArray, rows: tuple[tuple[int, ...], tuple[int, ...]], *, rising: bool
    ) -> FloatArray:
        """Size (2, n) at which the least margin of each seat passes zero."""
        none, never = (-np.inf, np.inf) if rising else (np.inf, -np.inf)
        edge = np.full((2, self.n), none)
        x0, x1 = np.empty((2, self.n)), np.empty((2, self.n))
        f0, f1 = np.empty((2, self.n)), np.empty((2, self.n))
        open_ = np.zeros((2, self.n), dtype=np.bool_)
        columns = np.arange(self.n)
        for seat, own in enumerate(rows):
            if not own:
                continue
            g = scan[:, list(own)].min(axis=1)
            bad = g < 0.0
            count = bad.sum(axis=0)
            ahead, behind = (bad[1:], bad[:-1]) if rising else (bad[:-1], bad[1:])
            if (ahead & ~behind).any():
                raise NotOneWay("a margin does not change one way with the size")
            edge[seat, count == _NODES] = never
            inside = (count > 0) & (count < _NODES)
            # the last failing node from below, or the first from above
            at = np.clip(count - 1 if rising else _NODES - count - 1, 0, _NODES - 2)
            x0[seat], x1[seat] = self.sizes[at], self.sizes[at + 1]
            f0[seat], f1[seat] = g[at, columns], g[at + 1, columns]
            open_[seat] = inside
        if open_.any():
            refined = self._refine(rows, x0, x1, f0, f1, open_)
            edge[open_] = refined[open_]
        return edge

    def _refine(
        self,
        rows: tuple[tuple[int, ...], tuple[int, ...]],
        x0: FloatArray,
        x1: FloatArray,
        f0: FloatArray,
        f1: FloatArray,
        open_: BoolArray,
    ) -> FloatArray:
        """Zero between x0 and x1 by regula falsi that halves the end which stays (Illinois)."""
        x0[~open_], x1[~open_], f0[~open_], f1[~open_] = 0.0, 1.0, -1.0, 1.0
        last = np.zeros(x0.shape, dtype=np.int8)
        x = x0 - f0 * (x1 - x0) / (f1 - f0)
        for _ in range(_ROUNDS):
            self.probe.set(self.run.z, x[0], x[1])
            out = self.run() / self.probe.gain
            f = np.array([out[list(r)].min(axis=0) if r else f0[k] for k, r in enumerate(rows)])
            left = (f < 0.0) == (f0 < 0.0)
            f1 = np.where(left & (last == 1), 0.5 * f1, f1)
            f0 = np.where(~left & (last == -1), 0.5 * f0, f0)
            x0, f0 = np.where(left, x, x0), np.where(left, f, f0)
            x1, f1 = np.where(left, x1, x), np.where(left, f1, f)
            last = np.where(left, 1, -1).astype(np.int8)
            gap = np.where(f1 == f0, 1.0, f1 - f0)
            new = x0 - f0 * (x1 - x0) / gap
            step = np.abs(new - x)[open_]
            x = np.where(open_, new, x)
            if step.size and float(np.quantile(step, 0.999)) < self.tolerance:
                break
        return x
