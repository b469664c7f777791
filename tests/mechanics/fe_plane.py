"""Ring and shell with lobes by two-dimensional plane stress elements, apart from the package."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sl
import skfem
from numpy.typing import NDArray

#: Inner radius, outer radius [mm], Young's modulus [MPa], Poisson's ratio.
Wall = tuple[float, float, float, float]


class _Quarter:
    """A quarter of a ring in quadratic elements, faces on the axes of symmetry."""

    def __init__(self, wall: Wall, radial: int, around: int) -> None:
        a, b, young, nu = wall
        flat = skfem.MeshQuad.init_tensor(
            np.linspace(a, b, radial + 1), np.linspace(0.0, 0.5 * np.pi, around + 1)
        )
        curved = skfem.MeshQuad2.from_mesh(flat)
        r, t = curved.doflocs
        mesh = skfem.MeshQuad2(np.array([r * np.cos(t), r * np.sin(t)]), flat.t)
        basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementQuad2()), intorder=6)
        lam, mu = young * nu / (1.0 - nu * nu), young / (2.0 * (1.0 + nu))

        def energy(u: Any, v: Any, w: Any) -> Any:
            g, f = u.grad, v.grad
            shear = (g[0, 1] + g[1, 0]) * (f[0, 1] + f[1, 0])
            direct = g[0, 0] * f[0, 0] + g[1, 1] * f[1, 1]
            return lam * (g[0, 0] + g[1, 1]) * (f[0, 0] + f[1, 1]) + 2.0 * mu * direct + mu * shear

        self.stiffness = skfem.BilinearForm(energy).assemble(basis).tocsr()
        x = basis.doflocs
        self.size = basis.N
        component = np.zeros(basis.N, dtype=int)
        for dofs in (basis.nodal_dofs, basis.facet_dofs, basis.interior_dofs):
            component[dofs[1]] = 1
        on_x, on_y = np.abs(x[1]) < 1e-9, np.abs(x[0]) < 1e-9
        self.fixed = np.flatnonzero((on_x & (component == 1)) | (on_y & (component == 0)))
        self.x, self.component = x, component

    def surface(self, radius: float) -> tuple[Any, NDArray[np.float64]]:
        """Rows that give the radial displacement of the nodes on a circle, and their angles."""
        on = np.abs(np.hypot(*self.x) - radius) < 1e-4
        first = np.flatnonzero(on & (self.component == 0))
        first = first[np.argsort(np.arctan2(self.x[1, first], self.x[0, first]))]
        angle = np.arctan2(self.x[1, first], self.x[0, first])
        second = np.flatnonzero(on & (self.component == 1))
        second = second[np.argsort(np.arctan2(self.x[1, second], self.x[0, second]))]
        n = np.arange(first.size)
        rows = sp.csr_matrix(
            (
                np.concatenate([np.cos(angle), np.sin(angle)]),
                (np.concatenate([n, n]), np.concatenate([first, second])),
            ),
            shape=(first.size, self.size),
        )
        return rows, angle


def lobed_fit(ring: Wall, shell: Wall, n: int, amplitude: float) -> tuple[float, float]:
    """Amplitude of pressure [MPa] and of the ring's outside displacement [mm] for n even lobes.

    Contact without friction all round: the surfaces stand `amplitude` cos(n theta) apart where
    they would overlap; the pressure is the reaction of that constraint.
    """
    inner, outer = (_Quarter(w, 6, 60) for w in (ring, shell))
    radius = ring[1]
    rows_in, angle = inner.surface(radius)
    rows_out, _ = outer.surface(radius)
    stiffness = sp.block_diag([inner.stiffness, outer.stiffness]).tocsr()
    rows = sp.hstack([-rows_in, rows_out]).tocsr()
    fixed = np.concatenate([inner.fixed, inner.size + outer.fixed])
    free = np.setdiff1d(np.arange(stiffness.shape[0]), fixed)
    k, g = stiffness[free][:, free], rows[:, free]
    gap = amplitude * np.cos(n * angle)
    system = sp.bmat([[k, g.T], [g, None]]).tocsc()
    solution = sl.spsolve(system, np.concatenate([np.zeros(free.size), gap]))
    forces = solution[free.size :]
    u = np.zeros(stiffness.shape[0])
    u[free] = solution[: free.size]
    # K u = -G' f: f is minus the force that pushes the bodies apart at each node of the quarter
    pressure = -4.0 * float(forces @ np.cos(n * angle)) / (np.pi * radius)
    moved = rows_in @ u[: inner.size]
    spectrum = np.cos(n * angle)
    return pressure, float(moved @ spectrum / (spectrum @ spectrum))
