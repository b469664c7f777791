r"""All bands of one or two features that meet the targets: a grid enumerated outright.

Failed units drawn at a few anchors speak for every band together (balance heuristic, Veach and
Guibas, *SIGGRAPH 95*, from memory): with weights w of units drawn at anchors k,

.. math:: p(\theta) = \sum_i w_i \frac{f_\theta(x_i)}{\sum_k f_k(x_i)}

Densities of two features that share no rows are products, so all pairs of their bands cost one
product of matrices. Where the boundary of the targets is still vague an anchor is added.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_anchors import Anchored
from tolsim.answers.design_cases import Case, Freedom
from tolsim.answers.design_followers import Band
from tolsim.answers.design_outer import Search
from tolsim.answers.design_rates import distance

__all__ = ["Region", "bands_of", "feasible_region"]

FloatArray = NDArray[np.float64]
_MOST = 1300, 220  # bands that are looked at of a feature, alone or with another
_ROUNDS, _AT_ONCE = 8, 4
_REACH = 8.0  # squared distance from the nearest anchor up to which a band counts as known
_VAGUE = 0.05  # relative error of a rate next to its target from which an anchor is added
_GUESSED = 0.3  # relative error from which a rate is no more than a guess
_SMALL = 0.01  # of a target: a rate this far below it may be guessed
_NEXT = 0.25  # logarithm of rate over target that counts as next to it


@dataclass(frozen=True, kw_only=True, slots=True)
class Region:
    """Rates of every combination of bands on a grid.

    Parameters
    ----------
    paths : tuple of str
        The one or two free features.
    bands : tuple of ndarray
        (n, 2) each: middle and width [mm, rad] of every band that was looked at.
    steps : tuple of float
        Step of the grid of each; the drawing grid, or a multiple of it where that has too many.
    rates, errors : dict of ndarray
        By mode, (n,) or (n, m): rate and its standard error.
    good : ndarray
        Whether all targets are met, (n,) or (n, m), by rates as estimated; what units that were
        drawn hardly reach is not called good.
    """

    paths: tuple[str, ...]
    bands: tuple[FloatArray, ...]
    steps: tuple[float, ...]
    rates: dict[str, FloatArray]
    errors: dict[str, FloatArray]
    good: NDArray[np.bool_]

    def widest(self, k: int) -> tuple[FloatArray, FloatArray]:
        """Middles of feature k, and the widest good band about each (0 where there is none).

        With two features the other may be whatever suits.
        """
        good = self.good if self.good.ndim == 1 else self.good.any(axis=1 - k)
        middles = np.unique(self.bands[k][:, 0].round(9))
        widest = np.zeros(len(middles))
        at = np.searchsorted(middles, self.bands[k][:, 0].round(9))
        np.maximum.at(widest, at[good], self.bands[k][good, 1])
        return middles, widest


def bands_of(f: Freedom, *, most: int) -> tuple[FloatArray, float]:
    """Every band of a feature on its grid, (n, 2), and the step: a multiple where too many."""
    steps = 1
    while True:
        number = int(_counted(f, steps * f.grid)[2].sum())
        if number <= most or number == 1:
            return _listed(f, steps * f.grid), steps * f.grid
        # as far as the number cannot come below the most yet: it falls with the step, squared
        steps += max(1, int(steps * (0.7 * math.sqrt(number / most) - 1.0)))


def _counted(f: Freedom, step: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Widths on a grid, in steps; the least lower limit of each, and how many it has."""
    narrow, wide = f.width
    least = max(1, math.ceil(narrow / step - 1e-6))
    widths = np.arange(least, math.floor(wide / step + 1e-6) + 1.0)
    if f.centre is None:
        return widths, -0.5 * widths, np.ones(len(widths))
    first = np.ceil(f.centre[0] / step - 0.5 * widths - 1e-6)
    last = np.floor(f.centre[1] / step - 0.5 * widths + 1e-6)
    return widths, first, np.maximum(last - first + 1.0, 0.0)


def _listed(f: Freedom, step: float) -> FloatArray:
    out = []
    for width, first, number in zip(*_counted(f, step), strict=True):
        middles = first + np.arange(number) + 0.5 * width
        out.append(np.stack([middles, np.full(len(middles), width)], axis=1))
    return step * np.concatenate(out) if out else np.zeros((0, 2))


def feasible_region(
    case: Case, search: Search, theta: FloatArray, *, most: int | None = None
) -> Region | None:
    """Rates of all bands of the one or two free features on a grid.

    Parameters
    ----------
    search : Search
        Its samples are used and added to.
    theta : ndarray
        Bands that meet the targets, about which the region lies.
    most : int, optional
        Bands of a feature at most; a coarser grid is taken where there are more.

    Returns
    -------
    Region or None
        None where two features share rows (the surfaces of one sleeve).
    """
    free = [i for i, f in enumerate(case.freedoms) if f.held is None]
    if not 1 <= len(free) <= 2:
        return None
    listed = [bands_of(case.freedoms[i], most=most or _MOST[len(free) - 1]) for i in free]
    bands = [b for b, _ in listed]
    if any(len(b) == 0 for b in bands):
        return None
    fixed = case.bands(theta)
    anchors = _Anchors(case, search, free, bands, theta)
    rates: dict[str, FloatArray] = {}
    errors: dict[str, FloatArray] = {}
    for rounds in range(_ROUNDS + 1):
        found = _rates(search, anchors.drawn, free, bands, fixed)
        if found is None:
            return None
        rates, errors = found
        if rounds == _ROUNDS:  # rates of all anchors: what none of them says is not good
            break
        vague = _vaguest(search.targets, rates, errors, bands, case, free, anchors.away())
        if not sum(anchors.add(at) for at in vague):
            break
    good = np.logical_and.reduce([rates[m] <= t for m, t in search.targets.items()])
    good &= anchors.away() <= _REACH
    for m, t in search.targets.items():  # what is only guessed is not called good
        good &= ~((errors[m] > _GUESSED * rates[m]) & (rates[m] > _SMALL * t))
    return Region(
        paths=tuple(case.freedoms[i].path for i in free),
        bands=tuple(bands),
        steps=tuple(s for _, s in listed),
        rates=rates,
        errors=errors,
        good=good,
    )


