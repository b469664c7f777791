"""From a validation error to problems with line, key, what was found and what is allowed."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from tolsim.errors import Problem, closest
from tolsim.spec.locate import Locator, Path
from tolsim.spec.quantities import usual_key

__all__ = ["Fault", "faults_of", "key_text"]

_MOST = 200

_KINDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list in brackets",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "dict_type": "a table",
    "finite_number": "a finite number",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """A problem and the path of its key, as written and as usually written.

    `means` is the usual path of the key that is not to be had because of the fault.
    """

    path: Path
    usual: Path
    problem: Problem
    means: Path | None


def key_text(path: Path) -> str:
    """A key path as it is read aloud: ``diameter.route[1].sd_um``."""
    out = ""
    for p in path:
        out += f"[{p}]" if isinstance(p, int) else (f".{p}" if out else p)
    return out


def faults_of(
    error: ValidationError,
    *,
    model: type[BaseModel],
    raw: Mapping[str, Any],
    at: Locator,
    shown: str,
) -> list[Fault]:
    """All faults that one look at a document finds; of very many the first and their number."""
    errors = error.errors(include_url=False)
    walked = [(e, *_walk(e["loc"], raw, model)) for e in errors[:_MOST]]
    meant = [w for w in walked if not _beside_the_point(w[0], w[3])]
    out = [_fault(*w, at, shown) for w in meant or walked]
    if len(errors) > _MOST:
        message = f"{len(errors) - _MOST} more faults are not listed"
        out.append(Fault((), (), Problem(file=shown, message=message), ()))
    return out


_ABSENT = object()
_TEXT_BRANCH = "constrained-str"  # how pydantic names the text of `text or a table`


def _beside_the_point(e: Any, value: Any) -> bool:
    """Complaints of the branch of `text or a table` that was not meant, and about faulty entries.

    pydantic counts an entry that is faulty as missing from its list.
    """
    last = e["loc"][-1] if e["loc"] else ""
    if e["type"] == "too_short" and isinstance(value, list):
        return len(value) >= int(e["ctx"]["min_length"])
    if last == _TEXT_BRANCH:
        return isinstance(value, dict)
    return bool(e["type"] == "model_type" and last == e["ctx"]["class_name"])


def _walk(
    loc: tuple[int | str, ...], raw: Any, model: type[BaseModel]
) -> tuple[Path, Path, Any, type[BaseModel] | None]:
    """Follow pydantic's location through the raw document; skip tags of unions.

    Returns the path as written and as usually written, the value and the table that holds it.
    """
    path: list[str | int] = []
    usual: list[str | int] = []
    node: Any = raw
    owner: type[BaseModel] | None = model
    types: Any = model
    for i, part in enumerate(loc):
        last = i == len(loc) - 1
        if part == _TEXT_BRANCH:
            continue
        if isinstance(node, dict) and isinstance(part, str):
            models = _models(types)
            key = _raw_key(part, node)
            holder = next((m for m in models if part in m.usual_keys()), None)  # type: ignore[attr-defined]
            if key is None and holder is None and not last:
                tagged = _tagged(models, part)
                types = tagged if tagged is not None else types
                continue
            if key is None and holder is None and _tagged(models, part) is not None:
                continue
            owner = holder or (models[0] if models else owner)
            path.append(key if key is not None else part)
            usual.append(part)
            node = node[key] if key is not None else _ABSENT
            types = _field_type(owner, part) if owner is not None else None
        elif isinstance(node, list) and isinstance(part, int):
            path.append(part)
            usual.append(part)
            node = node[part] if part < len(node) else _ABSENT
        elif isinstance(part, str):
            tagged = _tagged(_models(types), part)
            types = tagged if tagged is not None else types
    if node is not _ABSENT and isinstance(node, dict):
        models = _models(types)
        owner = models[0] if models else owner
    return tuple(path), tuple(usual), node, owner


def _raw_key(part: str, node: Mapping[str, Any]) -> str | None:
    if part in node:
        return part
    return next((k for k in node if usual_key(k, (part,)) == part), None)


def _models(types: Any) -> list[type[BaseModel]]:
    if isinstance(types, type) and issubclass(types, BaseModel):
        return [types]
    out: list[type[BaseModel]] = []
    for arg in typing.get_args(types):
        out.extend(_models(arg))
    return out


def _tagged(models: list[type[BaseModel]], tag: str) -> type[BaseModel] | None:
    for m in models:
        for name in ("step", "part"):
            field = m.model_fields.get(name)
            if field is not None and tag in typing.get_args(field.annotation):
                return m
        # a table that checks itself is tagged "function-after[_check(), Name]", once a check
        if m.__name__ == tag or tag.rstrip("]").endswith(f"(), {m.__name__}"):
            return m
    return None


def _field_type(model: type[BaseModel], alias: str) -> Any:
    for name, field in model.model_fields.items():
        if (field.alias or name) == alias:
            return field.annotation
    return None


def _fault(
    e: Any,
    path: Path,
    usual: Path,
    value: Any,
    owner: type[BaseModel] | None,
    at: Locator,
    shown: str,
) -> Fault:
    kind = e["type"]
    ctx = e.get("ctx") or {}
    name = _name(path)
    found = None if value is _ABSENT or isinstance(value, dict) else f"{name} = {_show(value)}"
    allowed: str | None = ctx.get("allowed")
    near: str | None = None
    if kind == "missing":
        message = "required key is missing"
        found = None
        kids = e["loc"][-1]
        allowed = _describe(owner, str(kids))
    elif kind == "extra_forbidden":
        message = "unknown key"
        keys = list(owner.usual_keys()) if owner is not None else []  # type: ignore[attr-defined]
        found = f"{name} = {_show(value)}" if not isinstance(value, dict) else f"[{name}]"
        allowed = ", ".join(keys)
        near = closest(name, keys)
        other = usual_key(name, tuple(keys))
        if other != name:
            message = "given twice, in two units"
            allowed, near = f"{other} or {name}, not both", None
    elif kind in _KINDS:
        allowed = _KINDS[kind]
        if e["loc"][-1] == _TEXT_BRANCH:
            allowed = "text in quotes, or a table"
        elif ctx.get("class_name") == "Distribution":
            allowed = "a number, or a table such as { mean = 0, sd = 1 }"
        message = f"expected {allowed.partition(' such as')[0]}"
        found = f"{name} = {_show(value)}"
    elif kind in ("literal_error", "union_tag_invalid"):
        message = "unknown value"
        allowed = str(ctx.get("expected") or ctx.get("expected_tags")).replace("'", "")
        allowed = allowed.replace(" or ", ", ")
        word = value
        if kind == "union_tag_invalid" and isinstance(value, dict):
            name = str(ctx.get("discriminator", "")).strip("'")
            word = value.get(name, ctx.get("tag"))
            path, usual = (*path, name), (*usual, name)
            found = f"{name} = {_show(word)}"
        if isinstance(word, str):
            near = closest(word, allowed.split(", "))
    elif kind == "union_tag_not_found":
        name = str(ctx.get("discriminator", "")).strip("'")
        message = f"required key {name} is missing"
    elif kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        sign = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
        code, bound = next((k, v) for k, v in ctx.items() if k in sign)
        message = "out of range"
        unit = str(e["loc"][-1]).rpartition("_")[2] if "_" in str(e["loc"][-1]) else ""
        allowed = f"{sign[code]} {bound:g} {unit if _is_unit(unit) else ''}".rstrip()
    elif kind in ("too_short", "too_long", "string_too_short", "string_too_long"):
        message = "wrong length"
        low = ctx.get("min_length")
        high = ctx.get("max_length")
        allowed = f"at least {low}" if low is not None else f"at most {high}"
        if kind == "too_long" and isinstance(value, list):
            found = f"{name} with {len(value)} entries"
    else:
        message = str(e["msg"])
    problem = Problem(
        file=shown,
        line=at.line(path) or 1,
        key=key_text(path),
        message=message,
        found=found,
        allowed=allowed,
        closest=near,
    )
    means: Path | None = usual
    if kind == "extra_forbidden":
        means = None if near is None else (*usual[:-1], near)
    return Fault(path, usual, problem, means)


def _name(path: Path) -> str:
    """The last key of a path, with the numbers of its entry: ``temperature_C[1]``."""
    start = len(path) - 1
    while start > 0 and isinstance(path[start], int):
        start -= 1
    return key_text(path[max(start, 0) :])


def _is_unit(word: str) -> bool:
    from tolsim.units import SUFFIXES

    return word in SUFFIXES


def _describe(owner: type[BaseModel] | None, key: str) -> str:
    if owner is not None:
        types = _field_type(owner, key)
        literals = typing.get_args(types) if typing.get_origin(types) is typing.Literal else ()
        if literals:
            return f"{key} = " + " | ".join(f'"{v}"' for v in literals)
        if _models(types):
            return f"{key} as a table"
    return key


def _show(value: Any) -> str:
    if value is _ABSENT:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 80 else text[:77] + "..."
