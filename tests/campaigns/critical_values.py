"""Critical values of the statistics that look for departures, simulated on plain normal lots.

Run ``python -m tests.campaigns.critical_values > tolsim/process/critical_values.csv`` to lay the
table down anew; it takes some minutes on one core.
"""

from __future__ import annotations

import sys

import numpy as np

from tolsim.process.departures import statistics

SIZES = (*range(8, 61), 65, 70, 80, 90, 100, 120, 150, 200, 300, 500)
#: Chance of each statistic alone; together 4.5 % with five (sizes only) or eight (order known).
ALONE = {"sizes": 0.0105, "order": 0.0065}
SEED = 20261


def row(n: int, lots: int) -> dict[str, float]:
    """Critical values at one number of parts: each statistic, order unknown and known."""
    rng = np.random.default_rng([SEED, n])
    found: dict[str, list[np.typing.NDArray[np.float64]]] = {}
    step = max(1, 1_000_000 // n)
    for start in range(0, lots, step):
        x = rng.standard_normal((min(step, lots - start), n))
        for name, values in statistics(x, order=True).items():
            found.setdefault(name, []).append(values)
    result = {"n": float(n)}
    for name, parts in found.items():
        values = np.concatenate(parts)
        for known, chance in ALONE.items():
            result[f"{name}/{known}"] = float(np.quantile(values, 1.0 - chance))
    return result


def main(lots: int = 100_000) -> None:
    """Print the table as CSV."""
    for i, n in enumerate(SIZES):
        values = row(n, lots)
        if i == 0:
            sys.stdout.write(",".join(values) + "\n")
        sys.stdout.write(",".join(f"{v:.6g}" for v in values.values()) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
