"""What a search may change: bands as numbers, parts as choices, and the study that they make."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.errors import UsageError
from tolsim.spec.load import Study
from tolsim.spec.parts import Feature, Sides
from tolsim.spec.quantities import Distribution
from tolsim.spec.route_steps import Gauge, Machine
from tolsim.spec.study import Choose
from tolsim.spec.variants import with_feature

__all__ = ["Freedom", "Problem", "problem_of"]

FloatArray = NDArray[np.float64]
DEFAULT_CAPABILITY = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Freedom:
    """One free band: limits of its centre and width [mm or rad], and how the process follows.

    A spread about zero (offset, tilt, roundness) has no centre: `centre` is None and `width` is
    the zone, six standard deviations at the capability.
    """

    path: str
    spec: Choose
    centre: tuple[float, float] | None
    width: tuple[float, float]
    grid: float
    unit: str
    scale: float

    @property
    def capability(self) -> float:
        """Ratio of the width to six standard deviations of the process that makes it."""
        return self.spec.capability or DEFAULT_CAPABILITY

    @property
    def count(self) -> int:
        """How many numbers it takes."""
        return 1 if self.centre is None else 2

    def sd(self, width: float) -> float:
        """Standard deviation of a process that follows a band of this width."""
        return width / (6.0 * self.capability)

    def cost(self, width: float) -> float:
        """Cost of the band, in the study's currency a unit."""
        curve = self.spec.cost
        if curve is None:
            return 0.0
        return float(curve.fixed + curve.per_width / (width * self.scale) ** curve.power)


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """Free bands and choices of parts of one study."""

    study: Study
    freedoms: tuple[Freedom, ...]
    roles: tuple[str, ...]
    options: tuple[tuple[str, ...], ...]

    def combinations(self) -> Iterator[dict[str, str]]:
        """Every choice of parts, by role."""
        for names in itertools.product(*self.options):
            yield dict(zip(self.roles, names, strict=True))

    def bounds(self) -> list[tuple[float, float]]:
        """Ends of every number, centres before widths, band by band."""
        out: list[tuple[float, float]] = []
        for f in self.freedoms:
            if f.centre is not None:
                out.append(f.centre)
            out.append(f.width)
        return out

    def bands(self, theta: FloatArray) -> list[tuple[float | None, float]]:
        """(centre, width) of every band."""
        out: list[tuple[float | None, float]] = []
        values = iter(float(v) for v in theta)
        for f in self.freedoms:
            centre = next(values) if f.centre is not None else None
            out.append((centre, next(values)))
        return out

    def with_parts(self, chosen: Mapping[str, str]) -> Study:
        """The study with the chosen parts in every supply."""
        strata = []
        for s in self.study.strata:
            parts, names = dict(s.parts), dict(s.names)
            readings = dict(s.readings)
            for role, name in chosen.items():
                part, own = self.study.options[name]
                parts[role], names[role] = part, name
                readings = {k: v for k, v in readings.items() if not k.startswith(f"{role}.")}
                readings |= {f"{role}.{k}": v for k, v in own.items()}
            strata.append(replace(s, parts=parts, names=names, readings=readings))
        return replace(self.study, strata=tuple(strata))

    def variant(self, base: Study, theta: FloatArray, *, sorted_out: bool = True) -> Study:
        """The study with its free bands at `theta`.

        With `sorted_out` False a band that sorts is left out: the process as made, whose draws
        can then be sorted by any band.
        """
        out = base
        for f, (centre, width) in zip(self.freedoms, self.bands(theta), strict=True):
            out = with_feature(out, f.path, _change(f, centre, width, sorted_out))
        following = [f for f in self.freedoms if f.spec.follows == "process"]
        return _as_drawn(out, following) if following else out


