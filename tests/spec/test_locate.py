"""Lines of keys, wherever TOML lets them stand."""

from __future__ import annotations

from pathlib import Path

import pytest
import tomli
from hypothesis import given, settings
from hypothesis import strategies as st

from tolsim.spec.locate import Locator, TooDeep, check_depth

ROOT = Path(__file__).parents[2]

TEXT = """\
title = "a [b] # c"   # comment with [brackets]
[joint]
kind = "x"
[[supply]]
name = "one"
[[supply]]
name = "two"
share.a = 1
[[supply.lot]]
id = 3
"quoted key" = 4
list = [
    { a = 1, b = 2 },
    { a = 3,
      b = 4 },
]
text = '''
[not.a.table]
'''
last = { deep = { er = 1 } }
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 1),
        (("joint", "kind"), 3),
        (("supply", 0, "name"), 5),
        (("supply", 1, "name"), 7),
        (("supply", 1, "share", "a"), 8),
        (("supply", 1, "lot", 0, "id"), 10),
        (("supply", 1, "lot", 0, "quoted key"), 11),
        (("supply", 1, "lot", 0, "list", 0, "b"), 13),
        (("supply", 1, "lot", 0, "list", 1, "a"), 14),
        (("supply", 1, "lot", 0, "list", 1, "b"), 15),
        (("supply", 1, "lot", 0, "last", "deep", "er"), 20),
        (("supply", 1, "absent"), 6),
        (("nowhere",), None),
    ],
)
def test_lines(path: tuple[str | int, ...], line: int | None) -> None:
    """Dotted keys, arrays of tables, inline tables and values over lines have their lines."""
    tomli.loads(TEXT)
    assert Locator(TEXT).line(path) == line


def test_windows_line_ends() -> None:
    """Carriage returns do not move lines."""
    assert Locator(TEXT.replace("\n", "\r\n")).line(("supply", 1, "name")) == 7


def test_depth() -> None:
    """Brackets and dotted keys beyond the cap are refused with their line."""
    with pytest.raises(TooDeep) as caught:
        check_depth("a = 1\nb = " + "[" * 17 + "]" * 17)
    assert caught.value.line == 2
    with pytest.raises(TooDeep):
        check_depth(".".join("a" * 20) + " = 1\n")


def test_cost_is_linear() -> None:
    """Twice the text has twice the statements and every one its line."""
    text = "".join(f"k{i} = {i}\n" for i in range(5000))
    at = Locator(text)
    assert all(at.line((f"k{i}",)) == i + 1 for i in range(0, 5000, 97))


@st.composite
def _written(draw: st.DrawFn) -> tuple[str, dict[tuple[str | int, ...], int]]:
    """A TOML text and the line on which each of its keys and entries was written."""
    out: list[str] = []
    lines: dict[tuple[str | int, ...], int] = {}

    def here() -> int:
        return "".join(out).count("\n") + 1

    def noise() -> None:
        if draw(st.booleans()):
            out.append(draw(st.sampled_from([" ", " # a = 1 ] } [x]\n", "\n", " # '''\n\n"])))

    def key() -> tuple[str, str]:
        name = draw(st.sampled_from(["a", "b", "c_um", "d e", "3", "f.g"]))
        bare = name not in ("d e", "f.g")
        return name, name if bare and draw(st.booleans()) else f'"{name}"'

    def value(path: tuple[str | int, ...], depth: int) -> None:
        kind = draw(st.sampled_from(["plain", "text", "list", "table"][: 4 if depth < 3 else 2]))
        if kind == "plain":
            out.append(draw(st.sampled_from(["1", "2.5", "true", "inf", "1979-05-27 07:32:00.5"])))
        elif kind == "text":
            texts = ['"[a"', "'b = {'", '""', '"""\n[x]\ny = 1\n""""', "'''\n]\n'''", '"\\"]"']
            out.append(draw(st.sampled_from(texts)))
        elif kind == "list":
            out.append("[")
            for i in range(draw(st.integers(0, 3))):
                noise()
                lines[(*path, i)] = here()
                value((*path, i), depth + 1)
                noise()
                out.append(",")
            noise()
            out.append("]")
        else:
            out.append("{")
            seen: set[str] = set()
            for _ in range(draw(st.integers(0, 3))):
                name, text = key()
                if name in seen:
                    continue
                seen.add(name)
                out.append(", " if len(seen) > 1 else " ")
                lines[(*path, name)] = here()
                out.append(f"{text} = ")
                value((*path, name), depth + 1)
            out.append(" }")

    used: set[str] = set()
    for _ in range(draw(st.integers(0, 3))):
        name, text = key()
        if name not in used:
            used.add(name)
            lines[(name,)] = here()
            out.append(f"{text} = ")
            value((name,), 0)
            out.append("\n")
        if draw(st.booleans()):
            out.append("# [comment]\n\n")
    for i in range(draw(st.integers(0, 3))):
        lines.setdefault(("rows",), here())
        lines[("rows", i)] = here()
        out.append("[[ rows ]]\n" if draw(st.booleans()) else "[[rows]]  # ]]\n")
        name, text = key()
        lines[("rows", i, name)] = here()
        out.append(f"  {text} = ")
        value(("rows", i, name), 0)
        out.append("\n")
        if draw(st.booleans()):
            lines[("rows", i, "deep")] = here()
            lines[("rows", i, "deep", "er")] = here()
            out.append("[rows.deep.er]\n")
            lines[("rows", i, "deep", "er", "x")] = here()
            lines[("rows", i, "deep", "er", "x", "y")] = here()
            out.append("x.y = 1\n")
    return "".join(out), lines


@settings(max_examples=300, deadline=None)
@given(_written())
def test_lines_of_a_written_text(written: tuple[str, dict[tuple[str | int, ...], int]]) -> None:
    """Every key and entry has the line on which it was written, whatever stands around it."""
    text, lines = written
    tomli.loads(text)
    at = Locator(text)
    assert {path: at.line(path) for path in lines} == lines
    windows = Locator(text.replace("\n", "\r\n"))
    assert {path: windows.line(path) for path in lines} == lines


def _paths(node: object, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    found = {path}
    if isinstance(node, dict):
        for key, value in node.items():
            found |= _paths(value, (*path, key))
    elif isinstance(node, list):
        for i, value in enumerate(node):
            found |= _paths(value, (*path, i))
    return found


@pytest.mark.parametrize(
    "path", sorted(ROOT.glob("studies/*/study.toml")), ids=lambda p: p.parent.name
)
def test_lines_against_growing_prefixes(path: Path) -> None:
    """A key stands in the statement whose last line first lets a parser see it (slow reference)."""
    text = path.read_text()
    rows = text.split("\n")
    at = Locator(text)
    seen: set[tuple[str | int, ...]] = {()}
    begun = 1  # first line of the statement that is still open
    for n in range(1, len(rows) + 1):
        try:
            now = _paths(tomli.loads("\n".join(rows[:n]) + "\n"))
        except tomli.TOMLDecodeError:
            continue
        for key in now - seen:
            line = at.line(key)
            assert line is not None, key
            assert begun <= line <= n, key
        seen, begun = now, n + 1
    assert len(seen) > 10


@pytest.mark.parametrize(
    "text",
    [
        '\\"""\n' * 50_000,  # strings that never close
        ('\\"' * 2000 + "\n") * 60,
        "'''\\\n" * 50_000,
        "a = [" + "1.5,\n" * 50_000 + "]",
        "a = [\n" + "".join(f"{{ k{i} = 1 }},\n" for i in range(18_000)) + "]",
    ],
)
def test_texts_built_to_stall(text: str) -> None:
    """Texts at the cap on size cost one pass; a quadratic one would take minutes."""
    check_depth(text)
    Locator(text)
