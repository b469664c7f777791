"""In-plane constants of a laminate from its plies (classical lamination theory).

For shells whose layup is known and whose constants are not. Membrane only: symmetric layups.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["Laminate", "Ply", "laminate"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Ply:
    """Unidirectional ply: moduli [MPa], expansion [1/K] and swelling along and across fibres."""

    E1: float
    E2: float
    G12: float
    nu12: float
    alpha: tuple[float, float] = (0.0, 0.0)
    beta: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Laminate:
    """Laminate constants on x (angle 0, take it as the hoop) and y (axial)."""

    E_x: float
    E_y: float
    nu_xy: float
    alpha_x: float
    alpha_y: float
    beta_x: float
    beta_y: float


def laminate(ply: Ply, angles: Sequence[float]) -> Laminate:
    r"""Constants of a symmetric laminate of equal plies, one half of it given by its angles [deg].

    .. math:: A = \tfrac1N\sum\bar Q_k, \quad \alpha = A^{-1}\,\tfrac1N\sum\bar Q_k\alpha_k

    Raises
    ------
    ValueError
        Without plies or for constants that are not positive definite.

    References
    ----------
    .. [1] Tsai and Hahn, *Introduction to Composite Materials*, 1980.

    Examples
    --------
    >>> ply = Ply(E1=181e3, E2=10.3e3, G12=7.17e3, nu12=0.28)
    >>> laminate(ply, [0, 45, -45, 90]).E_x
    69675.74
    """
    if not angles:
        raise ValueError("a laminate needs plies")
    if not (min(ply.E1, ply.E2, ply.G12) > 0.0 and ply.nu12**2 < ply.E1 / ply.E2):
        raise ValueError(f"ply constants are not positive definite: {ply}")
    nu21 = ply.nu12 * ply.E2 / ply.E1
    d = 1.0 - ply.nu12 * nu21
    q = np.array(
        [
            [ply.E1 / d, ply.nu12 * ply.E2 / d, 0.0],
            [ply.nu12 * ply.E2 / d, ply.E2 / d, 0.0],
            [0.0, 0.0, ply.G12],
        ]
    )
    stiffness, thermal, moist = np.zeros((3, 3)), np.zeros(3), np.zeros(3)
    for angle in angles:
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        # strains (engineering shear) of the laminate axes in the axes of the ply
        turn = np.array(
            [[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]]
        )
        stiffness += turn.T @ q @ turn
        thermal += turn.T @ q @ np.array([*ply.alpha, 0.0])
        moist += turn.T @ q @ np.array([*ply.beta, 0.0])
    compliance = np.linalg.inv(stiffness / len(angles))
    alpha, beta = compliance @ thermal / len(angles), compliance @ moist / len(angles)
    return Laminate(
        E_x=float(1.0 / compliance[0, 0]),
        E_y=float(1.0 / compliance[1, 1]),
        nu_xy=float(-compliance[0, 1] / compliance[0, 0]),
        alpha_x=float(alpha[0]),
        alpha_y=float(alpha[1]),
        beta_x=float(beta[0]),
        beta_y=float(beta[1]),
    )
