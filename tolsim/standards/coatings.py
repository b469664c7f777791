"""Anodic films on aluminium: how thick they are and how much of the film grows outwards.

Thickness ranges of the military and the ISO specification are from memory. Sources agree on the
outward share of hard films (one half) and disagree on thin sulphuric ones (a third or a half):
then `low` and `high` differ and the doubt is the range. Anodic films are brittle: the military
specification warns that they may crack when force fitted.
"""

from __future__ import annotations

from dataclasses import dataclass

from tolsim.standards.tables import Row, TableError, rows

__all__ = ["TYPES", "Film", "diameter_change", "outward_share", "thickness"]

#: Types of film by the military specification: sulphuric and hard.
TYPES: dict[str, str] = {"II": "Type II (sulfuric)", "III": "Type III (hard)"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Film:
    """A range of a film property: a share (0 to 1) or a thickness in mm."""

    low: float
    high: float
    standard: str
    confidence: str
    source: str


def outward_share(kind: str) -> Film:
    """Share of the film thickness that grows outwards; the rest eats into the metal.

    >>> outward_share("III").low, outward_share("II").low
    (0.5, 0.33)
    """
    row = _find(kind, "outward build-up fraction of thickness")
    return _film(row, 1.0)


def thickness(kind: str) -> Film:
    """Range of film thickness [mm] of the military specification, from memory.

    >>> thickness("III").high
    0.1143
    """
    return _film(_find(kind, "coating thickness range"), 1e-3)


def diameter_change(film: float, share: float, *, bore: bool) -> float:
    """Change of a diameter [mm] by a film of thickness `film` [mm]: ``2 share film`` outwards.

    >>> diameter_change(0.010, 0.5, bore=True)  # a bore shrinks
    -0.01
    """
    if film < 0.0 or not 0.0 <= share <= 1.0:
        raise ValueError(f"need film >= 0 and a share between 0 and 1, got {film}, {share}")
    return -2.0 * share * film if bore else 2.0 * share * film


def _find(kind: str, quantity: str) -> Row:
    if kind not in TYPES:
        raise TableError("unknown type of anodic film", found=kind, allowed=", ".join(TYPES))
    for row in rows("anodizing"):
        if row["coating"] == TYPES[kind] and row["quantity"] == quantity:
            return row
    raise AssertionError(f"anodizing.csv lost {quantity} of {kind}")


def _film(row: Row, factor: float) -> Film:
    return Film(
        low=float(row["low"]) * factor,
        high=float(row["high"]) * factor,
        standard=row["standard"],
        confidence=row["confidence"],
        source=row["provenance"],
    )
