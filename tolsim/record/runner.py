"""One thread's buffers for a recorded function."""

from __future__ import annotations

from typing import Any

import numpy as np

from tolsim.record.tape import FloatArray, Primitive, Program, Ref

__all__ = ["Runner"]


class Runner:
    """One thread's buffers: fill ``z`` (d, n), call, read the returned ``out`` (m, n).

    The returned array is reused by the next call.
    """

    def __init__(self, program: Program, n: int) -> None:
        self.z: FloatArray = np.zeros((program.inputs, n))
        self.out: FloatArray = np.empty((len(program.results), n))
        self._calls: list[tuple[Any, tuple[Any, ...], Any]] = []
        self._bind(program, n)

    def _bind(self, rec: Program, n: int) -> None:
        last: dict[int, int] = {}
        for i in rec.order:
            for a in rec.nodes[i].args:
                if isinstance(a, Ref):
                    last[int(a)] = i
        where_out: dict[int, list[int]] = {}
        for k, o in enumerate(rec.results):
            if isinstance(o, Ref):
                where_out.setdefault(int(o), []).append(k)
            else:
                self.out[k] = o
        place: dict[int, Any] = {i: self.z[i] for i in rec.reads}
        free: dict[bool, list[Any]] = {False: [], True: []}
        copies: list[tuple[Any, Any]] = []
        for i in rec.order:
            node = rec.nodes[i]
            args = tuple(place[int(a)] if isinstance(a, Ref) else a for a in node.args)
            dying = [
                int(a)
                for a in dict.fromkeys(node.args)
                if isinstance(a, Ref) and last[int(a)] == i and int(a) not in where_out
            ]
            pooled = [a for a in dying if rec.nodes[a].op != "input"]
            in_place = node.op != "where" and not isinstance(node.op, Primitive)
            if in_place:
                for a in pooled:
                    free[rec.nodes[a].boolean].append(place[a])
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
                    free[rec.nodes[a].boolean].append(place[a])
            self._calls.append((node.op, args, target))
        for o, ks in where_out.items():
            if o in rec.reads and rec.nodes[o].op == "input":
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
