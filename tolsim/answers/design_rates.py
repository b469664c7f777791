r"""Rates as smooth functions of all free bands, from weighted failed units.

At a point, failures of each target are drawn from a mixture fitted to where they lie (see
`tolsim.chance.mixture`), so a few thousand units say as much as millions that are counted. A unit
drawn at bands :math:`\theta_k` with weight w speaks for other bands by

.. math:: p(\theta) = \sum_i w_i \frac{f_\theta(x_i)}{f_{\theta_k}(x_i)}

over its free sizes x, exactly, with exact gradients and without asking the physics again. The
mixture serves the points that follow as well; it is fitted anew when it draws badly there, when
bands have moved far, or when plain units, counted beside it, contradict it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_cases import Freedom
from tolsim.answers.design_followers import Band
from tolsim.answers.design_ties import Tie
from tolsim.answers.design_units import (
    Points,
    Snapshot,
    log_density,
    log_density_slopes,
    points_of,
)
from tolsim.chance.densities import Mixture
from tolsim.chance.event import Spent, Tally, event_of
from tolsim.chance.mixture import MixtureSettings, mixture_run
from tolsim.chance.streams import BLOCK, generator

__all__ = ["Key", "Rate", "Rates", "Sample", "Source", "distance"]

FloatArray = NDArray[np.float64]
Bands = Sequence[Band]
#: Build and mode.
Key = tuple[int, str]

_DRAWN = 2**15  # units of one sample
_MORE = 2  # times as many at most where nothing but counting helps
_ENOUGH = 4000  # failures that are drawn then
_KEEP = 2000  # failed units that are kept of a sample
_COUNTED = 4  # blocks of plain units that are counted beside a sample
_COMMON = 0.08  # a rate from which no mixture gains anything
_FAR = 60.0  # squared distance from its fit at which a mixture is fitted anew
_NEAR = 6.0  # squared distance up to which a sample speaks for a point
_LATEST = 3  # samples that speak for one point at most
_COARSE = 0.08  # relative error of a sample from which the mixture is fitted anew
_LITTLE = 0.2  # of a target: a rate below it may be told coarsely
_CONTRADICTED = 4.0  # standard errors between counts and samples
_FLOOR = 1e-3  # of a target: how exactly rates far below theirs are wanted
_SOFT = 2e-4  # roundness [mm] that sorting edges get while slopes are needed
_SMALL = MixtureSettings(subset_samples=5_000, pilot=4096, rounds=4, least=4096, most=4096)


class Source(Protocol):
    """What is drawn: a case whose bands can be set, its free numbers in the order of a vector."""

    @property
    def freedoms(self) -> Sequence[Freedom]:
        """All bands."""

    def bands(self, theta: FloatArray) -> list[Band]:
        """(middle, width) of every band at a point."""

    def places(self) -> list[tuple[int | None, int | None]]:
        """Where in the vector each band keeps its middle and width."""

    def bounds(self) -> FloatArray:
        """Ends of every free number, (d, 2)."""

    def at(self, theta: FloatArray) -> Snapshot:
        """Everything ready to be drawn at a point."""


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate at a point, its standard error, and the gradients of both by the free numbers."""

    value: float
    error: float
    gradient: FloatArray
    error_gradient: FloatArray

    def upper(self, errors: float) -> tuple[float, FloatArray]:
        """The rate with some standard errors on top, and its gradient."""
        return self.value + errors * self.error, self.gradient + errors * self.error_gradient


@dataclass(slots=True)
class Sample:
    """Weighted failures drawn at bands: log density of each there, less the log of its weight."""

    bands: tuple[Band, ...]
    ties: tuple[Tie, ...]
    points: Points
    log_q: FloatArray
    #: Relative standard error of the sum of all weights, before a part of the units was kept.
    error: float


@dataclass(slots=True)
class _Fit:
    """A mixture, where it was fitted, and what plain units have said beside it since."""

    bands: tuple[Band, ...]
    mixture: Mixture | None
    counted: int = 0
    expected: float = 0.0
    value: float = 1.0
    variance: float = 0.0


def distance(freedoms: Sequence[Freedom], a: Sequence[Band], b: Sequence[Band]) -> float:
    """Squared distance of bands: middles by their spread, widths by logarithm, seats counted."""
    total = 0.0
    for f, (c1, w1), (c2, w2) in zip(freedoms, a, b, strict=True):
        sd = 0.3 * w1 if f.sorts else f.sd(w1)
        total += 2.0 * ((c1 - c2) / max(sd, 1e-9)) ** 2 + 2.0 * math.log(w1 / w2) ** 2
    return total


