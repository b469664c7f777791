"""The likeliest mixture for the failing samples known so far."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tolsim.chance.densities import Mixture, Shaped, fit_weights
from tolsim.chance.seeding import Seeds
from tolsim.chance.shapes import Training, global_shapes, informative_axes, local_shape
from tolsim.chance.subset import SubsetRun
from tolsim.chance.weighted import WeightedSample

__all__ = ["Fitter"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_MOST_SAMPLES = 4000  # samples that a fit looks at
_MOST_LOCAL = 24  # regions that get a shape of their own
_LOCAL_WEIGHT = 0.02  # weight from which a point counts as a region
_PRUNED = 2e-3  # components below this weight are dropped ...
_SPARED = 0.05  # ... but for this much in all, where nothing else draws
_MOST_SPARED = 64


class Fitter:
    """Collects failing samples and fits weights and shapes to them.

    Parameters
    ----------
    seeds : Seeds
        Points that components stand at; read again at every fit.
    plain_share : float
        Share of the plain density that stays in.
    rng : Generator
        Thins samples when there are too many.
    """

    def __init__(self, seeds: Seeds, plain_share: float, rng: Generator) -> None:
        self._seeds = seeds
        self._keep = plain_share
        self._rng = rng
        self._known: list[Training] = []
        self._drawn: list[Training] = []

    @property
    def blind(self) -> bool:
        """Whether no failure has been met at all."""
        return not self._known and self._seeds.points.shape[1] == 0

    def add_subset(self, run: SubsetRun) -> None:
        """Learn from a subset run's failing samples."""
        k = run.failing.shape[1]
        if k:
            # samples of a chain repeat one another: about a fifth of them are independent
            self._known.append(
                Training(z=run.failing, counts=np.full(k, 1.0 / k), effective=max(1.0, k / 5))
            )

    def _parts(self) -> list[Training]:
        """What to fit to, each part with the samples it is worth.

        The seed points were placed at the first subset run's samples, so a likelihood over these
        praises every point for its own sample; once there are draws the run counts a fifth. A
        later run is here because it showed something missed, and counts in full.
        """
        if not self._drawn:
            return self._known
        first = self._known[:1]
        less = [Training(z=t.z, counts=t.counts, effective=0.2 * t.effective) for t in first]
        return less + self._known[1:] + self._drawn

    def add_weighted(self, s: WeightedSample) -> None:
        """Learn from a pilot's failing draws."""
        total = float(s.weight.sum())
        if total > 0.0:
            effective = total**2 / float(np.square(s.weight).sum())
            self._drawn.append(Training(z=s.z, counts=s.weight / total, effective=effective))

    def fit(self, *, look_around: bool) -> Mixture:
        """Fit; with `look_around` every seed point keeps a weight, for a pilot.

        Levels can lure subset simulation away from a region that a descent has found; its point
        must be drawn from before it may be dropped.
        """
        d = self._seeds.points.shape[0]
        points = np.concatenate([np.zeros((d, 1)), self._seeds.points], axis=1)
        k = points.shape[1]
        if not self._known and not self._drawn:
            return Mixture(weights=_by_distance(points, self._keep), points=points)
        t = self._thinned(Training.pooled(self._parts()))
        axes, moments = informative_axes(t, self._seeds.span)
        shapes = global_shapes(t, axes, moments, self._seeds.span)
        table, weights = self._weights(t, points, shapes)
        if moments.size:
            shapes += _local_shapes(t, axes, table, weights)
            table, weights = self._weights(t, points, shapes)
        if look_around:
            weights = 0.7 * weights
            weights[:k] += 0.3 * _by_distance(points, self._keep)
            used = weights > 1e-6
        else:
            used = self._worth(t, table, weights, k)
            weights[used] = fit_weights(table[used], t.counts, keep=self._keep)
            used &= weights > _PRUNED
            spare = self._uncovered(points, shapes, used, weights)
            if spare.size:
                weights[used] *= 1.0 - _SPARED
                weights[spare] = _SPARED * _by_distance(points[:, spare], 0.0, origin=False)
                used[spare] = True
        weights = weights[used]
        rest = float(weights[1:].sum())
        weights[1:] *= (1.0 - self._keep) / rest if rest > 0.0 else 0.0
        weights[0] = self._keep if rest > 0.0 else 1.0
        return Mixture(
            weights=weights,
            points=points[:, used[:k]],
            shaped=tuple(s for s, u in zip(shapes, used[k:], strict=True) if u),
        )

    def _uncovered(
        self,
        points: FloatArray,
        shapes: list[Shaped],
        used: NDArray[np.bool_],
        weights: FloatArray,
    ) -> IntArray:
        """Dropped points around which the components in use hardly draw.

        A region of a thousandth of all failures is not worth a component by its share, but the
        few draws that the plain density makes there would weigh as much as all others together.
        """
        k = points.shape[1]
        mixture = Mixture(
            weights=weights[used],
            points=points[:, used[:k]],
            shaped=tuple(s for s, u in zip(shapes, used[k:], strict=True) if u),
        )
        dropped = np.flatnonzero(~used[:k])
        at = points[:, dropped]
        own = _PRUNED * np.exp(0.5 * np.square(at).sum(axis=0))
        return np.asarray(dropped[own * mixture.weight(at) > 1.0][:_MOST_SPARED])

    def _weights(
        self, t: Training, points: FloatArray, shapes: list[Shaped]
    ) -> tuple[FloatArray, FloatArray]:
        size = points.shape[1] + len(shapes)
        mixture = Mixture(weights=np.ones(size), points=points, shaped=tuple(shapes))
        table = mixture.log_table(t.z)
        return table, fit_weights(table, t.counts, keep=self._keep)

    def _worth(
        self, t: Training, table: FloatArray, weights: FloatArray, k: int
    ) -> NDArray[np.bool_]:
        """Which components are worth having: all of them, or few points and the shapes.

        Many points follow the samples they are fitted to. So both choices are fitted to one half
        of the samples and judged on the other, by the second moment a draw's weight would have.
        """
        everything = np.ones(weights.size, dtype=np.bool_)
        few = everything.copy()
        few[1:k] = weights[1:k] > _LOCAL_WEIGHT
        if few.all() or few[1:].sum() == 0:
            return everything
        half = self._rng.permutation(table.shape[1]) < table.shape[1] // 2
        ratio = np.exp(table - table.max(axis=0))
        top = np.exp(-table.max(axis=0))

        def second_moment(used: NDArray[np.bool_]) -> float:
            w = fit_weights(table[used][:, half], t.counts[half], keep=self._keep)
            return float(t.counts[~half] @ (top[~half] / (w @ ratio[used][:, ~half])))

        return few if second_moment(few) < second_moment(everything) else everything

    def _thinned(self, t: Training) -> Training:
        if t.z.shape[1] <= _MOST_SAMPLES:
            return t
        pick = self._rng.choice(t.z.shape[1], _MOST_SAMPLES, replace=False)
        counts = t.counts[pick] / t.counts[pick].sum()
        effective = min(t.effective, 1.0 / float(np.square(counts).sum()))
        return Training(z=t.z[:, pick], counts=counts, effective=effective)


def _local_shapes(
    t: Training, axes: FloatArray, table: FloatArray, weights: FloatArray
) -> list[Shaped]:
    """Shapes of the regions that the heaviest components stand for."""
    density = np.exp(table - table.max(axis=0))
    mixed = weights @ density
    heaviest = np.argsort(-weights[1:], kind="stable")[:_MOST_LOCAL] + 1
    found = [
        local_shape(t, axes, weights[j] * density[j] / mixed)
        for j in heaviest
        if weights[j] > _LOCAL_WEIGHT
    ]
    return [s for s in found if s is not None]


def _by_distance(points: FloatArray, keep: float, *, origin: bool = True) -> FloatArray:
    """Weights of the points by their distance alone, flattened so that none is starved.

    With `origin` the first point is the plain density's and gets `keep`.
    """
    first = 1 if origin else 0
    w = np.full(points.shape[1], keep)
    square = np.square(points[:, first:]).sum(axis=0)
    if square.size:
        near = np.exp(-0.25 * (square - square.min()))
        w[first:] = (1.0 - keep) * near / near.sum()
    else:
        w[:] = 1.0
    return w
