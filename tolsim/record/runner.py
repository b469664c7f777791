"""One thread's buffers for a recorded function."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.record.quiet import nothing_collected
from tolsim.record.tape import FloatArray, Node, Primitive, Program, Ref

__all__ = ["Judging", "Runner"]

#: Operation and its arguments, the array that it fills last.
_Call = tuple[Callable[..., Any], tuple[Any, ...]]
#: Operation and what it takes besides a node's array: before it, and after it.
_After = tuple[Callable[..., Any], tuple[Any, ...], tuple[Any, ...]]
#: Operations whose hardware tells of every number that is none; the others are looked at.
_TOLD = frozenset(
    {np.add, np.subtract, np.multiply, np.divide, np.sqrt, np.square}
    | {np.absolute, np.negative, np.positive, np.sign, np.maximum, np.minimum, "where"}
)


class Runner:
    """One thread's buffers: fill ``z`` (d, n), call, read the returned ``out`` (m, n).

    The returned array is reused by the next call.
    """

    def __init__(self, program: Program, n: int) -> None:
        self.z: FloatArray = np.zeros((program.inputs, n))
        self.out: FloatArray = np.empty((len(program.results), n))
        kept = range(len(program.results))
        self._calls = _with_outputs(program, kept, self.z, self.out, program.order, {}, {})

    def __call__(self) -> FloatArray:
        """Evaluate the columns that stand in ``z``."""
        _run(self._calls)
        return self.out


class Judging:
    """One thread's buffers: fill ``z`` (d, n), call, read which outputs are below zero.

    An output is judged as soon as it is computed, while it is still in the cache, and its buffer
    is used again: with hundreds of outputs that takes half the time of keeping them all. Of a
    difference that nothing else needs only the sign is computed.

    A number that is none compares as false. It comes from the draws, from a table or a function
    such as an exponential, which are looked at, or from arithmetic, where the processor tells of
    it; where there is one, the outputs themselves are looked at, in this and all later calls.

    Parameters
    ----------
    program : Program
        The recorded function.
    n : int
        Columns.
    judged : sequence of int
        Outputs to be judged; those that are the same number are judged once.
    kept : sequence of int
        Outputs whose values are wanted, the rows of ``out``.
    """

    def __init__(
        self, program: Program, n: int, judged: Sequence[int], kept: Sequence[int]
    ) -> None:
        self.z: FloatArray = np.zeros((program.inputs, n))
        self.out: FloatArray = np.empty((len(kept), n))
        results = [program.results[k] for k in judged]
        rows: dict[Any, int] = {}
        for r in results:
            rows.setdefault((type(r), r), len(rows))
        #: Row of ``failed`` of every judged output.
        self.rows: dict[int, int] = {
            k: rows[type(r), r] for k, r in zip(judged, results, strict=True)
        }
        #: Where each distinct judged output is below zero, (j, n).
        self.failed: NDArray[np.bool_] = np.zeros((len(rows), n), dtype=np.bool_)
        self._program, self._kept = program, kept
        self._nodes = {int(r): row for (_, r), row in rows.items() if isinstance(r, Ref)}
        self._kept_nodes = {int(r) for k in kept if isinstance(r := program.results[k], Ref)}
        wanted = {*self._kept_nodes, *self._nodes}
        everything = wanted.issuperset(int(r) for r in program.results if isinstance(r, Ref))
        self._order = program.order if everything else program.needed(wanted)
        self._constants_finite = True
        for (_, r), row in rows.items():
            if not isinstance(r, Ref):
                self.failed[row] = r < 0.0
                self._constants_finite &= math.isfinite(r)
        self._quickly = True
        self._calls, self._sums = self._quick()

    def __call__(self) -> NDArray[np.bool_]:
        """Judge the columns that stand in ``z``; the returned array is reused by the next call."""
        if self._quickly:
            with suppress(FloatingPointError):
                with np.errstate(divide="raise", over="raise", invalid="raise"):
                    _run(self._calls)
                if np.isfinite(self._sums).all():
                    return self.failed
            self._quickly = False
            self._calls, self._sums = self._careful()
        _run(self._calls)
        return self.failed

    @property
    def finite(self) -> bool:
        """Whether every judged number of the last call is one."""
        return self._constants_finite and bool(np.isfinite(self._sums).all())

    def _quick(self) -> tuple[list[_Call], FloatArray]:
        """Signs of differences alone; sums of the draws and of what no processor tells of."""
        program, kept, order = self._program, self._kept_nodes, self._order
        needed = {int(a) for i in order for a in program.nodes[i].args if isinstance(a, Ref)}
        needed |= kept
        signs: dict[int, Node] = {}
        after: dict[int, list[_After]] = {}
        for i, row in self._nodes.items():
            sides = _sides(program.nodes[i]) if i not in needed else None
            if sides is None:
                after[i] = [(np.less, (), (0.0, self.failed[row]))]
            else:
                signs[i] = Node(np.less, sides, boolean=True)
        reads = [i for i in program.reads if i in needed or i in self._nodes]
        looked_at = [*reads, *(i for i in order if program.nodes[i].op not in _TOLD)]
        looked_at = [i for i in looked_at if not program.nodes[i].boolean]
        sums = self._summed(looked_at, after)
        signed = {i: self.failed[self._nodes[i]] for i in signs}
        return self._bound(order, after, signs, signed), sums

    def _careful(self) -> tuple[list[_Call], FloatArray]:
        """Every judged output computed, judged and summed."""
        after: dict[int, list[_After]] = {
            i: [(np.less, (), (0.0, self.failed[row]))] for i, row in self._nodes.items()
        }
        sums = self._summed(list(self._nodes), after)
        return self._bound(self._order, after, {}, {}), sums

    def _summed(self, nodes: Sequence[int], after: dict[int, list[_After]]) -> FloatArray:
        sums, ones = np.zeros(len(nodes)), np.ones(self.z.shape[1])
        for place, i in enumerate(nodes):
            total = sums[place : place + 1].reshape(())
            after.setdefault(i, []).append((np.dot, (ones,), (total,)))
        return sums

    def _bound(
        self,
        order: Sequence[int],
        after: Mapping[int, list[_After]],
        instead: Mapping[int, Node],
        targets: Mapping[int, Any],
    ) -> list[_Call]:
        return _with_outputs(
            self._program, self._kept, self.z, self.out, order, after, instead, targets
        )


def _sides(node: Node) -> tuple[Any, Any] | None:
    """Two numbers of which the first is the smaller one where the node is below zero."""
    if node.op is np.subtract:
        return node.args[0], node.args[1]
    if node.op is np.add:
        for a, b in (node.args, node.args[::-1]):
            if not isinstance(b, Ref):
                return a, -b
    return None


def _choose(condition: Any, yes: Any, no: Any, out: Any) -> None:
    np.copyto(out, no)
    np.copyto(out, yes, where=condition)


def _larger(a: Any, b: Any, out: Any) -> None:
    np.maximum(a, b, out=out)


def _smaller(a: Any, b: Any, out: Any) -> None:
    np.minimum(a, b, out=out)


#: Operations that take the array that they fill by its name only.
_BY_NAME: dict[Any, Callable[..., None]] = {np.maximum: _larger, np.minimum: _smaller}


def _run(calls: list[_Call]) -> None:
    for function, args in calls:
        function(*args)


def _with_outputs(
    program: Program,
    kept: Sequence[int],
    z: FloatArray,
    out: FloatArray,
    order: Sequence[int],
    after: Mapping[int, list[_After]],
    instead: Mapping[int, Node],
    targets: Mapping[int, Any] | None = None,
) -> list[_Call]:
    """Calls that fill the rows of `out` with the outputs that are kept.

    Nodes `instead` take the place of those of the program; `targets` are arrays that are given.
    """
    where: dict[int, list[int]] = {}
    for row, k in enumerate(kept):
        result = program.results[k]
        if isinstance(result, Ref):
            where.setdefault(int(result), []).append(row)
        else:
            out[row] = result
    given = {**(targets or {}), **{node: out[rows[0]] for node, rows in where.items()}}
    with nothing_collected():
        calls = _bind(program, order, z, given, after, instead)
    for node, rows in where.items():
        if program.nodes[node].op == "input":
            source = z[int(program.nodes[node].args[0])]
            calls.extend((np.copyto, (out[row], source)) for row in rows)
        else:
            calls.extend((np.copyto, (out[row], out[rows[0]])) for row in rows[1:])
    return calls


def _then(after: Mapping[int, list[_After]], node: int, array: Any) -> list[_Call]:
    """Calls that take a node's array as soon as it is filled."""
    return [(f, (*before, array, *behind)) for f, before, behind in after.get(node, ())]


