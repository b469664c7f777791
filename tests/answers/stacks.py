"""Functions of a few normal sizes as sources of a search, without a joint around them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_cases import Freedom
from tolsim.answers.design_followers import Band, NormalFollower
from tolsim.answers.design_outer import Search
from tolsim.answers.design_ties import Tie, Variable
from tolsim.answers.design_units import Branch, Snapshot
from tolsim.record import Array, record

__all__ = ["Curves", "Stack", "stack_search"]

FloatArray = NDArray[np.float64]
_WIDER = 1.2


@dataclass(frozen=True, slots=True)
class _Total:
    total: float


class Stack:
    """Sizes about their nominals, each a zone of six standard deviations; failures by mode.

    Parameters
    ----------
    low, high : sequence of float
        Ends of the zones.
    margins : mapping
        Mode -> function of the deviations that returns margins, negative where it fails.
    """

    def __init__(
        self,
        low: Sequence[float],
        high: Sequence[float],
        margins: Mapping[str, Callable[[Sequence[Array]], Sequence[Array]]],
    ) -> None:
        self.freedoms = tuple(
            Freedom(path=f"size {k}", centre=None, width=(a, b))
            for k, (a, b) in enumerate(zip(low, high, strict=True))
        )
        self.margins = margins

    def bands(self, theta: FloatArray) -> list[Band]:
        """(0, width) of every zone."""
        return [(0.0, float(w)) for w in theta]

    def places(self) -> list[tuple[int | None, int | None]]:
        """Each zone has one number."""
        return [(None, k) for k in range(len(self.freedoms))]

    def bounds(self) -> FloatArray:
        """Ends of the zones."""
        return np.array([f.width for f in self.freedoms])

    def at(self, theta: FloatArray) -> Snapshot:
        """Zones a little wider, ready to be drawn."""
        bands = tuple((0.0, _WIDER * float(w)) for w in theta)
        sds = [w / 6.0 for _, w in bands]
        rows: dict[str, list[int]] = {}
        first = 0
        counts = {m: len(f([0.0] * len(sds))) for m, f in self.margins.items()}
        for mode, count in counts.items():
            rows[mode] = list(range(first, first + count))
            first += count

        def physics(z: Sequence[Array]) -> list[Array]:
            x = [s * row for s, row in zip(sds, z, strict=True)]
            return [g for f in self.margins.values() for g in f(x)]

        ties = tuple(
            Tie((k,), (Variable(k, NormalFollower(capability=1.0)),), np.eye(1))
            for k in range(len(sds))
        )
        branch = Branch(
            share=1.0,
            recording=record(physics, len(sds)),
            events=rows,
            ties=ties,
            relevant={m: tuple(range(len(sds))) for m in rows},
        )
        return Snapshot(
            latent=tuple(f"row {k}" for k in range(len(sds))), branches=(branch,), bands=bands
        )


@dataclass(frozen=True, slots=True)
class Curves:
    """Cost b / (w / 2)^k of every zone: tolerances are half zones."""

    b: tuple[float, ...]
    k: tuple[float, ...]
    high: tuple[float, ...]
    claims: Mapping[str, float]

    def of(self, theta: FloatArray, rates: Mapping[str, float]) -> _Total:
        """Cost at a point."""
        return _Total(self.fixed_slope(theta)[0])

    def fixed_slope(self, theta: FloatArray) -> tuple[float, FloatArray]:
        """Cost and its gradient."""
        t = 0.5 * theta
        b, k = np.array(self.b), np.array(self.k)
        return math.fsum(b / t**k), -0.5 * k * b / t ** (k + 1.0)

    def least(self) -> float:
        """Cost of the widest zones."""
        return self.fixed_slope(np.array(self.high))[0]


def stack_search(
    stack: Stack, curves: Curves, targets: Mapping[str, float], start: FloatArray, *, seed: int
) -> Search:
    """A search over the zones of a stack."""
    return Search(stack, curves, targets, seed=seed, first=lambda: start)
