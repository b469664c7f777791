"""Which rows of normals stand behind the free bands of a joint, and how they are tied.

Two seats of a unit, or the two surfaces of a sleeve, share a Gaussian copula: their standard
normals t are a triangular matrix times independent rows z. A density at other bands is that of
the rows behind the new t, times the slopes dt/dx of the sizes that the bands rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_cases import Case, Freedom
from tolsim.answers.design_followers import (
    ComposedFollower,
    Follower,
    NormalFollower,
    ScaledFollower,
    SortedFollower,
)
from tolsim.answers.design_sifted import SiftedFollower
from tolsim.answers.design_variant import changed_value, feature_at, zone_of
from tolsim.errors import UsageError
from tolsim.joint.latent import Latent
from tolsim.joint.measured import Measured
from tolsim.joint.model import Build, Joint
from tolsim.joint.routes import assumed_route, process_of, start_process
from tolsim.process.base import Process
from tolsim.process.plain import Normal
from tolsim.spec.load import Stratum, Study
from tolsim.spec.parts import Alignment, Bearing, Bore, Feature, Sleeve
from tolsim.spec.quantities import Distribution
from tolsim.spec.route_steps import Gauge, ToolWear

__all__ = ["Tie", "Variable", "ties_of"]

FloatArray = NDArray[np.float64]
_OUTSIDES = ("bearing.outside", "sleeve.outside")


@dataclass(frozen=True, slots=True)
class Variable:
    """One seat's size under a free band: which band, and how it follows."""

    freedom: int
    follower: Follower
    #: Mean and spread (2, k) of the process behind each unit, from its rows (d, k).
    columns: Callable[[FloatArray], FloatArray] | None = None


@dataclass(frozen=True, slots=True)
class Tie:
    """Rows z (m, n) and the standard normals t = matrix z behind m variables.

    A variable that no band rules is None: its t stays. With `correlation` (rows (d, n) -> (n,))
    the tie of two seats differs from unit to unit, and `matrix` is that of independent ones.
    """

    rows: tuple[int, ...]
    variables: tuple[Variable | None, ...]
    matrix: FloatArray
    correlation: Callable[[FloatArray], FloatArray] | None = None
    inverse: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "inverse", np.linalg.inv(self.matrix))

    def forward(self, z: FloatArray, rho: FloatArray | None) -> FloatArray:
        """Standard normals (m, n) of rows (m, n)."""
        if rho is None:
            return _times(self.matrix, z)
        return np.array([z[0], rho * z[0] + _rest(rho) * z[1]])

    def backward(self, t: FloatArray, rho: FloatArray | None) -> FloatArray:
        """Rows (m, n) behind standard normals (m, n)."""
        if rho is None:
            return _times(self.inverse, t)
        return np.array([t[0], (t[1] - rho * t[0]) / _rest(rho)])

    def slope(self, z: FloatArray, rho: FloatArray | None) -> FloatArray:
        """Derivative (m, n) of -|z|^2 / 2 by the standard normals t."""
        if rho is None:
            return -_times(self.inverse.T, z)
        second = z[1] / _rest(rho)
        return np.array([rho * second - z[0], -second])


def _rest(rho: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(1.0 - rho * rho, 1e-9)))


def _times(matrix: FloatArray, x: FloatArray) -> FloatArray:
    """Matrix (m, m) times rows (m, n), row by row: m is 1, 2 or 4, and mostly zeros."""
    out = np.empty_like(x)
    for row, weights in zip(out, matrix, strict=True):
        first = True
        for w, column in zip(weights, x, strict=True):
            if w != 0.0:
                if first:
                    np.multiply(column, w, out=row)
                    first = False
                else:
                    row += w * column
    return out


def ties_of(case: Case, study: Study, joint: Joint, build: Build) -> tuple[Tie, ...]:
    """Ties of one build of the joint that is drawn; `study` is what the joint was made from.

    Raises
    ------
    UsageError
        If a band is free whose rows are tied in a way that a density cannot be told of.
    """
    stratum = next(s for s in study.strata if s.name in build.names)
    own = next(s for s in case.study.strata if s.name in build.names)
    reads = _reads(joint, build)
    ties: list[Tie] = []
    sleeve: dict[str, int] = {}
    for i, f in enumerate(case.freedoms):
        value = feature_at(study, f.path)
        if isinstance(value, Feature):
            if f.path in ("sleeve.inside", "sleeve.outside"):
                sleeve[f.path] = i
                continue
            tie = _size_tie(case, i, stratum, own, joint, build, f.path)
        else:
            assert isinstance(value, Distribution)
            ties += _zone_ties(case, i, stratum, joint, value, reads)
            continue
        if tie is not None and reads.intersection(tie.rows):
            ties.append(tie)
    if sleeve:
        ties += _sleeve_ties(case, sleeve, stratum, own, joint, build, reads)
    return tuple(ties)


