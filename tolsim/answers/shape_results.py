"""Which shape each measured size was taken to have, why, and what that costs in the tail."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tolsim.answers.known_coverage import Shortfall, known_shortfall
from tolsim.answers.tally import Tally
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build, Joint
from tolsim.joint.shape_taken import ShapeTaken

__all__ = ["ShapeResult", "Tail", "shape_results"]

_FEW = 20  # failed units below which their sizes name no limit
_OFF = 1.0  # spreads between the middle of the parts and a size that matters


@dataclass(frozen=True, kw_only=True, slots=True)
class Tail:
    """Share of the parts of one seat beyond a size [mm from nominal], by the shape taken, and the
    smallest and largest among the shapes that the readings leave standing.

    `mode` is the failure of which half the units have this seat beyond the size, None where too
    few failed and the size is a drawing limit.
    """

    seat: int
    limit: float
    above: bool
    mode: str | None
    taken: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ShapeResult:
    """The shape of one measured size: its name, whether it was stated, and why it was taken.

    `left_open` is the shape that every interval takes in beside it, None where there is none;
    `not_held` the one that the readings leave open but that cannot be worked behind a gauge.
    """

    part: str
    key: str
    shape: str
    stated: bool
    reason: str
    parts: int
    gauge_share: float
    standing: tuple[str, ...]
    tail: Tail | None
    left_open: str | None = None
    not_held: str | None = None
    #: Where intervals from so many parts are known to hold the truth too seldom.
    shortfall: Shortfall | None = None


def shape_results(joint: Joint, counted: Tally) -> tuple[ShapeResult, ...]:
    """One result a measured size, in the order of the builds."""
    out: dict[tuple[str, str], ShapeResult] = {}
    for i, build in enumerate(joint.builds):
        for k, measured in enumerate(build.measured):
            taken = measured.shape
            if taken is None or (measured.part_name, measured.key) in out:
                continue
            tail = _tail(i, build, k, measured, taken, counted)
            out[measured.part_name, measured.key] = ShapeResult(
                part=measured.part_name,
                key=measured.key,
                shape=taken.name,
                stated=taken.stated,
                reason=taken.reason,
                parts=taken.parts,
                gauge_share=taken.gauge_share,
                standing=taken.standing(0 if tail is None else tail.seat - 1),
                tail=tail,
                left_open=None if taken.alone else taken.left_open,
                not_held=taken.left_open if taken.alone == "gauge" else None,
                shortfall=known_shortfall(
                    taken.name,
                    stated=taken.stated,
                    parts=taken.parts,
                    alone=taken.alone is not None,
                ),
            )
    return tuple(out.values())


def _tail(
    i: int, build: Build, k: int, measured: Measured, taken: ShapeTaken, counted: Tally
) -> Tail | None:
    found = _of_failed(i, k, measured, counted) or _of_band(build, measured)
    if found is None:
        return None
    seat, limit, above, mode = found
    if not any(c.name != "normal" for c in taken.choices[min(seat, len(taken.choices) - 1)].tried):
        return None  # too few parts for another shape to be tried
    process = measured.processes[seat]
    low, high = taken.tail(seat, limit, above=above)
    share = float(process.sf(limit) if above else process.cdf(limit))
    return Tail(
        seat=seat + 1,
        limit=limit,
        above=above,
        mode=mode,
        taken=share,
        low=min(low, share),
        high=max(high, share),
    )


def _of_failed(
    i: int, k: int, measured: Measured, counted: Tally
) -> tuple[int, float, bool, str] | None:
    """The size beyond which half of the failed units have this seat, of the commonest failure."""
    best: tuple[int, float, bool, str] | None = None
    most = 0
    for mode in ("loose", "tight", "bond"):
        for seat in (0, 1):
            kept = counted.kept.get((i, (mode, seat + 1)))
            failed = counted.events.get((i, (mode, seat + 1)), 0)
            if kept is None or not kept.sizes or failed <= max(most, _FEW):
                continue
            sizes = np.concatenate(kept.sizes, axis=1)[2 * k + seat]
            process = measured.processes[seat]
            limit, middle = float(np.median(sizes)), float(process.quantile(0.5))
            if abs(limit - middle) > _OFF * process.sd:
                best, most = (seat, limit, limit > middle, mode), failed
    return best


def _of_band(build: Build, measured: Measured) -> tuple[int, float, bool, str | None] | None:
    """The drawing limit that most parts lie beyond."""
    band = next(
        (p.band for p in build.populations if p.feature == measured.key and p.band is not None),
        None,
    )
    if band is None:
        return None
    found = []
    for seat, process in enumerate(measured.processes):
        found.append((float(process.cdf(band[0])), seat, band[0], False))
        found.append((float(process.sf(band[1])), seat, band[1], True))
    _, seat, limit, above = max(found)
    return seat, limit, above, None
