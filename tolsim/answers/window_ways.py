"""Rates on the grid of a window, by the most precise way that its axes allow.

Mean and spread of one size: every point from the same intervals of sizes. A size beside something
else: intervals at values of the other. Anything else: counted on common draws at nodes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.window_axes import Axes
from tolsim.answers.window_edges import NotOneWay, probe_of, process_at, why_not
from tolsim.answers.window_mesh import Shares, counted, drawn_out, of_errors
from tolsim.answers.window_rates import Conditional
from tolsim.answers.window_weighted import SEEN, sharpened
from tolsim.chance.streams import BLOCK
from tolsim.joint.assemble import assemble_each
from tolsim.joint.assumed import Assumptions
from tolsim.joint.model import Joint
from tolsim.process.base import Process
from tolsim.process.plain import Normal
from tolsim.spec.load import Study

__all__ = ["Finer", "Rates", "rates_of"]

FloatArray = NDArray[np.float64]
Tell = Callable[[int, int], None]
_NODES = 9  # along either axis where units are counted
_SLICES = 15  # of intervals of sizes along the other axis
_SLICE_BLOCKS = 8
_FIRST, _MOST = 16, 48  # blocks of units of the intervals
_PRECISE = 0.03  # median relative error of rates near their target that ends the drawing
_MESH_BLOCKS = 8
_FINER = 6  # steps between grid points in which the demand is looked for
_ANCHORS = 8  # steps that weighted draws are told as
_SHARP = 500_000_000  # units that would have to be counted to see as far as weighted draws do
_RANGE = 5.3  # standard deviations beyond which the share of parts is nil (6e-8)

Rates = dict[str, Shares]
#: Finer points of both axes, and the rates there.
Finer = tuple[FloatArray, FloatArray, Rates]


def rates_of(
    axes: Axes,
    xs: FloatArray,
    ys: FloatArray,
    targets: dict[str, float],
    seed: int,
    workers: int,
    tell: Tell | None,
) -> tuple[Rates, Finer, int, str]:
    """Rates on the grid, on a finer one, units drawn, and how it was done."""
    fx, fy = (_between(v) for v in (xs, ys))
    middle = axes.at(float(xs[len(xs) // 2]), float(ys[len(ys) // 2]))
    try:
        if axes.together and why_not(middle, axes.x.path) is None:
            out = _by_intervals(axes, xs, ys, targets, seed, workers, tell)
            grid = {m: _reshaped(s, len(ys), len(xs)) for m, s in out[0].items()}
            # the demand starts at the smallest spread of the grid
            n = out[1] * BLOCK
            finer = {m: drawn_out(xs, ys, s, fx, fy, 100 * n) for m, s in grid.items()}
            return grid, (fx, fy, finer), n, "intervals of sizes"
        if not axes.together:
            for flip in (False, True):
                one = axes.y if flip else axes.x
                if one.size and why_not(middle, one.path) is None:
                    return _by_slices(axes, xs, ys, fx, fy, targets, seed, workers, tell, flip)
    except NotOneWay:
        pass
    return _by_counting(axes, xs, ys, fx, fy, targets, seed, workers, tell)


def _between(v: FloatArray) -> FloatArray:
    return np.linspace(v[0], v[-1], _FINER * (len(v) - 1) + 1)


def _reshaped(s: Shares, rows: int, columns: int) -> Shares:
    shape = (rows, columns)
    return Shares(s.value.reshape(shape), s.low.reshape(shape), s.high.reshape(shape))


def _ends(processes: Sequence[Process]) -> tuple[float, float]:
    """Sizes between which all but a nil share of the parts lies [mm]."""
    low, high = math.inf, -math.inf
    for p in processes:
        if isinstance(p, Normal):
            a, b = p.mean - _RANGE * p.sd, p.mean + _RANGE * p.sd
        else:
            a, b = (float(v) for v in p.quantile([6e-8, 1.0 - 6e-8]))
        low, high = min(low, a), max(high, b)
    return low, high


def _processes(axes: Axes, points: Sequence[tuple[float, float]]) -> dict[str, list[Process]]:
    """The process of the x-axis' feature at every point, by the name of its part."""
    out: dict[str, list[Process]] = {}
    role = axes.x.path.partition(".")[0]
    for a, b in points:
        study = axes.at(a, b)
        for name, s in {s.names[role]: s for s in study.strata}.items():
            out.setdefault(name, []).append(process_at(study, s, axes.x.path))
    return out


def _conditional(
    study: Study,
    path: str,
    processes: dict[str, list[Process]],
    targets: dict[str, float],
    seed: int,
    workers: int,
) -> tuple[Conditional, list[list[Process]]]:
    everything = [p for own in processes.values() for p in own]
    probes = probe_of(study, path, tuple(targets), _ends(everything), seed)
    role = path.partition(".")[0]
    own = [processes[p.joint.builds[p.build].parts[role]] for p in probes]
    found = Conditional(
        probes,
        seed=seed,
        narrowest=max(min(p.sd for p in everything), 1e-5),
        line=_line(everything),
        targets=targets,
        workers=workers,
    )
    return found, own


def _line(processes: Sequence[Process]) -> list[tuple[float, float]]:
    """Mean and spread of the narrowest process at each mean, in order; else of all spreads."""
    found: dict[float, float] = {}
    for p in processes:
        found[p.mean] = min(p.sd, found.get(p.mean, math.inf))
    if len(found) > 1:
        return sorted(found.items())
    return sorted({(p.mean, p.sd) for p in processes})


