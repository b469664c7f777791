"""How often magnitudes show a systematic part, falsely or rightly, and what its intervals hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.campaigns.table import Table
from tolsim.intervals import Interval, clopper_pearson
from tolsim.process.magnitude_fit import fit_rice
from tolsim.process.systematic import systematic_part

SEED = 20265
SIZES = (12, 30, 100)
DISTANCES = (0.0, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)
LEVEL = 0.03  # of a file; half of it where two seats, or offset and tilt, are judged


def magnitudes(*, reduced: bool) -> Table:
    """Shares of samples that show a systematic part, and coverage of its intervals."""
    lots, fits = (100, 20) if reduced else (1000, 250)
    rows = []
    worst = 0.0
    for distance in DISTANCES:
        for n in SIZES:
            rng = np.random.default_rng([SEED, n, int(10 * distance)])
            x, y = rng.standard_normal((2, lots, n))
            r = np.hypot(x + distance, y)
            p = np.array([systematic_part(one) for one in r])
            alone, half = (clopper_pearson(int((p <= a).sum()), lots) for a in (LEVEL, LEVEL / 2))
            if distance == 0.0:
                worst = max(worst, alone.value)
            held = _held(r[:fits], distance)
            rows.append(
                (
                    f"{distance:g}",
                    str(n),
                    str(lots),
                    _shown(alone),
                    _shown(half),
                    *("-" if h is None else _shown(h) for h in held),
                )
            )
    return Table(
        title="Systematic part behind magnitudes without direction",
        measured=f"{lots} samples a row; distance of the centre in spreads of an axis. Shown: "
        "Greenwood's statistic of the squares below its simulated limit, at the level of a file "
        f"with one column of one seat, and of one with two. Coverage of the 95 % intervals of "
        f"{fits} of the samples, whether they show it or not. Shares with exact binomial 95 % "
        "intervals.",
        columns=(
            "distance",
            "readings",
            "samples",
            "shown at 3 %",
            "shown at 1.5 %",
            "distance covered",
            "spread covered",
        ),
        rows=rows,
        verdict=[
            f"Most false alarms: {100 * worst:.1f} % (goal: at most 5 %).",
            "An interval of the distance does not reach 0 itself: it cannot hold none.",
        ],
    )


def _held(r: NDArray[np.float64], distance: float) -> tuple[Interval | None, Interval | None]:
    """Coverage of the distance and of the spread; none where there is no systematic part."""
    if distance == 0.0:
        return None, None
    far = spread = 0
    for one in r:
        found = fit_rice(one)
        low, high = np.quantile(found.means, [0.025, 0.975])
        far += bool(low <= distance <= high)
        low, high = np.quantile(found.sds, [0.025, 0.975])
        spread += bool(low <= 1.0 <= high)
    return clopper_pearson(far, len(r)), clopper_pearson(spread, len(r))


def _shown(share: Interval) -> str:
    return f"{share.value:.3f} ({share.low:.3f} to {share.high:.3f})"
