"""From a record back to TOML: the text that loads as the same record."""

from __future__ import annotations

import json
from typing import Any

from tolsim.spec.quantities import Distribution, Table
from tolsim.units import SUFFIXES, split_suffix

__all__ = ["emit"]


def emit(record: Table, *, skip: frozenset[str] = frozenset()) -> str:
    """TOML of a record, keys in their usual units, defaults and absent values left out.

    `skip` are top-level keys to leave out. Lengths are written to a millionth of a millimetre.
    """
    lines: list[str] = []
    tables: list[tuple[str, Any]] = []
    for key, value in _items(record):
        if key in skip:
            continue
        if _is_table(value):
            tables.append((key, value))
        else:
            lines.append(f"{key} = {_value(value, key)}")
    for key, value in tables:
        _table(lines, key, value)
    return "\n".join(lines) + "\n"


def _items(record: Table) -> list[tuple[str, Any]]:
    out = []
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        if value is None or (value == field.default and not field.is_required()):
            continue
        if isinstance(value, tuple) and not value:
            continue
        if name == "band" and getattr(record, "tolerance_class", None) is not None:
            continue  # the class gives it, and a file may not give both
        out.append((field.alias or name, value))
    return out


def _is_table(value: Any) -> bool:
    if isinstance(value, Distribution):
        return False
    if isinstance(value, Table):
        return True
    return isinstance(value, tuple) and bool(value) and isinstance(value[0], Table)


def _table(lines: list[str], path: str, value: Any) -> None:
    if isinstance(value, tuple):
        for row in value:
            lines.append(f"\n[[{path}]]")
            _body(lines, path, row)
        return
    lines.append(f"\n[{path}]")
    _body(lines, path, value)


def _body(lines: list[str], path: str, record: Table) -> None:
    later = []
    for key, value in _items(record):
        if isinstance(value, Table) and not isinstance(value, Distribution):
            if any(_is_table(v) for _, v in _items(value)):
                later.append((key, value))
            else:
                lines.append(f"{key} = {_inline(value)}")
        elif _is_table(value):
            if all(not _is_table(v) for row in value for _, v in _items(row)) and key != "route":
                rows = ", ".join(_inline(row) for row in value)
                lines.append(f"{key} = [{rows}]")
            else:
                later.append((key, value))
        else:
            lines.append(f"{key} = {_value(value, key)}")
    for key, value in later:
        _table(lines, f"{path}.{key}", value)


def _inline(record: Table) -> str:
    return "{ " + ", ".join(f"{k} = {_value(v, k)}" for k, v in _items(record)) + " }"


def _factor(key: str) -> float:
    unit = split_suffix(key)[1]
    return 1.0 if unit is None else SUFFIXES[unit.suffix].factor


def _value(value: Any, key: str) -> str:
    factor = _factor(key)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int):
        return str(value) if factor == 1.0 else _number(value / factor)
    if isinstance(value, float):
        return _number(value / factor)
    if isinstance(value, Distribution):
        plain = value.scaled(1.0 / factor)
        if plain.shape == "fixed":
            return _number(plain.parameters()["value"])
        given = {k: _number(v) for k, v in plain.parameters().items()}
        shape = {} if plain.shape == "normal" else {"shape": json.dumps(plain.shape)}
        return "{ " + ", ".join(f"{k} = {v}" for k, v in {**shape, **given}.items()) + " }"
    if isinstance(value, tuple):
        return "[" + ", ".join(_value(v, key) for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v, k)}" for k, v in value.items()) + " }"
    if isinstance(value, Table):
        return _inline(value)
    raise TypeError(f"{key}: {type(value).__name__} cannot be written")


def _number(value: float) -> str:
    text = f"{value:.12g}"
    return text if any(c in text for c in ".en") else f"{text}.0"