class _Anchors:
    """Points at which failures were drawn for a region."""

    def __init__(
        self,
        case: Case,
        search: Search,
        free: list[int],
        bands: list[FloatArray],
        theta: FloatArray,
    ) -> None:
        self.case, self.search, self.free, self.bands = case, search, free, bands
        self.theta = theta
        self.drawn = Anchored(search.rates)
        self.seen: set[tuple[int, ...]] = set()
        own = case.bands(theta)
        self.at = [[own[i] for i in free]]
        self.drawn.add(theta)

    def add(self, at: tuple[int, ...]) -> bool:
        """Draw at one combination of bands; False where that was done already."""
        if at in self.seen:
            return False
        self.seen.add(at)
        theta = self.theta.copy()
        places = self.case.places()
        for i, b, k in zip(self.free, self.bands, at, strict=True):
            c, w = places[i]
            assert w is not None
            theta[w] = b[k, 1]
            if c is not None:
                theta[c] = b[k, 0]
        self.at.append([_band(own, k) for own, k in zip(self.bands, at, strict=True)])
        self.drawn.add(theta)
        return True

    def away(self) -> FloatArray:
        """Squared distance of every combination from the nearest anchor."""
        nearest = np.full(tuple(len(b) for b in self.bands), np.inf)
        for at in self.at:
            own = [
                _distances(self.case.freedoms[i], a, b)
                for i, a, b in zip(self.free, at, self.bands, strict=True)
            ]
            both = own[0] if len(own) == 1 else own[0][:, None] + own[1][None, :]
            np.minimum(nearest, both, out=nearest)
        return nearest


def _rates(
    search: Search,
    drawn: Anchored,
    free: list[int],
    bands: list[FloatArray],
    fixed: list[Band],
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]] | None:
    shape = tuple(len(b) for b in bands)
    rates = {m: np.zeros(shape) for m in search.targets}
    squares = {m: np.zeros(shape) for m in search.targets}
    for branch, mode in drawn.places():
        tables = drawn.tables((branch, mode), free, bands, fixed)
        if tables is None:
            return None
        share = search.rates.shares[branch]
        value, square = tables.rates()
        rates[mode] += share * value
        squares[mode] += share**2 * square
    return rates, {m: np.sqrt(s) for m, s in squares.items()}


def _vaguest(
    targets: Mapping[str, float],
    rates: Mapping[str, FloatArray],
    errors: Mapping[str, FloatArray],
    bands: list[FloatArray],
    case: Case,
    free: list[int],
    away: FloatArray,
) -> list[tuple[int, ...]]:
    """Combinations next to a target whose rates are least certain, away from one another.

    One that seems good and that no anchor is near to is wholly uncertain: the units that fail
    there may never have been drawn.
    """
    shape = next(iter(rates.values())).shape
    worst = np.zeros(shape)
    for m, t in targets.items():
        others = np.ones(shape, dtype=bool)
        for o in targets:
            if o != m:
                others &= rates[o] <= 1.3 * targets[o]
        relative = np.minimum(errors[m] / np.maximum(rates[m], 1e-300), 2.0)
        off = np.abs(np.log(np.maximum(rates[m], 1e-300) / t))
        np.maximum(worst, np.where(others & (off <= _NEXT + relative), relative, 0.0), out=worst)
    good = np.logical_and.reduce([rates[m] <= t for m, t in targets.items()])
    worst = np.where(good & (away > _REACH), 2.0 + np.minimum(away, 1e6), worst)
    out: list[tuple[int, ...]] = []
    for k in np.argsort(-worst, axis=None):
        if worst.flat[k] <= _VAGUE or len(out) == _AT_ONCE:
            break
        at = tuple(int(i) for i in np.unravel_index(int(k), shape))
        if all(_apart(case, free, bands, at, other) > 1.0 for other in out):
            out.append(at)
    return out


def _apart(
    case: Case, free: list[int], bands: list[FloatArray], a: tuple[int, ...], b: tuple[int, ...]
) -> float:
    def of(at: tuple[int, ...]) -> list[Band]:
        return [_band(own, k) for own, k in zip(bands, at, strict=True)]

    return distance([case.freedoms[i] for i in free], of(a), of(b))


def _band(listed: FloatArray, k: int) -> Band:
    return float(listed[k, 0]), float(listed[k, 1])


def _distances(f: Freedom, anchor: Band, bands: FloatArray) -> FloatArray:
    """Squared distance of every band from an anchor, in its spreads."""
    sd = 0.3 * anchor[1] if f.sorts else f.sd(anchor[1])
    middle = (bands[:, 0] - anchor[0]) / max(sd, 1e-9)
    # units of a wide band speak for narrower ones within it
    wider = np.maximum(np.log(bands[:, 1] / anchor[1]), 0.0)
    narrower = np.maximum(np.log(anchor[1] / bands[:, 1]), 0.0)
    return np.asarray(2.0 * middle**2 + 8.0 * wider**2 + narrower**2)
