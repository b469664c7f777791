"""What a recorded function did, in order: nodes of ufuncs, primitives and choices."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BOOLEAN",
    "SLOPES",
    "STEEP",
    "Array",
    "FloatArray",
    "Node",
    "Primitive",
    "Program",
    "Ref",
    "Tape",
    "Tracer",
]

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
class Node:
    """One operation of a recording: what is done, to which nodes and constants."""

    op: Any  # a ufunc, a Primitive, "where", or "input"
    args: tuple[Any, ...]  # int: node, float: constant
    boolean: bool


class Ref(int):
    """Index of a node among the arguments of another; every other number is a constant."""

    __slots__ = ()


@dataclass(frozen=True, slots=True, eq=False)
class Program:
    """Nodes in the order of their making, and which of them, or which constants, come out."""

    inputs: int
    nodes: tuple[Node, ...]
    results: tuple[Any, ...]
    order: tuple[int, ...] = field(init=False)  # the nodes that the results need, inputs left out
    reads: tuple[int, ...] = field(init=False)  # the inputs that they need

    def __post_init__(self) -> None:
        needed = self._reached({int(o) for o in self.results if isinstance(o, Ref)})
        inputs = [i for i in sorted(needed) if self.nodes[i].op == "input"]
        object.__setattr__(self, "order", tuple(sorted(needed.difference(inputs))))
        object.__setattr__(self, "reads", tuple(int(self.nodes[i].args[0]) for i in inputs))

    def needed(self, nodes: set[int]) -> tuple[int, ...]:
        """Nodes that these need, themselves in it, inputs left out, in order."""
        return tuple(sorted(i for i in self._reached(nodes) if self.nodes[i].op != "input"))

    def _reached(self, nodes: set[int]) -> set[int]:
        needed: set[int] = set()
        stack = list(nodes)
        while stack:
            i = stack.pop()
            if i not in needed:
                needed.add(i)
                stack.extend(int(a) for a in self.nodes[i].args if isinstance(a, Ref))
        return needed


# what leaves the other argument as it is: the number, and whether it may stand first
_NEUTRAL: dict[Any, tuple[float, bool]] = {
    np.add: (0.0, True),
    np.subtract: (0.0, False),
    np.multiply: (1.0, True),
    np.divide: (1.0, False),
}


# the same whichever argument stands first
_EITHER = frozenset({np.add, np.multiply})


class Tape:
    """Operations in the order in which a traced function made them; equal ones are kept once."""

    def __init__(self) -> None:
        self.nodes: list[Node] = []
        self._tracers: list[Tracer] = []
        #: What every operation on its arguments gave, by the marks of these.
        self.known: dict[Any, Tracer] = {}

    def add(self, op: Any, args: Sequence[Any]) -> Tracer:
        """What an operation on these tracers and numbers gives: what is known already, or new."""
        if op is np.hypot:
            # numpy's own guards against overflow and takes ten times as long as these three
            a, b = (self.add(np.multiply, (x, x)) for x in args)
            return self.add(np.sqrt, (self.add(np.add, (a, b)),))
        clean: list[Any] = []
        marks: list[Any] = []
        for a in args:
            kind = type(a)
            if kind is Tracer:
                if a.tape is not self:
                    raise ValueError("tracers of two recordings cannot be mixed")
                clean.append(a.index)
                marks.append(a.mark)
            elif kind is float:
                clean.append(a)
                marks.append(a)
            elif isinstance(a, bool | np.bool_):
                clean.append(bool(a))
                marks.append(str(a))
            else:
                if np.ndim(a) != 0:
                    raise ValueError("a recorded function may use scalar constants only")
                clean.append(float(a))
                marks.append(clean[-1])
        neutral = _NEUTRAL.get(op)
        if neutral is not None and (clean[1] == neutral[0] or clean[0] == neutral[0]):
            same = self._unchanged(op, *clean)
            if same is not None:
                return self._tracers[same]
        key = (op, *marks)
        found = self.known.get(key)
        if found is None and op in _EITHER:
            found = self.known.get((op, *reversed(marks)))
        if found is None:
            found = self.known[key] = Tracer(self, Ref(len(self.nodes)))
            self._tracers.append(found)
            self.nodes.append(Node(op, tuple(clean), op in BOOLEAN))
        return found

    def _unchanged(self, op: Any, a: Any, b: Any) -> int | None:
        """The node that x + 0, 0 + x, x - 0, x * 1, 1 * x or x / 1 is anyway."""
        number, either = _NEUTRAL[op]
        if type(b) is float and b == number:
            kept = a
        elif either and type(a) is float and a == number:
            kept = b
        else:
            return None
        if type(kept) is not Ref or self.nodes[kept].boolean:
            return None
        return kept


def _operator(ufunc: np.ufunc) -> tuple[Any, Any]:
    """An operator and its reflection; straight to the tape, as there are so many of them.

    Nine in ten are known already where many joints are recorded together.
    """

    def forward(self: Tracer, other: Any) -> Tracer:
        tape, kind = self.tape, type(other)
        if kind is float:
            found = tape.known.get((ufunc, self.mark, other))
        elif kind is Tracer and other.tape is tape:
            found = tape.known.get((ufunc, self.mark, other.mark))
        else:
            found = None
        return tape.add(ufunc, (self, other)) if found is None else found

    def reflected(self: Tracer, other: Any) -> Tracer:
        tape = self.tape
        found = tape.known.get((ufunc, other, self.mark)) if type(other) is float else None
        return tape.add(ufunc, (other, self)) if found is None else found

    return forward, reflected


class Tracer(np.lib.mixins.NDArrayOperatorsMixin):
    """Stands for one array while a function is being recorded."""

    __slots__ = ("index", "mark", "tape")

    def __init__(self, tape: Tape, index: Ref) -> None:
        self.tape = tape
        self.index = index
        self.mark = object()  # no number equals it

    __add__, __radd__ = _operator(np.add)
    __sub__, __rsub__ = _operator(np.subtract)
    __mul__, __rmul__ = _operator(np.multiply)
    __truediv__, __rtruediv__ = _operator(np.divide)

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **kwargs: Any) -> Tracer:
        if method != "__call__" or kwargs:
            raise TypeError(f"{ufunc.__name__}.{method} with {sorted(kwargs)} cannot be recorded")
        if ufunc not in SLOPES and ufunc not in BOOLEAN and ufunc is not np.hypot:
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


BOOLEAN: frozenset[Any] = frozenset(
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
SLOPES: dict[Any, Callable[..., tuple[Any, ...]]] = {
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
STEEP: frozenset[Any] = frozenset({np.divide, np.log, np.log1p, np.power, np.multiply})
