"""What a seat keeps when its bearing has been taken out and replaced."""

from __future__ import annotations

import numpy as np

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.record import Array

__all__ = ["BASIS", "after_removals"]

#: To be printed wherever the option is used.
BASIS = (
    "share of the interference kept per removal and refit: an assumption without a source; the "
    "first assembly has smoothed the surfaces already, each removal wears them further"
)


def after_removals(
    interference: Array,
    removals: int,
    retention: Array = ASSUMED["removal-retention"].value,
) -> Array:
    """Effective interference after a number of removals, U r^n; a clearance stays as it is.

    Interference of the first assembly after smoothing [mm], retention r per removal.

    >>> float(after_removals(0.010, 2, 0.9))
    0.0081
    """
    if removals < 0:
        raise ValueError(f"removals must not be negative, got {removals}")
    kept = 1.0
    for _ in range(removals):
        kept = retention * kept
    return interference - np.maximum(interference, 0.0) * (1.0 - kept)
