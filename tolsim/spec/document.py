"""One TOML document: parsed, validated against its model, all faults at once."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import tomli
from pydantic import ValidationError

from tolsim.errors import Problem, SpecError, closest
from tolsim.spec.faults import Fault, faults_of
from tolsim.spec.locate import MAX_DEPTH, Locator, Path, TooDeep, check_depth
from tolsim.spec.quantities import Table

__all__ = ["Examined", "examine", "parse", "validate"]

T = TypeVar("T", bound=Table)

_LOOKS = 6


def parse(text: str, shown: str) -> dict[str, Any]:
    """The document as plain dicts and lists; syntax faults carry line and column."""
    try:
        check_depth(text)
        return tomli.loads(text)
    except TooDeep as e:
        problem = Problem(
            file=shown, line=e.line, message="nested too deep", allowed=f"at most {MAX_DEPTH}"
        )
    except tomli.TOMLDecodeError as e:
        line = e.lineno
        source = text.split("\n")[line - 1] if 0 < line <= text.count("\n") + 1 else ""
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
    seen = examine(raw, model, text=text, shown=shown)
    if seen.record is None or seen.problems:
        raise SpecError(seen.problems)
    return seen.record


@dataclass(slots=True)
class Examined(Generic[T]):
    """The record of a document as far as it goes, every fault, and the keys left out for them.

    The record is None where too much is missing to go on.
    """

    record: T | None
    problems: list[Problem]
    left_out: set[Path]

    def explains(self, path: Path) -> bool:
        """Whether a fault at `path` may follow from a key above, at or below it being left out."""
        return _explains(self.left_out, path)


def examine(raw: dict[str, Any], model: type[T], *, text: str, shown: str) -> Examined[T]:
    """Every fault of a document, in the order of the file.

    Rules that tie several keys together are only looked at once each key alone is right; so the
    faulty keys are left out and the rest is looked at again, until nothing new is found. What
    follows only from a key being left out is not told.
    """
    at = Locator(text)
    faults: list[Fault] = []
    left_out: set[Path] = set()
    record: T | None = None
    for _ in range(_LOOKS):
        try:
            record = model.model_validate(raw)
            break
        except ValidationError as e:
            found = faults_of(e, model=model, raw=raw, at=at, shown=shown)
        new = [f for f in found if not _explains(left_out, f.usual)]
        if not new:
            break
        faults += new
        raw = copy.deepcopy(raw)
        for fault in new:
            _leave_out(raw, fault.path)
            if fault.means is not None:
                left_out.add(fault.means)
    problems = {(f.problem.line, f.problem.key, f.problem.message): f.problem for f in faults}
    ordered = sorted(problems.values(), key=lambda p: (p.line or 0, p.key))
    return Examined(record, ordered, left_out)


def _explains(left_out: set[Path], path: Path) -> bool:
    """Whether one of these keys stands at `path`, above it or below it."""
    return any(path[:end] in left_out for end in range(len(path) + 1)) or any(
        key[: len(path)] == path for key in left_out
    )


def _leave_out(raw: Any, path: Path) -> None:
    """Delete the last named key of `path`; a list keeps its length or goes as a whole."""
    while path and isinstance(path[-1], int):
        path = path[:-1]
    for key in path[:-1]:
        if isinstance(raw, dict):
            raw = raw.get(key)
        elif isinstance(raw, list) and isinstance(key, int) and key < len(raw):
            raw = raw[key]
    if path and isinstance(raw, dict):
        raw.pop(path[-1], None)


def kind_of(raw: dict[str, Any], kinds: dict[str, type[T]], *, text: str, shown: str) -> type[T]:
    """The model that the key ``part`` asks for."""
    word = raw.get("part")
    if isinstance(word, str) and word in kinds:
        return kinds[word]
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
