"""What a search may change: bands as numbers, classes, parts and joints as cases to go through."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_made import made
from tolsim.answers.design_variant import changed, feature_at, with_parts
from tolsim.errors import Problem as Fault
from tolsim.errors import SpecError, UsageError
from tolsim.spec.alternatives import AS_IT_STANDS
from tolsim.spec.choices import BandCost, Choose, MachineChoice
from tolsim.spec.classes import look_up
from tolsim.spec.freedoms import freeable
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature
from tolsim.spec.quantities import Distribution
from tolsim.spec.strata import cannot_meet

__all__ = ["MODES", "Case", "Freedom", "Problem", "problem_of", "targets_of", "unsearchable"]

FloatArray = NDArray[np.float64]
#: Modes that may have a target, in the order in which they are told.
MODES = ("loose", "tight", "misaligned", "bond", "creak")
DEFAULT_CAPABILITY = 1.0
_DEGREE = 57.29577951308232
_RARE = 1e-3  # share of parts beyond which a band that sorts passes next to nothing


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
    #: About where the parts are made that a band sorts [mm].
    made_at: float | None = None
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

    @property
    def has_grid(self) -> bool:
        """Whether there is any band on the grid whose middle and width lie within their ranges."""
        if self.held is not None:
            return True
        least = max(1, math.ceil(self.width[0] / self.grid - 1e-6))
        most = math.floor(self.width[1] / self.grid + 1e-6)
        for steps in range(least, min(least + 1, most) + 1):  # an odd number and an even one
            if self.centre is None:
                return True
            low, high = (c / self.grid - 0.5 * steps for c in self.centre)
            if math.ceil(low - 1e-6) <= math.floor(high + 1e-6):
                return True
        return False

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
                width = max(f.width[0], min(f.grid, f.width[1])), f.width[1]
                out += [width] if f.centre is None else [f.centre, width]
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
    if not cases:
        raise SpecError(_passing_nothing(study))
    for f in (f for c in cases for f in c.freedoms):
        if not f.has_grid:
            raise UsageError(
                f"{f.path}: no band on the drawing grid of {f.grid * f.scale:g} {f.unit} lies "
                "within the ranges under [[choose]]; a wider range, or another --grid"
            )
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
        free = [f for m in machines for f in _where_made(study, _freedom(choice, value, m, grid))]
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


def _where_made(study: Study, f: Freedom) -> list[Freedom]:
    """A band that sorts, with where its parts are made; none where it can let no part pass."""
    if not f.sorts or f.centre is None or f.held is not None:
        return [f]
    ends = _ends_made(study, f.path)
    reach = 0.5 * f.width[1]
    if any(f.centre[0] - reach > e[1] or f.centre[1] + reach < e[0] for e in ends):
        return []
    middle = sum(0.5 * (e[0] + e[1]) for e in ends) / len(ends)
    low = max(f.centre[0], *(e[0] - reach for e in ends))
    high = min(f.centre[1], *(e[1] + reach for e in ends))
    return [replace(f, centre=(low, high) if low < high else f.centre, made_at=middle)]


def _ends_made(study: Study, path: str) -> list[tuple[float, float]]:
    """Sizes between which each supply makes nearly all of its parts."""
    ends = (process.quantile([_RARE, 1.0 - _RARE]) for _, process in made(study, path))
    return [(float(low), float(high)) for low, high in ends]


def unsearchable(study: Study, why: str) -> Fault:
    """A fault of the freedom that cannot be searched over, named first in the reason why."""
    path, _, message = why.partition(": ")
    for k, choice in enumerate(study.spec.choose):
        if choice.feature == path:
            return Fault(
                file=study.name,
                line=study.choose_lines[k] if study.choose_lines else None,
                key=f"choose[{k}].feature",
                message=message,
                found=f'feature = "{path}"',
                allowed="another feature, or without what is in its way",
            )
    return Fault(file=study.name, key="choose", message=why)


def _passing_nothing(study: Study) -> list[Fault]:
    """A fault for every gauge whose bands would let no part pass."""
    out = []
    for k, choice in enumerate(study.spec.choose):
        value = None if choice.feature is None else feature_at(study, choice.feature)
        if choice.follows != "gauge" or choice.feature is None or value is None:
            continue
        ends = _ends_made(study, choice.feature)
        told = " and ".join(f"{1e3 * low:.1f} to {1e3 * high:.1f} µm" for low, high in ends)
        out.append(
            Fault(
                file=study.name,
                line=study.choose_lines[k] if study.choose_lines else None,
                key=f"choose[{k}].centre_um",
                message="a gauge there would let no part pass",
                found=None
                if choice.centre is None
                else f"centre_um = [{1e3 * choice.centre[0]:g}, {1e3 * choice.centre[1]:g}]",
                allowed=f"within reach of the parts that are made: {told}",
            )
        )
    return out


def _of_class(study: Study, f: Freedom, word: str) -> Freedom:
    """The band of a class by its standard."""
    role, _, name = f.path.partition(".")
    look = look_up(study.strata[0].parts[role], name)
    assert look is not None
    low, high = look(word)
    return replace(f, held=(0.5 * (low + high), high - low), word=word)