def _by_intervals(
    axes: Axes,
    xs: FloatArray,
    ys: FloatArray,
    targets: dict[str, float],
    seed: int,
    workers: int,
    tell: Tell | None,
) -> tuple[Rates, int]:
    """Mean and spread of one size: every point from the same intervals."""
    points = [(float(a), float(b)) for b in ys for a in xs]
    processes = _processes(axes, points)
    middle = axes.at(*points[len(points) // 2])
    found, own = _conditional(middle, axes.x.path, processes, targets, seed, workers)
    blocks = _FIRST
    while True:
        found.grow(blocks, tell)
        cells = found.cells([p[::7] for p in own], thorough=False)
        errors = [0.0]
        for mode, target in targets.items():
            c = cells[mode]
            near = (c.rate > target / 3.0) & (c.rate < 3.0 * target)
            if near.any():
                errors.append(float(np.median(c.error[near] / c.rate[near])))
        if max(errors) <= _PRECISE or found.blocks >= _MOST:
            break
        blocks = _FIRST
    cells = found.cells(own)
    return {m: of_errors(c.rate, c.error) for m, c in cells.items()}, found.blocks


def _by_slices(
    axes: Axes,
    xs: FloatArray,
    ys: FloatArray,
    fx: FloatArray,
    fy: FloatArray,
    targets: dict[str, float],
    seed: int,
    workers: int,
    tell: Tell | None,
    flip: bool,
) -> tuple[Rates, Finer, int, str]:
    """Two contributors, one of them a size: intervals of that size at nodes of the other."""
    if flip:
        turned = replace(axes, x=axes.y, y=axes.x)
        rates, (gx, gy, finer), n, how = _by_slices(
            turned, ys, xs, fy, fx, targets, seed, workers, tell, False
        )
        return (
            {m: _turned(s) for m, s in rates.items()},
            (gy, gx, {m: _turned(s) for m, s in finer.items()}),
            n,
            how,
        )
    nodes = np.linspace(ys[0], ys[-1], min(_SLICES, len(ys)))
    rows: list[dict[str, Shares]] = []
    for k, b in enumerate(nodes):
        points = [(float(a), float(b)) for a in xs]
        middle = axes.at(*points[len(points) // 2])
        found, own = _conditional(
            middle, axes.x.path, _processes(axes, points), targets, seed, workers
        )
        found.grow(_SLICE_BLOCKS)
        rows.append({m: of_errors(c.rate, c.error) for m, c in found.cells(own).items()})
        if tell is not None:
            tell(k + 1, len(nodes))
    n = _SLICE_BLOCKS * BLOCK
    at = {
        m: Shares(
            np.array([r[m].value for r in rows]),
            np.array([r[m].low for r in rows]),
            np.array([r[m].high for r in rows]),
        )
        for m in targets
    }
    grid = {m: drawn_out(xs, nodes, s, xs, ys, 100 * n) for m, s in at.items()}
    finer = {m: drawn_out(xs, nodes, s, fx, fy, 100 * n) for m, s in at.items()}
    how = f"intervals of sizes at {len(nodes)} values of {axes.y.name}, smooth between them"
    return grid, (fx, fy, finer), n, how


def _turned(s: Shares) -> Shares:
    return Shares(s.value.T.copy(), s.low.T.copy(), s.high.T.copy())


def _by_counting(
    axes: Axes,
    xs: FloatArray,
    ys: FloatArray,
    fx: FloatArray,
    fy: FloatArray,
    targets: dict[str, float],
    seed: int,
    workers: int,
    tell: Tell | None,
) -> tuple[Rates, Finer, int, str]:
    """Any two quantities: common draws counted at nodes of both."""
    nx, ny = (np.linspace(v[0], v[-1], min(_NODES, len(v))) for v in (xs, ys))
    modes = tuple(targets)
    table = {m: np.empty((3, len(ny), len(nx))) for m in modes}
    joints = [[_assembled(axes.at(float(a), float(b))) for a in nx] for b in ny]
    n = _MESH_BLOCKS * BLOCK
    few = [m for m, t in targets.items() if t * n < SEEN]
    steps, done = len(ny) + _ANCHORS * len(few), 0

    def step() -> None:
        nonlocal done
        done += 1
        if tell is not None:
            tell(min(done, steps), steps)

    for j, row in enumerate(joints):
        for i, joint in enumerate(row):
            study = axes.at(float(nx[i]), float(ny[j]))
            found = counted(
                study, modes, seed=seed, blocks=_MESH_BLOCKS, workers=workers, joint=joint
            )
            for m in modes:
                table[m][:, j, i] = found[m]
        step()
    at = {m: Shares(t[0], t[1], t[2]) for m, t in table.items()}
    known = dict.fromkeys(modes, n)
    for m in few:
        sharp = sharpened(joints, table[m], m, targets[m], n, seed, step)
        if sharp is not None:
            at[m], known[m] = sharp, _SHARP
    if tell is not None:
        tell(steps, steps)
    grid = {m: drawn_out(nx, ny, s, xs, ys, known[m]) for m, s in at.items()}
    finer = {m: drawn_out(nx, ny, s, fx, fy, known[m]) for m, s in at.items()}
    how = f"counted at {len(nx)} x {len(ny)} points"
    if max(known.values()) > n:
        how += ", small rates from weighted draws that all points share"
    return grid, (fx, fy, finer), n, f"{how}, smooth between them"


def _assembled(study: Study) -> Joint:
    return assemble_each([(study, Assumptions())], tell=False)[0]
