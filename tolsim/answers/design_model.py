"""Rates as smooth functions of the free bands, from one weighted sample of failed units.

Failed units of the study at one point keep their physical sizes; another band gives the same sizes
another density. So the rate there is a weighted sum over the same units, exact where the sample
reaches, with no further evaluation of the physics.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.answers.design_problem import Freedom, Problem
from tolsim.answers.tally import events_of
from tolsim.chance.estimate import estimate
from tolsim.chance.event import event_of
from tolsim.chance.streams import BLOCK, Streams, generator
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Build, Joint
from tolsim.joint.routes import start_process
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature

__all__ = ["RateModel", "rate_model"]

FloatArray = NDArray[np.float64]
_KEEP = 4000  # failed units of one target and build
_WANTED = 800  # failed units at a rate that just meets its target
_ENOUGH = 300  # expected at the target; fewer need the rare-event sampler
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class _Sample:
    """Failed units of one build: standard normals of each freedom's seats, and what they weigh."""

    share: float
    weight: FloatArray
    rows: tuple[FloatArray, ...]
    bounds: tuple[tuple[FloatArray, FloatArray] | None, ...]


class RateModel:
    """Rates of all targets near the point `theta` at which the units were drawn."""

    def __init__(
        self,
        problem: Problem,
        theta: FloatArray,
        samples: dict[str, list[_Sample]],
        correlations: Sequence[float],
        evaluations: float,
    ) -> None:
        self.problem, self.theta = problem, theta
        self.samples, self.correlations = samples, tuple(correlations)
        self.evaluations = evaluations

    def covers(self, theta: FloatArray) -> bool:
        """Whether no band at `theta` spreads wider than that of the sample.

        A narrow sample reweighted to a wider process misses the units far out and has no sign of
        it in its own weights.
        """
        here, there = self.problem.bands(self.theta), self.problem.bands(theta)
        return all(
            f.sd(new[1]) <= 1.02 * f.sd(old[1])
            for f, old, new in zip(self.problem.freedoms, here, there, strict=True)
            if f.spec.follows != "gauge" or f.centre is None
        )

    def rate(self, mode: str, theta: FloatArray) -> tuple[float, float, float]:
        """Rate, its relative error and the effective share of the sample at another point."""
        total = squares = first = 0.0
        ess_top = ess_bottom = 0.0
        for s in self.samples[mode]:
            w = s.share * s.weight * np.exp(self._log_ratio(s, theta))
            total += float(w.sum())
            squares += float(np.square(w).sum())
            first += float(s.share * s.weight.sum())
            ess_top += float(w.sum())
            ess_bottom += float((np.square(w) / np.maximum(s.share * s.weight, _TINY)).sum())
        if total <= 0.0:
            return 0.0, math.inf, 0.0
        effective = ess_top**2 / max(ess_bottom, _TINY) / max(first, _TINY)
        return total, math.sqrt(squares) / total, effective

    def _log_ratio(self, s: _Sample, theta: FloatArray) -> FloatArray:
        out = np.zeros(len(s.weight))
        here = self.problem.bands(self.theta)
        there = self.problem.bands(theta)
        for f, t, bounds, rho, old, new in zip(
            self.problem.freedoms, s.rows, s.bounds, self.correlations, here, there, strict=True
        ):
            if f.spec.follows == "gauge" and f.centre is not None:
                out += _cut_ratio(f, t, bounds, rho, new)
            else:
                out += _moved_ratio(f, t, rho, old, new)
        return out


def _copula(a: FloatArray, b: FloatArray, rho: float) -> FloatArray:
    """Log density of two tied standard normals, but for its constant."""
    rest = max(1.0 - rho * rho, 1e-9)
    return np.asarray(-0.5 * (a * a - 2.0 * rho * a * b + b * b) / rest)


def _moved_ratio(
    f: Freedom,
    t: FloatArray,
    rho: float,
    old: tuple[float | None, float],
    new: tuple[float | None, float],
) -> FloatArray:
    s0, s1 = f.sd(old[1]), f.sd(new[1])
    shift = 0.0
    if old[0] is not None and new[0] is not None:
        shift = old[0] - new[0]
    out = np.zeros(t.shape[1])
    for k in range(0, len(t), 2):
        a, b = t[k], t[k + 1]
        moved = [(shift + s0 * v) / s1 for v in (a, b)]
        out += _copula(moved[0], moved[1], rho) - _copula(a, b, rho) - 2.0 * math.log(s1 / s0)
    return out


def _cut_ratio(
    f: Freedom,
    t: FloatArray,
    bounds: tuple[FloatArray, FloatArray] | None,
    rho: float,
    new: tuple[float | None, float],
) -> FloatArray:
    """Sorting by the band: units inside it, each seat's place among what is left."""
    assert bounds is not None
    centre, spread = bounds  # mean and standard deviation of the process as made [mm], per unit
    assert new[0] is not None
    low, high = new[0] - 0.5 * new[1], new[0] + 0.5 * new[1]
    out = np.zeros(t.shape[1])
    placed = []
    for k in (0, 1):
        a, b = (low - centre[k]) / spread[k], (high - centre[k]) / spread[k]
        left = np.maximum(ndtr(b) - ndtr(a), _TINY)
        inside = (t[k] >= a) & (t[k] <= b)
        share = np.clip((ndtr(t[k]) - ndtr(a)) / left, 1e-15, 1.0 - 1e-15)
        placed.append(ndtri(share))
        out += np.where(inside, -np.log(left), -np.inf)
    if rho != 0.0:
        ratio = _copula(placed[0], placed[1], rho) - _copula(placed[0], placed[1], 0.0)
        out += ratio - (_copula(t[0], t[1], rho) - _copula(t[0], t[1], 0.0))
    return out