def _reads(joint: Joint, build: Build) -> set[int]:
    return set(joint.recording.select(list(build.rows)).reads)


def _rows(joint: Joint, names: Sequence[str]) -> tuple[int, ...] | None:
    if any(n not in joint.latent for n in names):
        return None
    return tuple(joint.latent.index(n) for n in names)


def _pair(rho: float) -> FloatArray:
    return np.array([[1.0, 0.0], [rho, math.sqrt(max(0.0, 1.0 - rho * rho))]])


def _together(part: object, path: str) -> float:
    """Correlation of the two seats that a part states for a size."""
    if isinstance(part, Bearing):
        return 1.0 if part.drawn == "per-unit" else 0.0
    sides = part.sides if isinstance(part, Bore | Sleeve) else None
    return 0.0 if sides is None else sides.diameter


def _measured(build: Build, path: str) -> Measured | None:
    return next((m for m in build.measured if m.key == path), None)


def _size_tie(
    case: Case,
    i: int,
    stratum: Stratum,
    own: Stratum,
    joint: Joint,
    build: Build,
    path: str,
) -> Tie | None:
    """Both seats of one size."""
    rows = _rows(joint, (f"{path}@1", f"{path}@2"))
    measured = _measured(build, path)
    if measured is not None:
        return None if rows is None else _measured_tie(case.freedoms[i], i, rows, measured)
    rho = _together(stratum.parts[path.partition(".")[0]], path)
    follower = _follower(case, i, stratum, own, path)
    if abs(rho) > 0.999999:
        if rho < 0.0:
            raise UsageError(f"{path}: seats tied at -1 cannot be searched over")
        first = _rows(joint, (f"{path}@1",))
        return None if first is None else Tie(first, (Variable(i, follower),), np.eye(1))
    if rows is None:
        return None
    return Tie(rows, (Variable(i, follower), Variable(i, follower)), _pair(rho))


def _measured_tie(f: Freedom, i: int, rows: tuple[int, ...], measured: Measured) -> Tie:
    """Both seats of a size that rests on readings; the band can only sort it."""
    follower = SortedFollower(base=Normal(mean=measured.means[0], sd=max(measured.sds[0], 1e-9)))

    def columns(seat: int) -> Callable[[FloatArray], FloatArray]:
        def of(z: FloatArray) -> FloatArray:
            means, sds, _ = measured.parameters(list(z))
            sd = np.hypot(np.maximum(sds[seat], 1e-9), f.repeatability)
            return np.array([np.broadcast_to(v, z.shape[1]) for v in (means[seat], sd)])

        return of

    def correlation(z: FloatArray) -> FloatArray:
        rho = measured.parameters(list(z))[2]
        return np.array(np.broadcast_to(np.asarray(rho, dtype=np.float64), z.shape[1]))

    variables = (Variable(i, follower, columns(0)), Variable(i, follower, columns(1)))
    return Tie(rows, variables, np.eye(2), correlation)


def _sleeve_ties(
    case: Case,
    freedoms: dict[str, int],
    stratum: Stratum,
    own: Stratum,
    joint: Joint,
    build: Build,
    reads: set[int],
) -> list[Tie]:
    """Inside and outside of a sleeve, tied with each other as well as seat by seat."""
    part = stratum.sleeve
    assert part is not None
    outside = "sleeve.outside"
    tied = part.together
    if f"{outside}@1" not in joint.latent or _measured(build, outside) is not None:
        tied = 0.0
    if tied == 0.0:
        found = [
            _size_tie(case, i, stratum, own, joint, build, path) for path, i in freedoms.items()
        ]
        return [t for t in found if t is not None and reads.intersection(t.rows)]
    if _measured(build, "sleeve.inside") is not None and "sleeve.inside" in freedoms:
        raise UsageError(
            "sleeve.inside: its readings are tied to the outside, which cannot be searched over"
        )
    rho = _together(part, outside)
    if abs(rho) > 0.999999 or abs(tied) > 0.999999:
        raise UsageError("sleeve: surfaces or seats tied at 1 cannot be searched over")
    names = [f"sleeve.{side}@{k}" for side in ("inside", "outside") for k in (1, 2)]
    rows = _rows(joint, names)
    if rows is None:
        return []
    rest, own_rest = math.sqrt(1.0 - rho * rho), math.sqrt(1.0 - tied * tied)
    inside = _pair(0.0 if _measured(build, "sleeve.inside") is not None else rho)
    matrix = np.array(
        [
            [1.0, 0.0, 0.0, 0.0],
            [*inside[1], 0.0, 0.0],
            [tied, 0.0, own_rest, 0.0],
            [0.0, tied, own_rest * rho, own_rest * rest],
        ]
    )
    variables: list[Variable | None] = []
    for path in ("sleeve.inside", outside):
        i = freedoms.get(path)
        v = None if i is None else Variable(i, _follower(case, i, stratum, own, path))
        variables += [v, v]
    return [Tie(rows, tuple(variables), matrix)]


