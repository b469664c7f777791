"""How often departures of a lot are seen, and how often plain lots raise a false alarm."""

from __future__ import annotations

import zlib
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tests.campaigns.table import Table
from tolsim.intervals import clopper_pearson
from tolsim.process.detection import detect

FloatArray = NDArray[np.float64]
Maker = Callable[[np.random.Generator, int], FloatArray]
SEED = 20262
SIZES = (12, 30, 100)


def _cut(rng: np.random.Generator, n: int, low: float, high: float) -> FloatArray:
    a, b = ndtr(low), ndtr(high)
    return np.asarray(ndtri(a + rng.random(n) * (b - a)))


def _hollow(rng: np.random.Generator, n: int, half: float) -> FloatArray:
    return np.asarray(np.sign(rng.random(n) - 0.5) * _cut(rng, n, half, 9.0))


def _two(rng: np.random.Generator, n: int, apart: float, share: float) -> FloatArray:
    return np.asarray(rng.standard_normal(n) + apart * (rng.random(n) < share))


def _plain(rng: np.random.Generator, n: int) -> FloatArray:
    return rng.standard_normal(n)


#: Population -> (maker, kinds of finding that count as a hit, step of the readings in spreads).
POPULATIONS: dict[str, tuple[Maker, tuple[str, ...], float]] = {
    "plain normal": (_plain, (), 0.0),
    "plain normal, step 0.25 sd": (_plain, (), 0.25),
    "plain normal, step 1 sd": (_plain, ("rounding",), 1.0),
    "plain normal, step 2 sd": (_plain, ("rounding",), 2.0),
    "cut at +1 sd": (lambda r, n: _cut(r, n, -9.0, 1.0), ("sorted edge",), 0.0),
    "cut at +0.5 sd": (lambda r, n: _cut(r, n, -9.0, 0.5), ("sorted edge",), 0.0),
    "cut at ±1.5 sd": (lambda r, n: _cut(r, n, -1.5, 1.5), ("sorted edge",), 0.0),
    "cut at ±1 sd": (lambda r, n: _cut(r, n, -1.0, 1.0), ("sorted edge",), 0.0),
    "middle ±0.5 sd taken out": (lambda r, n: _hollow(r, n, 0.5), ("hollow middle",), 0.0),
    "middle ±0.8 sd taken out": (lambda r, n: _hollow(r, n, 0.8), ("hollow middle",), 0.0),
    "two equal humps 3 sd apart": (
        lambda r, n: _two(r, n, 3.0, 0.5),
        ("mixture", "shape"),
        0.0,
    ),
    "two equal humps 4 sd apart": (
        lambda r, n: _two(r, n, 4.0, 0.5),
        ("mixture", "shape"),
        0.0,
    ),
    "one in five 4 sd off": (lambda r, n: _two(r, n, 4.0, 0.2), ("mixture", "shape"), 0.0),
    "one in twenty 6 sd off": (lambda r, n: _two(r, n, 6.0, 0.05), ("mixture", "shape"), 0.0),
    "skewness 1": (
        lambda r, n: (r.gamma(4.0, size=n) - 4.0) / 2.0,
        ("shape", "sorted edge"),
        0.0,
    ),
    "drift of 2 sd over the lot": (
        lambda r, n: r.standard_normal(n) + 2.0 * np.arange(n) / n,
        ("drift", "change", "neighbours"),
        0.0,
    ),
    "step of 1.5 sd half-way": (
        lambda r, n: r.standard_normal(n) + 1.5 * (np.arange(n) >= n // 2),
        ("change", "drift", "neighbours"),
        0.0,
    ),
    "tool cycle of 25 parts, 4 sd wide": (
        lambda r, n: r.standard_normal(n) + 0.16 * np.mod(np.arange(n) + r.integers(25), 25),
        ("neighbours", "change", "drift"),
        0.0,
    ),
}
_OF_ORDER = ("drift of", "step of 1.5", "tool cycle")


def run(reduced: bool) -> list[dict[str, object]]:
    """Hits and alarms per population and number of parts.

    1000 lots each (60 when `reduced`). The order of making is taken as known everywhere, so
    that the false alarms of plain lots are those of all eight questions together. Each share
    has its exact binomial 95 % interval.
    """
    lots = 60 if reduced else 1000
    table: list[dict[str, object]] = []
    for name, (make, hits, step) in POPULATIONS.items():
        for n in SIZES:
            rng = np.random.default_rng([SEED, n, zlib.crc32(name.encode())])
            hit = alarm = silent = 0
            for _ in range(lots):
                x = make(rng, n)
                if step > 0.0:
                    x = np.round(x / step + rng.random()) * step
                if np.all(x == x[0]):
                    silent += 1
                    continue
                found = detect(0.003 * x, ordered=True)
                seen = {f.kind for f in found if f.verdict == "seen"}
                hit += bool(seen & set(hits))
                alarm += bool(seen - {"rounding"})
                silent += all(
                    f.verdict == "cannot tell" for f in found if f.kind in hits and hits
                ) and bool(hits)
            share = clopper_pearson(hit, lots)
            false = clopper_pearson(alarm, lots)
            table.append(
                {
                    "population": name,
                    "parts": n,
                    "lots": lots,
                    "counts as hit": " or ".join(hits) or None,
                    "hit": share.value if hits else None,
                    "hit low": share.low if hits else None,
                    "hit high": share.high if hits else None,
                    "anything but rounding seen": false.value,
                    "seen low": false.low,
                    "seen high": false.high,
                    "cannot tell": silent / lots,
                }
            )
    return table


def as_table(*, reduced: bool) -> Table:
    """Hits and false alarms, as a page."""
    found = run(reduced)
    rows = [
        (
            str(r["population"]),
            str(r["parts"]),
            str(r["lots"]),
            str(r["counts as hit"] or "-"),
            "-" if r["hit"] is None else _shown(r["hit"], r["hit low"], r["hit high"]),
            _shown(r["anything but rounding seen"], r["seen low"], r["seen high"]),
            f"{float(str(r['cannot tell'])):.3f}",
        )
        for r in found
    ]
    plain = [r for r in found if str(r["population"]).startswith("plain normal")]
    worst = max(plain, key=lambda r: float(str(r["anything but rounding seen"])))
    exact = [r for r in plain if r["population"] == "plain normal"]
    verdict = [
        "False alarms on plain normal lots, all eight questions together: "
        + ", ".join(
            f"{100 * float(str(r['anything but rounding seen'])):.1f} % at n = {r['parts']}"
            for r in exact
        )
        + " (goal: at most 5 %).",
        f"Worst of the plain lots, rounded ones included: "
        f"{100 * float(str(worst['anything but rounding seen'])):.1f} % "
        f"({worst['population']}, n = {worst['parts']}).",
        "A lot counted under 'cannot tell' had that answer to every question that could hit.",
    ]
    return Table(
        title="Departures seen in lots, and false alarms",
        measured="1000 lots a row (60 when reduced), order of making known. Shares with exact "
        "binomial 95 % intervals.",
        columns=(
            "population",
            "parts",
            "lots",
            "counts as hit",
            "hit",
            "anything but rounding seen",
            "cannot tell",
        ),
        rows=rows,
        verdict=verdict,
    )


def _shown(value: object, low: object, high: object) -> str:
    a, b, c = (float(str(v)) for v in (value, low, high))
    return f"{a:.3f} ({b:.3f} to {c:.3f})"


def parts_needed(lots: int = 2000) -> dict[str, int]:
    """Smallest number of parts, in steps of 5, at which a reference departure hits in 80 %."""
    from tolsim.process.departures import statistics
    from tolsim.process.detection import critical_value

    references: dict[str, Maker] = {
        "one-edge": lambda r, n: _cut(r, n, -9.0, 0.5),
        "both-edges": lambda r, n: _cut(r, n, -1.5, 1.5),
        "empty-middle": lambda r, n: _hollow(r, n, 0.5),
        "two-humps": lambda r, n: _two(r, n, 3.0, 0.5),
        "other-shape": lambda r, n: _two(r, n, 6.0, 0.05),
        "drift": POPULATIONS["drift of 2 sd over the lot"][0],
        "change": POPULATIONS["step of 1.5 sd half-way"][0],
        "neighbours": POPULATIONS["tool cycle of 25 parts, 4 sd wide"][0],
    }
    needed: dict[str, int] = {}
    for name, make in references.items():
        for n in range(10, 400, 5):
            rng = np.random.default_rng([SEED, n])
            x = np.stack([make(rng, n) for _ in range(lots)])
            values = statistics(x, order=True)[name]
            if float(np.mean(values > critical_value(name, n, order=True))) >= 0.8:
                needed[name] = n
                break
    return needed
