"""Failed units drawn at several points, pooled so that they speak for all bands between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_followers import Band
from tolsim.answers.design_rates import Key, Rates, Sample
from tolsim.answers.design_ties import Tie
from tolsim.answers.design_units import Points, log_density

__all__ = ["Anchored", "Tables"]

FloatArray = NDArray[np.float64]
_FAR = 4.0  # anchors lie far apart: the mixture of one is hardly good for another


@dataclass(frozen=True, slots=True)
class Tables:
    """Rates of all bands of some features as products over pooled units.

    `weights` (k,) counts what no free band touches; each of `factors` (n, k) is one feature's.
    """

    weights: FloatArray
    factors: tuple[FloatArray, ...]

    def rates(self) -> tuple[FloatArray, FloatArray]:
        """Rate and squared standard error of every band, (n,), or of every pair, (n, m)."""
        first = self.factors[0] * self.weights
        if len(self.factors) == 1:
            return first.sum(axis=1), np.square(first).sum(axis=1)
        second = self.factors[1]
        return first @ second.T, np.square(first) @ np.square(second).T


class Anchored:
    """Failures of every target drawn at a growing number of points."""

    def __init__(self, rates: Rates) -> None:
        self.rates = rates
        self._samples: dict[Key, list[Sample]] = {}

    def add(self, theta: FloatArray) -> None:
        """Draw at one more point."""
        self.rates.refresh(theta, far=_FAR)
        for key, sample in self.rates.latest.items():
            self._samples.setdefault(key, []).append(sample)

    def places(self) -> tuple[Key, ...]:
        """Builds and modes of which failures were drawn."""
        return tuple(self._samples)

    def tables(
        self, key: Key, free: Sequence[int], bands: Sequence[FloatArray], fixed: Sequence[Band]
    ) -> Tables | None:
        """Tables of one build and mode for bands (n, 2) of the free features.

        None where two of them share rows, so that their densities are no product.
        """
        samples = self._samples[key]
        ties = samples[0].ties
        own = [[k for k, t in enumerate(ties) if _rules(t, i)] for i in free]
        if len(own) == 2 and set(own[0]) & set(own[1]):
            return None
        rest = [k for k in range(len(ties)) if not any(k in o for o in own)]
        logs, factors = [], [[] for _ in free]  # type: ignore[var-annotated]
        for s in samples:
            drawn = np.array([log_density(ties, s.points, a.bands) for a in samples])
            top = drawn.max(axis=0)
            below = top + np.log(np.exp(drawn - top).sum(axis=0))
            # what a unit weighs at its own anchor, over the density of all anchors
            at_own = log_density(ties, s.points, s.bands)
            weight = at_own - s.log_q - below
            picked, part = _part(ties, s.points, rest)
            weight = weight + log_density(picked, part, fixed)
            for j, (i, ks) in enumerate(zip(free, own, strict=True)):
                picked, part = _part(ties, s.points, ks)
                # scaled by the largest of the anchors, so that no factor overflows
                scale = np.max([log_density(picked, part, a.bands) for a in samples], axis=0)
                rows = np.empty((len(bands[j]), s.points.size))
                for row, (c, w) in zip(rows, bands[j], strict=True):
                    there = list(fixed)
                    there[i] = (float(c), float(w))
                    np.subtract(log_density(picked, part, there), scale, out=row)
                np.exp(np.minimum(rows, 50.0, out=rows), out=rows)
                factors[j].append(rows)
                weight = weight + scale
            logs.append(weight)
        return Tables(
            np.exp(np.concatenate(logs)), tuple(np.concatenate(f, axis=1) for f in factors)
        )


def _rules(tie: Tie, freedom: int) -> bool:
    return any(v is not None and v.freedom == freedom for v in tie.variables)


def _part(ties: Sequence[Tie], points: Points, ks: Sequence[int]) -> tuple[list[Tie], Points]:
    """Some of the ties, and what units keep of them."""
    part = Points(
        tuple(points.variables[k] for k in ks),
        tuple(points.columns[k] for k in ks),
        tuple(points.correlations[k] for k in ks),
        points.size,
    )
    return [ties[k] for k in ks], part
