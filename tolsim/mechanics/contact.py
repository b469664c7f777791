"""Unilateral contact of a chain of interfaces, exact and without branches.

Pressures p and closures a (what the free bodies overlap, negative for a gap) obey ``M p - a >= 0``
at every interface that may open, ``p >= 0`` there, and one of the two is 0; a bonded interface has
``M p = a``. M is tridiagonal. Scaled by the radii it is symmetric, positive definite and has no
positive entry off its diagonal, hence the inverse of every block of it has no negative entry.
So no linear solution with some of the interfaces closed and the rest ignored exceeds the true
pressures, and the true state is among them: the pressure is the greatest, interface by interface,
of 0 and of the linear solutions over runs of neighbours. A maximum of a few linear forms.

Source: Cottle, Pang and Stone, *The Linear Complementarity Problem*, sec. 3.11 (least elements,
K-matrices); the maximum over runs follows from it and is checked against trying all states.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.mechanics.forms import Form, Forms, combine
from tolsim.record import Array

__all__ = ["Chain"]

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Constants of a chain of interfaces; see the module.

    `free` and `tied` are the interfaces without and with bond; `reduced` couples the free ones
    once the bonds are eliminated; `runs[a, b]` is the inverse of its block a..b.
    """

    matrix: Matrix
    free: tuple[int, ...]
    tied: tuple[int, ...]
    tied_inverse: Matrix
    reduced: Matrix
    runs: dict[tuple[int, int], Matrix]

    @staticmethod
    def of(matrix: Matrix, radii: Sequence[float], bonded: Sequence[bool]) -> Chain:
        """Prepare a chain from its matrix M (k, k), its radii and its bonds.

        Raises
        ------
        ValueError
            If the scaled matrix is not positive definite with entries off the diagonal <= 0.
        """
        n = len(bonded)
        if n:
            energy = np.asarray(radii)[:, None] * matrix
            low = np.linalg.eigvalsh(0.5 * (energy + energy.T))[0]
            if not (low > 0.0 and np.all(matrix - np.diag(np.diag(matrix)) <= 0.0)):
                raise ValueError("the layers' stiffness is not positive: check width factors")
        free = tuple(j for j in range(n) if not bonded[j])
        tied = tuple(j for j in range(n) if bonded[j])
        inverse = _inverse(matrix[np.ix_(tied, tied)])
        coupling = matrix[np.ix_(free, tied)] @ inverse
        reduced = matrix[np.ix_(free, free)] - coupling @ matrix[np.ix_(tied, free)]
        runs = {
            (a, b): _inverse(reduced[a : b + 1, a : b + 1])
            for a in range(len(free))
            for b in range(a, len(free))
        }
        return Chain(matrix, free, tied, inverse, reduced, runs)

    def drives(self, closures: Sequence[Form]) -> list[Form]:
        """Closures of the free interfaces with the bonds eliminated."""
        shift = self.matrix[np.ix_(self.free, self.tied)] @ self.tied_inverse
        return [
            Forms.sum([1.0, *(-shift[i])], [closures[j], *(closures[t] for t in self.tied)])
            for i, j in enumerate(self.free)
        ]

    def pressure(
        self, forms: Forms, drives: Sequence[Form], i: int, first: int, last: int
    ) -> Array:
        """Pressure of free interface `i` while only `first`..`last` exist."""
        best: Array = 0.0
        for a in range(first, i + 1):
            for b in range(i, last + 1):
                weights = [float(w) for w in self.runs[a, b][i - a]]
                best = np.maximum(best, forms.evaluate(weights, drives[a : b + 1]))
        return best

    def tied_pressures(
        self, forms: Forms, closures: Sequence[Form], held: Sequence[Array]
    ) -> list[Array]:
        """Pressures of the bonded interfaces, tension negative, given those of the free ones."""
        back = self.tied_inverse @ self.matrix[np.ix_(self.tied, self.free)]
        out = []
        for k in range(len(self.tied)):
            own = forms.evaluate(
                [float(w) for w in self.tied_inverse[k]], [closures[t] for t in self.tied]
            )
            out.append(combine([1.0, *(-float(w) for w in back[k])], [own, *held]))
        return out

    def overlap(
        self, forms: Forms, drives: Sequence[Form], i: int, neighbours: Sequence[Array]
    ) -> Array:
        """Overlap at free interface `i` that its neighbours' pressures leave."""
        own = forms.evaluate([1.0], [drives[i]])
        others = [k for k in range(len(neighbours)) if k != i]
        weights = [-float(self.reduced[i, k]) for k in others]
        return combine([1.0, *weights], [own, *(neighbours[k] for k in others)])


def _inverse(matrix: Matrix) -> Matrix:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)
