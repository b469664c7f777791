"""How often the intervals drawn from n readings hold the truth, and how wide they are.

Populations have mean 0 and spread 1; widths are in spreads. The share outside is that beyond an
upper limit (true share 1 %), the share loose that of fits with a known ring (true share 1 %).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tests.campaigns.table import Table
from tolsim.intervals import clopper_pearson, mean_interval, sd_interval
from tolsim.process.added import added
from tolsim.process.base import Process
from tolsim.process.bounded import Bounded
from tolsim.process.capability import one_sided_index_interval, percentile_indices
from tolsim.process.evidence import NormalEvidence
from tolsim.process.mixture import Mixture
from tolsim.process.moved import moved
from tolsim.process.plain import Normal
from tolsim.process.skewed import Skewed

FloatArray = NDArray[np.float64]
SEED = 20263
SIZES = (5, 12, 30, 100)
GAUGES = (0.0, 1.0 / 3.0)
RING = Normal(mean=0.0, sd=0.5)
TRUE_SHARE = 0.01
LATTICE = 2048


def _unit(process: Process) -> Process:
    return moved(process, shift=-process.mean / process.sd, scale=1.0 / process.sd)


CUT = Bounded(mean=0.0, sd=1.0, low=-1.5, high=1.5)
POPULATIONS: dict[str, Process] = {
    "normal": Normal(mean=0.0, sd=1.0),
    "skewed": Skewed(mean=0.0, sd=1.0, skewness=1.0),
    "mixed": _unit(
        Mixture(parts=((0.7, Normal(mean=0.0, sd=1.0)), (0.3, Normal(mean=3.0, sd=1.0))))
    ),
    "sorted": _unit(CUT),
}
QUANTITIES = ("mean", "spread", "index", "share outside", "share loose")


@dataclass(frozen=True)
class Drawn:
    """Quantities of each pair of parameters that the readings allow."""

    mean: FloatArray
    spread: FloatArray
    index: FloatArray
    outside: FloatArray
    loose: FloatArray


def _lattice() -> tuple[FloatArray, FloatArray]:
    u = (np.arange(LATTICE) + 0.5) / LATTICE
    v = np.mod(np.arange(LATTICE) * 0.6180339887498949 + 0.5 / LATTICE, 1.0)
    return ndtri(u), ndtri(v)


Z = _lattice()


def truths(process: Process) -> tuple[float, float, dict[str, float]]:
    """Upper limit, tightest fit that still holds, and the true value of each quantity."""
    limit = float(process.quantile(1.0 - TRUE_SHARE))
    fit = added(process, RING)
    hold = float(fit.quantile(1.0 - TRUE_SHARE))
    index = percentile_indices(process, None, limit).upper
    assert index is not None
    return (
        limit,
        hold,
        {
            "mean": 0.0,
            "spread": 1.0,
            "index": index,
            "share outside": TRUE_SHARE,
            "share loose": TRUE_SHARE,
        },
    )


def normal_method(x: FloatArray, gauge: float, limit: float, hold: float) -> Drawn:
    """Everything from the normal evidence, whatever the population."""
    evidence = NormalEvidence(
        n=x.size, mean=float(x.mean()), sd=float(x.std(ddof=1)), gauge_sd=gauge
    )
    mean, sd = evidence.parameters(*Z)
    safe = np.maximum(sd, 1e-9)
    return Drawn(
        mean=mean,
        spread=sd,
        index=(limit - mean) / (3.0 * safe),
        outside=ndtr((mean - limit) / safe),
        loose=ndtr((mean - hold) / np.hypot(sd, RING.sd)),
    )


def exact_widths(x: FloatArray, limit: float) -> dict[str, float]:
    """Widths of the best exact intervals of a normal process read without error."""
    n, mean, sd = x.size, float(x.mean()), float(x.std(ddof=1))
    m, s = mean_interval(mean, sd, n), sd_interval(sd, n)
    index = one_sided_index_interval((limit - mean) / (3.0 * sd), n)
    share = float(ndtr(-3.0 * index.low)), float(ndtr(-3.0 * index.high))
    return {
        "mean": m.high - m.low,
        "spread": s.high - s.low,
        "index": index.high - index.low,
        "share outside": share[0] - share[1],
    }


def _cell(
    name: str,
    method: str,
    n: int,
    gauge: float,
    repeats: int,
    work: Callable[[FloatArray], Drawn],
    limit: float,
    truth: dict[str, float],
) -> list[dict[str, object]]:
    rng = np.random.default_rng([SEED, n, zlib.crc32(f"{name} {gauge}".encode())])
    hits = dict.fromkeys(QUANTITIES, 0)
    widths = dict.fromkeys(QUANTITIES, 0.0)
    exact = dict.fromkeys(QUANTITIES, 0.0)
    for _ in range(repeats):
        x = POPULATIONS[name].quantile(rng.random(n)) + gauge * rng.standard_normal(n)
        drawn = work(x)
        rows = (drawn.mean, drawn.spread, drawn.index, drawn.outside, drawn.loose)
        for quantity, values in zip(QUANTITIES, rows, strict=True):
            # a spread of 0 makes an index infinite: those above 10 count as 10
            held = np.minimum(values, 10.0) if quantity == "index" else values
            low, high = np.quantile(held, [0.025, 0.975])
            hits[quantity] += bool(low <= truth[quantity] <= high)
            widths[quantity] += float(high - low)
        if name == "normal" and gauge == 0.0:
            for quantity, width in exact_widths(x, limit).items():
                exact[quantity] += width
    table: list[dict[str, object]] = []
    for quantity in QUANTITIES:
        covered = clopper_pearson(hits[quantity], repeats)
        table.append(
            {
                "population": name,
                "method": method,
                "gauge sd": gauge,
                "parts": n,
                "repeats": repeats,
                "quantity": quantity,
                "covered": covered.value,
                "covered low": covered.low,
                "covered high": covered.high,
                "mean width": widths[quantity] / repeats,
                "width of exact": exact[quantity] / repeats if exact[quantity] > 0.0 else None,
                "falls short": bool(covered.high < 0.95),
            }
        )
    return table


def run(reduced: bool, repeats: int | None = None) -> list[dict[str, object]]:
    """Coverage of nominal 95 % intervals, with mean widths beside them.

    1000 repeats a cell, or `repeats`; when `reduced` 100, and 12 and 30 parts only. Each coverage
    has its exact binomial 95 % interval; ``falls short`` marks cells whose coverage is
    significantly below 0.95.
    """
    repeats = (100 if reduced else 1000) if repeats is None else repeats
    table: list[dict[str, object]] = []
    for name, process in POPULATIONS.items():
        limit, hold, truth = truths(process)
        for gauge in GAUGES:
            for n in (12, 30) if reduced else SIZES:
                print(f"  {name}, gauge {gauge:.2f}, {n} parts", flush=True)
                work = partial(normal_method, gauge=gauge, limit=limit, hold=hold)
                table += _cell(name, "normal", n, gauge, repeats, work, limit, truth)
    return table


def as_normal(*, reduced: bool) -> Table:
    """Every population taken as a normal one."""
    return _table(run(reduced))


def _table(found: list[dict[str, object]]) -> Table:
    rows: list[tuple[str, ...]] = []
    for r in found:
        width, exact = float(str(r["mean width"])), r["width of exact"]
        rows.append(
            (
                str(r["population"]),
                str(r["method"]),
                f"{float(str(r['gauge sd'])):.2f}",
                str(r["parts"]),
                str(r["repeats"]),
                str(r["quantity"]),
                f"{r['covered']:.3f} ({r['covered low']:.3f} to {r['covered high']:.3f})",
                f"{width:.3g}",
                "-" if exact is None else f"{width / float(str(exact)):.3f}",
                "SHORT" if r["falls short"] else "",
            )
        )
    verdict = []
    for name in POPULATIONS:
        own = [r for r in found if r["population"] == name]
        short = [r for r in own if r["falls short"]]
        lowest = min(own, key=lambda r: float(str(r["covered"])))
        verdict.append(
            f"{name} parts, normal: {len(own) - len(short)} of {len(own)} cells cover; "
            f"lowest {lowest['covered']:.3f} ({lowest['quantity']}, n = {lowest['parts']}, "
            f"gauge {float(str(lowest['gauge sd'])):.2f})."
        )
    return Table(
        title="Coverage of 95 % intervals from readings",
        measured="Populations of mean 0 and spread 1; gauge in the same unit. 'Share outside' "
        "is beyond an upper limit, 'share loose' that of fits with a known ring (the creak share "
        "of one seat); both truly 1 %. Every lot is taken as a normal one. The best exact interval "
        "is that of a normal process read "
        "without error: Student's t, chi-square, noncentral t. SHORT: coverage significantly "
        "below 0.95.",
        columns=(
            "population",
            "method",
            "gauge sd",
            "parts",
            "repeats",
            "quantity",
            "coverage of 95 %",
            "mean width",
            "width / best exact",
            "falls short",
        ),
        rows=rows,
        verdict=verdict,
    )
