"""Rings by one-dimensional finite elements, apart from everything in the package.

Each layer is meshed for itself. Bonds tie the nodes of two layers from the cure temperature on;
contacts are inequalities on the nodes, solved as the bounded least squares that their dual is.
Stages are followed one after the other: expand to the cure temperature, bond, cool, gauge, press.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import skfem
from numpy.typing import NDArray
from scipy.optimize import nnls

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Ring:
    """Radii [mm], moduli [MPa], eps_r = -nu sig_t/E_t, expansion [1/K]."""

    inner: float
    outer: float
    hoop: float
    radial: float
    nu: float
    alpha_hoop: float
    alpha_radial: float


class Body:
    """Rings tied to one another, or one ring: stiffness, thermal load, its two surfaces."""

    def __init__(self, rings: Sequence[Ring], elements: int, degree: int) -> None:
        self.rings = list(rings)
        parts = [_assemble(ring, elements, degree) for ring in rings]
        size = sum(len(p[1]) - 1 for p in parts) + 1
        self.stiffness = np.zeros((size, size))
        self.heat = np.zeros(size)
        start = 0
        for k, load, order in parts:
            # nodes in the order of their radius; the last one is shared with the next ring
            place = np.arange(start, start + len(order))
            self.stiffness[np.ix_(place, place)] += k[np.ix_(order, order)]
            self.heat[place] += load[order]
            start += len(order) - 1
        self.size = size

    @property
    def inner(self) -> float:
        return self.rings[0].inner

    @property
    def outer(self) -> float:
        return self.rings[-1].outer

    def flexibility(self) -> NDArray[np.float64]:
        """Displacements of all nodes for a unit of force on each surface and for one kelvin."""
        loads = np.zeros((self.size, 3))
        loads[0, 0] = loads[-1, 1] = 1.0
        loads[:, 2] = self.heat
        return np.asarray(np.linalg.solve(self.stiffness, loads))


def _assemble(ring: Ring, elements: int, degree: int) -> tuple[Any, Vector, Any]:
    element = {1: skfem.ElementLineP1, 2: skfem.ElementLineP2}[degree]()
    mesh = skfem.MeshLine(np.linspace(ring.inner, ring.outer, elements + 1))
    basis = skfem.Basis(mesh, element, intorder=8)
    # plane stress: sigma = Q (eps - alpha dT), from the compliances by inversion
    q = np.linalg.inv(
        np.array(
            [[1.0 / ring.radial, -ring.nu / ring.hoop], [-ring.nu / ring.hoop, 1.0 / ring.hoop]]
        )
    )
    n = q @ np.array([ring.alpha_radial, ring.alpha_hoop])

    def energy(u: Any, v: Any, w: Any) -> Any:
        r = w.x[0]
        er, et, fr, ft = u.grad[0], u / r, v.grad[0], v / r
        return r * (q[0, 0] * er * fr + q[0, 1] * (er * ft + et * fr) + q[1, 1] * et * ft)

    def heat(v: Any, w: Any) -> Any:
        r = w.x[0]
        return r * (n[0] * v.grad[0] + n[1] * v / r)

    k = skfem.BilinearForm(energy).assemble(basis).toarray()
    load = skfem.LinearForm(heat).assemble(basis)
    return k, load, np.argsort(basis.doflocs[0])


@dataclass(frozen=True)
class Solved:
    """Contact pressures, gaps and nodal displacements of each body."""

    pressures: Vector
    gaps: Vector
    nodes: list[Vector]


def press(bodies: Sequence[Body], overlaps: Sequence[float], rises: Sequence[float]) -> Solved:
    """Bodies pushed into one another: no overlap may remain, no contact may pull.

    `overlaps` are radial, of the bodies as they stand at no load and no rise; `rises` are each
    body's own, from the temperature at which its displacements are 0.
    """
    flex = [b.flexibility() for b in bodies]
    count = len(bodies) - 1
    a, b = np.zeros((count, count)), np.zeros(count)
    for j in range(count):
        inner, outer = flex[j], flex[j + 1]
        # gap = u_outer(bore) - u_inner(outside) - overlap, forces per radian
        b[j] = overlaps[j] + inner[-1, 2] * rises[j] - outer[0, 2] * rises[j + 1]
        a[j, j] = outer[0, 0] + inner[-1, 1]
        if j + 1 < count:
            a[j, j + 1] = -outer[0, 1]
            a[j + 1, j] = -outer[-1, 0]
    forces = np.zeros(count)
    if count:
        low = np.linalg.cholesky(0.5 * (a + a.T))
        forces, _ = nnls(low.T, np.linalg.solve(low, b))
    nodes = []
    for k, f in enumerate(flex):
        inside = forces[k - 1] if k else 0.0
        outside = forces[k] if k < count else 0.0
        nodes.append(f[:, 0] * inside - f[:, 1] * outside + f[:, 2] * rises[k])
    radii = np.array([body.outer for body in bodies[:-1]])
    return Solved(forces / radii, a @ forces - b, nodes)


def bond_pressure(body: Body, nodes: Vector, cut: int, rise: float, degree: int) -> float:
    """Pressure across a bond, from the reaction that the rings inside it need."""
    inside = Body(body.rings[:cut], _elements(body, degree), degree)
    part = nodes[: inside.size]
    reaction = inside.stiffness @ part - inside.heat * rise
    return -float(reaction[-1]) / inside.outer


def _elements(body: Body, degree: int) -> int:
    return (body.size - 1) // (degree * len(body.rings))
