"""A study with one contributor moved: whose parts move, and what that does to every rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.rank_sample import Base, Key, Sample, standard_error
from tolsim.answers.tally import events_of
from tolsim.joint.assemble import assemble_each
from tolsim.joint.assumed import Assumptions
from tolsim.joint.model import Joint
from tolsim.spec.load import Study
from tolsim.spec.variants import Contributor, contributors, with_moved

__all__ = ["Difference", "Owner", "owners", "recount", "step_of"]

FloatArray = NDArray[np.float64]
_WIDE = 1.96
_LOOK = 1024  # units on which margins are compared one by one


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """A rate before and after a move, the change, and 95 % intervals; shares of units.

    `low` and `high` are the ends of the change, `after_low` and `after_high` those of the rate.
    `method` says how: "paired draws", "paired weights", both, or "not read" where no margin
    depends on what was moved.
    """

    before: float
    after: float
    after_low: float
    after_high: float
    change: float
    low: float
    high: float
    method: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Owner:
    """A contributor of the parts that certain supplies share; of all supplies where empty."""

    contributor: Contributor
    supplies: tuple[str, ...]

    @property
    def supply(self) -> str | None:
        """The supplies in words, None for all."""
        return " and ".join(self.supplies) or None

    def concerned(self, study: Study) -> Study:
        """The study with the supplies alone whose units can change."""
        if not self.supplies:
            return study
        return replace(study, strata=tuple(s for s in study.strata if s.name in self.supplies))

    def moved(self, study: Study, *, shift: float = 0.0, factor: float = 1.0) -> Study:
        """The study with the contributor moved in its own supplies, the others as they are."""
        part = with_moved(self.concerned(study), self.contributor.path, shift=shift, factor=factor)
        found = {s.name: s for s in part.strata}
        return replace(part, strata=tuple(found.get(s.name, s) for s in study.strata))


def owners(study: Study) -> list[Owner]:
    """Contributors, part by part where supplies differ in that part."""
    out: list[Owner] = []
    for c in contributors(study):
        if c.role in ("service", "joint"):
            out.append(Owner(contributor=c, supplies=()))
            continue
        groups: dict[str, list[str]] = {}
        for s in study.strata:
            if c.role in s.parts and _has(s.parts[c.role], c.path):
                groups.setdefault(s.names[c.role], []).append(s.name)
        everybody = sum(len(g) for g in groups.values()) == len(study.strata)
        if len(groups) == 1 and everybody:
            out.append(Owner(contributor=c, supplies=()))
        else:
            out += [Owner(contributor=c, supplies=tuple(g)) for g in groups.values()]
    return out


def _has(part: object, path: str) -> bool:
    node: object = part
    for name in path.split(".")[1:]:
        node = getattr(node, name, None)
    return node is not None


def step_of(c: Contributor) -> float:
    """A small move of the mean in inner units: 1 µm, 0.01 degrees, 1 N; 0.01 of a bare number."""
    if c.unit == "°":
        return 0.01 / c.scale
    if c.unit in ("µm", "N", "MPa", "N m"):
        return 1.0 / c.scale
    return 0.01


def recount(
    base: Base,
    owner: Owner,
    modes: Sequence[str],
    *,
    shift: float = 0.0,
    factor: float = 1.0,
) -> dict[str, Difference]:
    r"""What a move does to rates, on the units of the base.

    Of each build the units of its own sample are judged again after the move; with weights
    :math:`w`, failures :math:`f` before and :math:`f'` after, and the known rate :math:`p`,

    .. math:: p' = p R, \quad R = \frac{\sum w f'}{\sum w f}

    The interval is that of the ratio on common units (delta method: its residuals are
    :math:`w (f' - R f)`) and of `p`, builds together. A unit that changed sides more or less
    keeps it open where none did.
    """
    study = with_moved(
        owner.concerned(base.study), owner.contributor.path, shift=shift, factor=factor
    )
    (moved,) = assemble_each([(study, Assumptions())], tell=False)
    place = _placed(moved, base.joint)
    judge = _Judge(base, moved, place)
    return {m: _difference(base, judge, m) for m in modes}


def _placed(joint: Joint, base: Joint) -> NDArray[np.intp]:
    """Rows of the base that a moved joint's rows are, (d moved,)."""
    index = {name: i for i, name in enumerate(base.latent)}
    return np.array([index[n] for n in joint.latent], dtype=np.intp)


