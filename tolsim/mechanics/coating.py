"""Anodic film on a bore or an outside: growth, etching before it, loss when it is pressed.

Lengths [mm]; film is the thickness per surface, share the part of it that grows outward.
"""

from __future__ import annotations

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.record import Array

__all__ = ["bore_after", "etched_bore", "etched_outside", "growth", "outside_after", "press_loss"]

_SHARE = ASSUMED["outward-share-type-ii"].value
_LOST = ASSUMED["film-lost-in-press"].value


def growth(film: Array, share: Array = _SHARE) -> Array:
    """Change of a diameter by a film on both sides, 2 g t [mm].

    Source: anodiser's page: one third of a Type II film grows outward, one half of a hard one.

    >>> growth(0.040, 0.5)
    0.04
    """
    return film * share * 2.0


def bore_after(bore: Array, film: Array, share: Array = _SHARE) -> Array:
    """Bore once coated, d - 2 g t [mm].

    >>> bore_after(41.020, 0.010, 0.33)
    41.0134
    """
    return bore - growth(film, share)


def outside_after(outside: Array, film: Array, share: Array = _SHARE) -> Array:
    """Outside diameter once coated, D + 2 g t [mm].

    >>> outside_after(44.0, 0.040, 0.5)
    44.04
    """
    return outside + growth(film, share)


def etched_bore(bore: Array, removed: Array = ASSUMED["etch"].value) -> Array:
    """Bore after etching that removes a depth per surface [mm].

    >>> etched_bore(41.0, 0.002)
    41.004
    """
    return bore + removed * 2.0


def etched_outside(outside: Array, removed: Array = ASSUMED["etch"].value) -> Array:
    """Outside diameter after etching that removes a depth per surface [mm].

    >>> etched_outside(44.0, 0.002)
    43.996
    """
    return outside - removed * 2.0


def press_loss(film: Array, share: Array = _SHARE, lost: Array = _LOST) -> Array:
    """Interference lost where a coated surface is pressed and its film is scraped [mm].

    `lost` is the share of the outward growth on this surface that goes, 0 to 0.5 (from memory).

    >>> press_loss(0.010, 0.33, 0.5)
    0.0033
    """
    return growth(film, share) * lost
