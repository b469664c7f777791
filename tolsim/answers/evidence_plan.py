"""How many more parts of which supplier would decide: the rule rerun on readings not yet made.

What the readings at hand allow the truth to be is drawn; from each such truth further readings
are simulated, added to those at hand and judged by the same rule. The share of such worlds in
which the rule then decides, either way, is what so many parts are worth.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.compare_surface import Surface, all_coordinates, surface_of
from tolsim.answers.evidence_readings import Simulator, simulator_of
from tolsim.answers.money import ClaimDraws, units_of, worth_of_knowing
from tolsim.answers.results import verdict_of
from tolsim.chance.streams import generator
from tolsim.spec.money import Costs

if TYPE_CHECKING:
    from tolsim.answers.compare import Run

__all__ = ["Candidate", "EvidencePlan", "Rule", "chance_of_decision", "evidence_plan"]

FloatArray = NDArray[np.float64]
Feature = tuple[str, str]
Coordinates = Mapping[Feature, FloatArray]

WANTED = 0.8  # probability of a decision that a plan aims at
LOOK = 30  # parts whose worth is always told
SIZES = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 750, 1000)
_WORLDS = 160
_SETS = 256  # parameter sets that stand for what each world leaves open
_DECIDED = ("acceptable", "not acceptable")


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """One thing that could be measured: what more parts of it would do.

    `chance` holds the probability of a decision by the number of further parts, `perfect` that
    with its process known exactly; `needed` is the smallest number that reaches `WANTED`, None
    where no number does, `needed_with_claims` that with the claims known exactly beside. `worth`
    is what `LOOK` more parts are expected to save in money.
    """

    part: str
    key: str
    supplies: tuple[str, ...]
    n: int
    paired: bool
    assumed: bool
    chance: Mapping[int, float]
    perfect: float
    needed: int | None
    needed_with_claims: int | None
    worth: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class EvidencePlan:
    """What could decide about one alternative; `candidates` with the best one first.

    `all_known` is the probability of a decision with every process known exactly, `claims_known`
    that with the claims known and no part measured, `everything_known` both; `together` the
    parts of each that decide where all are measured. `error` is the largest standard deviation
    that the fitted rates leave, on the logarithm.
    """

    alternative: str
    candidates: tuple[Candidate, ...]
    all_known: float
    claims_known: float | None
    everything_known: float | None
    together: int | None
    worlds: int
    error: float


class Rule:
    """The rule of one alternative over parameter sets that any evidence may have left.

    Rates come from surfaces fitted over the sets of the run; intervals, targets and money are
    judged as on the run itself.
    """

    def __init__(
        self, run: Run, alternative: int, claims: ClaimDraws | None, costs: Costs, saving: float
    ) -> None:
        self.run, self.j = run, alternative
        self.claims, self.costs, self.saving = claims, costs, saving
        spec = run.studies[run.names[alternative]].spec
        self.confidence = spec.targets.confidence
        self._normals: dict[int, FloatArray] = {}
        modes = ("loose", "tight", "misaligned", "bond", "creak")
        self.targets = {m: t for m in modes if (t := getattr(spec.targets, m)) is not None}
        self.at = all_coordinates(run.together.builds, run.table)
        claimed = claims.modes if claims is not None else ()
        self.own = {m: self._surfaces(alternative, m) for m in {*self.targets, *claimed}}
        self.other = {m: self._surfaces(0, m) for m in claimed}

    def _surfaces(self, j: int, mode: str) -> list[tuple[float, Surface]]:
        judge, out = self.run.judges[j], []
        for i, build in enumerate(self.run.joints[j].builds):
            if judge.has(i, (mode, 0)):
                found = surface_of(judge.draws(i, (mode, 0)), build, self.at)
                if found is not None:
                    out.append((build.share, found))
        return out

    @property
    def error(self) -> float:
        """Standard deviation that the surfaces leave on the logarithm of a rate, the largest."""
        worst = 0.0
        for j, found in ((self.j, self.own), (0, self.other)):
            judge, builds = self.run.judges[j], self.run.joints[j].builds
            for mode, surfaces in found.items():
                drawn = np.zeros(1)
                for i, build in enumerate(builds):
                    if judge.has(i, (mode, 0)):
                        drawn = drawn + build.share * judge.draws(i, (mode, 0)).value
                fitted = np.broadcast_to(_sum(surfaces, self.at), drawn.shape)
                upper = drawn >= max(float(np.median(drawn)), 1e-300)
                if upper.any():
                    worst = max(worst, float(np.log(fitted[upper] / drawn[upper]).std()))
        return worst

    @property
    def features(self) -> tuple[Feature, ...]:
        """Everything measured, or known within a range, that the rule depends on."""
        used = [s for m in (self.own, self.other) for found in m.values() for _, s in found]
        return tuple(dict.fromkeys(f for s in used for f in s.features))

    def net(self, at: Coordinates, claims: ClaimDraws | None = None) -> FloatArray:
        """What is left of the saving in every set, (k,)."""
        claims = claims or self.claims
        units, _ = units_of(self.costs)
        out = np.full(1, units * self.saving)
        for mode in claims.modes if claims else ():
            assert claims is not None
            rate = _sum(self.own.get(mode, []), at) - _sum(self.other.get(mode, []), at)
            each = claims.per_failure(mode)[1]
            out = out - units * rate * each[np.arange(rate.size) % each.size]
        return out

    def word(self, at: Coordinates, claims: ClaimDraws | None = None) -> str:
        """The rule's word where the features have these coordinates."""
        words = [self._target(m, t, at) for m, t in self.targets.items()]
        if self.claims is not None and self.j:
            words.append(self._pays(self.net(at, claims)))
        for word in ("not acceptable", "not enough evidence"):
            if word in words:
                return word
        return "acceptable"

    def _pays(self, net: FloatArray) -> str:
        tail = 0.5 * (1.0 - self.confidence)
        low, high = (float(q) for q in np.quantile(net, [tail, 1.0 - tail]))
        if low >= 0.0:
            return "acceptable"
        return "not acceptable" if high < 0.0 else "not enough evidence"

    def _target(self, mode: str, target: float, at: Coordinates) -> str:
        found = self.own[mode]
        if not found:
            return "acceptable"
        value = _sum(found, at)
        # the draws' own error on top, one deviate a set, as one more thing that is not known
        error = max(s.relative for _, s in found) ** 0.5
        value = np.resize(value, max(value.size, _SETS))
        noisy = value * np.exp(error * self._deviates(value.size))
        tail = 0.5 * (1.0 - self.confidence)
        low, high = (float(q) for q in np.quantile(noisy, [tail, 1.0 - tail]))
        share = float(value.mean())
        verdict = verdict_of(min(low, share), max(high, share), target)
        return {"met": "acceptable", "missed": "not acceptable"}.get(
            verdict or "", "not enough evidence"
        )

    def _deviates(self, n: int) -> FloatArray:
        if n not in self._normals:
            self._normals[n] = generator(self.run.seed, "error of the draws").standard_normal(n)
        return self._normals[n]


