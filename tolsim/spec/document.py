"""One TOML document: parsed, validated against its model, all faults at once."""

from __future__ import annotations

from typing import Any, TypeVar

import tomli
from pydantic import ValidationError

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.faults import problems_of
from tolsim.spec.locate import MAX_DEPTH, TooDeep, statements
from tolsim.spec.quantities import Table

__all__ = ["parse", "validate"]

T = TypeVar("T", bound=Table)


def parse(text: str, shown: str) -> dict[str, Any]:
    """The document as plain dicts and lists; syntax faults carry line and column."""
    try:
        for _ in statements(text):
            pass
        return tomli.loads(text)
    except TooDeep as e:
        problem = Problem(
            file=shown, line=e.line, message="nested too deep", allowed=f"at most {MAX_DEPTH}"
        )
    except tomli.TOMLDecodeError as e:
        line = e.lineno
        source = text.splitlines()[line - 1] if 0 < line <= len(text.splitlines()) else ""
        problem = Problem(
            file=shown,
            line=line,
            message=f"not valid TOML: {e.msg} (column {e.colno})",
            found=source.strip()[:80] or None,
        )
    except (RecursionError, MemoryError, ValueError) as e:
        problem = Problem(file=shown, message=f"not valid TOML: {str(e)[:120]}")
    raise SpecError([problem]) from None


def validate(raw: dict[str, Any], model: type[T], *, text: str, shown: str) -> T:
    """The record of a document; raises `SpecError` with every fault in it."""
    try:
        return model.model_validate(raw)
    except ValidationError as e:
        problems = problems_of(e, model=model, raw=raw, text=text, shown=shown)
        raise SpecError(problems) from None


def kind_of(raw: dict[str, Any], kinds: dict[str, type[T]], *, text: str, shown: str) -> type[T]:
    """The model that the key ``part`` asks for."""
    word = raw.get("part")
    if isinstance(word, str) and word in kinds:
        return kinds[word]
    from tolsim.spec.locate import Locator

    raise SpecError(
        [
            Problem(
                file=shown,
                line=Locator(text).line(("part",)) or 1,
                key="part",
                message="required key is missing" if word is None else "unknown kind of part",
                found=None if word is None else f"part = {word!r}",
                allowed=", ".join(kinds),
                closest=closest(word, kinds) if isinstance(word, str) else None,
            )
        ]
    )
