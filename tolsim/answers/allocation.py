"""What worst case and root sum square would have asked of the free bands, and what it costs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.costs import band_cost
from tolsim.answers.design_cases import Case
from tolsim.answers.design_solve import least_cost
from tolsim.answers.design_variant import feature_at
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.variants import with_moved

__all__ = ["Allocation", "Rule", "allocations", "least_cost_widths"]

FloatArray = NDArray[np.float64]
Rule = Literal["worst case", "root sum square"]
#: Cost and slope at a width.
Curve = Callable[[float], tuple[float, float]]
RULES: tuple[Rule, ...] = ("worst case", "root sum square")
_SIZES = ("bore.diameter", "bearing.outside", "sleeve.inside", "sleeve.outside")
_FAR = 0.2  # shift [mm] that a size without a window survives


@dataclass(frozen=True, kw_only=True, slots=True)
class Allocation:
    """Widths [mm] that a rule leaves to the free sizes; None where it asks the impossible.

    `window` is how far the first free size of a nominal unit may move; `taken` the share of it
    that bands which are not free take by the rule; `cost` a unit of all free bands.
    """

    rule: Rule
    window: tuple[float, float]
    taken: float
    widths: dict[str, float] | None
    cost: float | None


def least_cost_widths(
    curves: Sequence[Curve],
    low: FloatArray,
    high: FloatArray,
    *,
    rule: Rule,
    total: float,
    weights: FloatArray | None = None,
) -> FloatArray | None:
    r"""Cheapest widths whose sum, or root of the sum of squares, is at most `total`.

    .. math:: \min \sum_i c_i(T_i),\quad \sum_i a_i T_i \le T \;\text{or}\;
        \sqrt{\sum_i (a_i T_i)^2} \le T

    The same programme as that of `design` (`least_cost`), with the rule where the rates stand.

    Parameters
    ----------
    curves : sequence of callable
        Cost and its slope at a width.
    low, high : ndarray
        Ends of every width.
    rule : str
        "worst case" or "root sum square".
    total : float
        What the widths share.
    weights : ndarray, optional
        a; 1 by default.

    Returns
    -------
    ndarray or None
        None where not even the least widths fit.

    Examples
    --------
    Least :math:`\sum b_i/T_i` (Lagrange: T in proportion to the root of b):

    >>> curves = [lambda t, b=b: (b / t, -b / t**2) for b in (1.0, 4.0, 9.0)]
    >>> least_cost_widths(
    ...     curves, np.full(3, 1e-3), np.full(3, 0.012), rule="worst case", total=0.012)
    array([0.002, 0.004, 0.006])
    """
    a = np.ones(len(curves)) if weights is None else np.asarray(weights, dtype=np.float64)

    def cost(t: FloatArray) -> tuple[float, FloatArray]:
        found = [c(float(v)) for c, v in zip(curves, t, strict=True)]
        return math.fsum(v for v, _ in found), np.array([s for _, s in found])

    def slack(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        used = a * t / total
        if rule == "worst case":
            return np.array([1.0 - used.sum()]), -(a / total)[None, :]
        return np.array([1.0 - np.square(used).sum()]), -(2.0 * used * a / total)[None, :]

    if float(slack(low)[0][0]) < -1e-9:
        return None
    start = low.copy()
    # widths in proportion, as far as the rule lets them grow
    share = min(1.0, float(total / (a * high).sum()))
    start = np.clip(high * share, low, high)
    if float(slack(start)[0][0]) < 0.0:
        start = low.copy()
    found = least_cost(cost, slack, start, low, high, steps=200, precision=1e-13)
    return found.point


def allocations(case: Case, theta: FloatArray) -> tuple[Allocation, ...]:
    """Least-cost widths by both rules on what the limits leave to a nominal unit.

    How far a size may move alone, all else nominal, is its window w; the rules ask
    :math:`\\sum T_i/w_i \\le 1` or :math:`\\sum (T_i/w_i)^2 \\le 1` over all sizes of the fit,
    those that are not free with the bands that they have. They see no scatter of loads,
    clearance or alignment.
    """
    sizes = {
        i: f
        for i, f in enumerate(case.freedoms)
        if f.centre is not None and f.held is None and f.path in _SIZES
    }
    if not sizes:
        return ()
    study = case.variant(theta, sorted_out=False)
    windows = {i: _window(study, f.path) for i, f in sizes.items()}
    if any(w is None for w in windows.values()):
        return ()
    first = windows[next(iter(sizes))]
    assert first is not None
    fixed = _fixed(case, study)
    spans = np.array([w[1] - w[0] for w in windows.values() if w is not None])
    low = np.array([f.width[0] for f in sizes.values()])
    high = np.array([f.width[1] for f in sizes.values()])

    def curve(i: int) -> Curve:
        f = sizes[i]

        def of(width: float) -> tuple[float, float]:
            value, slope = band_cost(f.cost, width * f.scale, f.word)
            return value, slope * f.scale

        return of

    rest = math.fsum(
        band_cost(f.cost, w * f.scale, f.word)[0]
        for i, (f, (_, w)) in enumerate(zip(case.freedoms, case.bands(theta), strict=True))
        if i not in sizes
    )
    out = []
    for rule in RULES:
        taken = math.fsum(fixed) if rule == "worst case" else math.hypot(*fixed, 0.0)
        left = 1.0 - taken if rule == "worst case" else math.sqrt(max(0.0, 1.0 - taken**2))
        found = None
        if left > 1e-6:
            found = least_cost_widths(
                [curve(i) for i in sizes], low, high, rule=rule, total=left, weights=1.0 / spans
            )
        widths = cost = None
        if found is not None:
            widths = {f.path: float(t) for f, t in zip(sizes.values(), found, strict=True)}
            cost = rest + math.fsum(
                curve(i)(float(t))[0] for i, t in zip(sizes, found, strict=True)
            )
        out.append(Allocation(rule=rule, window=first, taken=taken, widths=widths, cost=cost))
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
        good, bad = 0.0, _FAR
        if holds(sign * bad):
            return None
        for _ in range(14):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if holds(sign * middle) else (good, middle)
        ends.append(sign * good)
    return ends[0], ends[1]


def _fixed(case: Case, study: Study) -> list[float]:
    """Share of its own window that each band takes which is not free."""
    free = {f.path for f in case.freedoms if f.held is None}
    kind = study.spec.joint.kind
    out = []
    for path in _SIZES:
        role, _, _ = path.partition(".")
        if (
            path in free
            or role not in study.strata[0].parts
            or (kind in ("bonded", "threaded") and path == "bore.diameter")
        ):
            continue
        feature = feature_at(study, path)
        if isinstance(feature, Feature) and feature.band is not None:
            window = _window(study, path)
            if window is not None:
                out.append((feature.band[1] - feature.band[0]) / (window[1] - window[0]))
    return out
