"""Where a key stands in a TOML text, for messages that name a line.

One pass over the tokens of the text gives every key, and every entry of a list, the line on which
it is written: inside inline tables and lists over several lines as well. The cost is linear.
"""

from __future__ import annotations

import re
from itertools import count

import tomli

__all__ = ["MAX_DEPTH", "Locator", "Path", "TooDeep", "check_depth"]

MAX_DEPTH = 16  # brackets, or dots of one key, inside one another

# A string that is never closed runs to the end, so that no text is read more than once.
_STRING = (
    r'"""(?:\\.|\\\Z|[^\\])*?(?:"{3,5}|\Z)'
    r"|'''.*?(?:'{3,5}|\Z)"
    r'|"(?:\\[^\n]|[^"\\\n])*(?:"|\\?)'
    r"|'[^'\n]*'?"
)
_TOKEN = re.compile(
    rf"(?P<string>{_STRING})|(?P<comment>\#[^\n]*)|(?P<mark>[\[\]{{}}\n.,=])"
    r"|(?P<word>[^\s\[\]{}.,=\"'\#]+)",
    re.DOTALL,
)

Path = tuple[str | int, ...]


class TooDeep(ValueError):
    """The text nests deeper than `MAX_DEPTH`; carries the line."""

    def __init__(self, line: int) -> None:
        super().__init__(f"nested deeper than {MAX_DEPTH}")
        self.line = line


def check_depth(text: str) -> None:
    """Raise `TooDeep` where brackets or dots of a key nest too deep; any text will do."""
    depth = dots = 0
    line = 1
    for token in _TOKEN.finditer(text):
        mark = token["mark"]
        if mark is None:
            line += token[0].count("\n") if token["string"] else 0
            continue
        if mark in "[{":
            depth += 1
        elif mark in "]}":
            depth -= 1
        dots = dots + 1 if mark == "." else 0
        if depth > MAX_DEPTH or dots > MAX_DEPTH:
            raise TooDeep(line)
        line += mark == "\n"


class Locator:
    """Lines of all keys of one valid TOML text.

    >>> at = Locator('[a]\\nb = 1\\n[[c]]\\nd = { e = 2 }\\n')
    >>> at.line(("a", "b")), at.line(("c", 0, "d", "e")), at.line(("a", "absent"))
    (2, 4, 1)
    """

    def __init__(self, text: str) -> None:
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self._tokens: list[tuple[str, str, int]] = []
        line = 1
        for token in _TOKEN.finditer(text):
            kind = token.lastgroup or ""
            if kind != "comment":
                self._tokens.append((kind, token[0], line))
            line += token[0].count("\n") if kind in ("string", "mark") else 0
        self._tokens.append(("mark", "\n", line))
        self._tokens.append(("end", "", line))
        self._at = 0
        self._document()

    def line(self, path: Path) -> int | None:
        """Line of the longest known beginning of `path`, None where nothing of it is known."""
        for end in range(len(path), 0, -1):
            if path[:end] in self._lines:
                return self._lines[path[:end]]
        return None

    def _next(self) -> tuple[str, str, int]:
        token = self._tokens[self._at]
        self._at += token[0] != "end"
        return token

    def _skip(self, marks: str) -> bool:
        """Pass over these marks; whether there was one."""
        start = self._at
        while self._tokens[self._at][0] == "mark" and self._tokens[self._at][1] in marks:
            self._at += 1
        return self._at > start

    def _document(self) -> None:
        prefix: Path = ()
        while self._tokens[self._at][0] != "end":
            if self._skip("\n"):
                continue
            start = self._at
            line = self._tokens[start][2]
            if self._skip("["):
                array = self._at - start == 2
                prefix = self._header(self._key(), array=array, line=line)
                self._skip("]")
            else:
                self._assignment(prefix)
            if self._at == start:  # not TOML: nothing more is known
                return

    def _key(self) -> list[str]:
        keys: list[str] = []
        while self._tokens[self._at][0] in ("word", "string"):
            keys.append(_unquoted(*self._next()[:2]))
            if not self._skip("."):
                break
        return keys

    def _header(self, keys: list[str], *, array: bool, line: int) -> Path:
        path: Path = ()
        for i, key in enumerate(keys):
            path = (*path, key)
            last = i == len(keys) - 1
            self._lines.setdefault(path, line)
            if last and array:
                self._counts[path] = self._counts.get(path, 0) + 1
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
                self._lines.setdefault(path, line)
        return path

    def _assignment(self, prefix: Path) -> None:
        line = self._tokens[self._at][2]
        path = prefix
        for key in self._key():
            path = (*path, key)
            self._lines.setdefault(path, line)
        self._skip("=")
        self._value(path)

    def _value(self, path: Path) -> None:
        kind, text, _ = self._tokens[self._at]
        if (kind, text) == ("mark", "["):
            self._at += 1
            for i in count():
                self._skip(",\n")
                start = self._at
                if self._closed("]"):
                    return
                self._lines.setdefault((*path, i), self._tokens[start][2])
                self._value((*path, i))
                if self._at == start:  # not TOML
                    return
        elif (kind, text) == ("mark", "{"):
            self._at += 1
            while not self._closed("}"):
                self._skip(",\n")
                if self._tokens[self._at][0] in ("word", "string"):
                    self._assignment(path)
                elif self._tokens[self._at][1] != "}":
                    return
        else:
            while self._tokens[self._at][1] not in ("\n", ",", "]", "}", ""):
                self._at += 1

    def _closed(self, mark: str) -> bool:
        kind, text, _ = self._tokens[self._at]
        self._at += (kind, text) == ("mark", mark)
        return kind == "end" or (kind, text) == ("mark", mark)


def _unquoted(kind: str, text: str) -> str:
    if kind == "word":
        return text
    if "\\" not in text:
        return text[1:-1]
    try:
        return str(tomli.loads(f"key = {text}")["key"])
    except tomli.TOMLDecodeError:
        return text
