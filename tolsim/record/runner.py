"""One thread's buffers for a recorded function."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.record.tape import FloatArray, Primitive, Program, Ref

__all__ = ["Judging", "Runner"]

#: Operation, its arguments, and the array that it fills.
_Call = tuple[Any, tuple[Any, ...], Any]


class Runner:
    """One thread's buffers: fill ``z`` (d, n), call, read the returned ``out`` (m, n).

    The returned array is reused by the next call.
    """

    def __init__(self, program: Program, n: int) -> None:
        self.z: FloatArray = np.zeros((program.inputs, n))
        self.out: FloatArray = np.empty((len(program.results), n))
        self._calls, self._copies = _with_outputs(program, range(len(program.results)), self, {})

    def __call__(self) -> FloatArray:
        """Evaluate the columns that stand in ``z``."""
        _run(self._calls, self._copies)
        return self.out


class Judging:
    """One thread's buffers: fill ``z`` (d, n), call, read which outputs are below zero.

    An output is judged as soon as it is computed, while it is still in the cache, and its buffer
    is used again: with hundreds of outputs that takes half the time of keeping them all.

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
        self._sums = np.zeros(len(rows))
        ones = np.ones(n)
        after: dict[int, list[_Call]] = {}
        for (_, r), row in rows.items():
            if isinstance(r, Ref):
                total = self._sums[row : row + 1].reshape(())
                after[int(r)] = [(np.less, (0.0,), self.failed[row]), (np.dot, (ones,), total)]
            else:
                self.failed[row] = r < 0.0
                self._sums[row] = r
        wanted = {int(r) for r in results if isinstance(r, Ref)}
        self._calls, self._copies = _with_outputs(program, kept, self, after, wanted)

    def __call__(self) -> NDArray[np.bool_]:
        """Judge the columns that stand in ``z``; the returned array is reused by the next call."""
        _run(self._calls, self._copies)
        return self.failed

    @property
    def finite(self) -> bool:
        """Whether every judged number of the last call is one."""
        return bool(np.isfinite(self._sums).all())


def _run(calls: list[_Call], copies: list[tuple[Any, Any]]) -> None:
    for op, args, target in calls:
        if op == "where":
            np.copyto(target, args[2])
            np.copyto(target, args[1], where=args[0])
        elif isinstance(op, Primitive):
            op.forward(*args, target)
        else:
            op(*args, out=target)
    for source, target in copies:
        np.copyto(target, source)


def _with_outputs(
    program: Program,
    kept: Sequence[int],
    buffers: Runner | Judging,
    after: Mapping[int, list[_Call]],
    more: set[int] | None = None,
) -> tuple[list[_Call], list[tuple[Any, Any]]]:
    """Calls that fill ``out`` with these outputs, and copies of what is there already."""
    z, out = buffers.z, buffers.out
    where: dict[int, list[int]] = {}
    for row, k in enumerate(kept):
        result = program.results[k]
        if isinstance(result, Ref):
            where.setdefault(int(result), []).append(row)
        else:
            out[row] = result
    order = program.order if more is None else program.needed({*where, *more})
    calls = _bind(program, order, z, {node: out[rows[0]] for node, rows in where.items()}, after)
    copies: list[tuple[Any, Any]] = []
    for node, rows in where.items():
        if program.nodes[node].op == "input":
            copies.extend((z[int(program.nodes[node].args[0])], out[row]) for row in rows)
        else:
            copies.extend((out[rows[0]], out[row]) for row in rows[1:])
    return calls, copies


def _bind(
    program: Program,
    order: Sequence[int],
    z: FloatArray,
    targets: Mapping[int, FloatArray],
    after: Mapping[int, list[_Call]],
) -> list[_Call]:
    """The calls in order, with the arrays that each reads and fills; few arrays serve them all.

    `targets` are nodes whose array is given; calls in `after` take a node's array as their first
    argument as soon as it is filled.
    """
    nodes, n = program.nodes, z.shape[1]
    last: dict[int, int] = {}
    for i in order:
        for a in nodes[i].args:
            if isinstance(a, Ref):
                last[int(a)] = i
    place: dict[int, Any] = {i: z[i] for i in program.reads}
    free: dict[bool, list[Any]] = {False: [], True: []}
    calls: list[_Call] = []
    for i in program.reads:
        calls.extend((op, (place[i], *args), target) for op, args, target in after.get(i, ()))
    for i in order:
        node = nodes[i]
        args = tuple(place[int(a)] if isinstance(a, Ref) else a for a in node.args)
        pooled = [
            int(a)
            for a in dict.fromkeys(node.args)
            if isinstance(a, Ref)
            and last[int(a)] == i
            and int(a) not in targets
            and nodes[int(a)].op != "input"
        ]
        in_place = node.op != "where" and not isinstance(node.op, Primitive)
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
        calls.append((node.op, args, target))
        calls.extend((op, (target, *more), out) for op, more, out in after.get(i, ()))
        if i not in last and i not in targets:
            free[node.boolean].append(target)
    return calls
