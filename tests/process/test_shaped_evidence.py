"""Shapes other than the normal: their maps, their densities, and what n readings leave open."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from tolsim.process.cut_evidence import cut_evidence
from tolsim.process.kernel_evidence import kernel_evidence
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.process.skewed_evidence import skewed_evidence, skewed_quantile
from tolsim.process.two_evidence import two_evidence, two_quantile
from tolsim.record import record

FloatArray = NDArray[np.float64]


@pytest.mark.parametrize("skewness", [-1.7, -0.4, 0.02, 0.9, 1.9])
def test_skewed_quantile_is_pearsons(skewness: float) -> None:
    """The map is the quantile of scipy's Pearson type III, within 2e-4 spreads."""
    z = np.linspace(-5.0, 5.0, 1001)
    u = np.where(z < 0.0, stats.norm.cdf(z), stats.norm.sf(z))
    p3 = stats.pearson3(skewness)
    exact = np.where(z < 0.0, p3.ppf(u), p3.isf(u))
    got = skewed_quantile(z, skewness)
    assert np.abs(got - exact).max() < 3e-4
    assert (np.diff(got) >= 0.0).all()


@pytest.mark.parametrize(("w", "d", "r"), [(0.5, 0.0, 1.0), (0.7, 3.0, 0.5), (0.05, 12.0, 4.0)])
def test_two_quantile_is_that_of_the_mixture(w: float, d: float, r: float) -> None:
    """The share of the mixture below the size is that of the normal below its row, both tails."""
    z = np.linspace(-7.0, 7.0, 701)
    x = two_quantile(z, w, d, r)
    below = w * stats.norm.cdf(x) + (1.0 - w) * stats.norm.cdf(x, d, r)
    above = w * stats.norm.sf(x) + (1.0 - w) * stats.norm.sf(x, d, r)
    assert below[z < 0.0] == pytest.approx(stats.norm.cdf(z[z < 0.0]), rel=1e-6)
    assert above[z > 0.0] == pytest.approx(stats.norm.sf(z[z > 0.0]), rel=1e-6)


def _lot(n: int, seed: int = 5) -> FloatArray:
    rng = np.random.default_rng(seed)
    return np.asarray(0.003 * stats.pearson3(1.0).rvs(n, random_state=rng) - 0.02)


def _evidence() -> dict[str, ShapedEvidence]:
    rng = np.random.default_rng(4)
    cut = np.asarray(0.003 * stats.truncnorm(-1.2, 1.5).rvs(40, random_state=rng) - 0.02)
    two = np.concatenate([rng.normal(-0.02, 0.002, 28), rng.normal(-0.012, 0.001, 12)])
    return {
        "smoothed": kernel_evidence(two),
        "two": two_evidence(two),
        "two, gauge": two_evidence(two, gauge_sd=0.0005),
        "skewed": skewed_evidence(_lot(40)),
        "sorted": cut_evidence(cut),
        "sorted below": cut_evidence(cut, edges="low"),
        "sorted, gauge": cut_evidence(cut + rng.normal(0.0, 0.0008, cut.size), gauge_sd=0.0008),
    }


@pytest.mark.parametrize("name", list(_evidence()))
def test_size_is_recorded_with_its_slopes(name: str) -> None:
    """A recorded size equals the plain one; its gradient is that of central differences."""
    found = _evidence()[name]
    d = found.rows + 1

    def size(z: list[FloatArray]) -> list[FloatArray]:
        return [found.size(z[0], found.parameters(z[1:]))]

    z = np.random.default_rng(2).normal(0.0, 0.8, (d, 40))
    taped = record(size, d)  # type: ignore[arg-type]
    assert taped(z)[0] == pytest.approx(size(list(z))[0], rel=1e-12)
    slope = taped.gradient(z, np.ones((1, 40)))
    step = 1e-3
    for k in range(d):
        up, down = z.copy(), z.copy()
        up[k] += step
        down[k] -= step
        numeric = (taped(up)[0] - taped(down)[0]) / (2.0 * step)
        scale = np.abs(numeric).max() + 1e-6
        assert np.median(np.abs(slope[k] - numeric)) < 1e-3 * scale


@pytest.mark.parametrize("name", list(_evidence()))
def test_density_is_that_of_the_sizes(name: str) -> None:
    """Density, shares and sizes of each parameter set belong together."""
    found = _evidence()[name]
    theta = [t[::100] for t in found.sets()]
    z = np.linspace(-3.0, 3.0, 401)
    for k in range(len(theta[0])):
        one = [t[k : k + 1] for t in theta]
        x = np.asarray(found.size(z, [float(t[0]) for t in one]))
        assert found.latent(x, one)[0] == pytest.approx(z, abs=0.02)
        middle, width = 0.5 * (x[1:] + x[:-1]), np.diff(x)
        share = np.diff(stats.norm.cdf(z))
        within = np.exp(found.log_density(middle, one))[0] * width
        assert within.sum() == pytest.approx(share.sum(), rel=0.02)


@pytest.mark.parametrize("name", list(_evidence()))
def test_moments_are_those_of_the_sizes(name: str) -> None:
    """Mean and spread of each parameter set are those of sizes drawn from it."""
    found = _evidence()[name]
    theta = [t[::128] for t in found.sets()]
    mean, sd = found.moments(theta)
    z = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    for k in range(len(theta[0])):
        x = np.asarray(found.size(z, [float(t[k]) for t in theta]))
        assert x.mean() == pytest.approx(float(np.broadcast_to(mean, theta[0].shape)[k]), abs=2e-5)
        assert x.std() == pytest.approx(float(np.broadcast_to(sd, theta[0].shape)[k]), rel=0.01)


@pytest.mark.slow
def test_intervals_of_a_skewed_lot_hold_the_truth() -> None:
    """95 % intervals from 30 parts hold the share beyond the true 99 % point in enough of 150
    lots: at least as many as a binomial of 0.95 gives in all but one of 1000 tries."""
    limit = 0.003 * float(stats.pearson3(1.0).ppf(0.99)) - 0.02
    covered = 0
    for seed in range(150):
        found = skewed_evidence(_lot(30, seed))
        theta = [t[:, None] for t in found.sets()]
        above = found.family.tails(np.array([limit]), theta)[1][:, 0]
        low, high = np.quantile(above, [0.025, 0.975])
        covered += bool(low <= 0.01 <= high)
    assert covered >= stats.binom.ppf(1e-3, 150, 0.95)


def test_evidence_does_not_hang_on_the_last_digit() -> None:
    """Twelve readings, and the same moved by less than a thousandth of their spread: the ends of
    what the skewness may be and of a tail share stay the same within a tenth."""
    x = stats.norm(0.0, 1.0).ppf((np.arange(12) + 0.5) / 12)
    found = []
    for k in range(4):
        near = x + np.random.default_rng(k).uniform(-2e-4, 2e-4, 12)
        evidence = skewed_evidence(near)
        theta = evidence.sets()
        share = evidence.family.tails(np.array([2.5]), [t[:, None] for t in theta])[1][:, 0]
        found.append((*np.quantile(theta[2], [0.05, 0.95]), float(np.quantile(share, 0.975))))
    for one in zip(*found, strict=True):
        assert np.ptp(one) < 0.1 * np.abs(one).mean()
