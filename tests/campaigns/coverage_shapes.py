"""Coverage where each population has the fit of its own shape, stated or chosen by the readings.

The parameters are those that a prediction draws: the same maps of evenly spread normals. The creak
share is that of units with two alike, independent seats and a known ring, by fixed quadrature.
"""

from __future__ import annotations

import csv
import zlib
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

import tolsim
from tests.campaigns.coverage_evidence import (
    GAUGES,
    POPULATIONS,
    RING,
    SEED,
    SIZES,
    Z,
    exact_widths,
    truths,
)
from tests.campaigns.table import Table
from tolsim.intervals import clopper_pearson
from tolsim.joint.shape_taken import evidence_of, shape_of
from tolsim.process.choice import FEWEST
from tolsim.process.cut_evidence import cut_evidence
from tolsim.process.evidence import NormalEvidence
from tolsim.process.shaped_evidence import ShapedEvidence
from tolsim.process.skewed_evidence import skewed_evidence
from tolsim.process.two_evidence import two_evidence

FloatArray = NDArray[np.float64]
QUANTITIES = ("mean", "spread", "index", "share outside", "creak share")
CREAK = 1.0 - 0.99**2
#: Fewest parts from which each shape is fitted by itself.
LEAST = {"normal": 2, "skewed": 5, "mixed": 8, "sorted": 5}
KNOWN = Path(tolsim.__file__).parent / "answers" / "coverage.csv"
_CHOSEN = 0.3  # of the repeats, for what is chosen: each choice draws 450 lots
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(24)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()

#: Mean, spread, index, share outside and creak share under each set of parameters.
Drawn = tuple[FloatArray, ...]


def of_normal(x: FloatArray, gauge: float, limit: float, hold: float) -> Drawn:
    """Quantities over what the readings allow a normal process to be."""
    evidence = NormalEvidence(
        n=x.size, mean=float(x.mean()), sd=float(x.std(ddof=1)), gauge_sd=gauge
    )
    mean, sd = evidence.parameters(*Z)
    safe = np.maximum(sd, 1e-9)
    loose = ndtr((mean - hold) / np.hypot(sd, RING.sd))
    outside = ndtr((mean - limit) / safe)
    return mean, sd, (limit - mean) / (3.0 * safe), outside, 1.0 - (1.0 - loose) ** 2


def of_shape(found: ShapedEvidence, limit: float, hold: float) -> Drawn:
    """The same over what they allow another shape to be; the index by percentiles."""
    theta = found.sets()
    columns = [t[:, None] for t in theta]
    mean, sd = (np.asarray(v) for v in found.moments(theta))
    middle, top = (np.asarray(found.size(np.full(theta[0].shape, z), theta)) for z in (0.0, 3.0))
    outside = found.family.tails(np.array([limit]), columns)[1][:, 0]
    loose = found.family.tails(hold - RING.sd * _NODES, columns)[1] @ _WEIGHTS
    index = (limit - middle) / np.maximum(top - middle, 1e-9)
    return mean, sd, index, outside, 1.0 - (1.0 - loose) ** 2


def own(name: str, x: FloatArray, gauge: float, limit: float, hold: float) -> list[Drawn]:
    """The shape of the population, as if it were stated."""
    if name == "normal":
        return [of_normal(x, gauge, limit, hold)]
    makers: dict[str, Callable[..., ShapedEvidence]] = {
        "skewed": skewed_evidence,
        "mixed": two_evidence,
        "sorted": cut_evidence,
    }
    return [of_shape(makers[name](x, gauge_sd=gauge), limit, hold)]


def chosen(x: FloatArray, gauge: float, limit: float, hold: float) -> list[Drawn]:
    """The shape that the readings choose and the one they leave open, as a prediction takes them
    where none is stated."""
    taken = shape_of([x], "choose", gauge_sd=gauge, step=0.0)
    if taken.name == "normal":
        out = [of_normal(x, gauge, limit, hold)]
    else:
        out = [of_shape(evidence_of(x, taken.name, gauge), limit, hold)]
    if taken.left_open is not None:
        out.append(of_shape(evidence_of(x, taken.left_open, gauge), limit, hold))
    return out


def _cell(
    name: str,
    method: str,
    n: int,
    gauge: float,
    repeats: int,
    work: Callable[[FloatArray], list[Drawn]],
) -> list[tuple[str, ...]]:
    rng = np.random.default_rng([SEED, n, zlib.crc32(f"{name} {gauge}".encode())])
    limit, _, truth = truths(POPULATIONS[name])
    true = {**truth, "creak share": CREAK}
    hits, widths = dict.fromkeys(QUANTITIES, 0), dict.fromkeys(QUANTITIES, 0.0)
    exact = dict.fromkeys(QUANTITIES, 0.0)
    for _ in range(repeats):
        x = POPULATIONS[name].quantile(rng.random(n)) + gauge * rng.standard_normal(n)
        for quantity, *shapes in zip(QUANTITIES, *work(x), strict=True):
            # a spread of 0 makes an index infinite: those above 10 count as 10
            most = 10.0 if quantity == "index" else np.inf
            ends = [np.quantile(np.minimum(v, most), [0.025, 0.975]) for v in shapes]
            low, high = min(e[0] for e in ends), max(e[1] for e in ends)
            hits[quantity] += bool(low <= true[quantity] <= high)
            widths[quantity] += float(high - low)
        if name == "normal" and gauge == 0.0:
            for quantity, width in exact_widths(x, limit).items():
                exact[quantity] += width
    rows: list[tuple[str, ...]] = []
    for quantity in QUANTITIES:
        covered = clopper_pearson(hits[quantity], repeats)
        best = "-" if exact[quantity] == 0.0 else f"{widths[quantity] / exact[quantity]:.3f}"
        rows.append(
            (
                name,
                method,
                f"{gauge:.2f}",
                f"{n}",
                f"{repeats}",
                quantity,
                f"{covered.value:.3f} ({covered.low:.3f} to {covered.high:.3f})",
                f"{widths[quantity] / repeats:.3g}",
                best,
                "SHORT" if covered.high < 0.95 else "",
            )
        )
    return rows


