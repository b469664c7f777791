"""Correlation matrices: nearest valid one, triangular factor, conversions between measures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from tests.process.loops import rank_correlation
from tolsim.process.correlation import (
    copula_for_pearson,
    copula_of_kendall,
    copula_of_spearman,
    correlate,
    kendall_of_copula,
    nearest,
    pearson_of_copula,
    spearman_of_copula,
    triangle,
)
from tolsim.process.plain import Normal, Uniform
from tolsim.process.shapes import Skewed
from tolsim.record import record


def test_the_nearest_valid_matrix_is_highams() -> None:
    """Higham, IMA J. Numer. Anal. 22 (2002), section 5: 0.7607 and 0.1573 (from memory)."""
    found = nearest([[1, 1, 0], [1, 1, 1], [0, 1, 1]], names=["left", "right", "form"])
    assert_allclose(found.matrix[0], [1.0, 0.7607, 0.1573], atol=5e-5)
    assert np.linalg.eigvalsh(found.matrix)[0] > -1e-10
    assert_allclose(found.moved, 1.0 - 0.7607, atol=5e-5)
    assert "left and right: 1 became 0.761" in found.note


def test_a_valid_matrix_is_left_alone() -> None:
    """A matrix that is valid comes back as it is, without a note; full correlation counts."""
    given = [[1.0, 1.0, 0.3], [1.0, 1.0, 0.3], [0.3, 0.3, 1.0]]
    found = nearest(given)
    assert_allclose(found.matrix, given, rtol=0.0)
    assert (found.moved, found.note) == (0.0, "")


@pytest.mark.parametrize(
    ("matrix", "message"),
    [
        ([[1.0, 0.2]], "is square"),
        ([[1.0, 0.2], [0.3, 1.0]], "is symmetric"),
        ([[1.0, 1.2], [1.2, 1.0]], "entries from -1 to 1"),
        ([[2.0, 0.0], [0.0, 1.0]], "ones on its diagonal"),
    ],
)
def test_what_is_no_correlation_matrix_is_refused(matrix: list[list[float]], message: str) -> None:
    """Shape, symmetry, diagonal and range are checked."""
    with pytest.raises(ValueError, match=message):
        nearest(matrix)
    with pytest.raises(ValueError, match="nearest one first"):
        triangle([[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]])


def test_rows_are_tied_as_the_matrix_says() -> None:
    """Rows times the factor have the matrix for covariance; a singular matrix works too."""
    matrix = np.array([[1.0, 0.6, 0.6], [0.6, 1.0, 1.0], [0.6, 1.0, 1.0]])
    factor = triangle(matrix)
    assert_allclose(factor @ factor.T, matrix, atol=1e-12)
    recording = record(lambda z: correlate(factor, z), 3)
    assert recording.reads == (0, 1)
    z = np.random.default_rng(61).standard_normal((3, 1000))
    assert_allclose(recording(z), factor @ z, rtol=1e-12)


@pytest.mark.parametrize("r", [-0.8, 0.0, 0.35, 0.9])
def test_rank_measures_of_a_gaussian_copula(r: float) -> None:
    """Spearman (6/pi) asin(r/2) and Kendall (2/pi) asin(r), by draws and back again.

    Kruskal, J. Am. Stat. Assoc. 53 (1958) 814-861 (from memory).
    """
    z = np.random.default_rng(62).standard_normal((2, 4000))
    y = r * z[0] + math.sqrt(1.0 - r * r) * z[1]
    error = 5.0 * 1.1 / math.sqrt(4000)
    assert abs(rank_correlation(z[0], y) - spearman_of_copula(r)) < error
    assert abs(stats.kendalltau(z[0], y).statistic - kendall_of_copula(r)) < error
    assert_allclose(copula_of_spearman(spearman_of_copula(r)), r, atol=1e-12)
    assert_allclose(copula_of_kendall(kendall_of_copula(r)), r, atol=1e-12)


def test_pearson_correlation_of_other_shapes() -> None:
    """Two uniforms have the rank correlation for Pearson's; normals keep r; and back."""
    u = Uniform(low=0.0, high=1.0)
    assert_allclose(pearson_of_copula(0.6, u, u), spearman_of_copula(0.6), atol=1e-5)
    n = Normal(mean=3.0, sd=2.0)
    assert_allclose(pearson_of_copula(0.6, n, n), 0.6, atol=1e-10)
    g = Skewed(mean=0.0, sd=1.0, skewness=1.5)
    r = copula_for_pearson(0.6, g, n)
    assert_allclose(pearson_of_copula(r, g, n), 0.6, atol=1e-9)
    with pytest.raises(ValueError, match="cannot be correlated by"):
        copula_for_pearson(-0.99, g, g)
