r"""Pressures at which pressed rings begin to yield, isotropic, plane stress.

:math:`Q` is bore over outside diameter of the outer part, :math:`Q_i` that of the inner.
"""

from __future__ import annotations

import math

import numpy as np

from tolsim.record import Array

__all__ = [
    "elastic_limit_inner",
    "elastic_limit_outer",
    "mises",
    "von_mises_bore",
    "yield_warnings",
]


def _ratio(bore: float, outside: float) -> float:
    if not 0.0 <= bore < outside:
        raise ValueError(f"need 0 <= bore < outside, got {bore}, {outside}")
    return bore / outside


def elastic_limit_outer(
    bore: float, outside: float, proof_stress: float, safety: float = 1.0
) -> float:
    r"""Pressure in the bore at which the outer part yields, :math:`(1-Q^2)R_p/(\sqrt3 S)` [MPa].

    Modified Tresca criterion of DIN 7190, from memory. Diameters [mm], proof stress [MPa].

    >>> elastic_limit_outer(41.0, 46.0, 240.0)
    28.48552
    """
    q = _ratio(bore, outside)
    return (1.0 - q * q) * proof_stress / (math.sqrt(3.0) * safety)


def elastic_limit_inner(
    bore: float, outside: float, proof_stress: float, safety: float = 1.0
) -> float:
    r"""Pressure outside at which the inner part yields: hollow as above, solid :math:`2R_p/\sqrt3`.

    DIN 7190, from memory.

    >>> elastic_limit_inner(0.0, 20.0, 300.0)
    346.4
    """
    if bore == 0.0:
        return 2.0 * proof_stress / (math.sqrt(3.0) * safety)
    return elastic_limit_outer(bore, outside, proof_stress, safety)


def von_mises_bore(pressure: Array, bore: float, outside: float) -> Array:
    r"""Equivalent stress at the bore of the outer part, :math:`p\sqrt{3+Q^4}/(1-Q^2)` [MPa].

    >>> von_mises_bore(20.0, 50.0, 100.0)
    46.667
    """
    q = _ratio(bore, outside)
    return pressure * (math.sqrt(3.0 + q**4) / (1.0 - q * q))


def mises(hoop: Array, radial: Array) -> Array:
    r"""Equivalent stress of a plane state, :math:`\sqrt{\sigma_\theta^2 - \sigma_\theta\sigma_r +
    \sigma_r^2}` [MPa].

    >>> float(mises(100.0, -50.0))
    132.288
    """
    # written as a sum of squares, which rounding cannot make negative
    return np.sqrt(np.square(hoop - radial * 0.5) + np.square(radial) * 0.75)


def yield_warnings(
    name: str, stress: float, proof_stress: float, how_often: str
) -> tuple[str, ...]:
    """Sentence where the equivalent stress [MPa] of a part passes its proof stress, or nothing.

    >>> yield_warnings("sleeve", 266.0, 240.0, "1 of 740 units")[0]
    'sleeve: equivalent stress reaches 266 MPa in 1 of 740 units, above the proof stress of 240...
    """
    if stress <= proof_stress:
        return ()
    return (
        f"{name}: equivalent stress reaches {stress:.0f} MPa in {how_often}, above the proof "
        f"stress of {proof_stress:g} MPa; it yields there and holds less than is computed",
    )