def rate_model(
    problem: Problem,
    base: Study,
    theta: FloatArray,
    targets: Mapping[str, float],
    *,
    seed: int,
    precision: float = 0.1,
    thorough: bool = False,
) -> RateModel:
    """Draw failed units of every target at `theta`.

    Parameters
    ----------
    problem : Problem
        What is free.
    base : Study
        The study with its parts chosen.
    theta : ndarray
        Point at which units are drawn; bands that sort are left out of the drawing.
    targets : dict
        Largest rate by mode; they decide how many units are drawn, and whether a rate that few of
        them hit is simply far below its target.
    seed : int
        Of the streams.
    precision : float
        Relative half-width that a rare-event sample aims at.
    thorough : bool
        Sample rates far below their targets too, so that the units reach other points.
    """
    study = problem.variant(base, theta, sorted_out=False)
    joint = assemble(study)
    least = min(targets.values())
    blocks = int(np.clip(_WANTED / least / BLOCK, 8, 64))
    z = np.concatenate([_block(joint, seed, k) for k in range(blocks)], axis=1)
    n = z.shape[1]
    out = joint.recording(z)
    evaluations = float(n * len(joint.builds))
    samples: dict[str, list[_Sample]] = {}
    correlations = [_correlation(study, f) for f in problem.freedoms]
    for mode, target in targets.items():
        samples[mode] = []
        for i, build in enumerate(joint.builds):
            rows = events_of(build).get((mode, 0))
            if not rows:
                continue
            hit = np.flatnonzero((out[rows] < 0.0).any(axis=0))
            points, weight = z[:, hit], np.full(len(hit), 1.0 / n)
            if len(hit) > _KEEP:
                rng = generator(seed, f"kept {mode}", i)
                kept = np.sort(rng.choice(len(hit), _KEEP, replace=False))
                points, weight = points[:, kept], np.full(_KEEP, len(hit) / _KEEP / n)
            if len(hit) < _ENOUGH and (thorough or target * n < _ENOUGH):
                found = estimate(
                    event_of(joint.recording, rows),
                    seed=seed,
                    plain_counts=(len(hit), n),
                    target_relative=precision,
                    budget=1e6,
                )
                evaluations += found.evaluations
                if found.sample is not None and found.trusted:
                    points = found.sample.z
                    weight = found.sample.weight / found.sample.n
            samples[mode].append(_sample(problem, study, joint, build, points, weight))
    return RateModel(problem, theta, samples, correlations, evaluations)


def _block(joint: Joint, seed: int, index: int) -> FloatArray:
    z = np.empty((len(joint.latent), BLOCK))
    Streams(seed, joint.latent).fill(index, z)
    return z


def _correlation(study: Study, f: Freedom) -> float:
    """Correlation of the two seats that the part states for this freedom."""
    role, _, rest = f.path.partition(".")
    part = study.strata[0].parts[role]
    if f.centre is not None:
        sides = getattr(part, "sides", None)
        return float(sides.diameter) if sides is not None else 0.0
    alignment = getattr(part, "alignment", None)
    if alignment is None or not rest.startswith("alignment."):
        return 0.0
    if rest.endswith("tilt") and alignment.between_sides_tilt is not None:
        return float(alignment.between_sides_tilt)
    return float(alignment.between_sides)


def _sample(
    problem: Problem,
    study: Study,
    joint: Joint,
    build: Build,
    points: FloatArray,
    weight: FloatArray,
) -> _Sample:
    rows = tuple(_rows(joint, f, points, _correlation(study, f)) for f in problem.freedoms)
    bounds = tuple(_process(study, joint, build, f, points) for f in problem.freedoms)
    return _Sample(build.share, weight, rows, bounds)


def _names(f: Freedom) -> list[str]:
    """Rows behind a freedom, seat by seat, axis by axis."""
    role, _, rest = f.path.partition(".")
    if f.centre is not None:
        return [f"{f.path}@1", f"{f.path}@2"]
    short = rest.removeprefix("alignment.")
    if rest.startswith("alignment."):
        return [f"{role}.{short}_{axis}@{k}" for axis in "xy" for k in (1, 2)]
    return [f"{role}.{short}@1", f"{role}.{short}@2"]


def _rows(joint: Joint, f: Freedom, points: FloatArray, rho: float) -> FloatArray:
    """Tied standard normals behind a freedom, (2 or 4, k)."""
    found = []
    for name in _names(f):
        if name in joint.latent:
            found.append(points[joint.latent.index(name)])
        else:
            found.append(np.zeros(points.shape[1]))
    rest = math.sqrt(max(0.0, 1.0 - rho * rho))
    for k in range(0, len(found), 2):
        found[k + 1] = rho * found[k] + rest * found[k + 1]
    return np.array(found)


def _process(
    study: Study, joint: Joint, build: Build, f: Freedom, points: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Mean and spread of a sorted feature as made, (2, k) each; None where nothing is sorted."""
    if f.spec.follows != "gauge" or f.centre is None:
        return None
    k = points.shape[1]
    for measured in build.measured:
        if measured.key == f.path:
            means, sds, _ = measured.parameters(list(points))
            spread = [np.maximum(np.broadcast_to(s, (k,)), 1e-9) for s in sds]
            return np.array([np.broadcast_to(m, (k,)) for m in means]), np.array(spread)
    role, _, rest = f.path.partition(".")
    stratum = next(s for s in study.strata if s.name in build.names)
    feature = getattr(stratum.parts[role], rest)
    assert isinstance(feature, Feature)
    process, _ = start_process(feature)
    return np.full((2, k), process.mean), np.full((2, k), max(process.sd, 1e-9))
