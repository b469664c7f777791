"""What the two axes of a window stand for, and the study that a point of it means."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from tolsim.errors import Problem, SpecError, UsageError, closest
from tolsim.intervals import mean_interval, sd_interval
from tolsim.joint.assemble import assemble
from tolsim.joint.routes import process_of, start_process
from tolsim.process.plain import Normal
from tolsim.spec.load import Stratum, Study
from tolsim.spec.parts import Feature, Part, Sides
from tolsim.spec.quantities import Distribution
from tolsim.spec.route_steps import Machine, Move
from tolsim.spec.variants import Contributor, contributors, moved_distribution

__all__ = ["Axes", "Axis", "Today", "axes_of"]

Ends = tuple[float, float, float]
KINDS = ("mean", "sd", "centre", "width")
_STARTS = ("machine", "tool-wear", "readings", "mix")
_NARROWEST = 1e-6  # spread [mm] below which nothing is told apart


@dataclass(frozen=True, kw_only=True, slots=True)
class Axis:
    """One quantity: the path of a contributor and which number of it, in inner units.

    `unit` and `scale` turn inner units into those of people; `width` is that of a band, six
    standard deviations at the capability that the part states.
    """

    path: str
    kind: str
    size: bool
    unit: str
    scale: float
    capability: float

    @property
    def name(self) -> str:
        """As the command takes it."""
        return f"{self.path}.{self.kind}"

    @property
    def spread(self) -> bool:
        """Whether it is a spread or width, so that less of it is never worse by itself."""
        return self.kind in ("sd", "width")

    def sd(self, value: float) -> float:
        """Standard deviation that a spread or a width stands for."""
        return value / (6.0 * self.capability) if self.kind == "width" else value

    def of_sd(self, sd: float) -> float:
        """The inverse of `sd`."""
        return sd * 6.0 * self.capability if self.kind == "width" else sd


@dataclass(frozen=True, kw_only=True, slots=True)
class Today:
    """A supplier as it is, in inner units: estimate and both ends of what the readings allow.

    `readings` is 0 where nothing was measured: the ends are then the estimate. `normal` says
    whether it makes the one normal population that points of a window stand for.
    """

    name: str
    x: Ends
    y: Ends
    readings: int
    normal: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Axes:
    """Both axes, and how a point of the window becomes a study.

    Where both belong to one size, a point is a normal process of that mean and spread, for every
    supply alike; otherwise each supply keeps the shape of its process, moved or stretched.
    """

    study: Study
    x: Axis
    y: Axis
    #: Correlation of the seats in each measured part, by its name and path.
    tied: dict[tuple[str, str], float]

    @property
    def together(self) -> bool:
        """Whether both axes belong to one size."""
        return self.x.path == self.y.path

    def at(self, a: float, b: float) -> Study:
        """The study at x = `a`, y = `b` [inner units]."""
        if self.together:
            step = _machine(a, self.y.sd(b))
            return self._changed(self.x.path, lambda _, value: _started(value, step))
        out = self._changed(self.x.path, _mover(self.x, a))
        return replace(self, study=out)._changed(self.y.path, _mover(self.y, b))

    def _changed(self, path: str, change: Callable[[Stratum, Any], Any]) -> Study:
        role, _, rest = path.partition(".")
        if role in ("service", "joint"):
            table = getattr(self.study.spec, role)
            new = _put(table, rest, lambda value: change(self.study.strata[0], value))
            return replace(self.study, spec=self.study.spec.model_copy(update={role: new}))
        strata = []
        for s in self.study.strata:
            if role in s.parts and _get(s.parts[role], rest) is not None:
                part: Part = _put(s.parts[role], rest, partial(change, s))
                name = s.names[role]
                if (name, path) in self.tied and getattr(part, "sides", ...) is None:
                    sides = Sides(diameter=self.tied[name, path])
                    part = part.model_copy(update={"sides": sides})
                readings = {k: v for k, v in s.readings.items() if k != path}
                s = replace(s, parts={**s.parts, role: part}, readings=readings)
            strata.append(s)
        return replace(self.study, strata=tuple(strata))

    def today(self) -> tuple[Today, ...]:
        """Every supply as it is."""
        out = []
        for s in self.study.strata:
            ends = [_ends(s, self.study, axis) for axis in (self.x, self.y)]
            if ends[0] is not None and ends[1] is not None:
                n = max(ends[0][1], ends[1][1])
                kind = self.together and not n and not _plain(s, self.x.path)
                out.append(
                    Today(name=s.name, x=ends[0][0], y=ends[1][0], readings=n, normal=not kind)
                )
        return tuple(out)


def axes_of(study: Study, x: str, y: str) -> Axes:
    """Axes by name, such as ``bore.diameter.mean`` and ``bore.diameter.sd``.

    Raises
    ------
    SpecError
        If the study has no such quantity; names the closest.
    UsageError
        If the two make no pair.
    """
    first, second = _axis(study, x), _axis(study, y)
    if first.path == second.path:
        kinds = (first.kind, second.kind)
        if kinds not in (("mean", "sd"), ("centre", "width")) or not first.size:
            raise UsageError(
                f"{x} and {y} make no pair: of one size x is its mean and y its sd, or x its "
                "centre and y its width"
            )
    tied = {
        (m.part_name, m.key): m.correlation
        for build in assemble(study).builds
        for m in build.measured
    }
    return Axes(study=study, x=first, y=second, tied=tied)


def _kinds(c: Contributor) -> tuple[str, ...]:
    return KINDS if c.kind == "size" else ("mean", "sd", "width")


def _axis(study: Study, name: str) -> Axis:
    path, _, kind = name.rpartition(".")
    known = {c.path: c for c in contributors(study)}
    if kind not in KINDS or path not in known:
        every = [f"{p}.{k}" for p, c in known.items() for k in _kinds(c)]
        raise SpecError(
            [
                Problem(
                    file=study.name,
                    key=name,
                    message="no such quantity in this study, so it makes no axis",
                    found=name,
                    allowed=f"one of {', '.join(known)} with .mean or .sd behind it, of a size "
                    ".centre or .width as well",
                    closest=f"{name}.mean" if name in known else closest(name, every),
                )
            ]
        )
    c = known[path]
    if c.kind == "spread" and kind == "centre":
        raise UsageError(f"{name}: a spread has no band; take {path}.sd or {path}.mean")
    capability = 1.0
    for s in study.strata:
        value = None if c.role in ("service", "joint") else _value(s, path)
        if isinstance(value, Feature):
            capability = value.capability
            break
    return Axis(
        path=path,
        kind=kind,
        size=c.kind == "size",
        unit=c.unit,
        scale=c.scale,
        capability=capability,
    )


def _machine(mean: float, sd: float) -> Machine:
    return Machine.model_validate({"step": "machine", "mean_um": 1e3 * mean, "sd_um": 1e3 * sd})


def _started(feature: Feature, step: Machine) -> Feature:
    """A feature whose route starts with `step`, whatever it started with."""
    begins = bool(feature.route) and feature.route[0].step in _STARTS
    rest = feature.route[1:] if begins else feature.route
    return feature.model_copy(update={"route": (step, *rest)})


def _mover(axis: Axis, value: float) -> Callable[[Stratum, Any], Any]:
    """What gives the process of an axis this mean or spread and leaves its shape."""

    def change(stratum: Stratum, old: Any) -> Any:
        if isinstance(old, Distribution):
            mean, sd = _of_distribution(old)
            if axis.spread:
                return moved_distribution(old, 0.0, axis.sd(value) / max(sd, _NARROWEST))
            return moved_distribution(old, value - mean, 1.0)
        assert isinstance(old, Feature)
        mean, sd, n = _of_feature(stratum, axis.path, old)
        if n:
            wanted = (mean, axis.sd(value)) if axis.spread else (value, sd)
            return _started(old, _machine(*wanted))
        shift = 0.0 if axis.spread else value - mean
        factor = axis.sd(value) / max(sd, _NARROWEST) if axis.spread else 1.0
        step = Move.model_validate(
            {"step": "move", "shift_um": 1e3 * shift, "spread_factor": factor}
        )
        begins = bool(old.route) and old.route[0].step in _STARTS
        head = old.route[:1] if begins else (_machine(mean, sd),)
        rest = old.route[1:] if begins else old.route
        return old.model_copy(update={"route": (*head, step, *rest)})

    return change


def _plain(stratum: Stratum, path: str) -> bool:
    process, _ = start_process(_value(stratum, path))
    return isinstance(process, Normal)


def _of_distribution(value: Distribution) -> tuple[float, float]:
    process = process_of(value)
    return process.mean, process.sd


def _of_feature(stratum: Stratum, path: str, feature: Feature) -> tuple[float, float, int]:
    """Mean, spread of the process as made and number of readings."""
    readings = stratum.readings.get(path)
    if readings is None:
        process, _ = start_process(feature)
        return process.mean, process.sd, 0
    mean, sd = readings.mean_sd()
    assert feature.readings is not None
    return mean, math.sqrt(max(sd**2 - feature.readings.gauge_sd**2, 0.0)), len(readings)


def _ends(stratum: Stratum, study: Study, axis: Axis) -> tuple[Ends, int] | None:
    """Estimate and ends of an axis for one supply, and the readings that they rest on."""
    role, _, rest = axis.path.partition(".")
    if role in ("service", "joint"):
        value = _get(getattr(study.spec, role), rest)
    else:
        value = _value(stratum, axis.path)
    if value is None:
        return None
    if isinstance(value, Distribution):
        mean, sd = _of_distribution(value)
        one = axis.of_sd(sd) if axis.spread else mean
        return (one, one, one), 0
    mean, sd, n = _of_feature(stratum, axis.path, value)
    if not n:
        one = axis.of_sd(sd) if axis.spread else mean
        return (one, one, one), 0
    readings = stratum.readings[axis.path]
    spread = readings.mean_sd()[1]
    pairs = readings.pairs()
    r = _correlation(pairs) if len(pairs) >= 4 else 0.0
    if not axis.spread:
        # seats of one unit say less than as many parts would: n / (1 + r) of them for the mean
        i = mean_interval(mean, spread, max(2, round(n / (1.0 + max(r, 0.0)))))
        return (i.value, i.low, i.high), n
    i = sd_interval(spread, max(2, round(n / (1.0 + r * r))))  # and n / (1 + r^2) for the spread
    assert isinstance(value, Feature)
    assert value.readings is not None
    gauge = value.readings.gauge_sd
    ends = [axis.of_sd(math.sqrt(max(v * v - gauge**2, 0.0))) for v in (i.value, i.low, i.high)]
    return (ends[0], ends[1], ends[2]), n


def _correlation(pairs: Any) -> float:
    d = pairs - pairs.mean(axis=0)
    scale = math.sqrt(float((d[:, 0] ** 2).sum() * (d[:, 1] ** 2).sum()))
    return float((d[:, 0] * d[:, 1]).sum()) / scale if scale > 0.0 else 0.0


def _value(stratum: Stratum, path: str) -> Any:
    role, _, rest = path.partition(".")
    return _get(stratum.parts[role], rest) if role in stratum.parts else None


def _get(table: Any, path: str) -> Any:
    for name in path.split("."):
        table = getattr(table, name, None)
    return table


def _put(table: Any, path: str, change: Callable[[Any], Any]) -> Any:
    name, _, rest = path.partition(".")
    value = getattr(table, name)
    new = _put(value, rest, change) if rest else change(value)
    return table.model_copy(update={name: new})