def _change(f: Freedom, centre: float | None, width: float, sorted_out: bool) -> Any:
    def change(value: Any) -> Any:
        if isinstance(value, Distribution):
            return Distribution(shape="normal", mean=0.0, sd=f.sd(width))
        assert isinstance(value, Feature)
        assert centre is not None
        low, high = centre - 0.5 * width, centre + 0.5 * width
        if f.spec.follows == "gauge":
            route = value.route
            if sorted_out:
                gauge = Gauge.model_validate(
                    {
                        "step": "gauge",
                        "accept_um": [1e3 * low, 1e3 * high],
                        "repeatability_um": 1e3 * f.spec.repeatability,
                        "name": "drawing band",
                    }
                )
                route = (*value.route[:1], gauge, *value.route[1:])
            return value.model_copy(update={"band": (low, high), "route": route})
        step = Machine.model_validate(
            {"step": "machine", "mean_um": 1e3 * centre, "sd_um": 1e3 * f.sd(width)}
        )
        starts = ("machine", "tool-wear", "readings", "mix")
        rest = value.route[1:] if value.route and value.route[0].step in starts else value.route
        return value.model_copy(update={"band": (low, high), "route": (step, *rest)})

    return change


def _as_drawn(study: Study, freedoms: list[Freedom]) -> Study:
    """Parts whose process follows a band rest on that band, no longer on readings.

    The correlation that the readings showed stays with the part.
    """
    gone = {f.path for f in freedoms if f.centre is not None}
    roles = {f.path.partition(".")[0] for f in freedoms}
    strata = []
    for s in study.strata:
        parts = dict(s.parts)
        for path in gone & set(s.readings):
            role = path.partition(".")[0]
            pairs = s.readings[path].pairs()
            part = parts[role]
            if len(pairs) >= 4 and getattr(part, "sides", None) is None:
                d = pairs - pairs.mean(axis=0)
                scale = math.sqrt(float(np.dot(d[:, 0], d[:, 0]) * np.dot(d[:, 1], d[:, 1])))
                r = float(np.dot(d[:, 0], d[:, 1])) / scale if scale > 0.0 else 0.0
                sides = Sides(diameter=max(-1.0, min(1.0, r)))
                parts[role] = part.model_copy(update={"sides": sides})
        for role in roles & set(parts):
            parts[role] = parts[role].model_copy(update={"basis": "drawing"})
        readings = {k: v for k, v in s.readings.items() if k not in gone}
        strata.append(replace(s, parts=parts, readings=readings))
    return replace(study, strata=tuple(strata))


def problem_of(study: Study, *, grid: float = 1e-3) -> Problem:
    """The freedoms that a study leaves.

    Raises
    ------
    UsageError
        If it leaves none, sets no target, or frees what is not there.
    """
    targets = study.spec.targets
    if all(getattr(targets, m) is None for m in ("loose", "tight", "misaligned", "bond", "creak")):
        raise UsageError("design needs a target: [targets] with creak, tight or others")
    freedoms: list[Freedom] = []
    roles: list[str] = []
    options: list[tuple[str, ...]] = []
    for choice in study.spec.choose:
        if choice.part is not None:
            assert choice.options is not None
            roles.append(choice.part)
            options.append(choice.options)
            continue
        assert choice.feature is not None
        value = _value(study, choice.feature)
        angle = choice.width_angle is not None
        width = choice.width_angle if angle else choice.width
        assert width is not None
        if isinstance(value, Feature) and choice.centre is None:
            raise UsageError(f"{choice.feature}: a size needs centre_um = [least, most]")
        freedoms.append(
            Freedom(
                path=choice.feature,
                spec=choice,
                centre=choice.centre if isinstance(value, Feature) else None,
                width=width,
                grid=1.7453292519943296e-05 if angle else grid,
                unit="°" if angle else "µm",
                scale=57.29577951308232 if angle else 1e3,
            )
        )
    if not freedoms and not roles:
        raise UsageError("design needs freedom: [[choose]] with a feature or a part")
    return Problem(
        study=study, freedoms=tuple(freedoms), roles=tuple(roles), options=tuple(options)
    )


def _value(study: Study, path: str) -> Feature | Distribution:
    role, _, rest = path.partition(".")
    for s in study.strata:
        node: Any = s.parts.get(role)
        for name in rest.split("."):
            node = getattr(node, name, None)
        if isinstance(node, Feature | Distribution):
            return node
    raise UsageError(
        f"{path}: no such size or spread in this study; sizes are bore.diameter, "
        "bearing.outside, bearing.clearance, sleeve.inside, sleeve.outside, spreads "
        "bore.alignment.offset, bore.alignment.tilt and the like"
    )
