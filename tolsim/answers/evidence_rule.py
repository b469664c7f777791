"""The rule of one alternative on rates that follow from any evidence, not only that at hand."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tolsim.answers.compare_alternative import difference_of
from tolsim.answers.compare_lots import OverLots, lots_measured, over_lots
from tolsim.answers.compare_surface import Surface, all_coordinates, surface_of
from tolsim.answers.left_open import open_lots
from tolsim.answers.money import ClaimDraws, units_of
from tolsim.answers.results import verdict_of
from tolsim.chance.streams import generator
from tolsim.spec.money import Costs

if TYPE_CHECKING:
    from tolsim.answers.compare_results import Reason
    from tolsim.answers.compare_run import Run
    from tolsim.answers.money import Line, Money

__all__ = ["DECIDED", "SETS_OF_A_WORLD", "Coordinates", "Feature", "Rule", "rule_for", "word_of"]

FloatArray = NDArray[np.float64]
Feature = tuple[str, str]
Coordinates = Mapping[Feature, FloatArray]

MODES = ("loose", "tight", "misaligned", "bond", "creak")
DECIDED = ("acceptable", "not acceptable")
OPEN = "not enough evidence"
_KNOWN = 256  # rates that are kept
_MOST_WIDER = 10.0  # as far as a shape left open is taken to stretch an interval
SETS_OF_A_WORLD = 256  # parameter sets that stand for what each world leaves open


def word_of(words: Collection[str]) -> str:
    """One word for several: what fails beats what is open.

    >>> word_of(["acceptable", "not enough evidence"])
    'not enough evidence'
    """
    return next((w for w in ("not acceptable", OPEN) if w in words), "acceptable")


class Rule:
    """The rule of one alternative over parameter sets that any evidence may have left.

    Rates come from surfaces fitted over the sets of the run; intervals, targets, money and
    differences are judged as on the run itself. What decides must decide for lots that nobody has
    measured as well, where readings name their lots.

    Parameters
    ----------
    run : Run
        The comparison's run.
    alternative : int
        Which of its joints.
    claims, costs, saving : ClaimDraws or None, Costs, float
        Money, where it counts; `saving` is that of one unit.
    worse : collection of str
        Modes that must not be worse than in the reference.
    doubtful : bool
        Whether readings show what the shape taken does not explain: nothing is acceptable then.
    net : Line, optional
        What is left of the saving at hand, with its band.

    Notes
    -----
    Where readings leave the shape of their parts open the run's intervals hold that shape as well.
    Those of other evidence are stretched about their middle as far as the run's own are: a
    shape left open and the parameters of the one taken both narrow with the root of the parts.
    """

    def __init__(
        self,
        run: Run,
        alternative: int,
        claims: ClaimDraws | None,
        costs: Costs,
        saving: float,
        *,
        worse: Collection[str] = (),
        doubtful: bool = False,
        net: Line | None = None,
    ) -> None:
        self.run, self.j = run, alternative
        self.claims, self.costs, self.saving = claims, costs, saving
        self.worse, self.doubtful = tuple(worse), doubtful
        spec = run.studies[run.names[alternative]].spec
        self.confidence = spec.targets.confidence
        #: Rates by surface and by the arrays they were asked for, which are kept with them.
        self._known: dict[tuple[int, ...], tuple[tuple[FloatArray, ...], FloatArray]] = {}
        self._normals: dict[tuple[str, int], FloatArray] = {}
        self.targets = {m: t for m in MODES if (t := getattr(spec.targets, m)) is not None}
        self.at = all_coordinates(run.together.builds, run.table)
        claimed = claims.modes if claims is not None and alternative else ()
        against = {*claimed, *self.worse}
        self.own = {m: self._surfaces(alternative, m) for m in {*self.targets, *against}}
        self.other = {m: self._surfaces(0, m) for m in against}
        self._apart = {m: self._simulated(m) for m in self.worse}
        self._net = net
        self._wider: dict[str, tuple[float, float]] = {}
        if run.shape is not None:
            self._wider = self._stretches()
        #: Measured sizes whose lots are taken as one though the next may be another.
        self.lots = {
            f: x
            for k in (alternative, 0)
            for f, x in lots_measured(run.studies[run.names[k]]).items()
            if f in self.features and f in open_lots(run.studies[run.names[k]])
        }
        self._lots: dict[tuple[int, frozenset[Feature]], OverLots] = {}

    def _surfaces(self, j: int, mode: str) -> list[tuple[float, Surface]]:
        judge, out = self.run.judges[j], []
        for i, build in enumerate(self.run.joints[j].builds):
            if judge.has(i, (mode, 0)):
                found = surface_of(judge.draws(i, (mode, 0)), build, self.at)
                if found is not None:
                    out.append((build.share, found))
        return out

    def _simulated(self, mode: str) -> float:
        """Standard deviation of a difference by the draws."""
        own, other = (self.run.together.weights(k) for k in (self.j, 0))
        found = self.run.shares((mode, 0)).difference(own, other, self.confidence)
        return float((found.high - found.low) / (2.0 * ndtri(0.5 + 0.5 * self.confidence)))

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
                fitted = np.broadcast_to(self._sum(surfaces, self.at), drawn.shape)
                upper = drawn >= max(float(np.median(drawn)), 1e-300)
                if upper.any():
                    worst = max(worst, float(np.log(fitted[upper] / drawn[upper]).std()))
        return worst

    @property
    def features(self) -> tuple[Feature, ...]:
        """Everything measured, or known within a range, that the rule depends on."""
        used = [s for m in (self.own, self.other) for found in m.values() for _, s in found]
        return tuple(dict.fromkeys(f for s in used for f in s.features))

    def net(
        self, at: Coordinates, claims: ClaimDraws | None = None, lots: OverLots | None = None
    ) -> FloatArray:
        """What is left of the saving in every set, (k,)."""
        claims = claims or self.claims
        units, _ = units_of(self.costs)
        out = np.full(1, units * self.saving)
        for mode in claims.modes if claims else ():
            assert claims is not None
            rate = self._difference(mode, at, lots)
            each = claims.per_failure(mode)[1]
            out = out - units * rate * each[np.arange(rate.size) % each.size]
        return out

    def _rate(
        self, found: Sequence[tuple[float, Surface]], at: Coordinates, lots: OverLots | None
    ) -> FloatArray:
        if lots is None:
            return self._sum(found, at)
        edge, inside = (self._sum(found, {**at, **x}) for x in (lots.at, lots.back))
        return edge if edge.size == 1 else lots.beyond(edge, inside)

    def _sum(self, found: Sequence[tuple[float, Surface]], at: Coordinates) -> FloatArray:
        total = np.zeros(1)
        for weight, surface in found:
            # most worlds change one feature only, and each is asked more than once
            used = tuple(at[f] for f in surface.features)
            key = (id(surface), *(id(x) for x in used))
            if key not in self._known:
                if len(self._known) >= _KNOWN:
                    self._known.pop(next(iter(self._known)))
                self._known[key] = used, surface.shares(at)
            total = total + weight * self._known[key][1]
        return total

    def _difference(self, mode: str, at: Coordinates, lots: OverLots | None) -> FloatArray:
        own, other = (self._rate(x.get(mode, []), at, lots) for x in (self.own, self.other))
        return own - other

    def words(
        self,
        at: Coordinates,
        claims: ClaimDraws | None = None,
        lots: OverLots | None = None,
    ) -> dict[str, str]:
        """The rule's word on everything asked, where the features have these coordinates; with
        `lots` those of the features that name lots are over all lots."""
        out = {m: self._target(m, t, at, lots) for m, t in self.targets.items()}
        if self.claims is not None and self.j:
            low, high = self._stretched("money", self.net(at, claims, lots))
            out["money"] = _sign(-high, -low)
        for mode in self.worse:
            drawn = np.resize(self._difference(mode, at, lots), SETS_OF_A_WORLD)
            noise = self._apart[mode] * self._deviates(mode, drawn.size)
            out[f"not worse: {mode}"] = _sign(*self._stretched(f"not worse: {mode}", drawn + noise))
        return out

    def word(
        self,
        at: Coordinates,
        claims: ClaimDraws | None = None,
        *,
        measured: Collection[Feature] = (),
    ) -> str:
        """The rule's one word; `measured` are features whose further readings are in `at`.

        Further readings are of further lots: such features no longer rest on the lots at hand.
        """
        words = self.words(at, claims)
        lots = [f for f in self.lots if f not in measured]
        if lots and word_of(words.values()) in DECIDED:
            again = self.words_over_lots(at, lots, claims)
            words = {k: w if w == again[k] else OPEN for k, w in words.items()}
        found = word_of(words.values())
        return OPEN if self.doubtful and found == "acceptable" else found

    def words_over_lots(
        self, at: Coordinates, features: Collection[Feature], claims: ClaimDraws | None = None
    ) -> dict[str, str]:
        """The same over all lots that there may be of these features, measured or not."""
        size = max(x.shape[1] for x in at.values())
        key = size, frozenset(features)
        if key not in self._lots:
            now = {f: x[:, :: max(1, x.shape[1] // size)][:, :size] for f, x in self.at.items()}
            self._lots[key] = over_lots({f: self.lots[f] for f in features}, now)
        return self.words(at, claims, self._lots[key])

    def _ends(self, draws: FloatArray) -> tuple[float, float]:
        tail = 0.5 * (1.0 - self.confidence)
        low, high = np.quantile(draws, [tail, 1.0 - tail])
        return float(low), float(high)

    def _target(self, mode: str, target: float, at: Coordinates, lots: OverLots | None) -> str:
        found = self.own[mode]
        if not found:
            return "acceptable"
        value = self._with_error(found, self._rate(found, at, lots))
        share = float(value.mean())
        low, high = (_deviate(v) for v in self._ends(value))
        if mode in self._wider:
            middle, (one, two) = _deviate(share), self._wider[mode]
            low, high = middle + one * (low - middle), middle + two * (high - middle)
        low, high = float(ndtr(low)), float(ndtr(high))
        verdict = verdict_of(min(low, share), max(high, share), target)
        return {"met": "acceptable", "missed": "not acceptable"}.get(verdict or "", OPEN)

    def _with_error(self, found: Sequence[tuple[float, Surface]], value: FloatArray) -> FloatArray:
        """Rates with the draws' own error on top, one deviate a set, as one more open thing."""
        error = max(s.relative for _, s in found) ** 0.5
        value = np.resize(value, max(value.size, SETS_OF_A_WORLD))
        return np.asarray(value * np.exp(error * self._deviates("", value.size)))

    def _stretched(self, what: str, draws: FloatArray) -> tuple[float, float]:
        """Ends of draws, stretched about their mean where a shape is left open."""
        low, high = self._ends(draws)
        middle, (one, two) = float(draws.mean()), self._wider.get(what, (1.0, 1.0))
        return middle + one * (low - middle), middle + two * (high - middle)

    def _stretches(self) -> dict[str, tuple[float, float]]:
        """How much further the run's own intervals go, down and up, by the shape left open."""
        run, out = self.run, {}
        everything = [(i, b.share) for i, b in enumerate(run.joints[self.j].builds)]
        for mode in self.targets:
            if not self.own[mode]:
                continue
            value = self._with_error(self.own[mode], self._rate(self.own[mode], self.at, None))
            held = run.judges[self.j].mode((mode, 0), everything)
            taken = [_deviate(v) for v in (*self._ends(value), float(value.mean()))]
            out[mode] = _further(taken, _deviate(held.low), _deviate(held.high))
        if self.claims is not None and self.j and self._net is not None:
            net = self.net(self.at)
            taken = [*self._ends(net), float(net.mean())]
            out["money"] = _further(taken, self._net.low, self._net.high)
        for mode in self.worse:
            apart = self._difference(mode, self.at, None)
            taken = [*self._ends(apart), float(apart.mean())]
            held_apart = difference_of(run, mode, self.j, self.confidence)
            out[f"not worse: {mode}"] = _further(taken, held_apart.low, held_apart.high)
        return out

    def _deviates(self, what: str, n: int) -> FloatArray:
        if (what, n) not in self._normals:
            label = f"error of the draws {what}".strip()
            self._normals[what, n] = generator(self.run.seed, label).standard_normal(n)
        return self._normals[what, n]


