"""Rates as a smooth function of what is not known of the parts, fitted over the parameter sets.

The sets that a run was drawn under hold each rate at a thousand points of means and spreads. A
polynomial of second order on the logarithm, of third in each parameter alone, goes through them;
so the rate for parameters that further readings would leave costs next to nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.chance.parameter_draws import ShareDraws
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build

__all__ = ["Surface", "coordinates", "surface_of"]

FloatArray = NDArray[np.float64]
Feature = tuple[str, str]
_FAR = 5.0  # standard deviations beyond which a parameter is held at the edge
_BELOW = 15.0  # powers of e below the largest rate that still count
_NOISE = 0.03  # relative error below which one rate is not trusted more than another


def coordinates(measured: Measured, table: FloatArray) -> FloatArray:
    """Means [mm], logarithms of spreads and of the correlation's odds under each set, (p, k).

    Of another shape than the normal also how far its ends lie from the mean, in logarithms.
    """
    (m1, m2), (s1, s2), rho = measured.parameters(list(table))
    k = table.shape[1]
    rows = [m1, _log(s1, measured.sds[0])]
    if m2 is not m1:
        rows += [m2, _log(s2, measured.sds[1])]
    if not isinstance(rho, float) and not measured.follows:
        rows.append(np.arctanh(np.clip(rho, -0.999, 0.999)))
    if measured.ends is not None:
        for mean, (low, high) in zip((m1, m2), measured.ends(list(table)), strict=False):
            rows += [np.log(np.maximum(d, 1e-7)) for d in (mean - low, high - mean)]
    return np.array([np.broadcast_to(np.asarray(r, dtype=np.float64), (k,)) for r in rows])


def _log(sd: FloatArray, plug_in: float) -> FloatArray:
    """Logarithm of a spread; one that gauge error takes wholly away is held above zero."""
    return np.asarray(np.log(np.maximum(sd, max(0.1 * plug_in, 1e-7))))


@dataclass(frozen=True, slots=True)
class Surface:
    """Logarithm of one build's rate over the coordinates of its measured features.

    `error` is the standard deviation of what the polynomial leaves, on the logarithm; `relative`
    the relative variance of a rate by the draws.
    """

    features: tuple[Feature, ...]
    centre: FloatArray
    scale: FloatArray
    weights: FloatArray
    error: float
    relative: float

    def shares(self, at: Mapping[Feature, FloatArray]) -> FloatArray:
        """Rates (k,) where each feature has the coordinates (p, k)."""
        if not self.features:
            return np.asarray(np.exp(self.weights[:1]))
        x = np.concatenate([at[f] for f in self.features])
        t = np.clip((x - self.centre[:, None]) / self.scale[:, None], -_FAR, _FAR)
        return np.asarray(np.minimum(np.exp(self.weights @ _terms(t)), 1.0))


def _terms(t: FloatArray) -> FloatArray:
    """1, each, each pair and square, each cube, of coordinates (p, k)."""
    p = len(t)
    pairs = [t[i] * t[j] for i, j in itertools.combinations_with_replacement(range(p), 2)]
    return np.array([np.ones(t.shape[1]), *t, *pairs, *(t**3)])


def surface_of(draws: ShareDraws, build: Build, at: Mapping[Feature, FloatArray]) -> Surface | None:
    """The surface of one event of a build from its shares under the sets; None where none fails.

    `at` holds the coordinates of every feature under the sets of the run.
    """
    value = draws.value
    if not value.any():
        return None
    relative = np.minimum(draws.variance / np.maximum(np.square(value), 1e-300), 1.0)
    features = tuple((m.part_name, m.key) for m in build.measured)
    if not features:
        return Surface((), np.zeros(0), np.zeros(0), np.log(value[:1]), 0.0, float(relative[0]))
    x = np.concatenate([at[f] for f in features])
    centre, scale = x.mean(axis=1), np.maximum(x.std(axis=1), 1e-12)
    terms = _terms((x - centre[:, None]) / scale[:, None])
    log = np.log(np.maximum(value, value.max() * np.exp(-_BELOW)))
    weight = 1.0 / np.sqrt(relative + _NOISE**2)
    found, *_ = np.linalg.lstsq((terms * weight).T, log * weight, rcond=1e-9)
    rest = log - found @ terms
    # what matters is the upper half: rates far below the rest decide nothing
    upper = log >= np.median(log)
    noise = float(np.mean(relative[upper]))
    error = float(np.sqrt(max(np.mean(np.square(rest[upper])) - noise, 0.0)))
    return Surface(features, centre, scale, found, error, float(np.median(relative)))


def all_coordinates(builds: Sequence[Build], table: FloatArray) -> dict[Feature, FloatArray]:
    """Coordinates of every measured feature of these builds under the sets of a run."""
    out: dict[Feature, FloatArray] = {}
    for build in builds:
        for m in build.measured:
            if (m.part_name, m.key) not in out:
                out[m.part_name, m.key] = coordinates(m, table)
    return out
