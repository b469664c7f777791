"""Classes, pairings and the two sizes of a picked pair, against parts sorted one by one."""

from __future__ import annotations

import math
from collections import deque

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.process.loops import FloatArray, dkw, rank_correlation, share_error, two_sample
from tolsim.process.base import Process
from tolsim.process.classes import (
    Classes,
    bounded_pairing,
    equal_count,
    equal_width,
    matched_pairing,
)
from tolsim.process.plain import Normal
from tolsim.process.selective import pick, read_as
from tolsim.process.skewed import Skewed
from tolsim.record import record

BORE = Normal(mean=0.0, sd=0.006)
RING = Normal(mean=-0.0025, sd=0.003)
SKEW = Skewed(mean=-0.0025, sd=0.003, skewness=-1.0)


def sort_and_pair(
    bore: Process,
    ring: Process,
    classes: tuple[Classes, Classes],
    plan: FloatArray,
    made: int,
    sorting_sd: tuple[float, float],
    rng: np.random.Generator,
) -> tuple[FloatArray, int, int]:
    """Make parts, read them, put them into boxes, then take from the boxes as the plan says."""
    boxes: list[list[deque[float]]] = []
    outside = [0, 0]
    for which, (process, sd) in enumerate(zip((bore, ring), sorting_sd, strict=True)):
        edges = classes[which].edges
        mine: list[deque[float]] = [deque() for _ in range(classes[which].count)]
        sizes = process.quantile(rng.random(made))
        for size in sizes.tolist():
            reading = size + sd * rng.standard_normal()
            for k in range(classes[which].count):
                if edges[k] <= reading < edges[k + 1]:
                    mine[k].append(size)
                    break
            else:
                outside[which] += 1
        boxes.append(mine)
    pairs = []
    for i, row in enumerate(plan):
        for j, share in enumerate(row.tolist()):
            for _ in range(round(share * made)):
                if boxes[0][i] and boxes[1][j]:
                    pairs.append((boxes[0][i].popleft(), boxes[1][j].popleft()))
    left = sum(len(b) for b in boxes[0])
    return np.array(pairs).T, left, outside[0]


@pytest.mark.parametrize("ring", [RING, SKEW])
@pytest.mark.parametrize("how", ["equal count", "equal width"])
def test_matched_pairs_are_those_of_sorted_boxes(ring: Process, how: str) -> None:
    """Marginals, rank correlation, fit, share too loose and left-overs agree with sorted boxes."""
    if how == "equal count":
        classes = (equal_count(BORE, 4), equal_count(ring, 4))
    else:
        classes = (equal_width(-0.015, 0.015, 5), equal_width(-0.0175, 0.0125, 5))
    pairing = matched_pairing(classes[0].shares(BORE), classes[1].shares(ring))
    drawn = pick(BORE, ring, classes, pairing)
    made = 40_000
    rng = np.random.default_rng(21)
    (bores, rings), left, outside = sort_and_pair(
        BORE, ring, classes, pairing.shares, made, (0.0, 0.0), rng
    )
    n = 200_000
    x, y = drawn.sizes(*rng.standard_normal((2, n)))
    slack = dkw(n) + dkw(bores.size)
    assert two_sample(bores, x) < slack
    assert two_sample(rings, y) < slack
    assert two_sample(bores - rings, x - y) < slack
    error = 5.0 * 1.1 / math.sqrt(bores.size)
    assert abs(rank_correlation(bores, rings) - rank_correlation(x, y)) < error
    loose = float(np.mean(bores - rings > 0.004))
    assert abs(loose - float(np.mean(x - y > 0.004))) < share_error(loose, bores.size) * 1.2
    assert abs(left / made - pairing.left_first) < 2.0 * share_error(0.5, made)
    assert abs(outside / made - pairing.outside_first) < share_error(0.02, made)


