"""What an interval that more draws cannot narrow rests on: readings, assumed ranges, or both."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tolsim.spec.load import Stratum, Study
from tolsim.spec.reader import features
from tolsim.spec.route_steps import Machine, Settle

__all__ = ["alone", "assumed_ranges", "cure", "evidence_payload", "left_open"]


def evidence_payload(study: Study) -> dict[str, bool]:
    """Whether processes rest on readings, and whether some are known within ranges only."""
    return {
        "readings": any(_read(s) for s in study.strata),
        "ranges": bool(assumed_ranges(study)),
    }


def _read(stratum: Stratum) -> bool:
    if stratum.readings:
        return True
    for part in stratum.parts.values():
        alignment = getattr(part, "alignment", None)
        if alignment is not None and alignment.seen is not None:
            return True
        for feature in features(part).values():
            if any(isinstance(x, Settle) and x.seen is not None for x in feature.route):
                return True
    return False


def assumed_ranges(study: Study) -> list[str]:
    """Features whose mean or spread is an assumed range: part and feature as rows name them."""
    return list(dict.fromkeys(name for s in study.strata for name in _ranged(s)))


def _ranged(stratum: Stratum) -> Iterator[str]:
    for role, part in stratum.parts.items():
        for key, feature in features(part).items():
            first = feature.route[0] if feature.route else None
            if isinstance(first, Machine) and first.is_ranged:
                yield f"{stratum.names[role]} {role}.{key}"


def alone(evidence: dict[str, bool]) -> str:
    """Name of the interval that holds everything but the draws.

    >>> alone({"readings": True, "ranges": False}), alone({"readings": False, "ranges": True})
    ('measured parts alone', 'assumed ranges alone')
    """
    return f"{_both(evidence, 'measured parts', 'assumed ranges')} alone"


def cure(evidence: dict[str, bool], *, lots: bool = False) -> str:
    """What would narrow that interval; `lots` where lots differ by more than their parts.

    >>> cure({"readings": False, "ranges": True})
    'measured parts in place of assumed ranges would decide it, more draws would not'
    """
    what = "parts of more lots" if lots else "more measured parts"
    if evidence["ranges"] and not lots:
        what = "measured parts in place of assumed ranges"
        if evidence["readings"]:
            what = "more measured parts, also in place of assumed ranges,"
    return f"{what} would decide it, more draws would not"


def left_open(row: str, ranged: list[str]) -> str:
    """A row of evidence in words, without its first word.

    >>> left_open("bores/any bore.diameter mean", ["bores/any bore.diameter"])
    'what the assumed range leaves open about bores/any bore.diameter mean'
    """
    source = "the readings leave"
    if any(row.startswith(f"{name} ") for name in ranged):
        source = "the assumed range leaves"
    return f"what {source} open about {row}"


def _both(evidence: dict[str, Any], readings: str, ranges: str) -> str:
    told = [word for key, word in (("readings", readings), ("ranges", ranges)) if evidence[key]]
    return " and ".join(told or [readings])