def _sum(found: list[tuple[float, Surface]], at: Coordinates) -> FloatArray:
    total = np.zeros(1)
    for weight, surface in found:
        total = total + weight * surface.shares(at)
    return total


def evidence_plan(
    rule: Rule,
    *,
    seed: int,
    worlds: int = _WORLDS,
    tell: Callable[[int, int], None] | None = None,
) -> EvidencePlan:
    """What further readings would decide about an alternative that the evidence leaves open.

    Parameters
    ----------
    rule : Rule
        Of the alternative.
    seed : int
        Of the simulated readings.
    worlds : int
        Truths drawn from what the readings at hand allow.
    tell : callable, optional
        Told (things tried, things in all).
    """
    plan = _Plan(rule, seed, worlds)
    found: list[Candidate] = []
    features = rule.features
    for done, feature in enumerate(features):
        candidate = plan.candidate(feature)
        if candidate is not None:
            found.append(candidate)
        if tell is not None:
            tell(done + 1, len(features))
    found.sort(key=_usefulness)
    all_known = plan.chance_known(features)
    together = None
    if len(found) > 1 and not any(c.needed for c in found) and all_known >= WANTED:
        together = plan.smallest([plan.simulators[c.part, c.key] for c in found])
    return EvidencePlan(
        alternative=rule.run.names[rule.j],
        candidates=tuple(found),
        all_known=all_known,
        claims_known=plan.chance_claims(()),
        everything_known=plan.chance_claims(features),
        together=together,
        worlds=worlds,
        error=rule.error,
    )


def _usefulness(c: Candidate) -> tuple[bool, int, bool, int, float]:
    """Decides alone, with fewest parts; decides with the claims known; by what it could do."""
    beside = c.needed_with_claims
    return c.needed is None, c.needed or 0, beside is None, beside or 0, -c.perfect


def chance_of_decision(
    rule: Rule, feature: Feature, parts: int, *, seed: int, worlds: int = _WORLDS
) -> float:
    """Probability that `parts` more readings of one feature make the rule decide, either way."""
    plan = _Plan(rule, seed, worlds)
    simulator = plan.simulator(feature)
    if simulator is None:
        raise ValueError(f"nothing is left open of {feature[1]} of {feature[0]}")
    return plan.chance([simulator], parts)[0]