class Rates:
    """Rates of all targets of one source; `refresh` draws failures, `at` tells rates near by.

    Parameters
    ----------
    source : Source
        What is drawn.
    targets : mapping
        Largest rate by mode.
    seed : int
        Of every stream.
    """

    def __init__(self, source: Source, targets: Mapping[str, float], *, seed: int) -> None:
        self.source, self.targets, self.seed = source, dict(targets), seed
        self.places = source.places()
        self.evaluations = 0.0
        self.refreshed = 0
        self.shares: list[float] = []
        #: What the latest look has drawn.
        self.latest: dict[Key, Sample] = {}
        self._fits: dict[Key, _Fit] = {}
        self._samples: dict[Key, list[Sample]] = {}
        self._active: dict[Key, list[tuple[float, Sample]]] = {}
        #: Factor by mode that a more exact look has put on the rates of the samples.
        self.corrections: dict[str, float] = {}

    def refresh(
        self, theta: FloatArray, *, anew: bool = False, n: int = _DRAWN, far: float = _FAR
    ) -> None:
        """Draw failures of every target at a point.

        Parameters
        ----------
        anew : bool
            Fit the mixtures afresh, whatever they were worth before.
        n : int
            Units of each sample.
        far : float
            Squared distance from where a mixture was fitted at which it is fitted anew.
        """
        snapshot = self.source.at(theta)
        self.shares = [b.share for b in snapshot.branches]
        first = _COUNTED * self.refreshed
        counts = snapshot.count(self.seed, range(first, first + _COUNTED))
        self.evaluations += _COUNTED * BLOCK * len(snapshot.branches)
        self.refreshed += 1
        self.latest = {}
        for key, count in counts.items():
            self._draw(snapshot, key, count, anew, n, self.source.bands(theta), far)
        self.settle(theta)

    def _draw(
        self,
        snapshot: Snapshot,
        key: Key,
        count: int,
        anew: bool,
        n: int,
        aim: Bands,
        far: float,
    ) -> None:
        fit = self._fits.get(key)
        moved = fit is not None and (
            distance(self.source.freedoms, fit.bands, snapshot.bands) > far
        )
        least = _LITTLE * self.targets[key[1]]  # a rate far below its target need not be sharp
        if fit is None or moved or (anew and fit.value > least):
            fit = self._fits[key] = self._fitted(snapshot, key, count)
            fresh = True
        else:
            fresh = False
        sample, value, error = self._sampled(snapshot, key, fit.mixture, n, aim, count)
        counted = _COUNTED * BLOCK
        fit.counted += count
        fit.expected += value * counted
        fit.variance += value * counted + (error * counted) ** 2
        off = abs(fit.counted - fit.expected) > _CONTRADICTED * math.sqrt(fit.variance + 1.0)
        if (off or error > _COARSE * max(value, least)) and not fresh and count < _COMMON * counted:
            fit = self._fits[key] = self._fitted(snapshot, key, count)
            sample, value, error = self._sampled(snapshot, key, fit.mixture, n, aim, count)
        fit.value = value
        if sample is not None:
            self._samples.setdefault(key, []).append(sample)
            self.latest[key] = sample

    def _fitted(self, snapshot: Snapshot, key: Key, count: int) -> _Fit:
        """A mixture for one target and branch; the plain density where that will do."""
        branch, d = snapshot.branches[key[0]], len(snapshot.latent)
        plain = Mixture(weights=np.ones(1), points=np.zeros((d, 1)))
        if count >= _COMMON * _COUNTED * BLOCK:
            return _Fit(snapshot.bands, plain)
        tally = Tally(event_of(branch.recording, branch.events[key[1]]), budget=2e6)
        try:
            run = mixture_run(tally, seed=self.seed + self.refreshed, target=0.05, settings=_SMALL)
            mixture = None if run is None else run.sums.mixture
        except Spent:
            mixture = plain
        self.evaluations += tally.spent
        return _Fit(snapshot.bands, plain if mixture is None and count else mixture)

    def _sampled(
        self, snapshot: Snapshot, key: Key, mixture: Mixture | None, n: int, aim: Bands, count: int
    ) -> tuple[Sample | None, float, float]:
        """Failures drawn from a mixture, with their sum and its standard error."""
        if mixture is None:
            return None, 0.0, 0.0
        if mixture.weights.size == 1:  # nothing helps but counting
            share = max(count / (_COUNTED * BLOCK), 1e-9)
            n = int(min(_MORE * n, max(BLOCK, _ENOUGH / share)))
        branch = snapshot.branches[key[0]]
        rng = generator(self.seed, f"design {key[0]} {key[1]}", self.refreshed)
        z, _ = mixture.draw(rng, n)
        good = branch.recording(z)[branch.events[key[1]]] >= 0.0
        self.evaluations += n
        hit = np.flatnonzero(~np.logical_and.reduce(good, axis=0))
        z = np.ascontiguousarray(z[:, hit])
        weight = mixture.weight(z) / n
        value, squares = float(weight.sum()), float(np.square(weight).sum())
        error = math.sqrt(max(0.0, squares - value * value / n))
        if not len(hit):
            return None, 0.0, 0.0
        ties = branch.ties_of(key[1])
        points = points_of(ties, z, snapshot.bands)
        log_f = log_density(ties, points, snapshot.bands)
        ratio = np.exp(log_density(ties, points, aim) - log_f)
        # one draw in two for the bands that are drawn, one for those that are meant
        odds = weight * (1.0 + ratio * (weight.sum() / max(float((weight * ratio).sum()), 1e-300)))
        chosen, times = _resampled(odds / odds.sum(), _KEEP, rng)
        kept = weight[chosen] * times * odds.sum() / (odds[chosen] * _KEEP)
        kept *= value / float(kept.sum())
        sample = Sample(
            snapshot.bands,
            ties,
            points.take(chosen),
            log_f[chosen] - np.log(kept),
            error / value,
        )
        return sample, value, error

    def settle(self, theta: FloatArray) -> None:
        """Let the samples near a point speak for its surroundings, each by what it is worth."""
        bands = self.source.bands(theta)
        for key, samples in self._samples.items():
            away = [distance(self.source.freedoms, s.bands, bands) for s in samples]
            most = _LATEST if self._fits[key].value > _LITTLE * self.targets[key[1]] else 1
            order = sorted(range(len(samples)), key=lambda i: (away[i], -i))
            near = [i for i in order if away[i] <= _NEAR][:most] or order[:1]
            worth = []
            for i in near:
                value, squares = _sums(samples[i], bands)
                worth.append(value * value / squares if squares > 0.0 else 0.0)
            whole = sum(worth)
            self._active[key] = [
                (w / whole, samples[i]) for i, w in zip(near, worth, strict=True) if w > 0.0
            ]

    def at(self, theta: FloatArray) -> dict[str, Rate]:
        """Rates at a point by mode, with gradients; sorting edges are a little rounded."""
        bands = self.source.bands(theta)
        out: dict[str, Rate] = {}
        for mode, target in self.targets.items():
            value = squares = 0.0
            slope, square_slope = np.zeros((len(bands), 2)), np.zeros((len(bands), 2))
            for branch, share in enumerate(self.shares):
                for alpha, sample in self._active.get((branch, mode), ()):
                    log_f, slopes = log_density_slopes(
                        sample.ties, sample.points, bands, soft=_SOFT
                    )
                    w = share * alpha * np.exp(log_f - sample.log_q)
                    value += float(w.sum())
                    own, off = float(w.sum()), sample.error
                    squares += float(np.square(w).sum()) + (off * own) ** 2
                    by, square_by = slopes.sums(w, w * w)
                    slope += by
                    square_slope += 2.0 * (square_by + off * off * own * by)
            factor = self.corrections.get(mode, 1.0)
            error = math.sqrt(squares) + 1e-3 * _FLOOR * target
            out[mode] = Rate(
                factor * value,
                factor * error,
                factor * self._vector(slope, len(theta)),
                factor * self._vector(square_slope, len(theta)) / (2.0 * error),
            )
        return out

    def values(self, theta: FloatArray) -> dict[str, tuple[float, float]]:
        """Rates and standard errors at a point, without gradients; sorting edges are sharp."""
        bands = self.source.bands(theta)
        out: dict[str, tuple[float, float]] = {}
        for mode in self.targets:
            value = squares = 0.0
            for branch, share in enumerate(self.shares):
                for alpha, sample in self._active.get((branch, mode), ()):
                    v, s = _sums(sample, bands)
                    value += share * alpha * v
                    squares += (share * alpha) ** 2 * s
            factor = self.corrections.get(mode, 1.0)
            out[mode] = (factor * value, factor * math.sqrt(squares))
        return out

    def _vector(self, by_band: FloatArray, size: int) -> FloatArray:
        """Gradient by the free numbers from that by middle and width of every band."""
        out = np.zeros(size)
        for (c, w), row in zip(self.places, by_band, strict=True):
            if c is not None:
                out[c] = row[0]
            if w is not None:
                out[w] = row[1]
        return out


def _sums(sample: Sample, bands: Bands) -> tuple[float, float]:
    """Sum of the weights at bands, and its squared standard error."""
    w = np.exp(log_density(sample.ties, sample.points, bands) - sample.log_q)
    value = float(w.sum())
    return value, float(np.square(w).sum()) + (sample.error * value) ** 2


def _resampled(
    odds: FloatArray, n: int, rng: np.random.Generator
) -> tuple[NDArray[np.intp], FloatArray]:
    """Indices drawn n times by their odds at even steps, and how often each was drawn."""
    if odds.size <= n // 2:
        return np.arange(odds.size), odds * n
    at = (rng.random() + np.arange(n)) / n
    drawn = np.searchsorted(np.cumsum(odds), at).clip(0, odds.size - 1)
    chosen, times = np.unique(drawn, return_counts=True)
    return chosen, times.astype(np.float64)
