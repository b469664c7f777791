"""Tables of a specification: keys that carry their unit, converted once, here.

A field is named without unit and holds the inner unit (mm, N, MPa, °C, rad, h); its alias is the
key as it is usually written (``band_um``). Any other suffix of the same dimension is taken too.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from tolsim.units import SUFFIXES, split_suffix

__all__ = [
    "Band",
    "Distribution",
    "Number",
    "Share",
    "Spread",
    "Table",
    "Text",
    "scaled",
]

Number: TypeAlias = float
Text = Annotated[str, Field(min_length=1, max_length=400)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]


def scaled(suffix: str) -> AfterValidator:
    """Validator that turns a number, a pair or a distribution in this unit into the inner unit."""
    factor = SUFFIXES[suffix].factor

    def scale(value: Any) -> Any:
        if value is None:
            return None
        if isinstance(value, tuple):
            return tuple(v * factor for v in value)
        if isinstance(value, Distribution):
            return value.scaled(factor)
        return value * factor

    return AfterValidator(scale)


class Table(BaseModel):
    """A frozen table of a TOML file; unknown keys, true, inf and nan are faults."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, strict=True, validate_default=False
    )

    @model_validator(mode="before")
    @classmethod
    def _one_unit_a_key(cls, raw: Any) -> Any:
        """Rewrite keys in another unit of the same dimension to the usual one."""
        if not isinstance(raw, dict):
            return raw
        known = cls.usual_keys()
        out: dict[str, Any] = {}
        for key, value in raw.items():
            usual = usual_key(key, known)
            if usual == key or usual in raw or usual in out:
                out[key] = value  # a second unit of one quantity is left for an unknown key
            else:
                unit, to = split_suffix(key)[1], split_suffix(usual)[1]
                assert unit is not None
                assert to is not None
                out[usual] = _converted(value, unit.factor / to.factor)
        return out

    @classmethod
    def usual_keys(cls) -> tuple[str, ...]:
        """Keys of the table as they are usually written, in order."""
        return tuple(f.alias or name for name, f in cls.model_fields.items())


def usual_key(key: str, known: tuple[str, ...]) -> str:
    """The usual writing of a key that carries another unit of the same dimension.

    >>> usual_key("span_in", ("title", "span_mm"))
    'span_mm'
    """
    if key in known:
        return key
    stem, unit = split_suffix(key)
    if unit is not None:
        for other in known:
            other_stem, other_unit = split_suffix(other)
            if (
                other_unit is not None
                and other_stem == stem
                and other_unit.dimension == unit.dimension
            ):
                return other
    return key


def _converted(value: Any, factor: float) -> Any:
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        try:
            return value * factor
        except OverflowError:  # a whole number beyond every float
            return math.inf
    if isinstance(value, list):
        return [_converted(v, factor) for v in value]
    if isinstance(value, dict):
        return {k: _converted(v, factor) if k in _WITH_UNIT else v for k, v in value.items()}
    return value


def _pair(value: tuple[float, float]) -> tuple[float, float]:
    if not value[0] < value[1]:
        raise PydanticCustomError(
            "order",
            "lower limit must be below the upper",
            {"allowed": "[lower, upper] with lower < upper"},
        )
    return value


Pair = Annotated[tuple[float, float], Field(strict=False)]
#: Lower and upper limit, the lower one first.
Band = Annotated[tuple[float, float], Field(strict=False), AfterValidator(_pair)]

_WITH_UNIT = frozenset({"mean", "sd", "low", "high", "mode", "scale", "value", "from", "parts"})

#: What a shape needs and what it may have besides; the names are those of `process.shapes`.
SHAPE_KEYS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "normal": (("sd",), ("mean",)),
    "uniform": (("low", "high"), ()),
    "triangular": (("low", "mode", "high"), ()),
    "skewed": (("sd", "skewness"), ("mean",)),
    "bounded": (("mean", "sd", "low", "high"), ()),
    "lognormal": (("mean", "sd"), ("low",)),
    "weibull": (("scale", "exponent"), ("low",)),
    "folded-normal": (("sd",), ("mean",)),
    "rayleigh": (("sd",), ()),
    "rice": (("mean", "sd"), ()),
    "fixed": (("value",), ()),
}
#: Shapes that cannot give a negative number when their parameters are sensible.
POSITIVE_SHAPES = frozenset({"lognormal", "weibull", "folded-normal", "rayleigh", "rice"})

ShapeName = Literal[
    "normal",
    "uniform",
    "triangular",
    "skewed",
    "bounded",
    "lognormal",
    "weibull",
    "folded-normal",
    "rayleigh",
    "rice",
    "fixed",
]


