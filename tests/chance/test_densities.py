"""Mixtures: their densities, draws and weights."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from tolsim.chance.densities import Mixture, Shaped, fit_weights
from tolsim.chance.streams import generator

D = 4
AXES = np.linalg.qr(np.random.default_rng(0).normal(size=(D, D)))[0][:, :2]
BENT = Shaped(mean=np.array([1.0, 0, -1, 0.5]), axes=AXES, variances=np.array([0.3, 4.0]))
WIDE = Shaped(mean=np.zeros(D), axes=np.zeros((D, 0)), variances=np.zeros(0), scale=1.5)
POINTS = np.array([[0.0, 2.0, 0.0], [0.0, 0.0, -3.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]])
MIX = Mixture(weights=np.array([0.1, 0.3, 0.2, 0.25, 0.15]), points=POINTS, shaped=(BENT, WIDE))


def covariance(s: Shaped) -> np.ndarray:
    inside = s.axes @ np.diag(s.variances - s.scale) @ s.axes.T
    return np.asarray(s.scale * np.eye(D) + inside)


def test_ratios_equal_scipys_densities() -> None:
    """Every component's log ratio to the plain density equals that of scipy's normals."""
    z = np.random.default_rng(1).normal(size=(D, 50)) * 2.0
    plain = stats.multivariate_normal(np.zeros(D))
    parts = [stats.multivariate_normal(p) for p in POINTS.T]
    parts += [stats.multivariate_normal(s.mean, covariance(s)) for s in (BENT, WIDE)]
    want = np.array([p.logpdf(z.T) for p in parts]) - plain.logpdf(z.T)
    assert_allclose(MIX.log_table(z), want, atol=1e-10)
    assert_allclose(MIX.weight(z), 1.0 / (MIX.weights @ np.exp(want)), rtol=1e-10)


def test_draws_follow_their_component() -> None:
    """Each component gets its share of draws to one, with its mean and covariance."""
    n = 200_000
    z, owner = MIX.draw(generator(1, "d"), n)
    count = np.bincount(owner, minlength=5)
    assert np.abs(count - n * MIX.weights).max() <= 1.0
    assert (np.diff(owner) >= 0).all()
    means = [*POINTS.T, BENT.mean, WIDE.mean]
    covs = [np.eye(D)] * 3 + [covariance(BENT), covariance(WIDE)]
    for k, (mean, cov) in enumerate(zip(means, covs, strict=True)):
        own = z[:, owner == k]
        m = own.shape[1]
        assert (np.abs(own.mean(axis=1) - mean) < 5 * np.sqrt(np.diag(cov) / m)).all()
        error = np.sqrt((cov**2 + np.outer(np.diag(cov), np.diag(cov))) / m)
        assert (np.abs(np.cov(own) - cov) < 5 * error).all()


def test_weights_average_to_one() -> None:
    """The mean weight over the mixture's draws is the whole of the plain density, unbiased."""
    z, _ = MIX.draw(generator(2, "d"), 100_000)
    w = MIX.weight(z)
    assert w.max() <= 1.0 / MIX.weights[0]
    assert abs(w.mean() - 1.0) < 5 * w.std() / np.sqrt(w.size)


def test_fitted_weights_are_the_likeliest() -> None:
    """Samples of a known mixture give its weights back; no small change makes them likelier."""
    z, _ = MIX.draw(generator(3, "d"), 40_000)
    table = MIX.log_table(z)
    counts = np.ones(z.shape[1])
    w = fit_weights(table, counts, keep=0.1, rounds=400)
    assert_allclose(w, MIX.weights, atol=0.02)
    assert_allclose(w.sum(), 1.0)

    def likelihood(weights: np.ndarray) -> float:
        return float(np.log(weights @ np.exp(table)).mean())

    best = likelihood(w)
    for k in range(1, 5):
        moved = w.copy()
        moved[k] += 0.01
        moved[1:] *= 0.9 / moved[1:].sum()
        assert likelihood(moved) < best


def test_the_plain_share_is_held() -> None:
    """However useless the plain density looks, its share stays; alone it is everything."""
    far = np.full((D, 10), 3.0)
    w = fit_weights(MIX.log_table(far), np.ones(10), keep=0.1)
    assert w[0] == 0.1
    only = Mixture(weights=np.ones(1), points=np.zeros((D, 1)))
    assert_array_equal(fit_weights(only.log_table(far), np.ones(10), keep=0.1), [1.0])
    assert_array_equal(only.weight(far), np.ones(10))
