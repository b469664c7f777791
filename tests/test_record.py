"""Recorded array code: replay equals the plain run, gradients equal differences."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from tolsim.record import Array, Primitive, Tracer, record


def _cube(x: np.ndarray, out: np.ndarray) -> None:
    np.multiply(x * x, x, out=out)


CUBE = Primitive(_cube, lambda x: 3.0 * x * x)


def _length(a: Any, b: Any) -> Any:
    """What a recorded hypotenuse computes: it differs from numpy's in the last digit."""
    if isinstance(a, Tracer) or isinstance(b, Tracer):
        return np.hypot(a, b)
    return np.sqrt(a * a + b * b)


#: operations that are smooth everywhere, so that a complex step differentiates them exactly
SMOOTH: list[Callable[[Any, Any, Any], Any]] = [
    lambda a, b, c: a + b,
    lambda a, b, c: a - b,
    lambda a, b, c: np.sin(a * b),
    lambda a, b, c: a / (1.0 + np.square(b)),
    lambda a, b, c: np.cos(a) - b,
    lambda a, b, c: -a,
    lambda a, b, c: np.exp(-np.square(a)),
    lambda a, b, c: np.sqrt(1.0 + np.square(a) + np.square(c)),
    lambda a, b, c: np.log(2.0 + np.sin(a)),
    lambda a, b, c: np.log1p(np.square(a)),
    lambda a, b, c: np.expm1(np.sin(b)),
    lambda a, b, c: np.arctan(a),
    lambda a, b, c: (1.5 + np.sin(a)) ** 1.7,
    lambda a, b, c: 2.0 * a - 1.0,
]
KINKED: list[Callable[[Any, Any, Any], Any]] = [
    lambda a, b, c: np.maximum(a, b),
    lambda a, b, c: np.minimum(a, c),
    lambda a, b, c: np.abs(a),
    lambda a, b, c: np.where(a < b, b, c),
    lambda a, b, c: np.where((a < b) & ~(c >= a), a, 0.5),
    lambda a, b, c: np.where(np.logical_or(a > 0.0, b <= c), 1.0, a),
    lambda a, b, c: _length(a, b),
    lambda a, b, c: np.arctan2(a, 1.0 + np.square(b)),
    lambda a, b, c: np.sign(a) * b,
    lambda a, b, c: CUBE(np.sin(a)),
]

steps = st.lists(st.tuples(*[st.integers(0, 10**6)] * 4), min_size=1, max_size=40)
picks = st.lists(st.integers(0, 10**6), min_size=1, max_size=6)


def graph(
    ops: list[Callable[[Any, Any, Any], Any]], plan: list[Any], outputs: list[int]
) -> Callable[[Sequence[Array]], list[Array]]:
    """A function of 3 rows that walks through `plan`; its outputs may repeat, or be inputs."""

    def function(z: Sequence[Array]) -> list[Array]:
        pool = [z[0], z[1], z[2]]
        for op, i, j, k in plan:
            pool.append(ops[op % len(ops)](*(pool[x % len(pool)] for x in (i, j, k))))
        return [pool[o % len(pool)] for o in outputs]

    return function


