"""Friction of a pair of materials in a press fit, by family, with its range and basis."""

from __future__ import annotations

from tolsim.mechanics.assumptions import ASSUMED, Assumed
from tolsim.mechanics.materials import Material

__all__ = ["friction"]

_PAIRS: dict[frozenset[str], str] = {
    frozenset({"steel"}): "friction-steel-steel-press",
    frozenset({"steel", "aluminium"}): "friction-steel-aluminium-press",
    frozenset({"steel", "titanium"}): "friction-steel-titanium-press",
    frozenset({"steel", "cfrp"}): "friction-steel-cfrp-press",
    frozenset({"aluminium", "cfrp"}): "friction-aluminium-cfrp-press",
    frozenset({"steel", "polymer"}): "friction-steel-polymer-press",
}


def friction(first: Material, second: Material) -> Assumed:
    """Friction while pressing one material into the other; the order does not matter.

    Take the high end for the press force, the low end for the grip. A pair that is not in the
    table gets a wide range that says so.

    >>> from tolsim.mechanics.materials import MATERIALS
    >>> f = friction(MATERIALS["aluminium-6061-t6"], MATERIALS["bearing-steel"])
    >>> f.value, f.low, f.high
    (0.12, 0.05, 0.15)
    """
    pair = frozenset({first.family, second.family})
    return ASSUMED[_PAIRS.get(pair, "friction-other-press")]
