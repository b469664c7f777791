"""Two makes in one bag: what the next lot would do if it held only one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tolsim.answers.compare_draws import draw_together
from tolsim.answers.compare_variants import machine, with_process
from tolsim.answers.doubts import findings_of
from tolsim.joint.assemble import assemble_together
from tolsim.process.detection import Finding
from tolsim.process.fitting import fit_two
from tolsim.process.mixture import Mixture
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.readings import Readings

__all__ = ["Group", "NextLot", "next_lots"]

_FEWEST = 8  # readings below which no split into two is tried
_DRAWS = 2**17


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """One of two populations: share of the bag, mean and spread [mm], rates of a lot of it only."""

    share: float
    mean: float
    sd: float
    rates: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class NextLot:
    """A bag that may hold two populations: `verdict` is "seen", "not seen" or "cannot tell".

    `groups` is the likeliest split, `together` the rates of a lot mixed as the bag is.
    """

    part: str
    key: str
    n: int
    verdict: str
    text: str
    groups: tuple[Group, Group]
    together: Mapping[str, float]


def next_lots(
    study: Study, changed: Sequence[str], *, seed: int, workers: int, modes: Sequence[str]
) -> tuple[NextLot, ...]:
    """What the next lot may do where a bag holds, or may hold, two populations.

    Parameters
    ----------
    study : Study
        The alternative.
    changed : sequence of str
        Parts that it brings in, by name: those whose bags are in question.
    seed, workers : int
        Of the count.
    modes : sequence of str
        Rates that are told.
    """
    out = []
    seen: set[tuple[str, str]] = set()
    for stratum in study.strata:
        for key, readings in stratum.readings.items():
            role = key.partition(".")[0]
            name = stratum.names[role]
            if name not in changed or (name, key) in seen or len(readings) < _FEWEST:
                continue
            seen.add((name, key))
            finding = next((f for f in findings_of(readings) if f.kind == "mixture"), None)
            values = next(iter(readings.by_seat().values()))
            if finding is None or finding.verdict == "not seen" or float(np.ptp(values)) == 0.0:
                continue
            out.append(_next_lot(study, name, key, readings, finding, seed, workers, modes))
    return tuple(out)


def _next_lot(
    study: Study,
    name: str,
    key: str,
    readings: Readings,
    finding: Finding,
    seed: int,
    workers: int,
    modes: Sequence[str],
) -> NextLot:
    role, _, field = key.partition(".")
    values = next(iter(readings.by_seat().values()))
    stratum = next(s for s in study.strata if s.names.get(role) == name)
    feature: Feature = getattr(stratum.parts[role], field)
    gauge = 0.0 if feature.readings is None else feature.readings.gauge_sd
    found, _ = fit_two(values, gauge_sd=gauge)
    assert isinstance(found, Mixture)
    parts = sorted(found.parts, key=lambda p: p[1].mean)
    whole = (float(values.mean()), float(values.std(ddof=1)))
    each = [whole, *((p.mean, p.sd) for _, p in parts)]
    variants = [
        with_process(study, name, key, machine(m, max(s, 1e-5)), f"{name} (lot {k})")
        for k, (m, s) in enumerate(each)
    ]
    joints = assemble_together(variants)
    together = draw_together(
        joints,
        seed=seed,
        n=_DRAWS,
        workers=workers,
        events=[(m, 0) for m in modes],
        keep=False,
    )
    rates: list[dict[str, float]] = []
    for j in range(len(variants)):
        weights = together.weights(j)
        own = {}
        for m in modes:
            p = together.patterns[m, 0]
            total = float(p.counts @ (p.bits @ weights)) if len(p.counts) else 0.0
            own[m] = total / together.n
        rates.append(own)
    groups = [
        Group(share=share, mean=p.mean, sd=p.sd, rates=r)
        for (share, p), r in zip(parts, rates[1:], strict=True)
    ]
    return NextLot(
        part=name,
        key=key,
        n=len(values),
        verdict=finding.verdict,
        text=finding.text,
        groups=(groups[0], groups[1]),
        together=rates[0],
    )
