"""Where a key stands in a TOML text, for messages that name a line.

One pass splits the text into statements; each is parsed alone, so the cost is linear in the text
and every key has a line, inside inline tables and arrays over several lines included.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import tomli

__all__ = ["MAX_DEPTH", "Locator", "TooDeep"]

MAX_DEPTH = 16  # brackets or dots inside one another

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"""'
    r"|'''.*?'''"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|[\[\]{}\n.]",
    re.DOTALL,
)

Path = tuple[str | int, ...]


class TooDeep(ValueError):
    """The text nests deeper than `MAX_DEPTH`; carries the line."""

    def __init__(self, line: int) -> None:
        super().__init__(f"nested deeper than {MAX_DEPTH}")
        self.line = line


def statements(text: str) -> Iterator[tuple[int, str]]:
    """Yield (line, statement) for every header and assignment; raise `TooDeep` on the way."""
    depth = dots = start = 0
    line = first = 1
    for token in _TOKEN.finditer(text):
        mark = token.group()
        if mark in ("[", "{"):
            depth += 1
        elif mark in ("]", "}"):
            depth -= 1
        elif mark == ".":
            dots += 1
        elif mark == "\n" and depth <= 0:
            yield first, text[start : token.start()]
            line += 1
            start, first, depth, dots = token.end(), line, 0, 0
        else:
            line += mark.count("\n")
        if depth > MAX_DEPTH or (dots > MAX_DEPTH and "=" not in text[start : token.start()]):
            raise TooDeep(line)
    if start < len(text):
        yield first, text[start:]


class Locator:
    """Lines of all keys of one valid TOML text.

    >>> at = Locator('[a]\\nb = 1\\n[[c]]\\nd = { e = 2 }\\n')
    >>> at.line(("a", "b")), at.line(("c", 0, "d", "e")), at.line(("a", "absent"))
    (2, 4, 1)
    """

    def __init__(self, text: str) -> None:
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        prefix: Path = ()
        for number, statement in statements(text):
            body = statement.strip()
            if not body or body.startswith("#"):
                continue
            try:
                parsed = tomli.loads(body + "\n")
            except tomli.TOMLDecodeError:
                continue
            if body.startswith("["):
                prefix = self._header(parsed, array=body.startswith("[["), line=number)
            else:
                lead = len(statement) - len(statement.lstrip())
                first = number + statement.count("\n", 0, lead)
                self._values(prefix, parsed, first, body)

    def line(self, path: Path) -> int | None:
        """Line of the longest known beginning of `path`, None where nothing of it is known."""
        for end in range(len(path), 0, -1):
            if path[:end] in self._lines:
                return self._lines[path[:end]]
        return None

    def _resolve(self, keys: list[str], *, array: bool) -> Path:
        path: Path = ()
        for i, key in enumerate(keys):
            path = (*path, key)
            if path in self._counts and not (array and i == len(keys) - 1):
                path = (*path, self._counts[path] - 1)
        return path

    def _header(self, parsed: dict[str, Any], *, array: bool, line: int) -> Path:
        keys: list[str] = []
        node: Any = parsed
        while isinstance(node, dict) and node:
            key = next(iter(node))
            keys.append(key)
            node = node[key]
        path = self._resolve(keys, array=array)
        if array:
            index = self._counts.get(path, 0)
            self._counts[path] = index + 1
            self._lines.setdefault(path, line)
            path = (*path, index)
        self._lines.setdefault(path, line)
        return path

    def _values(self, prefix: Path, node: Any, line: int, body: str) -> None:
        if "\n" not in body:
            self._flat(prefix, node, line)
            return
        cursor: dict[str, int] = {}
        self._spread(prefix, node, line, body, cursor)

    def _flat(self, path: Path, node: Any, line: int) -> None:
        self._lines.setdefault(path, line)
        if isinstance(node, dict):
            for key, value in node.items():
                self._flat((*path, key), value, line)
        elif isinstance(node, list):
            for i, value in enumerate(node):
                self._flat((*path, i), value, line)

    def _spread(self, path: Path, node: Any, line: int, body: str, cursor: dict[str, int]) -> None:
        """Lines of a value over several lines: the n-th writing of a key is its n-th use."""
        if isinstance(node, dict):
            lines = []
            for key, value in node.items():
                found = re.compile(rf"(?<![\w-])[\"']?{re.escape(key)}[\"']?\s*[=.]").search(
                    body, cursor.get(key, 0)
                )
                here = line
                if found:
                    cursor[key] = found.end()
                    here = line + body.count("\n", 0, found.start())
                lines.append(here)
                self._lines.setdefault((*path, key), here)
                self._spread((*path, key), value, line, body, cursor)
            if lines:
                self._lines.setdefault(path, min(lines))
        elif isinstance(node, list):
            for i, value in enumerate(node):
                self._spread((*path, i), value, line, body, cursor)
