"""Change of size and of stiffness with time and moisture. Times in hours."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.mechanics.influence import influence
from tolsim.mechanics.materials import Material
from tolsim.record import Array

__all__ = [
    "kohlrausch",
    "log_time",
    "log_time_share",
    "moisture_growth",
    "relaxation_exponent",
    "relaxed",
    "settled_between",
]


def kohlrausch(
    age: Array,
    time: float = ASSUMED["kohlrausch-time"].value,
    exponent: float = ASSUMED["kohlrausch-exponent"].value,
) -> Array:
    r"""Share of the whole change completed at an age, :math:`1 - e^{-(t/\tau)^b}`.

    Age and time [h]. Exponent b of 0.3 to 0.7 for glassy polymers; source: Struik, *Physical
    Aging in Amorphous Polymers*, for the form; the values are from memory.

    >>> float(kohlrausch(24.0, time=36.0, exponent=0.6))
    0.543448
    """
    if not (time > 0.0 and exponent > 0.0):
        raise ValueError(f"time and exponent must be positive, got {time}, {exponent}")
    return -np.expm1(-np.power(age / time, exponent))


def log_time(earlier: Array, later: Array, per_decade: Array, start: float = 1.0) -> Array:
    r"""Change between two ages that is equal per decade, :math:`k\log_{10}\frac{t_2+t_0}{t_1+t_0}`.

    Ages and start t0 [h]; k and the result [mm].

    >>> float(log_time(0.5, 84.0, 0.003))
    0.005259983
    """
    if not start > 0.0:
        raise ValueError(f"start must be positive, got {start}")
    return per_decade * (np.log((later + start) / (earlier + start)) * (1.0 / math.log(10.0)))


def log_time_share(age: Array, end: float, start: float = 1.0) -> Array:
    """Share of the whole change until `end` [h] that a log-time law has made at an age.

    >>> float(log_time_share(9.0, 99.0))
    0.5
    """
    if not (start > 0.0 and end > 0.0):
        raise ValueError(f"start and end must be positive, got {start}, {end}")
    return np.log((age + start) / start) * (1.0 / math.log((end + start) / start))


def settled_between(whole: Array, share_earlier: Array, share_later: Array) -> Array:
    """Change of size between two ages: the whole change times the difference of the shares [mm].

    >>> settled_between(-0.005, 0.07, 0.81)
    -0.0037
    """
    return whole * (share_later - share_earlier)


def relaxation_exponent(stress_earlier: float, stress_later: float, time_ratio: float) -> float:
    r"""Exponent n of :math:`\sigma\sim t^{-n}` from two stresses at one strain.

    >>> relaxation_exponent(36.0, 30.0, 1000.0)
    0.02639375
    """
    if not (stress_earlier > 0.0 and stress_later > 0.0 and time_ratio > 1.0):
        raise ValueError("need positive stresses and a ratio of times above 1")
    return math.log(stress_earlier / stress_later) / math.log(time_ratio)


def relaxed(
    material: Material,
    hours: float,
    *,
    exponent_hoop: float,
    exponent_radial: float | None = None,
    reference_hours: float = 1.0,
) -> Material:
    r"""The material with its moduli after a time under strain, :math:`E_1(t/t_1)^{-n}`.

    Quasi-elastic: solve the layers again with it and the pressure has relaxed. The Poisson ratio
    and expansion stay. `exponent_radial` defaults to the hoop's; the axial modulus follows the
    hoop's.

    Raises
    ------
    ValueError
        For a time below the reference, a negative exponent, or moduli that drift so far apart
        that the compliance is no longer positive.

    >>> from tolsim.mechanics.materials import MATERIALS
    >>> relaxed(MATERIALS["pom"], 1000.0, exponent_hoop=0.06).E_hoop
    1816.9
    """
    radial = exponent_hoop if exponent_radial is None else exponent_radial
    if not (hours >= reference_hours > 0.0 and exponent_hoop >= 0.0 and radial >= 0.0):
        raise ValueError("need hours >= reference_hours > 0 and exponents that are not negative")
    ratio = hours / reference_hours
    axial = material.E_axial
    return replace(
        material,
        E_hoop=material.E_hoop * ratio**-exponent_hoop,
        E_radial=material.E_radial * ratio**-radial,
        E_axial=None if axial is None else axial * ratio**-exponent_hoop,
    )


def moisture_growth(
    inner_radius: float,
    outer_radius: float,
    material: Material,
    swelling_hoop: float,
    swelling_radial: float,
) -> tuple[float, float]:
    """Free radial growth of both surfaces [mm] per unit of moisture taken up.

    Swelling strain per unit of moisture; times the change of moisture it is the `growth` of
    `tolsim.mechanics.rings.Stack.solve`. Acts as temperature does, unequal swelling bends the
    ring within.

    >>> from tolsim.mechanics.materials import MATERIALS
    >>> moisture_growth(20.0, 25.0, MATERIALS["pom"], 0.002, 0.002)
    (0.04, 0.05)
    """
    f = influence(
        inner_radius,
        outer_radius,
        replace(material, alpha_hoop=swelling_hoop, alpha_radial=swelling_radial),
    )
    return f.h1, f.h2
