"""Counts of draws are written as people write large numbers."""

from __future__ import annotations

import click
import pytest

from tolsim.cli.options import Count


@pytest.mark.parametrize(
    ("text", "count"),
    [("1000000", 10**6), ("1e6", 10**6), ("1_000_000", 10**6), ("2.5e4", 25_000), ("8192.0", 8192)],
)
def test_whole_numbers_are_read_however_written(text: str, count: int) -> None:
    """Exponents, underscores and a decimal of nought mean the same whole number."""
    assert Count(min=1, max=10**12)(text) == count


@pytest.mark.parametrize("text", ["1.5", "1e-3", "many", "", "nan", "inf", "1e400", "1e20"])
def test_what_is_no_whole_number_is_told_with_an_example(text: str) -> None:
    """The message quotes the text and shows two ways to write a count."""
    with pytest.raises(click.BadParameter, match="no whole number, such as 1000000 or 1e6"):
        Count(min=1, max=10**12)(text)


@pytest.mark.parametrize("text", ["0", "-5", "1e13"])
def test_a_count_outside_the_range_names_the_range(text: str) -> None:
    """Bounds are those of the option."""
    with pytest.raises(click.BadParameter, match="not in the range"):
        Count(min=1, max=10**12)(text)
