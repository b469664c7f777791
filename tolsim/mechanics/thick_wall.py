r"""Bore of a thick tube under a band of pressure far from its ends: elasticity, not a beam.

The pressure is a sum of waves along the axis; for each the tube's bore grows by a closed form of
Bessel functions. Source: A. E. H. Love, *Mathematical Theory of Elasticity*, 4th ed., sec. 188
(cylinder under forces symmetric about its axis), here by potentials of Papkovich and Neuber; the
band's mean growth follows by Parseval's theorem:

.. math:: \eta_{mid} = \frac{L}{\pi}\int_0^\infty
    \left(\frac{\sin(\omega L/2)}{\omega L/2}\right)^2 H(\omega)\,d\omega

with :math:`H` the growth under a wave over that under uniform pressure (Lamé). Set-up functions.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive, kve

__all__ = ["band_factor", "wave_factor"]

FloatArray = NDArray[np.float64]
_LONG, _LOBES, _ORDER = 40, 120, 8  # panels of long waves, lobes of the spectrum, points of each


@lru_cache(maxsize=256)
def band_factor(width: float, inner_radius: float, outer_radius: float, poisson: float) -> float:
    """Mean growth of the bore under a band over that under pressure all along, in (0, 1).

    Width of the band and radii [mm]; an isotropic tube, long to either side.

    >>> round(band_factor(7.0, 20.5, 23.0, 0.33), 3)
    0.528
    """
    if not width > 0.0:
        raise ValueError(f"width must be positive, got {width}")
    node, weight = np.polynomial.legendre.leggauss(_ORDER)
    lobe = 2.0 * math.pi / width
    # the wall answers to waves as long as its radius, which are many bands long where it is thick
    low = np.geomspace(1e-3 / outer_radius, lobe, _LONG)
    ends = np.concatenate([[0.0], low, lobe * np.arange(2, _LOBES + 1)])
    half = 0.5 * np.diff(ends)
    omega = (ends[:-1, None] + half[:, None] * (node + 1.0)).ravel()
    spectrum = np.sinc(omega * width / (2.0 * math.pi)) ** 2
    grown = spectrum * wave_factor(omega, inner_radius, outer_radius, poisson)
    total = float(np.sum(grown * (half[:, None] * weight).ravel()))
    return total * width / math.pi


def wave_factor(
    omega: FloatArray, inner_radius: float, outer_radius: float, poisson: float
) -> FloatArray:
    """Growth of the bore under a wave of pressure over that under uniform pressure.

    Wave numbers (n,) [1/mm], radii [mm].

    Raises
    ------
    ValueError
        Unless ``0 < inner_radius < outer_radius``.
    """
    a, b, nu = inner_radius, outer_radius, poisson
    if not 0.0 < a < b:
        raise ValueError(f"need 0 < inner_radius < outer_radius, got {a, b}")
    rows = []
    for r in (a, b):
        x = omega * r
        # growing solutions are scaled by exp(-omega b), falling ones by exp(omega a)
        grow, fall = np.exp(omega * (r - b)), np.exp(omega * (a - r))
        i0, i1, k0, k1 = ive(0, x) * grow, ive(1, x) * grow, kve(0, x) * fall, kve(1, x) * fall
        radial = [
            i0 - i1 / x,
            k0 + k1 / x,
            (3.0 - 2.0 * nu) * i0 - 4.0 * (1.0 - nu) * i1 / x - x * i1,
            -(3.0 - 2.0 * nu) * k0 - 4.0 * (1.0 - nu) * k1 / x - x * k1,
        ]
        shear = [
            -i1,
            k1,
            x * i0 - 2.0 * (1.0 - nu) * i1,
            -2.0 * (1.0 - nu) * k1 - x * k0,
        ]
        rows += [radial, shear]
        if r == a:
            growth = [i1, -k1, 4.0 * (1.0 - nu) * i1 - x * i0, 4.0 * (1.0 - nu) * k1 + x * k0]
    matrix = np.moveaxis(np.array(rows), -1, 0)
    loads = np.zeros((*omega.shape, 4, 1))
    loads[:, 0, 0] = -1.0  # unit pressure in the bore, nothing else
    found = np.linalg.solve(matrix, loads)[..., 0]
    # displacements times 2 G omega; E = 2 G (1 + nu)
    grown = np.einsum("nk,kn->n", found, np.array(growth)) * (1.0 + nu) / omega
    lame = a * ((b * b + a * a) / (b * b - a * a) + nu)
    return np.asarray(grown / lame, dtype=np.float64)