def known(rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Method, population, parts and coverage of the creak share, the lower of both gauges: what
    a prediction says of itself."""
    found: dict[tuple[str, str, str], tuple[float, str]] = {}
    for r in rows:
        if r[5] == "creak share":
            key, own_value = (r[1], r[0], r[3]), (float(r[6].split()[0]), r[-1])
            found[key] = min(found.get(key, own_value), own_value)
    return [(*key, f"{held:.3f}", short) for key, (held, short) in found.items()]


def write_known(rows: list[tuple[str, ...]], path: Path = KNOWN) -> None:
    """The table that the package reads, with these cells in place of those it held."""
    with path.open() as f:
        old = {tuple(r[:3]): tuple(r) for r in list(csv.reader(f))[1:]}
    old.update({r[:3]: r for r in known(rows)})
    with path.open("w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(("method", "population", "parts", "held", "short"))
        out.writerows(old.values())


def shapes(*, reduced: bool, repeats: int | None = None) -> Table:
    """Every population with the fit of its own shape, and with that which its readings choose.

    1000 repeats a cell, 300 where the readings do choose; a tenth when `reduced`, or `repeats`. The
    full run also writes what the package says of itself, ``tolsim/answers/coverage.csv``.
    """
    count = (100 if reduced else 1000) if repeats is None else repeats
    rows: list[tuple[str, ...]] = []
    for name, process in POPULATIONS.items():
        limit, hold, _ = truths(process)
        for gauge in GAUGES:
            for n in SIZES:
                print(f"  {name}, gauge {gauge:.2f}, {n} parts", flush=True)
                if n >= LEAST[name]:
                    work = partial(own, name, gauge=gauge, limit=limit, hold=hold)
                    rows += _cell(name, "own shape", n, gauge, count, work)
                work = partial(chosen, gauge=gauge, limit=limit, hold=hold)
                fewer = count if n < FEWEST else round(_CHOSEN * count)
                rows += _cell(name, "chosen", n, gauge, fewer, work)
    if not reduced and repeats is None:
        write_known(rows)
    return _table("Coverage of 95 % intervals from readings, each shape by its own fit", rows)


def left_open(*, reduced: bool) -> Table:
    """What a prediction prints where nobody states the shape: that taken and that left open.

    1000 repeats a cell, 300 from 20 parts on; 150 and 60 when `reduced`. Either run writes what the
    package says of itself.
    """
    rows = left_open_rows(tuple(POPULATIONS), 150 if reduced else 1000, 60 if reduced else 300)
    return left_open_table(rows)


def left_open_rows(names: Sequence[str], few: int, many: int) -> list[tuple[str, ...]]:
    """Rows of some populations, with so many repeats below and from 20 parts on."""
    rows: list[tuple[str, ...]] = []
    for name in names:
        limit, hold, _ = truths(POPULATIONS[name])
        for gauge in GAUGES:
            for n in SIZES:
                print(f"  {name}, gauge {gauge:.2f}, {n} parts", flush=True)
                work = partial(chosen, gauge=gauge, limit=limit, hold=hold)
                rows += _cell(name, "chosen", n, gauge, few if n < FEWEST else many, work)
    return rows


def left_open_table(rows: list[tuple[str, ...]]) -> Table:
    """The table of these rows; the package is told of them."""
    write_known(rows)
    return _table("Coverage of 95 % intervals from readings, the shape left open taken in", rows)


def _table(title: str, rows: list[tuple[str, ...]]) -> Table:
    return Table(
        title=title,
        measured="Populations of mean 0 and spread 1; gauge in the same unit. 'Share outside' is "
        "beyond an upper limit (truly 1 %), 'creak share' that of units with two alike, "
        "independent seats and a known ring (truly 1.99 %), 'index' that of percentiles. "
        "'own shape' is told the shape, not its parameters: sorted lots do not know their edges, "
        "mixed ones not their shares. 'chosen' is told nothing, as a prediction is: "
        "its interval holds that of the shape taken (below 20 parts normal) and that of skewed "
        "parts, as far as the readings leave them open. The best exact interval is that of a "
        "normal process read without error. SHORT: coverage significantly below 0.95.",
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
        verdict=_verdict(rows),
    )


def _verdict(rows: list[tuple[str, ...]]) -> list[str]:
    out = []
    for method in ("own shape", "chosen"):
        for name in POPULATIONS:
            own_rows = [r for r in rows if r[0] == name and r[1] == method]
            if not own_rows:
                continue
            short = [r for r in own_rows if r[-1]]
            lowest = min(own_rows, key=lambda r: float(r[6].split()[0]))
            out.append(
                f"{name} parts, {method}: {len(own_rows) - len(short)} of {len(own_rows)} cells "
                f"cover; lowest {lowest[6].split()[0]} ({lowest[5]}, n = {lowest[3]}, gauge "
                f"{lowest[2]})."
            )
    return out
