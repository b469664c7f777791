"""Steps of a route: what happens to a size between the machine and the assembled joint.

Plain records; `route.compose` works them. Sizes and films in mm, ages in h, temperatures in °C.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from tolsim.process.base import Process
from tolsim.process.gauging import Window
from tolsim.process.plain import Fixed, finite

__all__ = [
    "Coat",
    "Gauge",
    "Machine",
    "Mix",
    "Settle",
    "Step",
    "Strip",
    "Surface",
    "Warm",
]

Surface: TypeAlias = Literal["bore", "outside"]
REFERENCE_C = 20.0  # ISO 1: sizes hold at 20 °C


@dataclass(frozen=True, kw_only=True, slots=True)
class Machine:
    """The size as it leaves the machine (`wear.ToolWear` gives one with a wearing tool)."""

    process: Process


@dataclass(frozen=True, kw_only=True, slots=True)
class Strip:
    """A depth taken off the surface, on both sides of the diameter: d + 2 e of a bore."""

    depth: Process
    surface: Surface

    @property
    def per_depth(self) -> float:
        """Change of the diameter per mm of depth."""
        return 2.0 if self.surface == "bore" else -2.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Coat:
    r"""A film of which a share grows outward, on both sides: :math:`d - 2 g t` of a bore.

    Parameters
    ----------
    film : Process
        Thickness t of the film [mm].
    outward : float or Process
        Share g that grows beyond the old surface, 0 to 1.
    surface : str
        ``bore`` or ``outside``.
    """

    film: Process
    outward: float | Process
    surface: Surface

    def __post_init__(self) -> None:
        low, high = self.share.support
        if low < 0.0 or high > 1.0:
            raise ValueError(f"coat: outward share must lie between 0 and 1, got {low} to {high}")

    @property
    def share(self) -> Process:
        """The outward share as a process."""
        if isinstance(self.outward, int | float):
            return Fixed(value=float(self.outward))
        return self.outward

    @property
    def per_film(self) -> float:
        """Change of the diameter per mm of film that grows outward."""
        return -2.0 if self.surface == "bore" else 2.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Gauge:
    """Parts whose reading lies outside the limits are rejected.

    Parameters
    ----------
    low, high : float
        Drawing limits [mm].
    repeatability : float
        Standard deviation of a reading about the true size [mm].
    guard_low, guard_high : float
        Guard bands by which the limits are drawn in [mm]; negative moves them out.
    bias : float
        Reading minus true size, the same for every part [mm].
    age : float, optional
        Age of the part at the gauge [h]; it decides how far it has settled. None: the gauge
        stands where the step stands in the route.
    name : str
        How results name it.
    """

    low: float = -math.inf
    high: float = math.inf
    repeatability: float = 0.0
    guard_low: float = 0.0
    guard_high: float = 0.0
    bias: float = 0.0
    age: float | None = None
    name: str = "gauge"

    def __post_init__(self) -> None:
        finite(self.name, guard_low=self.guard_low, guard_high=self.guard_high, bias=self.bias)
        if self.age is not None and not self.age >= 0.0:
            raise ValueError(f"{self.name}: age must not be negative, got {self.age}")
        _ = self.window

    @property
    def window(self) -> Window:
        """True sizes that pass, with the probability of each."""
        return Window(
            low=self.low + self.guard_low - self.bias,
            high=self.high - self.guard_high - self.bias,
            sd=self.repeatability,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Mix:
    """Other populations mixed in: `others` with their shares, the rest is what came so far."""

    others: tuple[tuple[float, Process], ...]

    def __post_init__(self) -> None:
        shares = [share for share, _ in self.others]
        if not shares or min(shares) <= 0.0 or sum(shares) > 1.0 + 1e-9:
            raise ValueError(f"mix: shares must be positive and add up to at most 1, got {shares}")

    @property
    def rest(self) -> float:
        """Share of what came so far."""
        rest = 1.0 - sum(share for share, _ in self.others)
        return rest if rest > 1e-9 else 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Settle:
    """Change of size with age, from the moment of making on.

    Parameters
    ----------
    mean, sd : float
        Mean of the whole change and its scatter from part to part [mm].
    progress : callable
        Share of the whole change that is done at an age [h].
    common_sd : float
        What is not known about the mean [mm]: shared by all parts, so it is no part of the
        composed population but is handed on for a latent row of its own.
    """

    mean: float
    progress: Callable[[float], float] = field(repr=False)
    sd: float = 0.0
    common_sd: float = 0.0

    def __post_init__(self) -> None:
        finite("settle", mean=self.mean, sd=self.sd, common_sd=self.common_sd)
        if self.sd < 0.0 or self.common_sd < 0.0:
            raise ValueError("settle: sd and common_sd must not be negative")


@dataclass(frozen=True, kw_only=True, slots=True)
class Warm:
    r"""From the reading taken warm to the size at 20 °C.

    .. math:: d_{20} = d - D\,(\alpha - \alpha_m)(T - 20)

    Parameters
    ----------
    temperature : float
        Temperature T of part and master when read [°C].
    expansion, master_expansion : float
        Coefficients of part and master [1/K].
    temperature_sd : float
        Scatter of the temperature from reading to reading [K].
    """

    temperature: float
    expansion: float
    master_expansion: float
    temperature_sd: float = 0.0

    def __post_init__(self) -> None:
        finite(
            "warm",
            temperature=self.temperature,
            expansion=self.expansion,
            master_expansion=self.master_expansion,
            temperature_sd=self.temperature_sd,
        )
        if self.temperature_sd < 0.0:
            raise ValueError("warm: temperature_sd must not be negative")

    def change(self, nominal: float) -> tuple[float, float]:
        """Mean and scatter of the correction [mm] at a nominal diameter [mm]."""
        per_kelvin = -nominal * (self.expansion - self.master_expansion)
        return per_kelvin * (self.temperature - REFERENCE_C), abs(per_kelvin) * self.temperature_sd


Step: TypeAlias = Machine | Strip | Coat | Gauge | Mix | Settle | Warm
