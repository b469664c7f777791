"""What the readings of n parts allow a process that is not normal to be.

The likelihood of the shape's own parameters, with a prior that says little, is turned into equally
likely parameter sets and these into a smooth map of standard normals, one row a parameter: sample
uncertainty then is one more cause of scatter, as it is for a normal process.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from scipy.special import ndtri

from tolsim.process.base import FloatArray, Process
from tolsim.process.posterior import adaptive_draws, lattice
from tolsim.process.transport import Transport
from tolsim.record import Array

__all__ = ["Family", "ShapedEvidence", "shaped"]

_FEW = 150.0  # independent points below which the draws are called coarse
_SETS = 1024  # sets over which a plain look at the evidence is taken


class Family(Protocol):
    """A shape with what its readings are: parameters from free coordinates, sizes, densities.

    Coordinates run over all numbers and are near normal; parameters `theta` are a tuple of rows,
    in mm. All but `log_target`, `starts` and `process` take arrays (k,) of parameters; those that
    a draw needs are recordable.
    """

    @property
    def shape(self) -> str:
        """Name of the shape."""

    @property
    def rows(self) -> tuple[str, ...]:
        """What each coordinate stands for, in order."""

    @property
    def method(self) -> str:
        """How the parameters are found."""

    def log_target(self, points: FloatArray) -> FloatArray:
        """Likelihood times prior of coordinates (d, n)."""

    def starts(self) -> list[tuple[FloatArray, FloatArray]]:
        """Centres and covariances to begin with."""

    def theta(self, coordinates: Sequence[Array]) -> tuple[Array, ...]:
        """Parameters of the parts, without the gauge's scatter. Recordable."""

    def moments(self, theta: Sequence[Array]) -> tuple[Array, Array]:
        """Mean and spread of the parts [mm]. Recordable."""

    def size(self, z: Array, theta: Sequence[Array]) -> Array:
        """Size of a part [mm] for its row; increasing. Recordable."""

    def tails(self, x: FloatArray, theta: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Shares below and above x; arguments broadcast."""

    def log_density(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Logarithm of the density [1/mm] at x; arguments broadcast."""

    def process(self, theta: Sequence[float]) -> Process:
        """The process with these parameters."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ShapedEvidence:
    """Parameters of a shape, drawn from one row of standard normals each.

    `mean` and `sd` are those of the readings [mm]; `fitted` is the process with the most likely
    parameters.
    """

    n: int
    mean: float
    sd: float
    gauge_sd: float
    family: Family
    fitted: Process
    transport: Transport = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def rows(self) -> int:
        """Latent rows that `parameters` reads."""
        return self.transport.rows

    def parameters(self, z: Sequence[Array]) -> tuple[Array, ...]:
        """Parameters of the parts for one row of standard normals each. Recordable."""
        return self.family.theta(self.transport.partial(z))

    def size(self, z: Array, theta: Sequence[Array]) -> Array:
        """Size of a part [mm]. Recordable."""
        return self.family.size(z, theta)

    def moments(self, theta: Sequence[Array]) -> tuple[Array, Array]:
        """Mean and spread of the parts [mm]. Recordable."""
        return self.family.moments(theta)

    def log_density(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Logarithm of the density (k, n) [1/mm] of sizes x (n,) under parameters (k,)."""
        return self.family.log_density(x, [np.atleast_1d(t)[:, None] for t in theta])

    def latent(self, x: FloatArray, theta: Sequence[FloatArray]) -> FloatArray:
        """Standard normals (k, n) that stand for sizes x (n,) under parameters (k,)."""
        lower, upper = self.family.tails(x, [np.atleast_1d(t)[:, None] for t in theta])
        small = np.clip(np.minimum(lower, upper), 1e-300, 0.5)
        return np.asarray(np.where(lower < upper, 1.0, -1.0) * ndtri(small))

    def sets(self, count: int = _SETS) -> tuple[FloatArray, ...]:
        """Parameters of evenly spread sets, each (count,)."""
        theta = self.parameters(list(ndtri(lattice(self.rows, count))))
        return tuple(np.broadcast_to(np.asarray(t, dtype=np.float64), (count,)) for t in theta)


def shaped(x: FloatArray, family: Family, *, gauge_sd: float = 0.0) -> ShapedEvidence:
    """Evidence of readings x [mm] for a shape."""
    points, best, effective = adaptive_draws(family.log_target, family.starts())
    notes: tuple[str, ...] = ()
    if effective < _FEW:
        notes = (
            f"{x.size} readings determine the parameters of this shape so badly that their draws "
            "are coarse",
        )
    transport = Transport(points)
    theta = [float(t) for t in family.theta(best.tolist())]
    return ShapedEvidence(
        n=x.size,
        mean=float(x.mean()),
        sd=float(x.std(ddof=1)),
        gauge_sd=gauge_sd,
        family=family,
        fitted=family.process(theta),
        transport=transport,
        notes=notes,
    )
