"""Why no bands will do: targets in the way, the best attainable, what would have to change."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_cases import Case
from tolsim.answers.design_lowest import lowest
from tolsim.answers.design_outer import ANY_RATE, Found, Search, of_case
from tolsim.answers.design_results import Remedy, Unreachable
from tolsim.answers.design_variant import feature_at
from tolsim.answers.predict import predict
from tolsim.answers.tally import tally
from tolsim.errors import SpecError
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.variants import Contributor, contributors, with_moved

__all__ = ["in_the_way", "reasons_of"]

FloatArray = NDArray[np.float64]
Tell = Callable[[str], None]
_LOOK = 2**16
_MOST = 4.0  # factor of a capability, or of a spread, up to which a remedy is sought
_LOOKS = 4  # points between, by the secant of the excess
_CANDIDATES = 3
_STEPS = 8
_SHARPER = 0.3
_NEAR = 0.01  # logarithm of rate over target: as close as the samples can tell


def in_the_way(
    case: Case, search: Search, found: Found, workers: int, tell: Tell | None
) -> tuple[tuple[Unreachable, ...], FloatArray | None]:
    """Targets that no bands of a case meet; where there are none, bands that meet all of them.

    What the second finds the search has missed. It is None where rates are too near their
    targets to tell.
    """
    if tell is not None:
        tell("what is in the way")
    causes = _causes(case, found, workers)
    unreachable, within = [], None
    for mode, target in search.targets.items():
        if target == ANY_RATE:
            continue
        held = {m: t for m, t in search.targets.items() if m != mode}
        with_others = lowest(search, mode, held, found.theta)
        best = with_others.value
        if best <= target * (1.0 + _NEAR):
            within = with_others.theta if with_others.held and best <= target else within
            continue
        alone = lowest(search, mode, {}, with_others.theta) if held else with_others
        is_alone = alone.value > target
        if not is_alone and not with_others.held:
            continue  # the others are in the way by themselves
        unreachable.append(
            Unreachable(
                mode=mode,
                target=target,
                best=alone.value if is_alone else best,
                alone=is_alone,
                cause=causes.get(mode),
            )
        )
    order = sorted(unreachable, key=lambda u: (not u.alone, u.target / u.best))
    return tuple(order), None if order else within


def reasons_of(
    case: Case,
    search: Search,
    found: Found,
    unreachable: tuple[Unreachable, ...],
    tell: Tell | None,
    *,
    deep: bool,
) -> dict[str, Any]:
    """What `Design` holds about targets that nothing meets, by field."""
    return {
        "unreachable": unreachable,
        "remedies": _remedies(case, search, found, tell) if deep else (),
        "attainable": {m: found.rates[m] for m, t in search.targets.items() if t != ANY_RATE},
    }


def _causes(case: Case, found: Found, workers: int) -> dict[str, str]:
    """The limit that most failures of each mode hit, where the search ended."""
    try:
        p = predict(case.variant(found.theta), draws=2**17, workers=workers, glance=False)
    except SpecError:  # a sorting band that lets nothing pass
        return {}
    out: dict[str, str] = {}
    most: dict[str, float] = {}
    for cause in p.causes:
        mode = cause.margin.mode
        for key in (mode, "creak") if mode in ("loose", "misaligned", "bond") else (mode,):
            if cause.share > most.get(key, 0.0):
                most[key], out[key] = cause.share, cause.margin.cause
    return out


def _remedies(case: Case, search: Search, found: Found, tell: Tell | None) -> tuple[Remedy, ...]:
    out: list[Remedy] = []
    follows = [f for f in case.freedoms if f.follows == "process" and f.held is None]
    if follows:
        if tell is not None:
            tell("would a sharper process do?")

        def sharper(factor: float) -> Case:
            return replace(
                case,
                freedoms=tuple(
                    replace(f, capability=f.capability * factor) if f in follows else f
                    for f in case.freedoms
                ),
            )

        factor, enough = _needed(sharper, search, found, _MOST)
        out.append(
            Remedy(
                kind="capability",
                what=", ".join(f.path for f in follows),
                factor=factor,
                before=follows[0].capability,
                after=follows[0].capability * factor,
                unit="",
                enough=enough,
            )
        )
    for c in _worst(case, search, found):
        if tell is not None:
            tell(f"would less scatter of {c.path} do?")

        def calmer(factor: float, path: str = c.path) -> Case:
            return replace(case, study=with_moved(case.study, path, factor=1.0 / factor))

        factor, enough = _needed(calmer, search, found, 2.0 * _MOST)
        if enough or not out:
            sd = _spread(case.study, c)
            out.append(
                Remedy(
                    kind="spread",
                    what=c.path,
                    factor=1.0 / factor,
                    before=None if sd is None else sd * c.scale,
                    after=None if sd is None else sd * c.scale / factor,
                    unit=c.unit,
                    enough=enough,
                )
            )
    return tuple(sorted(out, key=lambda r: not r.enough))


def _needed(
    make: Callable[[float], Case], search: Search, found: Found, most: float
) -> tuple[float, bool]:
    """Smallest factor up to `most` at which a changed case meets its targets, to a few per cent."""

    def excess(factor: float) -> float:
        try:
            changed = of_case(
                make(factor), search.targets, seed=search.seed, start=found.theta.copy()
            )
            # targets out of reach, so that the search lowers rates instead of saving money
            asked = {m: t if t == ANY_RATE else _SHARPER * t for m, t in search.targets.items()}
            found_there = changed.run(targets=asked, most=_STEPS, closely=False)
            return found_there.excess + math.log(_SHARPER)
        except SpecError:
            return math.inf

    top = excess(most)
    if top > _NEAR:
        return most, False
    low, high = (0.0, found.excess), (math.log(most), top)
    for _ in range(_LOOKS):
        if high[0] - low[0] < 0.03:
            break
        share = np.clip(low[1] / max(low[1] - high[1], 1e-9), 0.15, 0.85)
        at = low[0] + float(share) * (high[0] - low[0])
        here = excess(math.exp(at))
        if here <= _NEAR:
            high = (at, here)
        else:
            low = (at, here)
    return math.exp(high[0]), True


def _worst(case: Case, search: Search, found: Found) -> list[Contributor]:
    """Scatter that is not free and whose halving lowers the worst rate most, the most first."""
    free = {f.path for f in case.freedoms}
    values = search.rates.values(found.theta)
    mode = max(search.targets, key=lambda m: values[m][0] / search.targets[m])

    def rate(study: Study) -> float:
        joint = assemble(study)
        return tally(joint, seed=search.seed + 1, n=_LOOK, workers=1).mix[mode, 0][0]

    study = case.variant(found.theta)
    before = rate(study)
    if before * _LOOK < 20:
        return []
    gains = []
    for c in contributors(study):
        if c.path in free:
            continue
        try:
            gains.append((rate(with_moved(study, c.path, factor=0.5)), c))
        except (SpecError, ValueError):
            continue
    gains.sort(key=lambda g: g[0])
    return [c for r, c in gains[:_CANDIDATES] if r < 0.9 * before]


def _spread(study: Study, c: Contributor) -> float | None:
    """Standard deviation of what is assumed for a contributor; None where readings give it."""
    from tolsim.joint.routes import process_of, start_process

    role, _, rest = c.path.partition(".")
    if any(c.path in s.readings for s in study.strata) and role not in ("service", "joint"):
        return None
    if role in ("service", "joint"):
        node: Any = getattr(study.spec, role)
        for name in rest.split("."):
            node = getattr(node, name)
        return float(process_of(node).sd)
    value = feature_at(study, c.path)
    if value is None:
        return None
    process = start_process(value)[0] if isinstance(value, Feature) else process_of(value)
    return float(process.sd)
