"""The shapes that a specification may name, with the keys of each."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass

from tolsim.process.base import Process
from tolsim.process.bounded import Bounded
from tolsim.process.comb import Kernel
from tolsim.process.magnitudes import FoldedNormal, Rayleigh, Rice
from tolsim.process.mixture import Mixture
from tolsim.process.plain import Fixed, Normal, Triangular, Uniform
from tolsim.process.skewed import Lognormal, Skewed, Weibull

__all__ = [
    "SHAPES",
    "Bounded",
    "Fixed",
    "FoldedNormal",
    "Kernel",
    "Key",
    "Lognormal",
    "Mixture",
    "Normal",
    "Rayleigh",
    "Rice",
    "Skewed",
    "Triangular",
    "Uniform",
    "Weibull",
    "keys",
]

#: Name in a specification -> class; the keyword arguments are the keys, without units.
SHAPES: dict[str, Callable[..., Process]] = {
    "fixed": Fixed,
    "normal": Normal,
    "uniform": Uniform,
    "triangular": Triangular,
    "skewed": Skewed,
    "bounded": Bounded,
    "lognormal": Lognormal,
    "weibull": Weibull,
    "folded-normal": FoldedNormal,
    "rayleigh": Rayleigh,
    "rice": Rice,
    "mixture": Mixture,
    "kernel": Kernel,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Key:
    """One key of a shape: whether it must be given and whether it carries the unit of the size."""

    name: str
    required: bool
    is_size: bool


def keys(shape: str) -> tuple[Key, ...]:
    """Keys of a shape in the order of its class.

    Raises
    ------
    KeyError
        If there is no such shape.

    >>> [k.name for k in keys("bounded")]
    ['mean', 'sd', 'low', 'high']
    """
    parameters = inspect.signature(SHAPES[shape]).parameters.values()
    plain = {"skewness", "exponent", "parts"}
    return tuple(
        Key(name=p.name, required=p.default is p.empty, is_size=p.name not in plain)
        for p in parameters
    )
