"""Coverage on whole joints: the physics of shipped studies, at four levels of failure.

No closed form knows the share of a whole joint. The yardstick is the mean of independent estimates
with seeds of their own, held against a plain count as far down as that one sees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tests.campaigns.coverage import COLUMNS, Coverage, measure, verdict
from tests.campaigns.table import Table
from tolsim.chance.estimate import estimate
from tolsim.chance.event import Event, event_of
from tolsim.chance.streams import BLOCK, Streams
from tolsim.joint.assemble import assemble
from tolsim.process.mixture import Mixture
from tolsim.process.plain import Normal
from tolsim.record import Array, record
from tolsim.spec.load import load_study

__all__ = ["joints"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
STUDIES = Path(__file__).parents[2] / "studies"
#: study and ways to fail: a pressed joint that fails when warm, a threaded and a bonded one
_CASES = {"steel-all-year": "loose", "threaded-steel": "misaligned", "bonded-carbon": "creak"}
_LEVELS = (1e-3, 1e-4, 1e-5, 1e-7)
_CREAK = ("loose", "misaligned", "bond")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Level:
    """A joint whose limits are all relaxed alike, and how often it fails."""

    name: str
    event: Event
    exact: float
    against_plain: float  # z-score of a plain count, NaN where it counted too few


def _relaxed(study: str, mode: str) -> tuple[Callable[[float], Event], tuple[str, ...]]:
    """Event of a study with all its limits moved out by c standard deviations of each margin."""
    joint = assemble(load_study(STUDIES / study))
    modes = _CREAK if mode == "creak" else (mode,)
    rows = sorted({r for m in modes for r in joint.builds[0].rows_of(m)})
    chosen = joint.recording.select(rows)
    z = np.random.default_rng(1).standard_normal((chosen.inputs, 2**14))
    spreads = chosen(z).std(axis=1)

    base = event_of(chosen)
    assert base.margins is not None
    assert base.margins_gradient is not None
    plain, sloped = base.margins, base.margins_gradient

    def event(c: float) -> Event:
        more = c * spreads

        def margins(z: FloatArray) -> FloatArray:
            return np.asarray(plain(z) + more[:, None])

        def one(z: FloatArray, index: IntArray) -> tuple[FloatArray, FloatArray]:
            value, slope = sloped(z, index)
            return value + more[index], slope

        return Event(
            dimension=base.dimension,
            values=lambda z: margins(z).min(axis=0),
            values_and_gradient=lambda z: one(z, margins(z).argmin(axis=0)),
            margins=margins,
            margins_gradient=one,
        )

    return event, joint.latent


def _failures(event: Event, names: tuple[str, ...], units: int) -> float:
    """Failures of a plain count."""
    streams = Streams(77, names)
    z = np.empty((len(names), BLOCK))
    failed = 0
    for block in range(units // BLOCK):
        streams.fill(block, z)
        failed += int(np.count_nonzero(event.values(z) < 0.0))
    return failed


def _levels(study: str, mode: str, *, references: int, units: int) -> list[_Level]:
    make, names = _relaxed(study, mode)

    def share(c: float, seeds: range, precision: float) -> tuple[float, float]:
        event = make(c)
        found = [
            estimate(event, seed=s, plain_counts=(1, 2**12), target_relative=precision)
            for s in seeds
        ]
        values = np.array([e.value for e in found if e.trusted])
        return float(values.mean()), float(values.std(ddof=1) / math.sqrt(values.size))

    out = []
    c = -1.0
    for level in _LEVELS:
        # close is enough: the share is measured again where the search ends
        low, high = c, c + 4.0
        for _ in range(7):
            middle = 0.5 * (low + high)
            found = estimate(make(middle), seed=5, plain_draws=2**14, target_relative=0.2)
            low, high = (middle, high) if found.value > level else (low, middle)
        c = high
        exact, error = share(c, range(900, 900 + references), 0.05)
        z = math.nan
        if exact * units > 100.0:
            count = _failures(make(c), names, units)
            scatter = math.hypot(math.sqrt(exact / units), error)
            z = (count / units - exact) / scatter
        out.append(
            _Level(
                name=f"{study}, {mode}, {len(names)} rows, about {level:.0e}",
                event=make(c),
                exact=exact,
                against_plain=z,
            )
        )
    return out


def _rare_supply() -> _Level:
    """One bore in a hundred comes from a supply that makes nearly all loose units."""
    bore = Mixture(
        parts=((0.99, Normal(mean=-0.030, sd=0.003)), (0.01, Normal(mean=-0.012, sd=0.003)))
    )
    ring = Normal(mean=-0.004, sd=0.0015)

    def interference(z: Sequence[Array]) -> list[Array]:
        return [ring.size(z[1]) - bore.size(z[0]) + 0.006]

    def loose(mean: float) -> float:
        return float(ndtr((mean + 0.004 - 0.006) / math.hypot(0.003, 0.0015)))

    return _Level(
        name="a supply of share 0.01 that makes the failures",
        event=event_of(record(interference, 2)),
        exact=0.99 * loose(-0.030) + 0.01 * loose(-0.012),
        against_plain=math.nan,
    )


def joints(*, reduced: bool) -> Table:
    """Three shipped joints at four levels, and a supply that makes all failures."""
    levels = [_rare_supply()]
    for study, mode in _CASES.items():
        levels += _levels(
            study,
            mode,
            references=10 if reduced else 40,
            units=2**20 if reduced else 2**25,
        )
    results: list[Coverage] = []
    for i, level in enumerate(levels):
        results.append(
            measure(
                level.name,
                level.event,
                level.exact,
                repeats=10 if reduced else 100,
                seed=41_000_000 + 100_000 * i,
                plain_draws=2**12 if level.exact > 2.5e-4 else 2**20,
            )
        )
        print("  " + " | ".join(results[-1].row()), flush=True)
    scores = [level.against_plain for level in levels if not math.isnan(level.against_plain)]
    return Table(
        title="Coverage on whole joints",
        measured="Shipped studies with all limits of the named way to fail moved out alike. "
        "Exact stands for the mean of independent estimates at twice the precision; for the "
        "supply of share 0.01 it is a closed form.",
        columns=COLUMNS,
        rows=[r.row() for r in results],
        verdict=[
            *verdict(results),
            f"Yardsticks against plain counts of {2**20 if reduced else 2**25:,} units, in "
            f"standard errors: {', '.join(f'{z:+.1f}' for z in scores)}.",
        ],
    )