class Distribution(Table):
    """How a quantity scatters; its numbers carry the unit of the key that holds the table."""

    shape: ShapeName = "normal"
    mean: Number | None = None
    sd: Annotated[float, Field(ge=0.0)] | None = None
    low: Number | None = None
    high: Number | None = None
    mode: Number | None = None
    scale: Annotated[float, Field(gt=0.0)] | None = None
    exponent: Annotated[float, Field(ge=0.5, le=20.0)] | None = None
    skewness: Annotated[float, Field(ge=-2.0, le=2.0)] | None = None
    value: Number | None = None

    @model_validator(mode="before")
    @classmethod
    def _plain_number(cls, raw: Any) -> Any:
        if isinstance(raw, int | float) and not isinstance(raw, bool):
            return {"shape": "fixed", "value": raw}
        return raw

    @model_validator(mode="after")
    def _fits_shape(self) -> Distribution:
        check_shape(self.shape, self.parameters())
        return self

    def parameters(self) -> dict[str, float]:
        """The parameters that are given, by name, without the shape."""
        return {k: v for k in _PARAMETERS if (v := getattr(self, k)) is not None}

    def scaled(self, factor: float) -> Distribution:
        """The same distribution in another unit."""
        update = {k: v * factor for k, v in self.parameters().items() if k in _WITH_UNIT}
        return self.model_copy(update=update)

    @property
    def may_be_negative(self) -> bool:
        """Whether a draw can fall below zero."""
        p = self.parameters()
        if self.shape in POSITIVE_SHAPES:
            return p.get("low", 0.0) < 0.0
        if self.shape == "fixed":
            return p["value"] < 0.0
        if self.shape in ("uniform", "triangular", "bounded"):
            return p["low"] < 0.0
        return True


_PARAMETERS = ("mean", "sd", "low", "mode", "high", "scale", "exponent", "skewness", "value")


_LEAST_SHARE = 1.1e-9  # of a bounded population; below it the bounds contradict the process


def check_shape(
    shape: str, given: dict[str, float], key: Callable[[str], str] = lambda name: name
) -> None:
    """Refuse parameters that the shape lacks, does not know or cannot have."""
    needed, optional = SHAPE_KEYS[shape]
    missing = [key(k) for k in needed if k not in given]
    extra = [key(k) for k in given if k not in needed and k not in optional]
    allowed = ", ".join(key(k) for k in (*needed, *optional))
    if missing:
        raise PydanticCustomError(
            "shape", f"shape {shape} needs {', '.join(missing)}", {"allowed": allowed}
        )
    if extra:
        raise PydanticCustomError(
            "shape", f"shape {shape} knows no {', '.join(extra)}", {"allowed": allowed}
        )
    low, high = given.get("low", -math.inf), given.get("high", math.inf)
    if not low < high:
        raise PydanticCustomError(
            "shape", f"{key('low')} must be below {key('high')}", {"allowed": "low < high"}
        )
    if shape == "triangular" and not low <= given["mode"] <= high:
        raise PydanticCustomError(
            "shape", f"{key('mode')} must lie between low and high", {"allowed": "low .. high"}
        )
    if shape == "lognormal" and not given["mean"] > given.get("low", 0.0):
        raise PydanticCustomError(
            "shape",
            f"{key('mean')} of a lognormal must be above {key('low')} (0 if not given)",
            {"allowed": "mean > low"},
        )
    if shape == "rice" and given["mean"] < 0.0:
        raise PydanticCustomError(
            "shape", f"{key('mean')} of a rice is a distance", {"allowed": "at least 0"}
        )
    if shape == "bounded" and _share_between(given["mean"], given["sd"], low, high) < _LEAST_SHARE:
        raise PydanticCustomError(
            "shape",
            "next to nothing of this population lies between its bounds",
            {"allowed": f"{key('low')} and {key('high')} around, or near, {key('mean')}"},
        )


def _share_between(mean: float, sd: float, low: float, high: float) -> float:
    """Share of a normal population between two sizes, from the smaller tail."""
    if sd == 0.0:
        return 1.0 if low <= mean <= high else 0.0
    a, b = (low - mean) / sd, (high - mean) / sd
    if a < 0.0:
        a, b = -b, -a
    return 0.5 * (math.erfc(a / math.sqrt(2.0)) - math.erfc(b / math.sqrt(2.0)))


def not_negative(value: Distribution) -> Distribution:
    """Refuse a distribution that can give a negative number."""
    if value.may_be_negative:
        raise PydanticCustomError(
            "negative",
            "this quantity cannot be negative, but its distribution can",
            {"allowed": f"shapes {', '.join(sorted(POSITIVE_SHAPES))}; or bounds at or above 0"},
        )
    return value


#: A distribution that only knows a spread around zero or a mean, in the unit of its key.
Spread = Distribution
