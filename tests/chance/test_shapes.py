"""Components shaped by failing samples."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from tolsim.chance.shapes import Training, global_shapes, informative_axes, local_shape


def training(z: np.ndarray) -> Training:
    n = z.shape[1]
    return Training(z=z, counts=np.full(n, 1.0 / n), effective=float(n))


def sample(n: int = 4000, d: int = 30, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((d, n))


def test_noise_is_not_information() -> None:
    """Plain draws show no direction that matters, in nineteen of twenty samples or more.

    The largest eigenvalue passes the random-matrix edge, widened by 15 %, in far fewer.
    """
    found = [informative_axes(training(sample(seed=s)), np.eye(30))[1].size for s in range(20)]
    assert sum(f > 0 for f in found) <= 1


def test_a_direction_that_matters_is_found() -> None:
    """A shift of 4 along one direction shows as one axis, with second moment 17."""
    z = sample()
    a = np.random.default_rng(9).normal(size=30)
    a /= np.linalg.norm(a)
    z += 4.0 * a[:, None]
    axes, moments = informative_axes(training(z), np.eye(30))
    assert axes.shape == (30, 1)
    assert abs(axes[:, 0] @ a) > 0.99
    assert_allclose(moments, 17.0, rtol=0.05)


def test_a_cliff_beside_the_slopes_is_found() -> None:
    """With slopes confined to rows 0 and 1, a row cut off at 2.3 still shows, outside of them."""
    z = sample()
    z[0] += 3.0
    z[5] = 2.3 + np.abs(z[5]) * 0.4
    axes, moments = informative_axes(training(z), np.eye(30)[:, :2])
    assert axes.shape == (30, 2)
    assert_allclose(np.abs(axes[[0, 5], [0, 1]]), 1.0, atol=0.02)
    assert_allclose(axes.T @ axes, np.eye(2), atol=1e-12)
    assert (moments > 5.0).all()


def test_rings_get_shapes_about_the_origin() -> None:
    """A ring gives components centred at the origin with the ring's second moment in its plane."""
    z = sample()
    t = np.random.default_rng(3).uniform(0.0, 2.0 * np.pi, z.shape[1])
    z[3], z[8] = 5.0 * np.cos(t), 5.0 * np.sin(t)
    span = np.eye(30)[:, [3, 8]]
    trained = training(z)
    axes, moments = informative_axes(trained, span)
    shapes = global_shapes(trained, axes, moments, span)
    assert all((s.mean == 0.0).all() for s in shapes)
    plane = [s for s in shapes if s.axes.shape[1] == 2]
    assert plane
    for s in plane:
        assert_allclose(s.variances, 12.5, rtol=0.1)


def test_a_region_gets_its_own_shape() -> None:
    """The samples of one region give its mean and a covariance widened where it is narrow."""
    z = sample()
    z[0] = 4.0 + 0.25 * z[0]
    z[0, ::2] *= -1.0
    axes = np.eye(30)[:, :1]
    trained = training(z)
    s = local_shape(trained, axes, (z[0] > 0.0).astype(float))
    assert s is not None
    assert_allclose(s.mean[0], 4.0, atol=0.05)
    assert_allclose(s.variances, 3.0 * 0.0625, rtol=0.1)
    assert local_shape(trained, axes, (np.arange(4000) < 5).astype(float)) is None


def test_pooling_counts_by_effective_size() -> None:
    """Two sets weigh as many samples as each is worth, whatever their length."""
    a = Training(z=np.zeros((2, 4)), counts=np.full(4, 0.25), effective=30.0)
    b = Training(z=np.ones((2, 2)), counts=np.full(2, 0.5), effective=10.0)
    p = Training.pooled([a, b])
    assert p.effective == 40.0
    assert_allclose(p.counts, [0.1875] * 4 + [0.125] * 2)
