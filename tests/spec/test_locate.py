"""Lines of keys, wherever TOML lets them stand."""

from __future__ import annotations

import pytest
import tomli

from tolsim.spec.locate import Locator, TooDeep, check_depth

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
