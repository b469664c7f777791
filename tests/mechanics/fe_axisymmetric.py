"""Shells under a band of pressure by axisymmetric finite elements, apart from the package."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sl
import skfem
from numpy.typing import NDArray


@dataclass(frozen=True)
class Wall:
    """A tube from `start` to `end`; moduli [MPa], Poisson's ratios, shear modulus r-z."""

    inner: float
    outer: float
    start: float
    end: float
    hoop: float
    radial: float
    axial: float
    nu_tr: float
    nu_tz: float
    nu_zr: float
    shear: float


def isotropic(
    inner: float, outer: float, start: float, end: float, young: float, nu: float
) -> Wall:
    """A tube of one modulus."""
    g = young / (2.0 * (1.0 + nu))
    return Wall(inner, outer, start, end, young, young, young, nu, nu, nu, g)


class _Tube:
    """Quadratic elements of one wall."""

    def __init__(self, wall: Wall, cuts: Sequence[float], size: float) -> None:
        self.wall = wall
        mesh = skfem.MeshQuad.init_tensor(
            _grid(wall.inner, wall.outer, (), size), _grid(wall.start, wall.end, cuts, size)
        )
        self.element = skfem.ElementVector(skfem.ElementQuad2())
        self.basis = skfem.Basis(mesh, self.element, intorder=4)
        c = np.linalg.inv(
            np.array(
                [
                    [1 / wall.radial, -wall.nu_tr / wall.hoop, -wall.nu_zr / wall.axial],
                    [-wall.nu_tr / wall.hoop, 1 / wall.hoop, -wall.nu_tz / wall.hoop],
                    [-wall.nu_zr / wall.axial, -wall.nu_tz / wall.hoop, 1 / wall.axial],
                ]
            )
        )

        def strains(u: Any, r: Any) -> tuple[Any, Any, Any, Any]:
            g = u.grad
            return g[0, 0], u[0] / r, g[1, 1], g[0, 1] + g[1, 0]

        def energy(u: Any, v: Any, w: Any) -> Any:
            r = w.x[0]
            e, f = strains(u, r), strains(v, r)
            direct = sum(c[i, j] * e[i] * f[j] for i in range(3) for j in range(3))
            return r * (direct + wall.shear * e[3] * f[3])

        self.stiffness = skfem.BilinearForm(energy).assemble(self.basis).tocsr()
        self.component = np.zeros(self.basis.N, dtype=int)
        for dofs in (self.basis.nodal_dofs, self.basis.facet_dofs, self.basis.interior_dofs):
            self.component[dofs[1]] = 1

    def band(self, low: float, high: float) -> NDArray[np.float64]:
        """Load of a unit of pressure on the bore between two stations, per radian."""
        mesh, r = self.basis.mesh, self.wall.inner
        facets = mesh.facets_satisfying(
            lambda x: (np.abs(x[0] - r) < 1e-7) & (x[1] > low) & (x[1] < high),
            boundaries_only=True,
        )
        basis = skfem.FacetBasis(mesh, self.element, facets=facets, intorder=4)
        load = skfem.LinearForm(lambda v, w: w.x[0] * v[0]).assemble(basis)
        return np.asarray(load)

    def on(self, radius: float) -> NDArray[np.int_]:
        return np.flatnonzero(np.abs(self.basis.doflocs[0] - radius) < 1e-7)


def _grid(low: float, high: float, cuts: Sequence[float], size: float) -> NDArray[np.float64]:
    ends = sorted({low, high, *(c for c in cuts if low < c < high)})
    parts = [
        np.linspace(a, b, max(1, round((b - a) / size + 0.499)) + 1)[:-1] for a, b in pairwise(ends)
    ]
    return np.concatenate([*parts, [high]])


def mean_growth(
    walls: Sequence[Wall], band: tuple[float, float], *, tied: bool = False, size: float = 0.5
) -> float:
    """Mean radial growth of the innermost bore under a unit of pressure on a band [mm/MPa].

    One wall, or a sleeve inside a shell that stay in contact: free to slide, or tied.
    """
    cuts = [x for w in walls for x in (w.start, w.end)] + list(band)
    tubes = [_Tube(w, cuts, size) for w in walls]
    starts = np.cumsum([0, *(t.basis.N for t in tubes)])
    total = int(starts[-1])
    load = np.zeros(total)
    load[: tubes[0].basis.N] = tubes[0].band(*band)
    master = np.arange(total)
    held: list[int] = []
    for k, tube in enumerate(tubes):
        z, axial = tube.basis.doflocs[1], tube.component == 1
        if (k and not tied) or (not k and len(tubes) == 1):
            held.append(int(starts[k] + np.flatnonzero(axial)[np.argmax(z[axial])]))
    if len(tubes) == 2:
        sleeve, shell = tubes
        radius = sleeve.wall.outer
        found = {
            (round(float(shell.basis.doflocs[1, i]), 6), int(shell.component[i])): int(
                starts[1] + i
            )
            for i in shell.on(radius)
        }
        for i in sleeve.on(radius):
            c = int(sleeve.component[i])
            if tied or c == 0:
                master[i] = found[round(float(sleeve.basis.doflocs[1, i]), 6), c]
        axial = np.flatnonzero(sleeve.component == 1)
        held.append(int(axial[0]))
    names, place = np.unique(master, return_inverse=True)
    turn = sp.csr_matrix((np.ones(total), (np.arange(total), place)))
    k_all = (turn.T @ sp.block_diag([t.stiffness for t in tubes]) @ turn).tocsc()
    f_all = turn.T @ load
    free = np.setdiff1d(np.arange(names.size), place[held])
    u = sl.spsolve(k_all[free][:, free], f_all[free])
    return float(f_all[free] @ u) / (walls[0].inner * (band[1] - band[0]))
