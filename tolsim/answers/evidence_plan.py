"""How many more parts of which supplier would decide: the rule rerun on readings not yet made.

What the readings at hand allow the truth to be is drawn; from each such truth further readings
are simulated, added to those at hand and judged by the same rule. The share of such worlds in
which the rule then decides, either way, is what so many parts are worth.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.evidence_readings import Simulator, simulator_of
from tolsim.answers.evidence_rule import DECIDED, SETS_OF_A_WORLD, Feature, Rule
from tolsim.answers.evidence_shrunk import Shrunk, read_at_once, shrunk_of
from tolsim.answers.money import ClaimDraws, worth_of_knowing
from tolsim.chance.streams import generator

__all__ = ["Candidate", "EvidencePlan", "chance_of_decision", "evidence_plan"]

FloatArray = NDArray[np.float64]

WANTED = 0.8  # probability of a decision that a plan aims at
LOOK = 30  # parts whose worth is always told
SIZES = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 750, 1000)
_WORLDS = 160


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
    #: Parts whose readings name lots, and what those lots are.
    lots: tuple[str, ...] = ()


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
    for done, things in enumerate(plan.things):
        candidate = plan.candidate(things)
        if candidate is not None:
            found.append(candidate)
        if tell is not None:
            tell(done + 1, len(plan.things))
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
        lots=tuple(x.text for x in rule.lots.values()),
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
    simulator = plan.simulator([feature])
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
        self.sets = np.arange(0, count, count // SETS_OF_A_WORLD)
        self.now = {f: x[:, self.sets] for f, x in rule.at.items()}
        #: What can be measured: the features that are read at once.
        self.things: list[tuple[Feature, ...]] = []
        groups: dict[Feature, list[Feature]] = {}
        for f in rule.features:
            groups.setdefault(read_at_once(f), []).append(f)
        self.things = [tuple(g) for g in groups.values()]
        self.simulators: dict[Feature, Simulator | Shrunk] = {}
        self._chances: dict[tuple[Feature, int, bool], tuple[float, FloatArray]] = {}
        self.claims_open = _open(rule)

    def simulator(self, features: Sequence[Feature]) -> Simulator | Shrunk | None:
        """What draws further readings of features that are read at once; None where none are."""
        name = read_at_once(features[0])
        if name not in self.simulators:
            run = self.rule.run
            found: Simulator | Shrunk | None = None
            if len(features) == 1:
                found = simulator_of(run, features[0], self.sets)
            found = found or shrunk_of(run, features, self.rule.at, self.sets)
            if found is None:
                return None
            self.simulators[name] = found
        return self.simulators[name]

    def candidate(self, features: Sequence[Feature]) -> Candidate | None:
        """What measuring features that are read at once would do; None where nothing is read."""
        simulator = self.simulator(features)
        if simulator is None:
            return None
        feature = simulator.feature
        chance, means = self.chance([simulator], LOOK)
        perfect = self.chance_known(features)
        needed = self.smallest([simulator]) if perfect >= WANTED else None
        beside = None
        if needed is None and self.claims_open and (self.chance_claims(features) or 0.0) >= WANTED:
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
        self, simulators: Sequence[Simulator | Shrunk], parts: int, *, claims_known: bool = False
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
                at.update(s.after(int(truth), parts, rng))
            claims = self._claims(w) if claims_known else None
            again = [f for s in simulators for f in s.features]
            decided += self.rule.word(at, claims, measured=again) in DECIDED
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
            decided += self.rule.word(at, measured=features) in DECIDED
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
            decided += self.rule.word(at, self._claims(w), measured=features) in DECIDED
        return decided / self.worlds

    def smallest(
        self, simulators: Sequence[Simulator | Shrunk], *, claims_known: bool = False
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