class _Judge:
    """Judges the units of a base by the margins of a moved study."""

    def __init__(self, base: Base, moved: Joint, place: NDArray[np.intp]) -> None:
        self.base, self.moved, self.place = base, moved, place
        self.builds = {frozenset(b.names): i for i, b in enumerate(moved.builds)}
        self._plain: tuple[dict[int, int], NDArray[np.bool_]] | None = None
        self._unlike: dict[int, NDArray[np.bool_]] = {}

    def rows(self, key: Key) -> list[int] | None:
        """Outputs of the moved joint that are the event of a build; None where nothing moves."""
        i = self.builds.get(frozenset(self.base.joint.builds[key[0]].names))
        return None if i is None else events_of(self.moved.builds[i])[key[1], 0]

    def fails(self, rows: list[int], sample: Sample) -> NDArray[np.bool_]:
        """Whether each unit of a sample fails after the move, (n,)."""
        if sample.plain:
            at, failed = self._of_plain()
            return np.asarray(failed[[at[r] for r in rows]].any(axis=0))
        out = self.moved.recording.select(rows)(sample.z[self.place])
        return np.asarray((out < 0.0).any(axis=0))

    def _of_plain(self) -> tuple[dict[int, int], NDArray[np.bool_]]:
        if self._plain is None:
            found = [self.rows(k) for k, s in self.base.samples.items() if s.plain]
            wanted = sorted({r for own in found if own is not None for r in own})
            failed = self.moved.recording.select(wanted)(self.base.plain[self.place]) < 0.0
            self._plain = {r: i for i, r in enumerate(wanted)}, failed
        return self._plain

    def alike(self, key: Key, rows: list[int]) -> bool:
        """Whether every margin of an event is what it was, on the first plain units."""
        z = self.base.plain[:, :_LOOK]
        before = self.base.joint.recording.select(self.base.rows(key))(z)
        after = self.moved.recording.select(rows)(z[self.place])
        return before.shape == after.shape and bool((before == after).all())


def _difference(base: Base, judge: _Judge, mode: str) -> Difference:
    change, own, later = 0.0, 0.0, 0.0  # sums over builds; variances of change and of rate after
    together: FloatArray | None = None
    methods: set[str] = set()
    for key, sample in base.samples.items():
        if key[1] != mode:
            continue
        share, known = base.joint.builds[key[0]].share, base.known[key]
        error, rows = share * standard_error(known), judge.rows(key)
        after = sample.fails if rows is None else judge.fails(rows, sample)
        if rows is None or ((after == sample.fails).all() and judge.alike(key, rows)):
            later += error**2
            continue
        methods.add("paired draws" if sample.plain else "paired weights")
        first = float(sample.weight[sample.fails].sum())
        second = float(sample.weight[after].sum())
        # where none fails before there is nothing to take a ratio to
        ratio = second / first if first > 0.0 else 0.0
        unit = share * (known.value / first if first > 0.0 else 1.0 / sample.n)
        change += unit * (second - first)
        own += (error * (ratio - 1.0)) ** 2 if first > 0.0 else 0.0
        later += (error * ratio) ** 2
        seen = sample.weight[after] if after.any() else sample.weight[sample.fails]
        unseen = 2.0 * unit**2 * (float(np.square(seen).mean()) if seen.size else 1.0)
        residual = sample.weight * (after - ratio * sample.fails) * unit
        if sample.plain:
            together = residual if together is None else together + residual
        else:
            unseen += float(np.square(residual).sum())
        own, later = own + unseen, later + unseen
    if together is not None:
        common = float(np.square(together).sum())
        own, later = own + common, later + common
    before = base.rates[mode]
    after_ = max(0.0, before.value + change)
    half, wide = _WIDE * math.sqrt(own), _WIDE * math.sqrt(later)
    return Difference(
        before=before.value,
        after=after_,
        after_low=max(0.0, after_ - wide),
        after_high=after_ + wide,
        change=change,
        low=max(change - half, -before.high),
        high=change + half,
        method=" and ".join(sorted(methods)) or "not read",
    )
