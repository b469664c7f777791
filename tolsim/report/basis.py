"""What each part rests on, and how its files of readings were understood."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from tolsim.report.numbers import clean
from tolsim.spec.load import Stratum
from tolsim.spec.parts import CustomMaterial, Part
from tolsim.spec.readings import Readings

__all__ = ["basis_payload", "part_sentences"]

_COUNT = re.compile(r" \(\d+ of them\)$")


def basis_payload(strata: Iterable[Stratum]) -> list[dict[str, Any]]:
    """Every part once: its title, its basis, its readings file by file."""
    seen: dict[str, dict[str, Any]] = {}
    for stratum in strata:
        for role, part in stratum.parts.items():
            name = stratum.names[role]
            read = {k: r for k, r in stratum.readings.items() if k.startswith(f"{role}.")}
            seen.setdefault(
                name,
                {
                    "part": name,
                    "role": role,
                    "title": part.title,
                    "basis": part.basis,
                    "readings": sum(len(r) for r in read.values()),
                    "files": [_file(key, r) for key, r in read.items()],
                    "material": _own_material(part),
                },
            )
    return list(seen.values())


def _own_material(part: Part) -> dict[str, str] | None:
    """Name and source of constants that the part brings along."""
    given = getattr(part, "material", None)
    if not isinstance(given, CustomMaterial):
        return None
    return {
        "name": given.name,
        "like": given.like or "",
        "source": given.source,
    }


def _file(key: str, r: Readings) -> dict[str, Any]:
    return {
        "feature": key,
        "file": r.shown.rpartition("/")[2],
        "rows_in": r.rows_in,
        "used": len(r),
        "excluded": [
            {"row": e.row, "column": e.column, "found": e.found, "reason": e.reason}
            for e in r.excluded
        ],
        "understood": list(r.understood),
    }


def part_sentences(p: dict[str, Any]) -> list[str]:
    """What each part rests on, what each of its files was taken for, what constants are stated."""
    out = []
    for b in p["study"]["basis"]:
        n = f", {b['readings']} readings" if b["readings"] else ""
        out.append(f"{b['part']} ({b['basis']}{n}): {clean(b['title'])}")
        if b["material"] is not None:
            out.append(
                f"{b['part']} states constants of its material, {clean(b['material']['name'])}: "
                f"{clean(b['material']['source'])}."
            )
        for f in b["files"]:
            told = "; ".join(_columns(f["understood"]))
            if told:
                out.append(f"{clean(f['file'])} was read as: {told}.")
    return [*out, *_stated_sentences(p)]


def _stated_sentences(p: dict[str, Any]) -> list[str]:
    """Constants that the study or a part states in place of what is remembered."""
    out = []
    for a in p["stated"]:
        unit = "" if a["unit"] == "1" else f" {a['unit']}"
        ends = "" if a["low"] == a["high"] else f" ({a['low']:g} to {a['high']:g}{unit})"
        name = a["name"].removesuffix(f" ({a['stated_by']})")
        out.append(
            f"{name} is taken as {a['value']:g}{unit}{ends}, as {a['stated_by']} states: "
            f"{clean(a['source'])}."
        )
    return out


def _columns(facts: list[str]) -> list[str]:
    """What is said of columns, without counts: rows left out are told apart."""
    return [clean(_COUNT.sub("", fact)) for fact in facts if ": " in fact]