def test_bounded_pairing_leaves_less_over() -> None:
    """Neighbouring classes may help out: fewer left-overs, and pairs as taken from the boxes."""
    classes = (equal_width(-0.015, 0.015, 6), equal_width(-0.0175, 0.0125, 6))
    shares = classes[0].shares(BORE), classes[1].shares(RING)
    alone, helped = matched_pairing(*shares), bounded_pairing(*shares, reach=1)
    assert helped.left_first < alone.left_first
    assert_allclose(bounded_pairing(*shares, reach=0).shares, alone.shares, atol=1e-9)
    drawn = pick(BORE, RING, classes, helped)
    rng = np.random.default_rng(22)
    made = 40_000
    (bores, rings), left, _ = sort_and_pair(
        BORE, RING, classes, helped.shares, made, (0.0, 0.0), rng
    )
    x, y = drawn.sizes(*rng.standard_normal((2, 200_000)))
    assert two_sample(bores, x) < dkw(bores.size) + dkw(200_000)
    assert two_sample(rings, y) < dkw(bores.size) + dkw(200_000)
    error = 5.0 * 1.1 / math.sqrt(bores.size)
    assert abs(rank_correlation(bores, rings) - rank_correlation(x, y)) < error
    assert abs(left / made - helped.left_first) < 2.0 * share_error(0.5, made)


def test_sorting_with_gauge_error_blurs_the_classes() -> None:
    """Parts put into the wrong box: pairs agree with boxes filled by scattering readings."""
    classes = (equal_count(read_as(BORE, 0.002), 4), equal_count(read_as(RING, 0.001), 4))
    readings = read_as(BORE, 0.002), read_as(RING, 0.001)
    pairing = matched_pairing(classes[0].shares(readings[0]), classes[1].shares(readings[1]))
    drawn = pick(BORE, RING, classes, pairing, sorting_sd=(0.002, 0.001))
    assert drawn.rows == 4
    rng = np.random.default_rng(23)
    (bores, rings), _, _ = sort_and_pair(
        BORE, RING, classes, pairing.shares, 40_000, (0.002, 0.001), rng
    )
    x, y = drawn.sizes(*rng.standard_normal((4, 200_000)))
    slack = dkw(bores.size) + dkw(200_000)
    assert two_sample(bores, x) < slack
    assert two_sample(bores - rings, x - y) < slack
    with pytest.raises(ValueError, match="normal parts only"):
        read_as(SKEW, 0.001)


def test_picked_pairs_can_be_recorded() -> None:
    """The recorded map of two rows draws the same pairs."""
    classes = (equal_count(BORE, 3), equal_count(RING, 3))
    pairing = matched_pairing(classes[0].shares(BORE), classes[1].shares(RING))
    drawn = pick(BORE, RING, classes, pairing)
    recording = record(lambda z: list(drawn.sizes(z[0], z[1])), 2)
    z = np.random.default_rng(24).standard_normal((2, 1000))
    assert_allclose(recording(z), np.stack(drawn.sizes(*z)), rtol=1e-14)


def test_unlike_supplies_leave_the_surplus() -> None:
    """With 1.2 rings a bore in three like classes a fifth of a ring is left per bore."""
    thirds = np.full(3, 1.0 / 3.0)
    pairing = matched_pairing(thirds, thirds, ratio=1.2)
    assert_allclose([pairing.paired, pairing.left_first], [1.0, 0.0], atol=1e-12)
    assert_allclose(pairing.left_second, 0.2)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Classes(edges=(1.0, 1.0)), "edges must increase"),
        (lambda: equal_width(1.0, 0.0, 3), "need low < high"),
        (lambda: equal_count(BORE, 0), "at least one"),
        (lambda: matched_pairing(np.ones(2) / 2, np.ones(3) / 3), "same number of classes"),
        (lambda: matched_pairing(np.ones(2) / 2, np.ones(2) / 2, ratio=0.0), "positive ratio"),
        (lambda: bounded_pairing(np.ones(2) / 2, np.ones(2) / 2, reach=-1), "not be negative"),
        (
            lambda: pick(
                BORE,
                RING,
                (equal_count(BORE, 2), equal_count(RING, 2)),
                matched_pairing(np.array([1.0, 0.0]), np.array([0.0, 1.0])),
            ),
            "finds a partner",
        ),
    ],
)
def test_classes_that_make_no_sense_are_refused(make: object, message: str) -> None:
    """Edges, counts and pairings are checked when made."""
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
