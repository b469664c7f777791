"""A study in memory written back as files that load as the same study."""

from __future__ import annotations

import json

from tolsim.spec.emit import emit
from tolsim.spec.load import Study
from tolsim.spec.parts import Part

__all__ = ["written_study"]

_FOLDERS = {
    "bore": "bores",
    "bearing": "bearings",
    "sleeve": "sleeves",
    "adhesive": "adhesives",
}


def written_study(study: Study) -> dict[str, str]:
    """File name -> TOML of a study whose freedoms are settled, its parts and readings beside it."""
    files: dict[str, str] = {}
    names: dict[int, str] = {}
    rows: list[str] = []
    for s in study.strata:
        chosen: dict[str, str] = {}
        for role, part in s.parts.items():
            if id(part) not in names:
                stem = s.names[role].rpartition("/")[2].partition(" ")[0]
                name = f"{_FOLDERS[role]}/{stem}"
                while f"{name}.toml" in files:
                    name += "-b"
                names[id(part)] = name
                files[f"{name}.toml"] = emit(part)
                files |= _readings(study, s.names[role], role, part, name)
            chosen[role] = names[id(part)]
        lines = "".join(f"{r} = {json.dumps(n)}\n" for r, n in chosen.items())
        rows.append(f"\n[[supply]]\nname = {json.dumps(s.name)}\nshare = {s.share!r}\n{lines}")
    empty = dict.fromkeys(_FOLDERS)
    spec = study.spec.model_copy(
        update={
            "choose": (),
            "supply": (),
            "alternative": (),
            "joint": study.spec.joint.model_copy(update=empty),
        }
    )
    files["study.toml"] = emit(spec) + "".join(rows)
    return files


def _readings(study: Study, source: str, role: str, part: Part, name: str) -> dict[str, str]:
    """Readings that a part still rests on, as CSV with deviations in µm."""
    out: dict[str, str] = {}
    for s in study.strata:
        if s.names[role] != source:
            continue
        for key, readings in s.readings.items():
            if not key.startswith(f"{role}."):
                continue
            step = getattr(part, key.partition(".")[2]).readings
            if step is None:
                continue
            header, columns = [step.column], [[str(v) for v in _sizes(readings, step.column)]]
            for title, values in (
                (step.side, readings.side),
                (step.unit, readings.unit),
                (step.lot, readings.lot),
            ):
                if title is not None and values is not None:
                    header.append(title)
                    columns.append([json.dumps(v, ensure_ascii=False) for v in values])
            lines = [",".join(row) for row in zip(*columns, strict=True)]
            folder = name.rpartition("/")[0]
            out[f"{folder}/{step.file}"] = ",".join(header) + "\n" + "\n".join(lines) + "\n"
    return out


def _sizes(readings: object, column: str) -> list[str]:
    from decimal import Decimal

    from tolsim.spec.readings import Readings
    from tolsim.units import split_suffix

    assert isinstance(readings, Readings)
    unit = split_suffix(column)[1]
    factor = Decimal("1") if unit is None else Decimal(repr(unit.factor))
    nominal = Decimal(repr(readings.nominal_mm))
    return [format((nominal + v) / factor, "f") for v in readings.exact]
