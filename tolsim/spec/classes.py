"""Classes of the standards in a part, turned into bands."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TypeVar

from tolsim.errors import Problem
from tolsim.spec.locate import Locator
from tolsim.spec.parts import Bearing, Bore, Feature, Part, Sleeve
from tolsim.standards import bearings, sizes
from tolsim.standards.tables import TableError

__all__ = ["Look", "look_up", "resolve_classes"]

P = TypeVar("P", bound=Part)
Look = Callable[[str], tuple[float, float]]


def resolve_classes(part: P, at: Locator, shown: str) -> tuple[P, list[Problem]]:
    """The part with every class replaced by its limits [mm], and what the tables refuse.

    A bore takes hole classes of ISO 286-2, the outside of a sleeve shaft classes; a bearing takes
    its class from ISO 492 (deviation of the mean outside diameter) and its clearance group from
    ISO 5753-1.
    """
    problems: list[Problem] = []
    update: dict[str, Feature] = {}
    for name, feature, look, path in _wanted(part):
        word = feature.tolerance_class
        if word is None:
            continue
        try:
            band = look(word)
        except TableError as e:
            problems.append(
                Problem(
                    file=shown,
                    line=at.line(path),
                    key=".".join(path),
                    message=e.message,
                    found=f'{path[-1]} = "{word}"',
                    allowed=e.allowed,
                    closest=e.closest,
                )
            )
            continue
        update[name] = feature.model_copy(update={"band": band})
    return part.model_copy(update=update), problems


def look_up(part: Part, name: str) -> Look | None:
    """What gives the limits [mm] of a class of one size of a part; None where no standard does.

    The function raises `TableError` where there is no such class, or none of this kind of size.
    """
    if isinstance(part, Bore) and name == "diameter":
        return _size(part.diameter, "hole")
    if isinstance(part, Sleeve) and name == "inside":
        return _size(part.inside, "hole")
    if isinstance(part, Sleeve) and name == "outside" and part.outside is not None:
        return _size(part.outside, "shaft")
    if isinstance(part, Bearing) and name in ("outside", "clearance"):
        return _ring(part) if name == "outside" else _group(part)
    return None


def _wanted(part: Part) -> Iterator[tuple[str, Feature, Look, tuple[str, ...]]]:
    """Features that may name a class: field, feature, look-up, path of the key."""
    if isinstance(part, Bore):
        yield "diameter", part.diameter, _size(part.diameter, "hole"), ("diameter", "class")
    elif isinstance(part, Sleeve):
        yield "inside", part.inside, _size(part.inside, "hole"), ("inside", "class")
        if part.outside is not None:
            yield "outside", part.outside, _size(part.outside, "shaft"), ("outside", "class")
    elif isinstance(part, Bearing):
        yield from _of_bearing(part)


def _of_bearing(part: Bearing) -> Iterator[tuple[str, Feature, Look, tuple[str, ...]]]:
    ring, group = _ring(part), _group(part)
    outside = part.outside
    if outside is None:
        yield "outside", _of_class(part.tolerance_class), ring, ("class",)
    elif outside.band is None and (outside.tolerance_class or part.tolerance_class):
        own = outside.tolerance_class is not None
        word = outside.tolerance_class or part.tolerance_class
        feature = outside.model_copy(update={"tolerance_class": word})
        yield "outside", feature, ring, ("outside", "class") if own else ("class",)
    if isinstance(part.clearance, str):
        yield "clearance", _of_class(part.clearance), group, ("clearance",)
    elif part.clearance.tolerance_class is not None:
        yield "clearance", part.clearance, group, ("clearance", "class")


def _ring(part: Bearing) -> Look:
    def look(word: str) -> tuple[float, float]:
        found = bearings.outer_ring(part.outside_diameter, word)
        return found.lower, found.upper

    return look


def _group(part: Bearing) -> Look:
    def look(word: str) -> tuple[float, float]:
        found = bearings.clearance(part.bore, word)
        return found.lower, found.upper

    return look


def _of_class(word: str | None) -> Feature:
    return Feature.model_validate({"class": word})


def _size(feature: Feature, kind: str) -> Look:
    def look(word: str) -> tuple[float, float]:
        assert feature.nominal is not None
        found = sizes.limits(feature.nominal, word)
        if found.feature != kind:
            other = word.upper() if kind == "hole" else word.lower()
            raise TableError(
                f"{word} is a class of {found.feature}s, this is a {kind}",
                found=word,
                allowed=f"classes of {kind}s",
                closest=other,
            )
        return found.lower, found.upper

    return look