def normals(n: int = 7, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((3, n))


@given(steps, picks)
@settings(max_examples=150, deadline=None)
def test_replay_equals_the_plain_run(plan: list[Any], outputs: list[int]) -> None:
    """Any graph, its buffers reused in place, gives bit for bit what plain numpy gives, twice."""
    f = graph(SMOOTH + KINKED, plan, outputs)
    z = normals()
    plain = np.array(f(list(z)))
    r = record(f, 3)
    assert_array_equal(r(z), plain)
    run = r.runner(7)
    for _ in range(2):  # the second call starts from buffers that the first left behind
        run.z[:] = z
        assert_array_equal(run(), plain)
        assert_array_equal(run.z, z)


@given(steps, picks)
@settings(max_examples=80, deadline=None)
def test_gradient_equals_the_complex_step(plan: list[Any], outputs: list[int]) -> None:
    """The backward sweep agrees with Im f(z + ih)/h, exact to rounding for smooth functions."""
    f = graph(SMOOTH, plan, outputs)
    z = normals()
    weights = np.random.default_rng(1).normal(size=(len(outputs), 7))
    value, got = record(f, 3).values_and_gradient(z, lambda _: weights)
    assert_array_equal(value, np.array(f(list(z))))
    for i in range(3):
        moved = z.astype(complex)
        moved[i] += 1e-30j
        want = sum(w * np.imag(y) / 1e-30 for w, y in zip(weights, f(list(moved)), strict=True))
        assert_allclose(got[i], want, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("k", range(len(KINKED)))
def test_gradient_of_kinked_operations(k: int) -> None:
    """Each operation with a kink has the central difference as its slope away from the kink."""
    f = graph(KINKED, [(k, 0, 1, 2)], [3])
    z = np.array([[0.7, -0.6, 1.4], [-0.4, 1.3, 0.9], [0.2, 2.0, -0.5]])
    got = record(f, 3).gradient(z, np.ones((1, 3)))
    for i in range(3):
        up, down = z.copy(), z.copy()
        up[i] += 1e-6
        down[i] -= 1e-6
        want = (f(list(up))[0] - f(list(down))[0]) / 2e-6
        assert_allclose(got[i], want, atol=1e-8)


def test_slopes_at_kinks_are_finite() -> None:
    """sqrt at 0, hypot at the origin and a branch that divides by 0 leave no NaN behind."""
    r = record(
        lambda z: [
            np.sqrt(np.abs(z[0])),
            np.hypot(z[0], z[1]),
            np.arctan2(z[0], z[1]),
            np.where(z[0] > 0.0, 1.0 / np.maximum(z[0], 0.0), 0.0),
        ],
        2,
    )
    _, grad = r.values_and_gradient(np.zeros((2, 1)), lambda out: np.ones_like(out))
    assert np.isfinite(grad).all()


def test_gradient_of_the_active_output() -> None:
    """Weights chosen from the outputs pick the slope of the smallest of them."""
    r = record(lambda z: [1.0 - z[0], 2.0 - 3.0 * z[1]], 2)
    z = np.array([[0.9, 0.0], [0.0, 0.9]])
    _, grad = r.values_and_gradient(z, lambda out: (out == out.min(axis=0)).astype(float))
    assert_array_equal(grad, [[-1.0, 0.0], [0.0, -3.0]])


def test_what_is_written_twice_is_computed_once() -> None:
    """Equal operations on equal arguments are one call; unused ones are none."""

    def f(z: Sequence[Array]) -> list[Array]:
        np.exp(z[1])
        return [np.sin(z[0] + z[1]) + np.sin(z[0] + z[1]), np.sin(z[0] + z[1])]

    r = record(f, 2)
    assert r.calls == 3  # one sum, one sine, one doubling
    assert r.reads == (0, 1)


def test_equal_numbers_of_different_kind_do_not_collide() -> None:
    """True and 1.0 as arguments, node 1 and constant 1.0, stay apart."""
    r = record(
        lambda z: [
            z[0] + 1.0,
            z[0] + z[1],
            np.where(np.logical_and(z[0] > 0.0, True), z[0], 1.0),
            z[1] + 0.0,
        ],
        2,
    )
    assert_array_equal(r(np.array([[2.0], [5.0]]))[:, 0], [3.0, 7.0, 2.0, 5.0])


def test_constants_and_inputs_may_be_outputs() -> None:
    """An output may be a number, a row itself, and the same row twice."""
    r = record(lambda z: [4, z[1], z[1], z[0] * 2.0], 2)
    z = np.array([[1.0, 2.0], [3.0, 4.0]])
    want = [[4.0, 4.0], [3.0, 4.0], [3.0, 4.0], [2.0, 4.0]]
    assert_array_equal(r(z), want)
    run = r.runner(2)
    run.z[:] = z
    assert_array_equal(run(), want)
    assert_array_equal(r.select([3, 1])(z), [[2.0, 4.0], [3.0, 4.0]])
    assert_array_equal(r.gradient(z, np.ones((4, 2))), [[2.0, 2.0], [2.0, 2.0]])


def test_blocks_of_a_long_array_join() -> None:
    """More columns than a block, and a last block that is not full, give the same values."""
    r = record(lambda z: [np.sin(z[0]) * z[2], z[1] / 3.0], 3)
    z = normals(20_001)
    assert_array_equal(r(z), [np.sin(z[0]) * z[2], z[1] / 3.0])
    assert r(z[:, :0]).shape == (2, 0)


def test_a_recorded_hypotenuse_is_numpys() -> None:
    """To the last digits, with the slopes a/h and b/h, and slope 0 at the tip."""
    r = record(lambda z: [np.hypot(1e-6 * z[0], z[1])], 2)
    z = np.hstack([normals(500)[:2], np.zeros((2, 1))])
    h = np.hypot(1e-6 * z[0], z[1])
    assert_allclose(r(z)[0], h, rtol=4e-16)
    with np.errstate(invalid="ignore"):
        slopes = np.nan_to_num(np.array([1e-12 * z[0], z[1]]) / h)
    assert_allclose(r.gradient(z, np.ones((1, 501))), slopes, rtol=4e-15)


def test_threads_with_runners_of_their_own_agree() -> None:
    """Two runners of one recording, used at once, do not disturb one another."""
    f = graph(SMOOTH + KINKED, [(k, k, k + 1, k + 2) for k in range(24)], [26, 20, 11])
    r = record(f, 3)
    draws = [normals(4096, seed) for seed in range(8)]
    got: dict[int, np.ndarray] = {}

    def work(which: int) -> None:
        run = r.runner(4096)
        for i in range(which, 8, 2):
            run.z[:] = draws[i]
            got[i] = run().copy()

    threads = [threading.Thread(target=work, args=(k,)) for k in range(2)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    for i in range(8):
        assert_array_equal(got[i], r(draws[i]))


def test_a_primitive_computes_and_records() -> None:
    """Called on numbers a primitive computes, on tracers it records with its slope."""
    assert CUBE(2.0) == 8.0
    assert_array_equal(CUBE(np.array([1.0, 3.0])), [1.0, 27.0])
    r = record(lambda z: [CUBE(z[0]) + CUBE(z[0])], 1)
    assert r.calls == 2
    assert_array_equal(r(np.array([[2.0]])), [[16.0]])
    assert_array_equal(r.gradient(np.array([[2.0]]), np.ones((1, 1))), [[24.0]])


@pytest.mark.parametrize(
    ("function", "error", "message"),
    [
        (lambda z: [z[0] if z[0] > 0 else z[1]], TypeError, "cannot branch on drawn values"),
        (lambda z: [float(z[0])], TypeError, "into a float"),
        (lambda z: [np.add.reduce(z[0])], TypeError, "add.reduce"),
        (lambda z: [np.floor(z[0])], TypeError, "numpy.floor has no rule"),
        (lambda z: [np.sum(z[0])], TypeError, "numpy.sum cannot be recorded"),
        (lambda z: [z[0] + np.arange(3.0)], ValueError, "scalar constants only"),
        (lambda z: [z[0] > 0.0], TypeError, "not truth values"),
    ],
)
def test_what_cannot_be_recorded_is_said(
    function: Callable[[Any], Any], error: type[Exception], message: str
) -> None:
    """Branches, reductions, array constants and unknown functions stop the recording."""
    with pytest.raises(error, match=message):
        record(function, 2)


def test_tracers_of_two_recordings_do_not_mix() -> None:
    """A tracer kept from one recording is refused in another."""
    kept: list[Any] = []

    def keep(z: Sequence[Array]) -> Sequence[Array]:
        kept.append(z[0])
        return z

    record(keep, 1)
    with pytest.raises(ValueError, match="two recordings"):
        record(lambda z: [z[0] + kept[0]], 1)


def test_primitive_of_several_arguments() -> None:
    """A primitive of two rows, or of a row and a constant, has values and both slopes."""

    def forward(a: Array, b: Array, out: Array) -> None:
        np.multiply(a, np.square(b), out=out)

    both = Primitive(forward, lambda a, b: (np.square(b), 2.0 * a * b))
    taped = record(lambda z: [both(z[0], z[1]), both(3.0, z[1]), both(z[0], 2.0)], 2)
    z = np.array([[1.0, 2.0], [3.0, 5.0]])
    assert taped(z).tolist() == [[9.0, 50.0], [27.0, 75.0], [4.0, 8.0]]
    assert both(np.array([1.0, 2.0]), 3.0).tolist() == [9.0, 18.0]
    assert both(2.0, 3.0) == 18.0
    slope = taped.gradient(z, np.ones((3, 2)))
    # d/da (a b² + 4 a) = b² + 4; d/db (a b² + 3 b²) = 2 a b + 6 b
    assert slope.tolist() == [[13.0, 29.0], [24.0, 50.0]]


@given(steps, picks)
@settings(max_examples=60, deadline=None)
def test_judging_equals_the_sign_of_the_outputs(plan: list[Any], outputs: list[int]) -> None:
    """An output judged as soon as it is computed fails where its kept value is below zero."""
    recording = record(graph(SMOOTH + KINKED, plan, outputs), 3)
    z = normals(17)
    with np.errstate(all="ignore"):
        wanted = recording(z)
        judge = recording.judging(17, range(recording.outputs), [recording.outputs - 1])
        judge.z[:] = z
        failed = judge().copy()
        for k, row in enumerate(wanted):
            assert_array_equal(failed[judge.rows[k]], row < 0.0)
        assert_array_equal(judge.out[0], wanted[-1])
        assert judge.finite == bool(np.isfinite(wanted.sum(axis=1)).all())


def test_judging_tells_what_is_no_number() -> None:
    """A single output that is no number is told, also after a call in which all were."""
    recording = record(lambda z: [np.log(z[0]), z[0] - 1.0, 2.0], 1)
    judge = recording.judging(3, [0, 1, 2])
    judge.z[0] = [1.0, 2.0, 0.5]
    assert judge().sum(axis=1).tolist() == [1, 1, 0]
    assert judge.finite
    judge.z[0, 1] = -1.0
    with np.errstate(invalid="ignore"):
        judge()
    assert not judge.finite


_nothing = Primitive(
    lambda x, out: np.copyto(out, np.where(x > 1.0, np.nan, x)), lambda x: np.ones_like(x)
)


@pytest.mark.parametrize(
    ("margin", "bad", "masked"),
    [
        (lambda z: z - 1.0, np.nan, 1.0),
        (lambda z: 1.0 - np.sqrt(z), -1.0, 0.5),
        (lambda z: 1.0 / z - 1.0 / z, 0.0, 0.5),
        (lambda z: z * 1e300 - 1.0, 1e300, 0.5),
        (lambda z: np.exp(z) - 1.0, 1e4, 0.5),
        (lambda z: _nothing(z) - 1.0, 2.0, 0.5),
    ],
)
def test_judging_looks_wherever_a_number_can_go_wrong(
    margin: Callable[[Any], Any], bad: float, masked: float
) -> None:
    """A draw, a root, a quotient, a product, an exponential or a table that gives no number is
    told where it reaches a margin that is judged by its sign alone; where a choice leaves it out
    all margins stay numbers and are judged as they are."""
    whole = record(lambda z: [margin(z[0]), z[1]], 2)
    choice = record(lambda z: [np.where(z[1] > 0.0, margin(z[0]), z[1]), z[1]], 2)
    z = np.full((2, 64), masked)
    for recording in (whole, choice):
        judge = recording.judging(64, [0, 1])
        judge.z[:] = z
        wanted = recording(z) < 0.0
        assert_array_equal(judge()[[judge.rows[0], judge.rows[1]]], wanted)
        assert judge.finite
        judge.z[:, 7] = bad, -3.0
        with np.errstate(all="ignore"):
            failed = judge()
        assert judge.finite == (recording is choice)
        assert failed[judge.rows[1]].tolist() == [k == 7 for k in range(64)]
    assert failed[judge.rows[0], 7]


def test_what_changes_nothing_is_not_recorded() -> None:
    """x + 0, 0 + x, x - 0, x * 1, 1 * x and x / 1 are x; 0 - x and 1 / x are not."""
    plain = record(lambda z: [z[0] * z[1]], 2)
    idle = record(lambda z: [1.0 * ((0.0 + (z[0] + 0.0) - 0.0) * (z[1] * 1.0)) / 1.0], 2)
    assert idle.calls == plain.calls == 1
    other = record(lambda z: [0.0 - z[0], 1.0 / z[0]], 1)
    assert_array_equal(other(np.array([[2.0]])), [[-2.0], [0.5]])
    # a truth value plus nothing is a number
    truth = record(lambda z: [(z[0] < 0.0) + 0.0], 1)
    assert_array_equal(truth(np.array([[-1.0, 1.0]])), [[1.0, 0.0]])
