"""A move applied and the study run anew, on draws that no other number of the ranking used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tolsim.answers.rank_moves import Difference, Owner
from tolsim.answers.rank_sample import Base, Rate, fresh_rates, rates_of
from tolsim.errors import InternalError

__all__ = ["Rerun", "apart", "rerun", "settled"]

_FRESH = 982_451_653  # added to the seed: draws that nothing else of this run has seen
_DRAWS = 2**17


@dataclass(frozen=True, kw_only=True, slots=True)
class Rerun:
    """Rates of the study with a move applied, by `predict`'s methods on draws of `seed`."""

    seed: int
    draws: int
    rates: Mapping[str, Rate]


def rerun(
    base: Base, owner: Owner, modes: Sequence[str], *, shift: float, factor: float, seed: int
) -> Rerun:
    """Run the study with the move applied; builds that it leaves alone keep their rates."""
    fresh, draws = seed + _FRESH, _DRAWS
    study = owner.concerned(owner.moved(base.study, shift=shift, factor=factor))
    joint, found = fresh_rates(study, modes, seed=fresh, draws=draws)
    at = {frozenset(b.names): i for i, b in enumerate(joint.builds)}
    known = dict(base.known)
    for key in base.known:
        own = at.get(frozenset(base.joint.builds[key[0]].names))
        if own is not None and (own, key[1]) in found:
            known[key] = found[own, key[1]]
    return Rerun(seed=fresh, draws=draws, rates=rates_of(base.joint, known, modes))


def apart(told: Difference, again: Rate) -> bool:
    """Whether the rate after a move lies beyond both its own interval and that of the rerun."""
    return told.after_low > again.high or told.after_high < again.low


def settled(told: Difference, first: Rate, second: Rate, what: str) -> Difference:
    """What a move does where recounting disagreed with a rerun: the two reruns decide.

    Failures may lie after a move where none lay before; units drawn for the ones before it do not
    see them, a rerun does.

    Raises
    ------
    InternalError
        If the reruns contradict each other.
    """
    if first.low - first.error > second.high + second.error or (
        second.low - second.error > first.high + first.error
    ):
        raise InternalError(
            f"{what}: reruns on fresh draws give {first.value:.3g} ({first.low:.3g} to "
            f"{first.high:.3g}) and {second.value:.3g} ({second.low:.3g} to {second.high:.3g}); "
            "one of them is wrong"
        )
    after = 0.5 * (first.value + second.value)
    low, high = min(first.low, second.low), max(first.high, second.high)
    return Difference(
        before=told.before,
        after=after,
        after_low=low,
        after_high=high,
        change=after - told.before,
        low=low - told.before,
        high=high - told.before,
        method="rerun",
    )
