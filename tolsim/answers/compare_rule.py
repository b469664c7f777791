"""The rule that says acceptable, not acceptable or not enough evidence, and the rates it judges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from tolsim.answers.compare_results import DifferenceResult, Reason
from tolsim.answers.doubts import Doubt
from tolsim.answers.judge import Judge, _Found
from tolsim.answers.results import ModeResult
from tolsim.answers.tally import Event, Tally, events_of
from tolsim.chance.parameter_draws import ShareDraws
from tolsim.spec.load import Study

if TYPE_CHECKING:
    from tolsim.answers.compare_run import Run
    from tolsim.answers.money import Money

__all__ = ["CommonJudge", "holding", "judged"]

_WORDS = {"met": "acceptable", "missed": "not acceptable", "undecided": "not enough evidence"}


class CommonJudge(Judge):
    """The judge of `predict` on draws and parameter sets that all alternatives share.

    A build that two alternatives have in common is estimated once.
    """

    def __init__(
        self, run: Run, place: int, study: Study, counted: Tally, shared: dict[object, object]
    ) -> None:
        super().__init__(
            study,
            run.joints[place],
            counted,
            run.seed,
            plain=run.plain,
            left_open=None if run.shape is None else run.shape.judges[place],
        )
        self._run, self._places, self._shared = run, run.together.places[place], shared
        self._known = [events_of(b) for b in self.joint.builds]
        self._modes: dict[object, ModeResult] = {}

    def mode(
        self, event: Event, builds: Sequence[tuple[int, float]], *, target: bool = False
    ) -> ModeResult:
        """Share of one event over builds with their weights; the only supply is all of them."""
        key = (event, tuple(builds), target)
        if key not in self._modes:
            self._modes[key] = super().mode(event, builds, target=target)
        return self._modes[key]

    def has(self, i: int, event: Event) -> bool:
        """Whether build i can fail so."""
        return event in self._known[i]

    def knows(self, event: Event) -> bool:
        """Whether any build can fail so."""
        return any(event in known for known in self._known)

    def draws(self, i: int, event: Event) -> ShareDraws:
        """Share of one event in build i under each parameter set."""
        return self._of_build(i, event)

    def _find(self, i: int, event: Event) -> _Found:
        key = (self._places[i], event)
        if key not in self._shared:
            self._shared[key] = super()._find(i, event)
        found = self._shared[key]
        assert isinstance(found, _Found)
        return found

    def _of_build(self, i: int, event: Event) -> ShareDraws:
        if (i, event) not in self._draws:
            build, found = self.joint.builds[i], self._of(i, event)
            if build.measured and (found.rare is None or found.rare.sample is None):
                shares = self._run.shares(event)
                self._draws[i, event] = shares.of_build(self._places[i], found.failed)
            else:
                return super()._of_build(i, event)
        return self._draws[i, event]


def judged(
    modes: Mapping[str, ModeResult | None],
    money: Money | None,
    differences: Mapping[str, DifferenceResult],
    doubts: Sequence[Doubt] = (),
) -> tuple[Reason, ...]:
    """Everything asked of an alternative.

    Each target is met, missed or open as in `predict`. Where claims have a price, what is left of
    the saving must be above zero over its whole interval; wholly below is not acceptable. Without
    targets and money an alternative must not be worse than the reference. Among choices without a
    reference money only ranks. Readings that show something which the shape taken does not explain
    cannot make anything acceptable.
    """
    out = [
        Reason(what=name, verdict=_WORDS[m.verdict])
        for name, m in modes.items()
        if m is not None and m.verdict is not None
    ]
    if money is not None:
        word = "not enough evidence"
        if money.net.low >= 0.0:
            word = "acceptable"
        elif money.net.high < 0.0:
            word = "not acceptable"
        out.append(Reason(what="money", verdict=word))
    if not out and differences:
        for name, d in differences.items():
            if name not in ("creak", "tight"):
                continue
            word = "not enough evidence"
            if d.high <= 0.0:
                word = "acceptable"
            elif d.low > 0.0:
                word = "not acceptable"
            out.append(Reason(what=f"not worse: {name}", verdict=word))
    if doubts and out:
        out.append(Reason(what="readings", verdict="not enough evidence"))
    return tuple(out)


def holding(
    reasons: Sequence[Reason], later: Sequence[Reason], told: tuple[str, ...]
) -> tuple[Reason, ...]:
    """The reasons with those left open that hold for the lots measured, but not over any lot.

    `later` are the reasons over any lot, `told` what the lots measured are.
    """
    words = {r.what: r.verdict for r in later}
    return tuple(
        r
        if words.get(r.what, r.verdict) == r.verdict
        else replace(
            r,
            verdict=_WORDS["undecided"],
            but_for=told if r.verdict != _WORDS["undecided"] else (),
        )
        for r in reasons
    )
