"""Array code recorded once, replayed with reused buffers and differentiated.

Physics is written plainly on arrays. Run once on tracers it leaves a list of ufunc calls; replaying
that list into a few buffers that stay in the cache costs a fraction of the plain run, because
numpy maps and page-faults every temporary above 128 KB. One backward sweep over the same list
gives exact gradients.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Primitive", "Recording", "Runner", "Tracer", "record"]

FloatArray: TypeAlias = NDArray[np.float64]
#: A float, an array of float64 or a tracer: what functions on the path of a draw accept.
Array: TypeAlias = Any

_TINY = 1e-300  # keeps the slope of sqrt finite where its argument is 0


@dataclass(frozen=True, slots=True, eq=False)
class Primitive:
    """One elementwise operation that is no ufunc, such as a tabulated quantile.

    ``forward(x, ..., out)`` fills `out`; ``slope(x, ...)`` returns the derivative, same shape, of
    several arguments a tuple of them; constants come as floats where it is recorded. Calling it on
    arrays computes, calling it on a tracer records.
    """

    forward: Callable[..., None]
    slope: Callable[..., Any]

    def __call__(self, *x: Array) -> Array:
        traced = next((a for a in x if isinstance(a, Tracer)), None)
        if traced is not None:
            return traced.tape.add(self, x)
        given = np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in x))
        values = [np.atleast_1d(np.ascontiguousarray(a)) for a in given]
        out = np.empty_like(values[0])
        self.forward(*values, out)
        return out if any(np.ndim(a) for a in x) else float(out[0])


@dataclass(frozen=True, slots=True)
class _Node:
    op: Any  # a ufunc, a Primitive, "where", or "input"
    args: tuple[Any, ...]  # int: node, float: constant
    boolean: bool


class _Ref(int):
    """Index of a node among the arguments of another; every other number is a constant."""


class _Tape:
    def __init__(self) -> None:
        self.nodes: list[_Node] = []
        self._known: dict[Any, int] = {}

    def add(self, op: Any, args: Sequence[Any]) -> Tracer:
        if op is np.hypot:
            # numpy's own guards against overflow and takes ten times as long as these three
            a, b = (self.add(np.multiply, (x, x)) for x in args)
            return self.add(np.sqrt, (self.add(np.add, (a, b)),))
        clean: list[Any] = []
        for a in args:
            if isinstance(a, Tracer):
                if a.tape is not self:
                    raise ValueError("tracers of two recordings cannot be mixed")
                clean.append(_Ref(a.index))
            elif isinstance(a, bool | np.bool_):
                clean.append(bool(a))
            else:
                if np.ndim(a) != 0:
                    raise ValueError("a recorded function may use scalar constants only")
                clean.append(float(a))
        key = (op, tuple((type(c).__name__, c) for c in clean))
        if key not in self._known:
            self._known[key] = len(self.nodes)
            self.nodes.append(_Node(op, tuple(clean), op in _BOOLEAN))
        return Tracer(self, self._known[key])


class Tracer(np.lib.mixins.NDArrayOperatorsMixin):
    """Stands for one array while a function is being recorded."""

    __slots__ = ("index", "tape")

    def __init__(self, tape: _Tape, index: int) -> None:
        self.tape = tape
        self.index = index

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **kwargs: Any) -> Tracer:
        if method != "__call__" or kwargs:
            raise TypeError(f"{ufunc.__name__}.{method} with {sorted(kwargs)} cannot be recorded")
        if ufunc not in _SLOPES and ufunc not in _BOOLEAN and ufunc is not np.hypot:
            raise TypeError(f"numpy.{ufunc.__name__} has no rule of differentiation here")
        return self.tape.add(ufunc, inputs)

    def __array_function__(
        self, func: Any, types: Any, args: tuple[Any, ...], kwargs: dict[str, Any]
    ) -> Tracer:
        if func is np.where and len(args) == 3 and not kwargs:
            return self.tape.add("where", args)
        raise TypeError(f"numpy.{getattr(func, '__name__', func)} cannot be recorded")

    def __bool__(self) -> bool:
        raise TypeError("a recorded function cannot branch on drawn values; use numpy.where")

    def __float__(self) -> float:
        raise TypeError("a recorded function cannot turn drawn values into a float")


_BOOLEAN: frozenset[Any] = frozenset(
    {
        np.less,
        np.less_equal,
        np.greater,
        np.greater_equal,
        np.logical_and,
        np.logical_or,
        np.logical_not,
        np.bitwise_and,
        np.bitwise_or,
        np.invert,
    }
)

# d op / d argument, given the arguments and the result; None: no slope into that argument.
_SLOPES: dict[Any, Callable[..., tuple[Any, ...]]] = {
    np.add: lambda a, b, y: (1.0, 1.0),
    np.subtract: lambda a, b, y: (1.0, -1.0),
    np.multiply: lambda a, b, y: (b, a),
    np.divide: lambda a, b, y: (1.0 / b, -y / b),
    np.negative: lambda a, y: (-1.0,),
    np.positive: lambda a, y: (1.0,),
    np.absolute: lambda a, y: (np.sign(a),),
    np.square: lambda a, y: (2.0 * a,),
    np.sqrt: lambda a, y: (0.5 / np.sqrt(np.maximum(a, _TINY)),),
    np.exp: lambda a, y: (y,),
    np.expm1: lambda a, y: (y + 1.0,),
    np.log: lambda a, y: (1.0 / a,),
    np.log1p: lambda a, y: (1.0 / (1.0 + a),),
    np.sin: lambda a, y: (np.cos(a),),
    np.cos: lambda a, y: (-np.sin(a),),
    np.tan: lambda a, y: (1.0 + y * y,),
    np.arctan: lambda a, y: (1.0 / (1.0 + a * a),),
    np.arctan2: lambda a, b, y: (
        b / np.maximum(a * a + b * b, _TINY),
        -a / np.maximum(a * a + b * b, _TINY),
    ),
    np.maximum: lambda a, b, y: (np.where(a >= b, 1.0, 0.0), np.where(a >= b, 0.0, 1.0)),
    np.minimum: lambda a, b, y: (np.where(a <= b, 1.0, 0.0), np.where(a <= b, 0.0, 1.0)),
    np.power: lambda a, b, y: (b * np.power(a, b - 1.0), None),
    np.sign: lambda a, y: (None,),
}


#: Slopes that may be infinite where the operation itself is not.
_STEEP: frozenset[Any] = frozenset({np.divide, np.log, np.log1p, np.power, np.multiply})


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
    tape = _Tape()
    leaves = [tape.add("input", (float(i),)) for i in range(inputs)]
    outputs: list[Any] = []
    for y in function(leaves):
        if isinstance(y, Tracer):
            if tape.nodes[y.index].boolean:
                raise TypeError("a recorded function returns numbers, not truth values")
            outputs.append(_Ref(y.index))
        else:
            outputs.append(float(y))
    return Recording(inputs, tuple(tape.nodes), tuple(outputs))


class Recording:
    """A recorded function of d rows with m outputs; see `record`."""

    def __init__(self, inputs: int, nodes: tuple[_Node, ...], outputs: tuple[Any, ...]) -> None:
        self.inputs = inputs
        self.outputs = len(outputs)
        self._nodes = nodes
        self._outputs = outputs
        needed: set[int] = set()
        stack = [int(o) for o in outputs if isinstance(o, _Ref)]
        while stack:
            i = stack.pop()
            if i not in needed:
                needed.add(i)
                stack.extend(int(a) for a in nodes[i].args if isinstance(a, _Ref))
        self._order = [i for i in sorted(needed) if nodes[i].op != "input"]
        self.reads = tuple(int(nodes[i].args[0]) for i in sorted(needed) if nodes[i].op == "input")

    @property
    def calls(self) -> int:
        """Number of recorded operations that the outputs need."""
        return len(self._order)

    def select(self, outputs: Sequence[int]) -> Recording:
        """The same recording with these outputs only, in this order."""
        return Recording(self.inputs, self._nodes, tuple(self._outputs[i] for i in outputs))

    def runner(self, n: int) -> Runner:
        """Buffers for `n` columns; a thread has its own runner."""
        return Runner(self, n)

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
        values: list[Any] = [None] * len(self._nodes)
        for i in self.reads:
            values[self._leaf(i)] = z[i]
        with np.errstate(all="ignore"):
            for i in self._order:
                node = self._nodes[i]
                args = [values[int(a)] if isinstance(a, _Ref) else a for a in node.args]
                if node.op == "where":
                    values[i] = np.where(*args)
                else:
                    values[i] = node.op(*args)
            out = np.empty((self.outputs, n))
            for row, o in zip(out, self._outputs, strict=True):
                row[:] = values[int(o)] if isinstance(o, _Ref) else o
            seed = weights(out)
            return out, self._backward(values, seed, z.shape)

    def gradient(self, z: FloatArray, weights: FloatArray) -> FloatArray:
        """Gradient (d, n) of the weighted sum of outputs, weights (m, n)."""
        return self.values_and_gradient(z, lambda _: weights)[1]

    def _leaf(self, row: int) -> int:
        return row  # the inputs are the first nodes of the tape

    def _backward(self, values: list[Any], seed: FloatArray, shape: tuple[int, ...]) -> FloatArray:
        bars: dict[int, Any] = {}
        own: set[int] = set()  # nodes whose sum is an array of its own, which may be added to

        def give(target: Any, amount: Any, fresh: bool) -> None:
            if not isinstance(target, _Ref):
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

        for row, o in zip(seed, self._outputs, strict=True):
            give(o, row, False)
        for i in reversed(self._order):
            bar = bars.pop(i, None)
            own.discard(i)
            node = self._nodes[i]
            if bar is None or node.boolean:
                continue
            args = [values[int(a)] if isinstance(a, _Ref) else a for a in node.args]
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
                slopes = _SLOPES[node.op](*args, values[i])
                for target, slope in zip(node.args, slopes, strict=True):
                    if slope is None or not isinstance(target, _Ref):
                        continue
                    if isinstance(slope, float) and slope == 1.0:
                        give(target, bar, False)
                    elif node.op in _STEEP:
                        # 0 * inf at a kink is no slope at all
                        give(target, np.where(bar == 0.0, 0.0, bar * slope), True)
                    else:
                        give(target, bar * slope, True)
        grad = np.zeros(shape)
        for i in self.reads:
            if self._leaf(i) in bars:
                grad[i] = bars[self._leaf(i)]
        return grad


class Runner:
    """One thread's buffers: fill ``z`` (d, n), call, read the returned ``out`` (m, n).

    The returned array is reused by the next call.
    """

    def __init__(self, recording: Recording, n: int) -> None:
        self.z: FloatArray = np.zeros((recording.inputs, n))
        self.out: FloatArray = np.empty((recording.outputs, n))
        self._calls: list[tuple[Any, tuple[Any, ...], Any]] = []
        self._bind(recording, n)

    def _bind(self, rec: Recording, n: int) -> None:
        last: dict[int, int] = {}
        for i in rec._order:
            for a in rec._nodes[i].args:
                if isinstance(a, _Ref):
                    last[int(a)] = i
        where_out: dict[int, list[int]] = {}
        for k, o in enumerate(rec._outputs):
            if isinstance(o, _Ref):
                where_out.setdefault(int(o), []).append(k)
            else:
                self.out[k] = o
        place: dict[int, Any] = {i: self.z[i] for i in rec.reads}
        free: dict[bool, list[Any]] = {False: [], True: []}
        copies: list[tuple[Any, Any]] = []
        for i in rec._order:
            node = rec._nodes[i]
            args = tuple(place[int(a)] if isinstance(a, _Ref) else a for a in node.args)
            dying = [
                int(a)
                for a in dict.fromkeys(node.args)
                if isinstance(a, _Ref) and last[int(a)] == i and int(a) not in where_out
            ]
            pooled = [a for a in dying if rec._nodes[a].op != "input"]
            in_place = node.op != "where" and not isinstance(node.op, Primitive)
            if in_place:
                for a in pooled:
                    free[rec._nodes[a].boolean].append(place[a])
            if i in where_out:
                target = self.out[where_out[i][0]]
                copies.extend((target, self.out[k]) for k in where_out[i][1:])
            elif free[node.boolean]:
                target = free[node.boolean].pop()
            else:
                target = np.empty(n, dtype=np.bool_ if node.boolean else np.float64)
            place[i] = target
            if not in_place:
                for a in pooled:
                    free[rec._nodes[a].boolean].append(place[a])
            self._calls.append((node.op, args, target))
        for o, ks in where_out.items():
            if o in rec.reads and rec._nodes[o].op == "input":
                copies.extend((self.z[o], self.out[k]) for k in ks)
        self._copies = copies

    def __call__(self) -> FloatArray:
        """Evaluate the columns that stand in ``z``."""
        for op, args, target in self._calls:
            if op == "where":
                np.copyto(target, args[2])
                np.copyto(target, args[1], where=args[0])
            elif isinstance(op, Primitive):
                op.forward(*args, target)
            else:
                op(*args, out=target)
        for source, target in self._copies:
            np.copyto(target, source)
        return self.out