def rule_for(
    run: Run,
    alternative: int,
    reasons: Sequence[Reason],
    money: Money | None,
    claims: ClaimDraws | None,
    costs: Costs,
) -> Rule:
    """The rule that asks what these reasons ask; money counts where it is one of them."""
    asked = [r.what for r in reasons]
    paid = money is not None and "money" in asked
    return Rule(
        run,
        alternative,
        claims if paid else None,
        costs,
        money.saving / money.units if money is not None and paid else 0.0,
        worse=[m for what in asked if (m := what.removeprefix("not worse: ")) != what],
        doubtful="readings" in asked,
        net=money.net if money is not None and paid else None,
    )


def _deviate(share: float) -> float:
    """Normal deviate of a share, held within what a double tells apart."""
    return float(ndtri(min(max(share, 1e-300), 1.0 - 1e-16)))


def _further(taken: Sequence[float], low: float, high: float) -> tuple[float, float]:
    """By how much the ends (low, high) lie further from the middle than (low, high, middle)."""
    middle = taken[2]
    down, up = max(middle - taken[0], 1e-12), max(taken[1] - middle, 1e-12)
    return (
        min(max((middle - low) / down, 1.0), _MOST_WIDER),
        min(max((high - middle) / up, 1.0), _MOST_WIDER),
    )


def _sign(low: float, high: float) -> str:
    """The word on something that must not be above zero."""
    if high <= 0.0:
        return "acceptable"
    return "not acceptable" if low > 0.0 else OPEN
