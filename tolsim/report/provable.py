"""The smallest rate that so few parts could prove: payload and sentences."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tolsim.answers.provable import Provable
from tolsim.report.numbers import clean, share, target

__all__ = ["provable_payload", "provable_sentences"]


def provable_payload(found: Iterable[Provable]) -> list[dict[str, Any]]:
    """One entry a measured size whose parts are fewer than the smallest target needs."""
    return [
        {
            "part": x.part,
            "feature": x.key,
            "parts": x.parts,
            "smallest_provable_share": x.share,
            "smallest_target": x.target,
        }
        for x in found
    ]


def provable_sentences(p: dict[str, Any]) -> list[str]:
    """What the parts measured could prove at best, where a target lies below it."""
    return [
        f"{clean(x['part'])}, {x['feature']}: the smallest rate that {x['parts']} readings "
        "could prove by themselves, not one of those parts failing, is "
        f"{share(x['smallest_provable_share'])}; a target of {target(x['smallest_target'])} rests "
        "on the shape taken."
        for x in p["provable"]
    ]
