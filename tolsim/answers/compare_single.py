"""Which single measurement, of all that the alternatives rest on, would tell most which is best.

Each draw of everything that is not known has a best alternative. Whoever knew one process exactly
would name the alternative that is best most often where that process lies; how often he would be
right is counted on draws that had no say in the naming.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_ranges import Ranges
from tolsim.answers.compare_surface import Feature, all_coordinates

if TYPE_CHECKING:
    from tolsim.answers.compare_run import Run

__all__ = ["Single", "Singles", "as_one", "named_rightly", "singles_of"]

FloatArray = NDArray[np.float64]
_NEIGHBOURS = 40


@dataclass(frozen=True, kw_only=True, slots=True)
class Single:
    """One thing that could be measured: a size of a part, or a remembered constant.

    `right` is the probability of naming the best alternative rightly with this known exactly;
    `readings` those at hand, 0 where it is assumed; `key` is None for a constant. `error` is the
    standard deviation of what `right` is above the same without it.
    """

    part: str
    key: str | None
    readings: int
    right: float
    error: float

    def tells(self, now: float) -> bool:
        """Whether it would tell more than what is known now."""
        return self.right - now > 2.0 * self.error


@dataclass(frozen=True, kw_only=True, slots=True)
class Singles:
    """All that could be measured, the most telling first; `now` is `right` without any of it."""

    now: float
    worlds: int
    found: tuple[Single, ...]


def singles_of(run: Run, ranges: Ranges, best: FloatArray) -> Singles:
    """Every measured or assumed size and every remembered constant, one at a time.

    Parameters
    ----------
    run, ranges : Run, Ranges
        What was drawn.
    best : ndarray
        Which alternative is best in each resampled draw, (m, a); ties share, and where nothing
        keeps the targets a column of its own says so.
    """
    m, best = len(best), as_one(best)
    wanted = int(np.argmax(best.mean(axis=0)))
    before = best[:, wanted]
    now = float(before.mean())
    places: dict[tuple[str, str | None], FloatArray] = {}
    coordinates: Mapping[Feature, FloatArray] = all_coordinates(run.together.builds, run.table)
    for feature, x in coordinates.items():
        places[feature] = x[:, np.arange(m) % x.shape[1]]
    for c, constant in enumerate(ranges.constants):
        places[constant.name, None] = ranges.at[:, c][None, :]
    readings: dict[tuple[str, str | None], int] = {}
    for build in run.together.builds:
        for measured in build.measured:
            readings[measured.part_name, measured.key] = max(measured.n)
    found = []
    for (part, key), x in places.items():
        after = named_rightly(x, best, run.table.shape[1])
        found.append(
            Single(
                part=part,
                key=key,
                readings=readings.get((part, key), 0),
                # whoever learns nothing of use goes on naming the one that is best most often
                right=max(float(after.mean()), now),
                error=float((after - before).std()) / math.sqrt(m) + 1e-9,
            )
        )
    found.sort(key=lambda s: -s.right)
    return Singles(now=now, worlds=m, found=tuple(found))


def as_one(best: FloatArray) -> FloatArray:
    """The same with alternatives that always tie as one: naming either is as right.

    >>> as_one(np.array([[0.5, 0.5, 0.0], [0.0, 0.0, 1.0]]))
    array([[1., 0.],
           [0., 1.]])
    """
    out: list[FloatArray] = []
    first: list[FloatArray] = []
    for column in best.T:
        like = next((k for k, c in enumerate(first) if np.array_equal(c, column)), None)
        if like is None:
            first.append(column)
            out.append(column.copy())
        else:
            out[like] += column
    return np.stack(out, axis=1)


def named_rightly(x: FloatArray, best: FloatArray, sets: int) -> FloatArray:
    """Whether the alternative that is best most often among a draw's neighbours is its own, (m,).

    Parameters
    ----------
    x : ndarray
        What is known of each draw, (p, m).
    best : ndarray
        Which alternative is best, (m, a).
    sets : int
        Draws this far apart share their parameters: none is its own neighbour.

    Examples
    --------
    >>> x = np.linspace(-1.0, 1.0, 2000)[None, :]
    >>> best = np.array([x[0] < 0.0, x[0] >= 0.0]).T.astype(float)
    >>> bool(named_rightly(x, best, 2000).mean() > 0.98)
    True
    """
    m = x.shape[1]
    scale = x.std(axis=1, keepdims=True)
    # who is near is told as well by short numbers, in half the time
    t = ((x - x.mean(axis=1, keepdims=True)) / np.where(scale > 0.0, scale, 1.0)).astype(np.float32)
    out = np.empty(m)
    # draws with the parameters of each, itself among them
    alike = np.arange(m)[:, None] % sets + sets * np.arange(-(-m // sets))
    alike = np.where(alike < m, alike, np.arange(m)[:, None])
    k = min(_NEIGHBOURS, m - 2)
    for start in range(0, m, 256):
        rows = np.arange(start, min(m, start + 256))
        far = np.zeros((len(rows), m), dtype=np.float32)
        for column in t:
            far += np.square(column[rows][:, None] - column[None, :])
        np.put_along_axis(far, alike[rows], math.inf, axis=1)
        near = np.argpartition(far, k, axis=1)[:, :k]
        out[rows] = best[rows, best[near].mean(axis=1).argmax(axis=1)]
    return out
