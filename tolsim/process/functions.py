"""Normal share and quantile as primitives, for maps that depend on several rows at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.process.base import FloatArray, normal_density
from tolsim.record import Array, Primitive

__all__ = ["between", "normal_quantile", "normal_share", "picked", "tied"]

_SMALLEST = 1e-300
_LARGEST = 1.0 - 2.0**-53


def _share(z: FloatArray, out: FloatArray) -> None:
    ndtr(z, out=out)


def _quantile(u: FloatArray, out: FloatArray) -> None:
    np.clip(u, _SMALLEST, _LARGEST, out=out)
    ndtri(out, out=out)


def _quantile_slope(u: FloatArray) -> FloatArray:
    z = ndtri(np.clip(u, _SMALLEST, _LARGEST))
    return np.asarray(1.0 / np.maximum(normal_density(z), _SMALLEST))


#: Share of standard normals below z, recordable.
normal_share = Primitive(_share, normal_density)
#: Standard normal below which a share lies, held between z = -37 and 8.2; recordable.
normal_quantile = Primitive(_quantile, _quantile_slope)


def tied(rho: Array, first: Array, second: Array) -> Array:
    r"""Second of two rows, tied to the first: :math:`\rho z_1 + \sqrt{1 - \rho^2}\,z_2`."""
    return rho * first + np.sqrt(np.maximum(1.0 - rho * rho, 0.0)) * second


def between(z: Array, low: Array, high: Array) -> Array:
    r"""Standard normal held between two limits, by inversion from the smaller tail.

    .. math:: t = \Phi^{-1}\big(\Phi(a) + \Phi(z)(\Phi(b) - \Phi(a))\big)

    All three may be drawn; increasing in `z`. Recordable.

    >>> float(between(0.0, -1.0, 2.0))
    0.171164
    """
    upper = low + high > 0.0  # work in the lower tail, mirrored where the limits lie above
    a, b = np.where(upper, -high, low), np.where(upper, -low, high)
    w = np.where(upper, -z, z)
    below = normal_share(a)
    t = normal_quantile(below + normal_share(w) * (normal_share(b) - below))
    return np.minimum(np.maximum(np.where(upper, -t, t), low), high)


def picked(values: FloatArray) -> Primitive:
    """Primitive that lets a standard normal pick one of equally likely values, in their order.

    The slope is that of a straight line through neighbouring values.

    >>> picked(np.array([1.0, 2.0, 3.0, 4.0]))(np.array([-1.0, -0.1, 0.1, 1.0]))
    array([1., 2., 3., 4.])
    """
    table = np.ascontiguousarray(values, dtype=np.float64)
    n = table.size
    steps = np.gradient(table) if n > 1 else np.zeros(1)

    def index(z: FloatArray) -> NDArray[np.intp]:
        return np.asarray(np.minimum((ndtr(z) * n).astype(np.intp), n - 1))

    def forward(z: FloatArray, out: FloatArray) -> None:
        table.take(index(z), out=out, mode="clip")

    def slope(z: FloatArray) -> FloatArray:
        return np.asarray(steps[index(z)] * n * normal_density(z))

    return Primitive(forward, slope)
