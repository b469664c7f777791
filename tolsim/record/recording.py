"""A function recorded once: replayed on blocks, and differentiated by one backward sweep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from tolsim.record.runner import Judging, Runner
from tolsim.record.tape import (
    SLOPES,
    STEEP,
    Array,
    FloatArray,
    Primitive,
    Program,
    Ref,
    Tape,
    Tracer,
)

__all__ = ["Recording", "record"]


def record(function: Callable[[Sequence[Array]], Sequence[Array]], inputs: int) -> Recording:
    """Run `function` once on `inputs` tracers and keep what it did.

    Parameters
    ----------
    function : callable
        Takes `inputs` rows and returns a sequence of rows; uses ufuncs, operators,
        ``numpy.where`` and `Primitive` only.
    inputs : int
        Number of rows d of standard normals.

    Returns
    -------
    Recording
        Maps arrays (d, n) to arrays (m, n).

    Raises
    ------
    TypeError, ValueError
        If the function branches on drawn values or uses what cannot be recorded.

    Examples
    --------
    >>> r = record(lambda z: [z[0] * z[1], np.sqrt(z[0])], 2)
    >>> r(np.array([[4.0, 9.0], [2.0, 3.0]]))
    array([[ 8., 27.],
           [ 2.,  3.]])
    >>> r.gradient(np.array([[4.0], [2.0]]), np.array([[1.0], [0.0]]))
    array([[2.],
           [4.]])
    """
    tape = Tape()
    leaves = [tape.add("input", (float(i),)) for i in range(inputs)]
    outputs: list[Any] = []
    for y in function(leaves):
        if isinstance(y, Tracer):
            if tape.nodes[y.index].boolean:
                raise TypeError("a recorded function returns numbers, not truth values")
            outputs.append(Ref(y.index))
        else:
            outputs.append(float(y))
    return Recording(Program(inputs, tuple(tape.nodes), tuple(outputs)))


class Recording:
    """A recorded function of d rows with m outputs; see `record`."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self.inputs = program.inputs
        self.outputs = len(program.results)
        self.reads = program.reads
        self._planned: _Plan | None = None

    @property
    def calls(self) -> int:
        """Number of recorded operations that the outputs need."""
        return len(self._program.order)

    def select(self, outputs: Sequence[int]) -> Recording:
        """The same recording with these outputs only, in this order."""
        p = self._program
        return Recording(Program(p.inputs, p.nodes, tuple(p.results[i] for i in outputs)))

    def runner(self, n: int) -> Runner:
        """Buffers for `n` columns; a thread has its own runner."""
        return Runner(self._program, n)

    def judging(self, n: int, judged: Sequence[int], kept: Sequence[int] = ()) -> Judging:
        """Buffers for `n` columns that tell which outputs are below zero; see `Judging`."""
        return Judging(self._program, n, judged, kept)

    def same(self, outputs: Sequence[int]) -> tuple[Any, ...]:
        """What tells these outputs from others: equal only where they are computed alike."""
        return tuple((type(r), r) for r in (self._program.results[k] for k in outputs))

    def __call__(self, z: FloatArray) -> FloatArray:
        """Outputs (m, n) of standard normals (d, n), in blocks of at most 8192 columns."""
        z = np.ascontiguousarray(z, dtype=np.float64)
        n = z.shape[1]
        out = np.empty((self.outputs, n))
        block = min(n, 8192) or 1
        run = self.runner(block)
        for start in range(0, n, block):
            width = min(block, n - start)
            run.z[:, :width] = z[:, start : start + width]
            run.z[:, width:] = 0.0
            out[:, start : start + width] = run()[:, :width]
        return out

    def values_and_gradient(
        self, z: FloatArray, weights: Callable[[FloatArray], FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        """Outputs (m, n) and the gradient (d, n) of ``(weights(outputs) * outputs).sum(0)``.

        `weights` sees the outputs and returns an array (m, n), held constant by the sweep: one
        1 a column picks the margin that is active there.
        """
        z = np.ascontiguousarray(z, dtype=np.float64)
        n = z.shape[1]
        if self._planned is None:
            self._planned = _Plan(self._program)
        plan = self._planned
        values: list[Any] = [None] * len(self._program.nodes) + plan.constants
        for i in self.reads:
            values[self._leaf(i)] = z[i]
        with np.errstate(all="ignore"):
            for i, function, places in plan.steps:
                values[i] = function(*[values[p] for p in places])
            out = np.empty((self.outputs, n))
            for row, o in zip(out, self._program.results, strict=True):
                row[:] = values[int(o)] if isinstance(o, Ref) else o
            seed = weights(out)
            return out, self._backward(plan, values, seed, z.shape)

    def gradient(self, z: FloatArray, weights: FloatArray) -> FloatArray:
        """Gradient (d, n) of the weighted sum of outputs, weights (m, n)."""
        return self.values_and_gradient(z, lambda _: weights)[1]

    def _leaf(self, row: int) -> int:
        return row  # the inputs are the first nodes of the tape

    def _backward(
        self, plan: _Plan, values: list[Any], seed: FloatArray, shape: tuple[int, ...]
    ) -> FloatArray:
        bars: dict[int, Any] = {}
        own: set[int] = set()  # nodes whose sum is an array of its own, which may be added to

        def give(target: Any, amount: Any, fresh: bool) -> None:
            if not isinstance(target, Ref):
                return
            i = int(target)
            if i not in bars:
                bars[i] = amount
                if fresh:
                    own.add(i)
            elif i in own:
                bars[i] += amount
            else:
                bars[i] = bars[i] + amount
                own.add(i)

        for row, o in zip(seed, self._program.results, strict=True):
            give(o, row, False)
        for i, _, places in reversed(plan.steps):
            bar = bars.pop(i, None)
            if bar is None:
                continue
            own.discard(i)
            node = self._program.nodes[i]
            if node.boolean:
                continue
            args = [values[p] for p in places]
            if node.op == "where":
                give(node.args[1], np.where(args[0], bar, 0.0), True)
                give(node.args[2], np.where(args[0], 0.0, bar), True)
            elif isinstance(node.op, Primitive):
                found = node.op.slope(*args)
                for target, slope in zip(
                    node.args, found if isinstance(found, tuple) else (found,), strict=True
                ):
                    give(target, bar * slope, True)
            else:
                slopes = SLOPES[node.op](*args, values[i])
                for target, slope in zip(node.args, slopes, strict=True):
                    if slope is None or not isinstance(target, Ref):
                        continue
                    if isinstance(slope, float) and slope == 1.0:
                        give(target, bar, False)
                    elif node.op in STEEP and np.ndim(slope) > 0:
                        # 0 * inf at a kink is no slope at all; a constant is never infinite
                        give(target, np.where(bar == 0.0, 0.0, bar * slope), True)
                    else:
                        give(target, bar * slope, True)
        grad = np.zeros(shape)
        for i in self.reads:
            if self._leaf(i) in bars:
                grad[i] = bars[self._leaf(i)]
        return grad


class _Plan:
    """Steps of a sweep: node, function, and where its arguments stand among nodes and constants."""

    def __init__(self, program: Program) -> None:
        self.constants: list[Any] = []
        #: Steps in order.
        self.steps: list[tuple[int, Callable[..., Any], tuple[int, ...]]] = []
        for i in program.order:
            node = program.nodes[i]
            places = []
            for a in node.args:
                if isinstance(a, Ref):
                    places.append(int(a))
                else:
                    places.append(len(program.nodes) + len(self.constants))
                    # numpy takes longer over a float than over an array that holds it
                    self.constants.append(np.array(a) if isinstance(node.op, np.ufunc) else a)
            self.steps.append((i, np.where if node.op == "where" else node.op, tuple(places)))
