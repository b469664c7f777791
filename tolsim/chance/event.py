"""A failure event on standard normals, and the tally of what was evaluated to judge it."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import InternalError
from tolsim.record import Recording, Runner

__all__ = ["Event", "Spent", "Tally", "event_of"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_COLUMNS = 8192  # columns evaluated at once: temporaries stay in the cache


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Failure where ``g < 0``, as a function of d independent standard normals.

    Every callable takes z of shape (d, n), any n, and must be safe to call from several threads.

    Parameters
    ----------
    dimension : int
        Number of rows d.
    values : callable
        z -> g (n,), finite; the smallest of several margins where there are several.
    values_and_gradient : callable, optional
        z -> (g (n,), dg/dz (d, n)).
    margins : callable, optional
        z -> (m, n), whose smallest is g: regions of failure are then looked for margin by margin,
        whatever their units.
    margins_gradient : callable, optional
        (z, index (n,)) -> (g (n,), dg/dz (d, n)) of margin ``index[j]`` in column j.
    gradient_cost : float
        What one column of values with gradient costs, in evaluations of g; 6.1 was measured on
        recordings of 183 operations.
    """

    dimension: int
    values: Callable[[FloatArray], FloatArray]
    values_and_gradient: Callable[[FloatArray], tuple[FloatArray, FloatArray]] | None = None
    margins: Callable[[FloatArray], FloatArray] | None = None
    margins_gradient: Callable[[FloatArray, IntArray], tuple[FloatArray, FloatArray]] | None = None
    gradient_cost: float = 7.0


def event_of(recording: Recording, outputs: Sequence[int] | None = None) -> Event:
    """The event that any of a recording's outputs, or of those listed, is negative.

    Examples
    --------
    >>> from tolsim.record import record
    >>> e = event_of(record(lambda z: [3.0 - z[0], 4.0 + z[1]], 2))
    >>> e.values(np.array([[0.0, 5.0], [0.0, -1.0]]))
    array([ 3., -2.])
    """
    rec = recording if outputs is None else recording.select(outputs)
    own = threading.local()  # runners hold buffers: a thread keeps its own

    def runner(n: int) -> Runner:
        kept: dict[int, Runner] = own.__dict__.setdefault("runners", {})
        if n not in kept:
            while len(kept) >= 4:
                kept.pop(next(iter(kept)))
            kept[n] = rec.runner(n)
        return kept[n]

    def margins(z: FloatArray) -> FloatArray:
        n = z.shape[1]
        out = np.empty((rec.outputs, n))
        for start in range(0, n, _COLUMNS):
            part = z[:, start : start + _COLUMNS]
            run = runner(part.shape[1])
            np.copyto(run.z, part)
            out[:, start : start + _COLUMNS] = run()
        return out

    def margins_gradient(z: FloatArray, index: IntArray) -> tuple[FloatArray, FloatArray]:
        columns = np.arange(z.shape[1])

        def weights(out: FloatArray) -> FloatArray:
            one = np.zeros_like(out)
            one[index, columns] = 1.0
            return one

        out, grad = rec.values_and_gradient(z, weights)
        return out[index, columns], grad

    def values_and_gradient(z: FloatArray) -> tuple[FloatArray, FloatArray]:
        def weights(out: FloatArray) -> FloatArray:
            one = np.zeros_like(out)
            one[out.argmin(axis=0), np.arange(out.shape[1])] = 1.0
            return one

        out, grad = rec.values_and_gradient(z, weights)
        return out.min(axis=0), grad

    return Event(
        dimension=rec.inputs,
        values=lambda z: margins(z).min(axis=0),
        values_and_gradient=values_and_gradient,
        margins=margins,
        margins_gradient=margins_gradient,
    )


class Spent(Exception):
    """The budget is used up, or the caller asked to stop."""


class Tally:
    """Evaluates an event, counts what that cost and refuses NaN, which would count as good.

    `level` is what guides a search towards failure: the smallest margin after each has been
    divided by its own spread, so that a margin in MPa does not hide one in mm.

    Raises `Spent` from any evaluation once `budget` is used up or `stop` says so.
    """

    def __init__(
        self,
        event: Event,
        *,
        budget: float = math.inf,
        stop: Callable[[], bool] | None = None,
    ) -> None:
        self.event = event
        self.budget = budget
        self.spent = 0.0
        self._stop = stop
        self.scales: FloatArray | None = None

    @property
    def has_gradient(self) -> bool:
        """Whether slopes are to be had."""
        return not (self.event.margins_gradient is None and self.event.values_and_gradient is None)

    @property
    def left(self) -> float:
        """Evaluations that the budget still allows."""
        return self.budget - self.spent

    def _spend(self, columns: float) -> None:
        if self._stop is not None and self._stop():
            raise Spent("stopped before a rare-event method was done")
        if self.spent + columns > self.budget:
            raise Spent(f"a budget of {self.budget:.3g} evaluations does not suffice")
        self.spent += columns

    def learn_scales(self, z: FloatArray) -> None:
        """Take each margin's spread from plain draws z (d, n)."""
        if self.event.margins is not None:
            self._spend(z.shape[1])
            m = self._checked(self.event.margins(z), z)
            # the lower half decides about failure; a margin that never varies keeps its value
            spread = np.median(m, axis=1) - np.quantile(m, 0.1, axis=1)
            self.scales = np.where(spread > 0.0, spread, np.maximum(np.abs(m[:, 0]), 1.0))

    def values(self, z: FloatArray) -> FloatArray:
        """g (n,)."""
        self._spend(z.shape[1])
        return self._checked(self.event.values(z), z)

    def level(self, z: FloatArray) -> FloatArray:
        """Negative exactly where g is, falling towards failure, (n,)."""
        if self.event.margins is None or self.scales is None:
            return self.values(z)
        self._spend(z.shape[1])
        m = self._checked(self.event.margins(z), z)
        return np.asarray((m / self.scales[:, None]).min(axis=0))

    def active(self, z: FloatArray) -> IntArray:
        """Index of the margin nearest to failure, (n,); zeros where margins are not visible."""
        if self.event.margins is None or self.scales is None:
            return np.zeros(z.shape[1], dtype=np.intp)
        self._spend(z.shape[1])
        return np.asarray((self.event.margins(z) / self.scales[:, None]).argmin(axis=0))

    def margin(self, z: FloatArray, index: IntArray) -> FloatArray:
        """Value of margin ``index[j]`` in column j, in units of its spread, (n,)."""
        if self.event.margins is None or self.scales is None:
            return self.values(z)
        self._spend(z.shape[1])
        m = self._checked(self.event.margins(z), z)
        return np.asarray(m[index, np.arange(z.shape[1])] / self.scales[index])

    def gradient(self, z: FloatArray, index: IntArray) -> tuple[FloatArray, FloatArray]:
        """`margin` and its gradient (d, n)."""
        self._spend(self.event.gradient_cost * z.shape[1])
        if self.event.margins_gradient is not None and self.scales is not None:
            g, grad = self.event.margins_gradient(z, index)
            return g / self.scales[index], grad / self.scales[index]
        if self.event.values_and_gradient is None:
            raise ValueError("this event has no gradient")
        return self.event.values_and_gradient(z)

    def _checked(self, g: FloatArray, z: FloatArray) -> FloatArray:
        if np.isnan(g).any():
            bad = int(np.flatnonzero(np.isnan(g).reshape(-1, z.shape[1]).any(axis=0))[0])
            at = ", ".join(f"{x:.6g}" for x in z[:, bad])
            raise InternalError(f"a margin is not a number at z = [{at}]")
        return g
