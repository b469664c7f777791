"""Components that take the shape of failing samples: narrow across the border, wide along it.

A covariance estimated in all d directions would be noise. Directions that failure does not care
about have second moment 1 exactly, so only those that differ from 1 by more than sampling
explains are reshaped; the rest stay plain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.chance.densities import Shaped

__all__ = ["Training", "global_shapes", "informative_axes", "local_shape"]

FloatArray = NDArray[np.float64]

_EDGE = 1.15  # margin on the random spread of eigenvalues before one counts as different from 1
_LEAST = 1e-3  # smallest variance a component is given
_TAIL = 3.0  # a variance below 1 is widened by this: beyond a border density falls exponentially


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Training:
    """Failing samples z (d, n), what each counts (sum 1), and how many independent ones it is."""

    z: FloatArray
    counts: FloatArray
    effective: float

    @staticmethod
    def pooled(parts: list[Training]) -> Training:
        """All parts together, each counted by its effective size."""
        total = sum(p.effective for p in parts)
        return Training(
            z=np.concatenate([p.z for p in parts], axis=1),
            counts=np.concatenate([p.counts * (p.effective / total) for p in parts]),
            effective=total,
        )


def _widened(variances: FloatArray) -> FloatArray:
    """Variances to draw with; of few points the smallest can round to 0 or below."""
    variances = np.maximum(variances, _LEAST)
    return np.where(variances < 1.0, np.minimum(1.0, _TAIL * variances), variances)


def informative_axes(t: Training, span: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Directions whose second moment differs from 1, (d, r), and those moments (r,).

    Parameters
    ----------
    span : ndarray
        Orthonormal basis (d, s) of the directions that slopes have shown to matter. It and its
        complement are searched apart: fewer directions, less noise; cliffs have no slope and
        show in the complement.

    Notes
    -----
    With s directions and n independent samples the eigenvalues of an uninformative second-moment
    matrix fill (1 -+ sqrt(s/n))^2.
    """
    d, s = span.shape
    bases = [span]
    if 0 < s < d:
        bases.append(np.linalg.qr(span, mode="complete")[0][:, s:])
    axes, found = [], []
    for basis in bases:
        y = basis.T @ t.z
        moments, vectors = np.linalg.eigh((y * t.counts) @ y.T)
        gap = _EDGE * math.sqrt(basis.shape[1] / t.effective)
        different = (moments > (1.0 + gap) ** 2) | (moments < max(0.0, 1.0 - gap) ** 2)
        axes.append(basis @ vectors[:, different])
        found.append(moments[different])
    return np.concatenate(axes, axis=1), np.concatenate(found)


def global_shapes(
    t: Training, axes: FloatArray, moments: FloatArray, span: FloatArray
) -> list[Shaped]:
    """Components about the origin, for sets that surround it such as rings and shells."""
    d = t.z.shape[0]
    origin = np.zeros(d)
    square = float(np.square(t.z).sum(axis=0) @ t.counts)
    along = float(np.square(span.T @ t.z).sum(axis=0) @ t.counts)
    out = []
    if square > d:
        out.append(_alike(origin, np.zeros((d, 0)), 1.0, scale=square / d))
    if 1 < span.shape[1] < d and along > span.shape[1]:
        out.append(_alike(origin, span, along / span.shape[1]))
    if moments.size:
        out.append(Shaped(mean=origin, axes=axes, variances=_widened(moments)))
    if moments.size > 1:
        out.append(_alike(origin, axes, float(moments.mean())))
    return out


def _alike(origin: FloatArray, axes: FloatArray, variance: float, scale: float = 1.0) -> Shaped:
    """One variance for all axes: single moments are noisy, their mean is not."""
    variances = _widened(np.full(axes.shape[1], variance))
    return Shaped(mean=origin, axes=axes, variances=variances, scale=scale)


def local_shape(t: Training, axes: FloatArray, share: FloatArray) -> Shaped | None:
    """One component for the part of the samples that `share` (n,) gives to a region.

    None where fewer samples belong to it than four times the directions reshaped.
    """
    r = axes.shape[1]
    part = share * t.counts
    total = float(part.sum())
    effective = t.effective * total
    if total <= 0.0 or effective < 4.0 * (r + 2):
        return None
    part /= total
    y = axes.T @ t.z
    mean = y @ part
    off = y - mean[:, None]
    prior = r + 2.0  # as many samples' worth of the plain covariance
    cov = (effective * (off * part) @ off.T + prior * np.eye(r)) / (effective + prior)
    variances, vectors = np.linalg.eigh(cov)
    return Shaped(mean=axes @ mean, axes=axes @ vectors, variances=_widened(variances))