def _bind(
    program: Program,
    order: Sequence[int],
    z: FloatArray,
    targets: Mapping[int, Any],
    after: Mapping[int, list[_After]],
    instead: Mapping[int, Node],
) -> list[_Call]:
    """The calls in order, with the arrays that each reads and fills; few arrays serve them all.

    `targets` are nodes whose array is given; calls in `after` take a node's array as soon as it
    is filled.
    """
    n = z.shape[1]
    nodes = {i: instead.get(i, program.nodes[i]) for i in (*program.reads, *order)}
    last: dict[int, int] = {}
    for i in order:
        for a in nodes[i].args:
            if isinstance(a, Ref):
                last[int(a)] = i
    place: dict[int, Any] = {i: z[i] for i in program.reads}
    free: dict[bool, list[Any]] = {False: [], True: []}
    calls: list[_Call] = []

    for i in program.reads:
        calls.extend(_then(after, i, place[i]))
    for i in order:
        node = nodes[i]
        primitive = isinstance(node.op, Primitive)
        in_place = node.op != "where" and not primitive
        # numpy takes longer over a float than over an array that holds it
        args = tuple(
            place[int(a)] if isinstance(a, Ref) else np.array(a) if in_place else a
            for a in node.args
        )
        pooled = [
            int(a)
            for a in dict.fromkeys(node.args)
            if isinstance(a, Ref)
            and last[int(a)] == i
            and int(a) not in targets
            and nodes[int(a)].op != "input"
        ]
        if in_place:
            for a in pooled:
                free[nodes[a].boolean].append(place[a])
        if i in targets:
            target = targets[i]
        elif free[node.boolean]:
            target = free[node.boolean].pop()
        else:
            target = np.empty(n, dtype=np.bool_ if node.boolean else np.float64)
        place[i] = target
        if not in_place:
            for a in pooled:
                free[nodes[a].boolean].append(place[a])
        if node.op == "where":
            function: Callable[..., Any] = _choose
        else:
            function = node.op.forward if primitive else _BY_NAME.get(node.op, node.op)
        calls.append((function, (*args, target)))
        if i in after:
            calls.extend(_then(after, i, target))
        if i not in last and i not in targets:
            free[node.boolean].append(target)
    return calls
