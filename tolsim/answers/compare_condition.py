"""What a lot must show before it is bought: mean and spread, on how many parts.

The part in question is let range over means and spreads; where the rule says acceptable, whatever
else is still open, lies a region. The largest box in it becomes limits on the mean and spread
of a sample, drawn in so far that a lot outside the box seldom passes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtr, chdtri, ndtr, ndtri

from tolsim.answers.compare_concepts import ranged_features
from tolsim.answers.compare_demand import Demand
from tolsim.answers.compare_variants import machine, with_process
from tolsim.answers.evidence_rule import Rule
from tolsim.joint.routes import start_process
from tolsim.spec.load import Stratum, Study
from tolsim.spec.parts import Feature
from tolsim.spec.route_steps import Machine

__all__ = ["Condition", "LotTest", "condition_of", "demanded", "lot_test", "ranging"]

FloatArray = NDArray[np.float64]
_NUMBERS = (12, 20, 30, 50, 80, 125, 200)  # parts a lot that a buyer may ask for
_GOOD = 0.75  # spread of a good lot, as a share of the largest allowed
_PASSES = 0.9  # probability with which a good lot shall pass
_SPREADS = 16
_MEANS = 25
#: Feature of size that decides how a part of each role fits.
FITS = {"bearing": "outside", "bore": "diameter", "sleeve": "inside"}


@dataclass(frozen=True, kw_only=True, slots=True)
class LotTest:
    """Limits on a sample of `n` parts of one lot [mm], and how good lots fare.

    A lot whose mean or spread lies outside the box passes with at most `risk`; a good one,
    centred with three quarters of the spread allowed, with `passes`.
    """

    n: int
    mean: tuple[float, float]
    sd: float
    risk: float
    passes: float

    def chance(self, mean: float, sd: float) -> float:
        """Probability that a normal lot of this mean and spread [mm] passes."""
        return _chance(self.n, self.mean, self.sd, mean, sd)


@dataclass(frozen=True, kw_only=True, slots=True)
class Condition:
    """What the lots of one feature must be [mm from nominal] for the rule to accept.

    `box` is the range of the mean with `sd` as the largest spread; None where no lot will do,
    `best` then says how near the best lot comes. `today` is the mean and spread as known now, and
    `today_passes` the chance of a lot like that in the test.
    """

    part: str
    key: str
    box: tuple[float, float] | None
    sd: float | None
    test: LotTest | None
    today: tuple[float, float]
    today_passes: float | None
    looked: tuple[tuple[float, float], tuple[float, float]]


def lot_test(box: tuple[float, float], sd: float, *, confidence: float) -> LotTest | None:
    """The smallest sample that tells a lot inside a box from one outside; None if 200 do not.

    Parameters
    ----------
    box : (float, float)
        Range of the lot's mean [mm].
    sd : float
        Largest spread [mm].
    confidence : float
        One minus the risk that a lot outside passes; half of it for the spread, half for the mean.

    Notes
    -----
    Normal lots: the spread by chi-square, the mean with the largest spread taken as known.

    Examples
    --------
    >>> t = lot_test((-0.007, -0.005), 0.002, confidence=0.95)
    >>> t.n, t.sd < 0.002, t.mean[0] > -0.007
    (80, True, True)
    """
    risk = 1.0 - confidence
    u = float(ndtri(1.0 - 0.5 * risk))
    middle = 0.5 * (box[0] + box[1])
    for n in _NUMBERS:
        limit = sd * math.sqrt(float(chdtri(n - 1, 1.0 - 0.5 * risk)) / (n - 1))
        inward = u * sd / math.sqrt(n)
        ends = (box[0] + inward, box[1] - inward)
        if ends[0] >= ends[1]:
            continue
        passes = _chance(n, ends, limit, middle, _GOOD * sd)
        if passes >= _PASSES:
            return LotTest(n=n, mean=ends, sd=limit, risk=risk, passes=passes)
    return None


def _chance(n: int, ends: tuple[float, float], limit: float, mean: float, sd: float) -> float:
    spread = float(chdtr(n - 1, (n - 1) * (limit / sd) ** 2))
    error = sd / math.sqrt(n)
    inside = float(ndtr((ends[1] - mean) / error) - ndtr((ends[0] - mean) / error))
    return spread * inside


def ranging(study: Study, role: str, name: str) -> tuple[Study, str, Machine] | None:
    """The study with one part's decisive size over a wide range; its name and its range.

    None where the part has none, or its route begins with something that has no mean and spread
    to ask for.
    """
    stratum = next((s for s in study.strata if s.names.get(role) == name), None)
    if stratum is None or role not in FITS:
        return None
    feature = getattr(stratum.parts[role], FITS[role])
    if not isinstance(feature, Feature):
        return None
    mean, sd = _today(stratum, role, feature)
    reach = max(0.004, 2.0 * sd)
    step = machine(
        mean,
        sd,
        mean_range=(mean - reach, mean + reach),
        sd_range=(0.25 * sd, 1.4 * sd),
    )
    label = f"{name} (any lot)"
    return with_process(study, name, f"{role}.{FITS[role]}", step, label), label, step


def _today(stratum: Stratum, role: str, feature: Feature) -> tuple[float, float]:
    readings = stratum.readings.get(f"{role}.{FITS[role]}")
    if readings is not None:
        mean, sd = readings.mean_sd()
        return mean, max(sd, 1e-4)
    start, _ = start_process(feature)
    return start.mean, max(start.sd, 1e-4)


def condition_of(
    rule: Rule,
    name: str,
    key: str,
    step: Machine,
    *,
    tell: Callable[[int, int], None] | None = None,
) -> Condition:
    """The largest box of means and spreads that the rule accepts, and the test of a lot.

    `rule` is that of a study from `ranging`; every point is judged with all else as it is known.
    """
    assert step.mean_range is not None
    assert step.sd_range is not None
    feature = (name, key)
    sets = rule.run.table.shape[1]
    now = {f: x[:, :: sets // 256] for f, x in rule.at.items()}
    size = next(iter(now.values())).shape[1]

    def good(mean: float, sd: float) -> bool:
        at: Mapping[tuple[str, str], FloatArray] = {
            **now,
            feature: np.repeat([[mean], [math.log(sd)]], size, axis=1),
        }
        # the lots of other parts are not what this one is asked for
        return rule.word(at, measured=tuple(rule.lots)) == "acceptable"

    means = np.linspace(*step.mean_range, _MEANS)
    spreads = np.linspace(*step.sd_range, _SPREADS)
    best: tuple[float, tuple[float, float], float] | None = None
    inside: tuple[float, float] | None = None
    for k, sd in enumerate(spreads):
        found = _run_of(means, [good(float(m), float(sd)) for m in means], inside)
        if tell is not None:
            tell(k + 1, len(spreads))
        if found is None:
            break  # a wider spread is no better
        ends = _edges(good, float(sd), found, float(means[1] - means[0]), step.mean_range)
        inside = ends if inside is None else (max(ends[0], inside[0]), min(ends[1], inside[1]))
        if inside[0] >= inside[1]:
            break
        worth = (inside[1] - inside[0]) * float(sd)
        if best is None or worth > best[0]:
            best = (worth, inside, float(sd))
    today = (step.mean or 0.0, step.sd or 0.0)
    looked = (step.mean_range, step.sd_range)
    blank = Condition(
        part=name.removesuffix(" (any lot)"),
        key=key,
        box=None,
        sd=None,
        test=None,
        today=today,
        today_passes=None,
        looked=looked,
    )
    if best is None:
        return blank
    _, box, sd = best
    test = lot_test(box, sd, confidence=rule.confidence)
    return replace(
        blank,
        box=box,
        sd=sd,
        test=test,
        today_passes=None if test is None else test.chance(*today),
    )


def demanded(demand: Demand, study: Study, confidence: float) -> list[Condition]:
    """What lots of each process known within ranges must show, all of them at once."""
    out = []
    ranged = ranged_features(study)
    for (name, key), window in (demand.windows or {}).items():
        step = ranged[name, key]
        today = step.mean or 0.0, step.sd or 0.0
        test = lot_test(window.mean, window.sd, confidence=confidence)
        out.append(
            Condition(
                part=name,
                key=key,
                box=window.mean,
                sd=window.sd,
                test=test,
                today=today,
                today_passes=None if test is None else test.chance(*today),
                looked=(step.mean_range or (today[0],) * 2, step.sd_range or (today[1],) * 2),
            )
        )
    return out


def _run_of(
    means: FloatArray, good: list[bool], within: tuple[float, float] | None
) -> tuple[float, float] | None:
    """The longest run of good means that lies within the box so far."""
    best: tuple[float, float] | None = None
    start: float | None = None
    for m, ok in [*zip(means.tolist(), good, strict=True), (math.inf, False)]:
        ok = ok and (within is None or within[0] <= m <= within[1])
        if ok:
            start = m if start is None else start
            if best is None or m - start > best[1] - best[0]:
                best = (start, m)
        else:
            start = None
    return best


def _edges(
    good: Callable[[float, float], bool],
    sd: float,
    run: tuple[float, float],
    step: float,
    ends: tuple[float, float],
) -> tuple[float, float]:
    """Ends of a run of good means, to a thirty-second of a step."""
    out = []
    for inner, sign in ((run[0], -1.0), (run[1], 1.0)):
        ok, bad = inner, inner + sign * step
        if not ends[0] <= bad <= ends[1]:
            out.append(inner)
            continue
        for _ in range(5):
            middle = 0.5 * (ok + bad)
            ok, bad = (middle, bad) if good(middle, sd) else (ok, middle)
        out.append(ok)
    return out[0], out[1]
