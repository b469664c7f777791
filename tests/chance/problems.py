"""Failure problems whose probability is known exactly, as recorded events.

``published()`` holds the 29 problems of ``statistics_rare_events.json``; ``shapes()`` those that
were made to be hard in one way each, with the closed form of their probability beside them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import chdtri, log_ndtr, ndtr, ndtri

from tolsim.chance.event import Event, event_of
from tolsim.record import Array, Primitive, record

DATA = Path(__file__).parents[1] / "published" / "data" / "statistics_rare_events.json"

Function = Callable[[Sequence[Array]], Sequence[Array]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ProblemCase:
    """An event and the exact probability of its failure."""

    name: str
    event: Event
    exact: float


def _pdf(x: np.ndarray) -> np.ndarray:
    return np.asarray(np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi))


def _normal_cdf(x: np.ndarray, out: np.ndarray) -> None:
    ndtr(x, out=out)


def _gumbel(x: np.ndarray, out: np.ndarray) -> None:
    out[:] = -np.log(-log_ndtr(x))


#: standard normal to uniform (0, 1), and to the standard Gumbel distribution of maxima
UNIFORM = Primitive(_normal_cdf, _pdf)
GUMBEL = Primitive(_gumbel, lambda x: _pdf(x) / (ndtr(x) * -log_ndtr(x)))


def lognormal(mean: float, sd: float, z: Array) -> Array:
    """Log-normal with this mean and standard deviation."""
    v = float(np.log1p((sd / mean) ** 2))
    return np.exp(float(np.log(mean)) - 0.5 * v + float(np.sqrt(v)) * z)


def linear(beta: float, n: int) -> Function:
    """Plane at distance beta, normal to the diagonal of n coordinates."""
    return lambda z: [beta * float(np.sqrt(n)) - sum(z[:n])]


def _rp14(z: Sequence[Array]) -> list[Array]:
    scale = 350.0 * float(np.sqrt(6.0)) / np.pi
    x1 = 70.0 + 10.0 * UNIFORM(z[0])
    x2, x4, x5 = 39.0 + 0.1 * z[1], 400.0 + 0.1 * z[3], 250e3 + 35e3 * z[4]
    x3 = 1500.0 - float(np.euler_gamma) * scale + scale * GUMBEL(z[2])
    return [x1 - 32.0 / (np.pi * x2**3.0) * np.sqrt(x3**2.0 * x4**2.0 / 16.0 + x5**2.0)]


def _rp8(z: Sequence[Array]) -> list[Array]:
    x = [lognormal(120.0, 12.0, v) for v in z[:4]]
    y = [lognormal(50.0, 10.0, z[4]), lognormal(40.0, 8.0, z[5])]
    return [x[0] + 2.0 * x[1] + 2.0 * x[2] + x[3] - 5.0 * y[0] - 5.0 * y[1]]


def _steps(z: Sequence[Array]) -> list[Array]:
    return [
        np.where(z[0] <= 3.5, 0.85 - 0.1 * z[0], 4.0 - z[0]),
        np.where(z[1] <= 2.0, 2.3 - z[1], 0.5 - 0.1 * z[1]),
    ]


def _rp57(z: Sequence[Array]) -> list[Array]:
    inside = np.maximum(-(z[0] ** 2.0) + z[1] ** 3.0 + 3.0, 2.0 - z[0] - 8.0 * z[1])
    return [np.minimum(inside, (z[0] + 3.0) ** 2.0 + (z[1] + 3.0) ** 2.0 - 4.0)]


_R2 = float(np.sqrt(2.0))

FUNCTIONS: dict[str, tuple[int, Function]] = {
    "RS_default": (2, lambda z: [2.0 + z[0] - z[1]]),
    "linear_p1e-02_n10": (10, linear(2.3263478740408408, 10)),
    "linear_p1e-03_n3": (3, linear(3.090232306167813, 3)),
    "linear_p1e-03_n10": (10, linear(3.090232306167813, 10)),
    "linear_p1e-04_n10": (10, linear(3.7190164854556804, 10)),
    "linear_p1e-06_n10": (10, linear(4.753424308822899, 10)),
    "linear_p1e-07_n10": (10, linear(5.1993375821928165, 10)),
    "linear_p1e-07_n100": (100, linear(5.1993375821928165, 100)),
    "linear_p1e-08_n3": (3, linear(5.612001244174789, 3)),
    "linear_p1e-08_n100": (100, linear(5.612001244174789, 100)),
    "linear_p1e-09_n10": (10, linear(5.9978070150076865, 10)),
    "RP22_parabola": (2, lambda z: [2.5 - (z[0] + z[1]) / _R2 + 0.1 * np.square(z[0] - z[1])]),
    "RP25_as_coded": (
        2,
        lambda z: [np.maximum(z[0] ** 2.0 - 8.0 * z[1] + 16.0, -16.0 * z[0] + z[1] + 32.0)],
    ),
    "RP31": (2, lambda z: [2.0 - z[1] + 256.0 * z[0] ** 4.0]),
    "RP35": (
        2,
        lambda z: [
            2.0 - z[1] + np.exp(-0.1 * z[0] ** 2.0) + (0.2 * z[0]) ** 4.0,
            4.5 - z[0] * z[1],
        ],
    ),
    "RP57": (2, _rp57),
    "RP75_product": (2, lambda z: [3.0 - z[0] * z[1]]),
    "RP89": (2, lambda z: [8.0 - z[0] ** 2.0 - z[1], 6.0 - z[0] / 5.0 - z[1]]),
    "RP110_steps": (2, _steps),
    "RP28_product_normals": (
        2,
        lambda z: [(78064.0 + 11710.0 * z[0]) * (0.0104 + 0.00156 * z[1]) - 146.14],
    ),
    "RP8_lognormal_sum": (6, _rp8),
    "RP14_torsion": (5, _rp14),
    "hypersphere_n2_p1e-04": (2, lambda z: [chdtri(2, 1e-4) - sum(np.square(x) for x in z)]),
    "hypersphere_n100_p1e-04": (
        100,
        lambda z: [chdtri(100, 1e-4) - sum(np.square(x) for x in z)],
    ),
    "two_sided_beta4": (3, lambda z: [4.0 - np.abs(sum(z) / float(np.sqrt(3.0)))]),
    "uniform_sum_n3_s0.05": (3, lambda z: [sum(UNIFORM(x) for x in z) - 0.05]),
    "uniform_sum_n6_s0.3": (6, lambda z: [sum(UNIFORM(x) for x in z) - 0.3]),
    "two_independent_modes": (2, lambda z: [3.71901648545568 - z[0], 3.71901648545568 - z[1]]),
    "two_correlated_modes_rho0.5": (
        2,
        lambda z: [3.0 - z[0], 3.0 - (0.5 * z[0] + float(np.sqrt(0.75)) * z[1])],
    ),
}


def published() -> list[ProblemCase]:
    """The problems of the data file, in its order."""
    rows = json.loads(DATA.read_text())
    return [
        ProblemCase(
            name=row["id"],
            event=event_of(record(FUNCTIONS[row["id"]][1], FUNCTIONS[row["id"]][0])),
            exact=row["pf"],
        )
        for row in rows
    ]


def hidden(event: Event, *, gradient: bool = True) -> Event:
    """The same event with its margins, and on demand its slopes, out of sight."""
    return Event(
        dimension=event.dimension,
        values=event.values,
        values_and_gradient=event.values_and_gradient if gradient else None,
    )


def ring(k: int, d: int, p: float) -> ProblemCase:
    """Failure beyond a radius in a turned k-dimensional plane of d: chi-square with k."""
    turn = np.linalg.qr(np.random.default_rng(k).normal(size=(d, d)))[0][:k]
    radius = float(np.sqrt(chdtri(k, p)))

    def g(z: Sequence[Array]) -> list[Array]:
        rows = [sum(float(a) * z[j] for j, a in enumerate(row)) for row in turn]
        return [radius - np.sqrt(sum(np.square(r) for r in rows))]

    return ProblemCase(name=f"ring_{k}_of_{d}", event=event_of(record(g, d)), exact=p)


def ball(centre: float, radius: float, d: int) -> float:
    """Probability of a ball of d dimensions at a distance: non-central chi-square."""
    from scipy.stats import ncx2

    return float(ncx2.cdf(radius**2, d, centre**2))


def _distance(z: Sequence[Array], axis: int, at: float) -> Array:
    return np.sqrt(sum(np.square(x - (at if i == axis else 0.0)) for i, x in enumerate(z)) + 1e-12)


def shapes() -> list[ProblemCase]:
    """Problems that break one assumption each."""

    def case(name: str, d: int, exact: float, g: Function, *, hide: bool = False) -> ProblemCase:
        event = event_of(record(g, d))
        return ProblemCase(name=name, event=hidden(event) if hide else event, exact=exact)

    def tail(b: float) -> float:
        return float(ndtr(-b))

    supply = -float(ndtri(0.01))

    def unequal(z: Sequence[Array]) -> list[Array]:
        return [_distance(z, 0, 4.5) - 2.0, _distance(z, 1, -6.0) - 2.0]

    def planted(z: Sequence[Array]) -> list[Array]:
        # a smooth pocket beside a plane; only their minimum is seen
        return [np.minimum(4.5 - z[0], 1.5 * (_distance(z, 1, -4.5) - 1.2))]

    pocket = ball(4.5, 1.2, 4)
    unequal_p = ball(4.5, 2.0, 4) + ball(6.0, 2.0, 4)
    return [
        *(ring(k, 40, 1e-6) for k in (2, 3, 5, 10, 20, 40)),
        case("pockets_unequal", 4, unequal_p, unequal),
        case("pockets_unequal_hidden", 4, unequal_p, unequal, hide=True),
        case("pocket_planted_hidden", 4, tail(4.5) + pocket, planted, hide=True),
        case(
            "halves_unequal",
            10,
            tail(3.5) + tail(4.6),
            lambda z: [np.minimum(3.5 - z[0], 4.6 + z[0])],
        ),
        # levels fall faster towards the half-space that matters less
        case(
            "decoy",
            10,
            tail(4.0) + tail(6.5) - tail(4.0) * tail(6.5),
            lambda z: [np.minimum((6.5 - z[0]) / 10.0, 4.0 - z[1])],
        ),
        # a supply of share 0.01 makes all failures: a cliff without slope
        case(
            "supply_share_0.01",
            8,
            0.01 * tail(2.5),
            lambda z: [np.where(z[0] > supply, 2.5, 9.0) - (z[1] + z[2] + z[3]) / np.sqrt(3.0)],
        ),
        # one temperature of three fails, the others' margins are far and in other units
        case(
            "one_of_three",
            12,
            tail(4.2),
            lambda z: [
                (12.0 - z[0] - z[1]) * 1e-3,
                (4.2 * np.sqrt(2.0) - z[2] - z[3]) * 1e2,
                11.0 + z[4] - z[5],
            ],
        ),
    ]