#: Rows behind a scatter: names, one list a pair of seats (or a single row), by its path.
def _zone_rows(path: str, stratum: Stratum) -> list[list[str]]:
    role, _, rest = path.partition(".")
    last = rest.rpartition(".")[2]
    if rest.startswith("alignment.") or rest == "seating_tilt":
        name = f"{role}.{last}" if rest != "seating_tilt" else "sleeve.seating"
        return [[f"{name}_{axis}@{k}" for k in (1, 2)] for axis in "xy"]
    if rest == "thread.face_run_out":
        return [[f"thread.face_{axis}@{k}" for k in (1, 2)] for axis in "xy"]
    if rest.startswith("thread."):
        return [[f"thread.{last}@{k}" for k in (1, 2)]]
    if rest == "coating.thickness":
        seats = (1,) if stratum.sleeve is not None and stratum.sleeve.pieces == 1 else (1, 2)
        return [[f"sleeve.film@{k}"] for k in seats]
    name = rest.removesuffix(".amplitude")
    return [[f"{role}.{name}@{k}" for k in (1, 2)]]


def _between(alignment: Alignment | None, path: str) -> float:
    if alignment is None or ".alignment." not in path:
        return 0.0
    if path.endswith("tilt") and alignment.between_sides_tilt is not None:
        return alignment.between_sides_tilt
    return alignment.between_sides


def _zone_ties(
    case: Case,
    i: int,
    stratum: Stratum,
    joint: Joint,
    value: Distribution,
    reads: set[int],
) -> list[Tie]:
    f = case.freedoms[i]
    base = process_of(value)
    follower: Follower
    if isinstance(base, Normal) and base.mean == 0.0 and base.sd > 0.0:
        follower = NormalFollower(capability=f.capability)
    elif base.sd > 0.0:
        follower = ScaledFollower(base=base, width=f.capability * zone_of(base))
    else:
        raise UsageError(f"{f.path}: a fixed value has no zone that could be chosen")
    role = f.path.partition(".")[0]
    rho = _between(getattr(stratum.parts[role], "alignment", None), f.path)
    out = []
    for names in _zone_rows(f.path, stratum):
        one = abs(rho) > 0.999999 and len(names) == 2
        if one and rho < 0.0 and not isinstance(follower, NormalFollower):
            raise UsageError(f"{f.path}: seats tied at -1 cannot be searched over")
        rows = _rows(joint, names[:1] if one else names)
        if rows is None or not reads.intersection(rows):
            continue
        matrix = np.eye(len(rows)) if one or len(rows) == 1 else _pair(rho)
        out.append(Tie(rows, (Variable(i, follower),) * len(rows), matrix))
    return out


def _follower(case: Case, i: int, stratum: Stratum, own: Stratum, path: str) -> Follower:
    """How a size that rests on no readings follows its band; `stratum` holds the part drawn."""
    f = case.freedoms[i]
    role, _, rest = path.partition(".")
    drawn = getattr(stratum.parts[role], rest)
    assert isinstance(drawn, Feature)
    for step in drawn.route:
        if isinstance(step, Gauge) and step.reject == "unit":
            raise UsageError(f"{path}: a gauge that rejects units cannot be searched over")
        if isinstance(step, ToolWear) and step.shared_phase:
            raise UsageError(f"{path}: tool wear in a shared phase cannot be searched over")
    if case.study.spec.joint.pick is not None:
        raise UsageError(f"{path}: classes that are picked cannot be searched over")

    feature = getattr(own.parts[role], rest)

    def population(of: Feature) -> Process:
        found = assumed_route(
            Latent(),
            path,
            stratum.names[role],
            of,
            (lambda z: z[0], lambda z: z[0]),
            surface="outside" if path in _OUTSIDES else "bore",
            correlation=0.0,
            age=case.study.spec.joint.age_at_assembly,
        ).population
        assert found is not None
        return found

    base = population(drawn)
    if f.follows == "process" and isinstance(base, Normal):
        assert drawn.band is not None
        middle, width = 0.5 * (drawn.band[0] + drawn.band[1]), drawn.band[1] - drawn.band[0]
        extra = math.sqrt(max(0.0, base.sd**2 - f.sd(width) ** 2))
        return NormalFollower(
            capability=f.capability,
            shift=base.mean - middle,
            extra=extra if extra > 1e-9 else 0.0,
        )
    start, later = start_process(feature)
    if f.follows == "gauge" and not later and f.repeatability == 0.0:
        return SortedFollower(base=start)
    if f.follows == "gauge" and not later:
        return SiftedFollower(start, f.repeatability)
    return ComposedFollower(lambda c, w: population(changed_value(feature, f, (c, w))))