class _Plan:
    """Worlds that the evidence at hand allows, and what the rule would say in them."""

    def __init__(self, rule: Rule, seed: int, worlds: int) -> None:
        self.rule, self.seed, self.worlds = rule, seed, worlds
        count = rule.run.table.shape[1]
        # truths and sets are spread evenly over the lattice of the sets
        self.truths = (np.arange(worlds) * (count // worlds) + count // (2 * worlds)) % count
        self.sets = np.arange(0, count, count // _SETS)
        self.now = {f: x[:, self.sets] for f, x in rule.at.items()}
        self.simulators: dict[Feature, Simulator] = {}
        self._chances: dict[tuple[Feature, int, bool], tuple[float, FloatArray]] = {}
        self.claims_open = _open(rule)

    def simulator(self, feature: Feature) -> Simulator | None:
        """What draws further readings of a feature; None where the run does not have it."""
        if feature not in self.simulators:
            found = simulator_of(self.rule.run, feature, self.sets)
            if found is None:
                return None
            self.simulators[feature] = found
        return self.simulators[feature]

    def candidate(self, feature: Feature) -> Candidate | None:
        """What measuring one feature would do; None where it cannot be simulated."""
        simulator = self.simulator(feature)
        if simulator is None:
            return None
        chance, means = self.chance([simulator], LOOK)
        perfect = self.chance_known([feature])
        needed = self.smallest([simulator]) if perfect >= WANTED else None
        beside = None
        if needed is None and self.claims_open and (self.chance_claims([feature]) or 0.0) >= WANTED:
            beside = self.smallest([simulator], claims_known=True)
        worth = None
        if self.rule.claims is not None and self.rule.j:
            worth = worth_of_knowing(self.rule.net(self.now), means)
        tried = {
            m: c
            for (f, m, known), (c, _) in sorted(self._chances.items())
            if f == feature and not known
        }
        return Candidate(
            part=feature[0],
            key=feature[1],
            supplies=simulator.supplies,
            n=simulator.n,
            paired=simulator.paired,
            assumed=simulator.n == 0,
            chance={LOOK: chance, **tried},
            perfect=perfect,
            needed=needed,
            needed_with_claims=beside,
            worth=worth,
        )

    def chance(
        self, simulators: Sequence[Simulator], parts: int, *, claims_known: bool = False
    ) -> tuple[float, FloatArray]:
        """Probability that so many more parts of each decide; expected net in every world."""
        key = (simulators[0].feature, parts, claims_known)
        if len(simulators) == 1 and key in self._chances:
            return self._chances[key]
        decided, means = 0, np.zeros(self.worlds)
        for w, truth in enumerate(self.truths):
            at = dict(self.now)
            for s in simulators:
                rng = generator(self.seed, f"readings {s.feature[0]} {s.feature[1]}", w)
                at[s.feature] = s.after(int(truth), parts, rng)
            claims = self._claims(w) if claims_known else None
            decided += self.rule.word(at, claims) in _DECIDED
            means[w] = float(self.rule.net(at, claims).mean())
        found = decided / self.worlds, means
        if len(simulators) == 1:
            self._chances[key] = found
        return found

    def _claims(self, world: int) -> ClaimDraws:
        """The claims as they are in one world, known exactly."""
        claims = self.rule.claims
        assert claims is not None
        share, cost = (
            {m: (v, d[world % d.size : world % d.size + 1]) for m, (v, d) in x.items()}
            for x in (claims.share, claims.cost)
        )
        return ClaimDraws(share, cost)

    def chance_known(self, features: Sequence[Feature]) -> float:
        """Probability of a decision with these processes known exactly."""
        decided = 0
        for truth in self.truths:
            at = dict(self.now)
            for f in features:
                at[f] = np.repeat(self.rule.at[f][:, truth : truth + 1], self.sets.size, axis=1)
            decided += self.rule.word(at) in _DECIDED
        return decided / self.worlds

    def chance_claims(self, features: Sequence[Feature]) -> float | None:
        """The same with the claims' shares and costs known exactly; None where they are."""
        if not self.claims_open:
            return None
        decided = 0
        for w, truth in enumerate(self.truths):
            at = dict(self.now)
            for f in features:
                at[f] = np.repeat(self.rule.at[f][:, truth : truth + 1], self.sets.size, axis=1)
            decided += self.rule.word(at, self._claims(w)) in _DECIDED
        return decided / self.worlds

    def smallest(
        self, simulators: Sequence[Simulator], *, claims_known: bool = False
    ) -> int | None:
        """Fewest parts (of each) that decide with the probability wanted; None if 1000 do not."""
        low, high = -1, len(SIZES) - 1
        if self.chance(simulators, SIZES[high], claims_known=claims_known)[0] < WANTED:
            return None
        while high - low > 1:
            middle = (low + high) // 2
            if self.chance(simulators, SIZES[middle], claims_known=claims_known)[0] >= WANTED:
                high = middle
            else:
                low = middle
        return SIZES[high]


def _open(rule: Rule) -> bool:
    """Whether something of the claims is known within a range only, and money counts."""
    claims = rule.claims
    if claims is None or not rule.j:
        return False
    return any(np.ptp(d) > 0.0 for x in (claims.share, claims.cost) for _, d in x.values())
