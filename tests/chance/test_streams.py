"""Named streams: what they depend on, and that they are normal and independent."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from scipy import stats

from tolsim.chance.streams import Streams, generator

NAMES = ["bore", "ring", "sleeve", "shell"]


def block(names: list[str], index: int, *, seed: int = 5, n: int = 1000) -> np.ndarray:
    out = np.empty((len(names), n))
    Streams(seed, names).fill(index, out)
    return out


def test_a_row_depends_on_its_name_alone() -> None:
    """Adding and reordering variables leaves the draws of the others alone."""
    few, many = block(["ring", "bore"], 3), block(["new", *NAMES], 3)
    assert (few[0] == many[2]).all()
    assert (few[1] == many[1]).all()


def test_blocks_repeat_alone_and_differ() -> None:
    """Block 7 is the same whether or not others were drawn before, and differs from block 8."""
    s, a, b = Streams(5, NAMES), np.empty((4, 100)), np.empty((4, 100))
    s.fill(0, a)
    s.fill(7, a)
    Streams(5, NAMES).fill(7, b)
    assert (a == b).all()
    s.fill(8, b)
    assert not (a == b).any()


def test_wanted_rows_equal_those_of_the_full_block() -> None:
    """Drawing some rows gives what they are in the whole block, in the order asked."""
    part = np.empty((2, 1000))
    Streams(5, NAMES).fill(2, part, rows=[3, 0])
    assert (part == block(NAMES, 2)[[3, 0]]).all()


def test_a_short_block_is_the_head_of_the_full_one() -> None:
    """The last, shorter block holds the first columns of the full one."""
    assert (block(NAMES, 1, n=10) == block(NAMES, 1, n=1000)[:, :10]).all()


def test_zero_is_a_seed_and_seeds_differ() -> None:
    """Seed 0 draws repeatably and unlike seed 1; a negative or fractional seed is refused."""
    assert (block(NAMES, 0, seed=0) == block(NAMES, 0, seed=0)).all()
    assert not (block(NAMES, 0, seed=0) == block(NAMES, 0, seed=1)).any()
    for bad in (-1, 1.5, True):
        with pytest.raises(ValueError, match="a seed is a whole number from 0 up"):
            Streams(bad, NAMES)  # type: ignore[arg-type]


def test_names_that_collide_are_named() -> None:
    """Two rows of one name would share draws: both names and rows stand in the error."""
    with pytest.raises(ValueError, match="rows 0 and 2 would share their draws: 'a' and 'a'"):
        Streams(1, ["a", "b", "a"])


def test_names_and_seeds_do_not_run_into_one_another() -> None:
    """Seed 1 with name '2x' is not seed 12 with name 'x'."""
    assert not (block(["2x"], 0, seed=1) == block(["x"], 0, seed=12)).any()


def test_threads_may_share_one_object() -> None:
    """Blocks drawn by four threads from one object equal those drawn by one."""
    s = Streams(9, NAMES)
    got = np.empty((16, 4, 2000))

    def work(k: int) -> None:
        for i in range(k, 16, 4):
            s.fill(i, got[i])

    threads = [threading.Thread(target=work, args=(k,)) for k in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    for i in range(16):
        assert (got[i] == block(NAMES, i, seed=9, n=2000)).all()


def test_draws_are_standard_normal() -> None:
    """Kolmogorov's distance and four moments over 2^18 draws of many blocks stay in their bounds.

    Bounds from n: Kolmogorov at 1e-6 two-sided; moments at 5 of their standard errors
    (1, 2, 15, 96 over n are the variances of the first four sample moments about zero).
    """
    z = np.concatenate([block(NAMES, i, n=8192).ravel() for i in range(8)])
    n = z.size
    assert n == 2**18
    assert stats.kstest(z, "norm").pvalue > 1e-6
    for power, (mean, variance) in enumerate([(0, 1), (1, 2), (0, 15), (3, 96)], start=1):
        assert abs((z**power).mean() - mean) < 5 * np.sqrt(variance / n)


def test_streams_and_blocks_are_uncorrelated() -> None:
    """No pair among 12 names x 12 blocks correlates beyond 5.5 standard errors of 4096 draws."""
    names = [f"{k}" for k in range(12)]  # similar names are the hard case
    z = np.concatenate([block(names, i, n=4096) for i in range(12)])
    c = np.corrcoef(z)
    np.fill_diagonal(c, 0.0)
    assert np.abs(c).max() < 5.5 / np.sqrt(4096)


def test_stage_generators_are_keyed_and_no_stream() -> None:
    """A stage's generator repeats, differs by label and index, and is no stream of that name."""
    draw = [generator(3, *k).standard_normal(4) for k in [("a", 0), ("a", 0), ("a", 1), ("b", 0)]]
    assert (draw[0] == draw[1]).all()
    assert not (draw[0] == draw[2]).any()
    assert not (draw[0] == draw[3]).any()
    assert not (draw[0] == block(["a"], 0, seed=3, n=4)[0]).any()
