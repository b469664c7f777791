"""What a search may change: bands as numbers, classes, parts and joints as cases to go through."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_variant import changed, feature_at, with_parts
from tolsim.errors import UsageError
from tolsim.spec.alternatives import AS_IT_STANDS
from tolsim.spec.choices import BandCost, Choose, MachineChoice
from tolsim.spec.classes import look_up
from tolsim.spec.freedoms import freeable
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.quantities import Distribution
from tolsim.spec.strata import cannot_meet

__all__ = ["MODES", "Case", "Freedom", "Problem", "problem_of", "targets_of"]

FloatArray = NDArray[np.float64]
#: Modes that may have a target, in the order in which they are told.
MODES = ("loose", "tight", "misaligned", "bond", "creak")
DEFAULT_CAPABILITY = 1.0
_DEGREE = 57.29577951308232


@dataclass(frozen=True, kw_only=True, slots=True)
class Freedom:
    """One band that design sets [mm or rad], and how the process follows it.

    A scatter about nothing (offset, tilt, roundness) has no centre: `centre` is None and `width`
    is its zone. `held` is a band that a case has settled: that of a class.
    """

    path: str
    centre: tuple[float, float] | None
    width: tuple[float, float]
    follows: Literal["process", "gauge"] = "process"
    capability: float = DEFAULT_CAPABILITY
    basis: str | None = None
    repeatability: float = 0.0
    cost: BandCost | None = None
    grid: float = 1e-3
    unit: str = "µm"
    scale: float = 1e3
    held: tuple[float, float] | None = None
    #: Class, and way of making, that a case has settled.
    word: str | None = None
    process: str | None = None

    @property
    def sorts(self) -> bool:
        """Whether the band sorts what a process makes that does not follow it."""
        return self.follows == "gauge" and self.centre is not None

    @property
    def free(self) -> int:
        """How many numbers are free."""
        if self.held is not None:
            return 0
        return 1 if self.centre is None else 2

    def sd(self, width: float) -> float:
        """Standard deviation of a process that follows a band of this width."""
        return width / (6.0 * self.capability)


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """One choice of everything that is no number: parts, joint, classes, ways of making.

    `label` says what was chosen, by what it replaces.
    """

    study: Study
    label: Mapping[str, str]
    freedoms: tuple[Freedom, ...]

    @property
    def name(self) -> str:
        """What was chosen, in one line."""
        return " + ".join(self.label.values()) or self.study.spec.joint.kind

    def bounds(self) -> FloatArray:
        """Ends of every free number, (d, 2): centre before width, band by band."""
        out: list[tuple[float, float]] = []
        for f in self.freedoms:
            if f.held is None:
                out += [f.width] if f.centre is None else [f.centre, f.width]
        return np.array(out, dtype=np.float64).reshape(len(out), 2)

    def places(self) -> list[tuple[int | None, int | None]]:
        """Where in the vector each band keeps its centre and its width; None where it is held."""
        out: list[tuple[int | None, int | None]] = []
        i = 0
        for f in self.freedoms:
            if f.held is not None:
                out.append((None, None))
            elif f.centre is None:
                out.append((None, i))
                i += 1
            else:
                out.append((i, i + 1))
                i += 2
        return out

    def bands(self, theta: FloatArray) -> list[tuple[float, float]]:
        """(centre, width) of every band; the centre of a zone is 0."""
        out: list[tuple[float, float]] = []
        for f, (c, w) in zip(self.freedoms, self.places(), strict=True):
            if f.held is not None:
                out.append(f.held)
            else:
                assert w is not None
                out.append((0.0 if c is None else float(theta[c]), float(theta[w])))
        return out

    def variant(self, theta: FloatArray, *, sorted_out: bool = True) -> Study:
        """The study with its bands at `theta`.

        With `sorted_out` False a band that sorts lets everything pass: the process as made.
        """
        out = self.study
        for f, band in zip(self.freedoms, self.bands(theta), strict=True):
            out = changed(out, f, band, sorted_out=sorted_out)
        return out


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """Everything that a study leaves free."""

    study: Study
    targets: Mapping[str, float]
    cases: tuple[Case, ...]
    grid: float


def targets_of(study: Study) -> dict[str, float]:
    """Largest rate by mode, of those that have a target."""
    given = study.spec.targets
    return {m: t for m in MODES if (t := getattr(given, m)) is not None}


def problem_of(study: Study, *, grid: float = 1e-3) -> Problem:
    """The freedoms that a study leaves, every combination of what is no number as a case.

    Parameters
    ----------
    grid : float
        Drawing grid of sizes [mm].

    Raises
    ------
    UsageError
        If it leaves none, or sets no target.
    """
    targets = targets_of(study)
    if not targets:
        raise UsageError("design needs a target: [targets] with creak, tight or others")
    if not study.spec.choose:
        raise UsageError("design needs freedom: [[choose]] with a feature or a part")
    cases = tuple(_cases(study, grid))
    return Problem(study=study, targets=targets, cases=cases, grid=grid)


def _cases(study: Study, grid: float) -> Iterator[Case]:
    chosen = study.spec.choose
    joints: list[str | None] = [None]
    for choice in chosen:
        for name in choice.alternatives or ():
            joints.append(name)
    for joint in joints:
        base = study if joint is None else study.alternatives[joint]
        own = study.spec.joint.name or AS_IT_STANDS
        as_it_is = {"joint": own} if len(joints) > 1 else {}
        label = as_it_is if joint is None else {"joint": joint}
        # what another joint replaces is no longer to be chosen
        taken = set() if joint is None else _replaced(study, joint)
        parts = [c for c in chosen if c.part is not None and _has_role(base, c.part)]
        parts = [c for c in parts if c.part not in taken]
        for names in itertools.product(*(c.options or () for c in parts)):
            picked = {str(c.part): n for c, n in zip(parts, names, strict=True)}
            built = with_parts(base, study.options, picked)
            if any(cannot_meet(s, built.spec) for s in built.strata):
                continue
            for freedoms in _ways(built, chosen, grid):
                words = {
                    f.path: " ".join(filter(None, (f.word, f.process)))
                    for f in freedoms
                    if f.word or f.process
                }
                yield Case(study=built, label={**label, **picked, **words}, freedoms=freedoms)


def _replaced(study: Study, name: str) -> set[str]:
    found = next(a for a in study.spec.alternative if a.name == name)
    return {r for r in ("bore", "bearing", "sleeve", "adhesive") if getattr(found, r) is not None}


def _has_role(study: Study, role: str) -> bool:
    return any(role in s.parts for s in study.strata)


def _ways(study: Study, chosen: Sequence[Choose], grid: float) -> Iterator[tuple[Freedom, ...]]:
    """Every combination of classes and ways of making for the bands of one set of parts."""
    ways: list[list[Freedom]] = []
    for choice in chosen:
        if choice.feature is None:
            continue
        value = feature_at(study, choice.feature)
        kind = study.spec.joint.kind
        if value is None or choice.feature not in freeable(kind, study.strata[0].parts):
            continue
        machines: Sequence[MachineChoice | None] = choice.process or (None,)
        free = [_freedom(choice, value, m, grid) for m in machines]
        if choice.classes is not None:
            free = [_of_class(study, f, w) for f in free for w in choice.classes]
        ways.append(free)
    yield from itertools.product(*ways)


def _freedom(
    choice: Choose, value: Feature | Distribution, machine: MachineChoice | None, grid: float
) -> Freedom:
    assert choice.feature is not None
    own: Any = machine or choice
    angle = (own.width_angle or choice.width_angle) is not None
    width = own.width_angle or own.width or choice.width_angle or choice.width
    is_size = isinstance(value, Feature)
    return Freedom(
        path=choice.feature,
        centre=(choice.centre or (0.0, 0.0)) if is_size else None,
        width=width or (0.0, 0.0),
        follows=choice.follows,
        capability=own.capability or choice.capability or DEFAULT_CAPABILITY,
        basis=own.capability_basis or choice.capability_basis,
        repeatability=choice.repeatability,
        cost=own.cost or choice.cost,
        grid=1e-3 / _DEGREE if angle else grid,
        unit="°" if angle else "µm",
        scale=_DEGREE if angle else 1e3,
        process=None if machine is None else machine.name,
    )


def _of_class(study: Study, f: Freedom, word: str) -> Freedom:
    """The band of a class by its standard."""
    role, _, name = f.path.partition(".")
    look = look_up(study.strata[0].parts[role], name)
    assert look is not None
    low, high = look(word)
    return replace(f, held=(0.5 * (low + high), high - low), word=word)
