"""What worst case and root sum square would have asked of the free bands, and what it costs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_problem import Problem
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.variants import with_moved

__all__ = ["Allocation", "allocations", "reciprocal_power_widths"]

FloatArray = NDArray[np.float64]
_SIZES = ("bore.diameter", "bearing.outside", "sleeve.inside", "sleeve.outside")


@dataclass(frozen=True, kw_only=True, slots=True)
class Allocation:
    """Widths [mm] that a rule leaves to the free sizes; None where it asks the impossible."""

    rule: str
    window: tuple[float, float]
    taken: float
    widths: dict[str, float] | None
    cost: float | None


def allocations(problem: Problem, base: Study, theta: FloatArray) -> tuple[Allocation, ...]:
    """Worst case and root sum square on the window of interference that the limits leave.

    The window is where every margin of a nominal unit is positive as the receiving bore moves;
    sizes that are not free keep their own bands. Free widths share what is left in proportion to
    those found.
    """
    sizes = [f for f in problem.freedoms if f.centre is not None and f.path in _SIZES]
    if not sizes:
        return ()
    window = _window(problem.variant(base, theta, sorted_out=False), sizes[0].path)
    if window is None:
        return ()
    free = {f.path: w for f, (_, w) in zip(problem.freedoms, problem.bands(theta), strict=True)}
    fixed = _fixed_bands(base, set(free))
    span = window[1] - window[0]
    found = [free[f.path] for f in sizes]
    out = []
    for rule, taken, left in (
        ("worst case", sum(fixed), span - sum(fixed)),
        (
            "root sum square",
            math.hypot(*fixed) if fixed else 0.0,
            math.sqrt(max(0.0, span**2 - sum(w * w for w in fixed))),
        ),
    ):
        whole = sum(found) if rule == "worst case" else math.hypot(*found)
        if left <= 1e-6 or whole <= 0.0:
            out.append(Allocation(rule=rule, window=window, taken=taken, widths=None, cost=None))
            continue
        widths = {f.path: free[f.path] * left / whole for f in sizes}
        cost = sum(f.cost(widths.get(f.path, free[f.path])) for f in problem.freedoms)
        out.append(Allocation(rule=rule, window=window, taken=taken, widths=widths, cost=cost))
    return tuple(out)


def _window(study: Study, path: str) -> tuple[float, float] | None:
    """Shifts [mm] of a size from its middle between which a nominal unit holds at every limit."""

    def holds(shift: float) -> bool:
        joint = assemble(with_moved(study, path, shift=shift))
        out = joint.recording(np.zeros((len(joint.latent), 1)))[:, 0]
        return all(out[r] >= 0.0 for b in joint.builds for r in b.rows)

    if not holds(0.0):
        return None
    ends = []
    for sign in (-1.0, 1.0):
        good, bad = 0.0, 0.2
        if holds(sign * bad):
            return None
        for _ in range(14):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if holds(sign * middle) else (good, middle)
        ends.append(sign * good)
    return ends[0], ends[1]


def _fixed_bands(base: Study, free: set[str]) -> list[float]:
    out = []
    stratum = base.strata[0]
    kind = base.spec.joint.kind
    for path in _SIZES:
        role, _, rest = path.partition(".")
        if (
            path in free
            or role not in stratum.parts
            or (kind == "bonded" and path == "bore.diameter")
        ):
            continue
        feature = getattr(stratum.parts[role], rest)
        if isinstance(feature, Feature) and feature.band is not None:
            out.append(feature.band[1] - feature.band[0])
    return out


def reciprocal_power_widths(
    weights: FloatArray, power: float, total: float, *, rule: str
) -> FloatArray:
    r"""Least cost :math:`\sum b_i/T_i^k` with the sum (or root sum square) of T at `total`.

    Worst case: T is proportional to :math:`b^{1/(k+1)}`; root sum square: to
    :math:`b^{1/(k+2)}` (Lagrange). Source: Chase, cost-tolerance models (from memory).

    >>> reciprocal_power_widths(np.array([1.0, 4.0, 9.0]), 1.0, 0.012, rule="worst case")
    array([0.002, 0.004, 0.006])
    """
    if rule == "worst case":
        t = np.asarray(weights, dtype=np.float64) ** (1.0 / (power + 1.0))
        return np.asarray(t * total / t.sum())
    t = np.asarray(weights, dtype=np.float64) ** (1.0 / (power + 2.0))
    return np.asarray(t * total / np.sqrt(np.square(t).sum()))
