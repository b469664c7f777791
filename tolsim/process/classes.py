"""Classes of parts by size, and which classes are paired."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from tolsim.process.base import FloatArray, Process
from tolsim.process.bounded import normal_window

__all__ = ["Classes", "Pairing", "bounded_pairing", "equal_count", "equal_width", "matched_pairing"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Classes:
    """Edges of k classes [mm], k + 1 increasing numbers; the outer ones may be infinite."""

    edges: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.edges) < 2 or any(
            not a < b for a, b in zip(self.edges[:-1], self.edges[1:], strict=True)
        ):
            raise ValueError(f"classes: edges must increase, got {self.edges}")

    @property
    def count(self) -> int:
        """Number of classes."""
        return len(self.edges) - 1

    def latents(self, process: Process) -> FloatArray:
        """Standard normals of the edges."""
        return process.latent(np.asarray(self.edges))

    def shares(self, process: Process) -> FloatArray:
        """Share of the parts in each class; what lies outside all of them is missing from it."""
        z = self.latents(process)
        return np.asarray(normal_window(z[:-1], z[1:]))


def equal_count(process: Process, count: int) -> Classes:
    """Classes that hold equal shares of a process; the outer ones are open.

    >>> from tolsim.process.plain import Normal
    >>> equal_count(Normal(mean=0.0, sd=1.0), 3).edges
    (-inf, -0.430727, 0.430727, inf)
    """
    if count < 1:
        raise ValueError(f"classes: need at least one, got {count}")
    inner = process.size(ndtri(np.arange(1, count) / count)) if count > 1 else np.empty(0)
    return Classes(edges=(-math.inf, *(float(e) for e in inner), math.inf))


def equal_width(low: float, high: float, count: int, *, open_ends: bool = False) -> Classes:
    """Classes of one width from `low` to `high` [mm].

    With `open_ends` the outer classes take everything beyond; without, it is rejected.

    >>> equal_width(-3.0, 3.0, 3, open_ends=True).edges
    (-inf, -1.0, 1.0, inf)
    """
    if count < 1 or not low < high:
        raise ValueError(f"classes: need low < high and at least one, got {low}, {high}, {count}")
    edges = [float(e) for e in np.linspace(low, high, count + 1)]
    if open_ends:
        edges[0], edges[-1] = -math.inf, math.inf
    return Classes(edges=tuple(edges))


@dataclass(frozen=True, kw_only=True, slots=True)
class Pairing:
    """Which classes go together, and what is left over.

    Attributes
    ----------
    shares : ndarray
        Pairs of class i of the first and class j of the second part, per first part made (k, m).
    left_first, left_second : float
        Parts classed but left without a partner, per first part made.
    outside_first, outside_second : float
        Parts outside all classes, per first part made.
    """

    shares: FloatArray
    left_first: float
    left_second: float
    outside_first: float
    outside_second: float

    @property
    def paired(self) -> float:
        """Pairs per first part made."""
        return float(self.shares.sum())


def _supply(
    first: FloatArray, second: FloatArray, ratio: float
) -> tuple[FloatArray, FloatArray, float, float]:
    if not ratio > 0.0:
        raise ValueError(f"pairing: need a positive ratio of second to first parts, got {ratio}")
    a, b = np.asarray(first, dtype=np.float64), ratio * np.asarray(second, dtype=np.float64)
    return a, b, max(1.0 - float(a.sum()), 0.0), max(ratio - float(b.sum()), 0.0)


def matched_pairing(first: FloatArray, second: FloatArray, *, ratio: float = 1.0) -> Pairing:
    """Class i with class i; of two unlike counts the surplus is left over.

    Parameters
    ----------
    first, second : ndarray
        Shares of the parts in each class, the same number of classes.
    ratio : float
        Second parts made per first part.

    >>> matched_pairing(np.array([0.2, 0.8]), np.array([0.5, 0.5])).left_first
    0.3
    """
    a, b, out_a, out_b = _supply(first, second, ratio)
    if a.shape != b.shape:
        raise ValueError("matched pairing needs the same number of classes on both sides")
    pairs = np.minimum(a, b)
    return Pairing(
        shares=np.diag(pairs),
        left_first=float((a - pairs).sum()),
        left_second=float((b - pairs).sum()),
        outside_first=out_a,
        outside_second=out_b,
    )


def bounded_pairing(
    first: FloatArray, second: FloatArray, *, reach: int, ratio: float = 1.0
) -> Pairing:
    """Class i with any class at most `reach` away: as many pairs as can be, as near as can be.

    A linear programme: most pairs first, then the smallest sum of class distances.

    Parameters
    ----------
    first, second : ndarray
        Shares of the parts in each class.
    reach : int
        Largest distance of paired classes; 0 is the matched pairing.
    ratio : float
        Second parts made per first part.
    """
    from scipy.optimize import linprog

    if reach < 0:
        raise ValueError(f"bounded pairing: reach must not be negative, got {reach}")
    a, b, out_a, out_b = _supply(first, second, ratio)
    allowed = [(i, j) for i in range(a.size) for j in range(b.size) if abs(i - j) <= reach]
    distance = np.array([abs(i - j) for i, j in allowed], dtype=np.float64)
    rows = np.zeros((a.size + b.size, len(allowed)))
    for k, (i, j) in enumerate(allowed):
        rows[i, k] = rows[a.size + j, k] = 1.0
    # a pair is worth more than any distance it may cost
    worth = -(1.0 + max(a.size, b.size)) + distance
    found = linprog(worth, A_ub=rows, b_ub=np.concatenate([a, b]), bounds=(0.0, None))
    if not found.success:
        raise ArithmeticError(f"bounded pairing: {found.message}")
    shares = np.zeros((a.size, b.size))
    for (i, j), value in zip(allowed, found.x, strict=True):
        shares[i, j] = max(float(value), 0.0)
    return Pairing(
        shares=shares,
        left_first=float(a.sum() - shares.sum()),
        left_second=float(b.sum() - shares.sum()),
        outside_first=out_a,
        outside_second=out_b,
    )
